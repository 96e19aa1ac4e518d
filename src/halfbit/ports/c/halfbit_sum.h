/* The decision by sum in C: for a board that sees level changes late, for example a polled loop, or an optocoupler
 * that is much slower in one direction. Use halfbit.h alone if the halves of bits can be told apart.
 *
 * It has the same names as halfbit/core_sum.py and halfbit/core_sum_lengths.py and gives the same answers. The theory
 * is explained there. The rules for this code are those of halfbit.h, except for two:
 *
 * - Call halfbit_sum_feed() in the main loop, from a queue of durations, not in an interrupt. Now and then it learns
 *   the lengths of the station's bits. Then it takes as long as some thousand half-bits: once at the start, and again only
 *   if no packet has come for long. The figures are in docs/porting.rst; an ATmega328P at 16 MHz does
 *   not keep up with a dense signal.
 * - On an AVR it uses multiplications of the compiler's library.
 */
#ifndef HALFBIT_SUM_H
#define HALFBIT_SUM_H

#include "halfbit_sum_lengths.h"

/* Number of durations that are kept: 240, 480, 720 or 960. With more, a signal that is hard to learn loses less at the
 * start. */
#ifndef HALFBIT_SUM_RECENT
#define HALFBIT_SUM_RECENT 240
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* core_sum.Lane. Internal. */
struct halfbit_sum_lane {
    struct halfbit_receiver packets;
    struct halfbit_sum_boundaries boundaries;
    uint16_t own;
    uint16_t others;
    uint16_t age;
    int8_t past;
    int8_t proof;
    uint8_t chance;
    uint8_t held;
    uint8_t data[HALFBIT_PACKET_MAX];
    uint8_t length;
    uint8_t preamble;
};

/* The state. After HALFBIT_PACKET, data[0 .. length-1] is the packet, error detection byte included, and preamble is
 * the number of one-bits before it (255 for 255 or more). They stay as they are until the next feed. */
struct halfbit_sum {
    const uint8_t *data;
    uint8_t length;
    uint8_t preamble;
    uint8_t due;
    uint8_t known;
    uint8_t blocks;
    uint8_t patience;
    uint8_t turn;
    uint8_t giving; /* the lane of the packets that are due */
    uint8_t started;
    uint16_t behind;
    uint16_t at;
    uint16_t count;
    int16_t balance;
    halfbit_sum_duration before;
    struct halfbit_sum_lengths lengths;
    struct halfbit_sum_lane lanes[2];
    halfbit_sum_duration recent[HALFBIT_SUM_RECENT];
};

/* Call this before the first feed. */
void halfbit_sum_init(struct halfbit_sum *s);

/* Takes one duration, in ticks, and returns HALFBIT_MORE or HALFBIT_PACKET. Feed 0 if durations were lost. */
uint8_t halfbit_sum_feed(struct halfbit_sum *s, uint32_t duration);

#ifdef __cplusplus
}
#endif

#endif
