/* Half-bits, bits and packets of the digital track signal, for a small board: the core in C.
 *
 * It mirrors halfbit/core.py name for name and answers every single feed as that file does; read
 * the theory there. House rules:
 *
 * - C99, freestanding: no library, no heap, no floating point, no global state, no recursion.
 *   All that is remembered is in one struct of 32 bytes.
 * - It counts in timer ticks. HALFBIT_TICKS_PER_US says how many make a microsecond; the limits
 *   below follow from it.
 * - halfbit_receiver_feed() may run in an interrupt: it takes one duration, whatever it be, and
 *   answers with one of the numbers below, in a bounded number of instructions: docs/porting.rst has the figures.
 */
#ifndef HALFBIT_H
#define HALFBIT_H

#include <stdint.h>

#ifndef HALFBIT_TICKS_PER_US
#define HALFBIT_TICKS_PER_US 1u
#endif

/* Limits, in ticks, every bound inclusive: what a decoder must accept (S-9.1 A, table 1). */
#ifndef HALFBIT_ONE_MIN
#define HALFBIT_ONE_MIN (52u * HALFBIT_TICKS_PER_US)
#endif
#ifndef HALFBIT_ONE_MAX
#define HALFBIT_ONE_MAX (64u * HALFBIT_TICKS_PER_US)
#endif
#ifndef HALFBIT_ONE_DIFFERENCE
#define HALFBIT_ONE_DIFFERENCE (6u * HALFBIT_TICKS_PER_US)
#endif
#ifndef HALFBIT_ZERO_MIN
#define HALFBIT_ZERO_MIN (90u * HALFBIT_TICKS_PER_US)
#endif
#ifndef HALFBIT_ZERO_MAX
#define HALFBIT_ZERO_MAX (10000u * HALFBIT_TICKS_PER_US)
#endif
/* For a decoder no limit is stated for a whole zero-bit: none but that of its halves. */
#ifndef HALFBIT_ZERO_TOTAL_MAX
#define HALFBIT_ZERO_TOTAL_MAX (2u * HALFBIT_ZERO_MAX)
#endif
/* Fewest one-bits that make a preamble, fewest bytes of a packet (S-9.2 A), and most. */
#ifndef HALFBIT_PREAMBLE_MIN
#define HALFBIT_PREAMBLE_MIN 10u
#endif
#ifndef HALFBIT_PACKET_MIN
#define HALFBIT_PACKET_MIN 3u
#endif
#ifndef HALFBIT_PACKET_MAX
#define HALFBIT_PACKET_MAX 15u
#endif

/* Answers. What each means stands in halfbit/core.py. */
enum {
    HALFBIT_MORE = 0,
    HALFBIT_ONE = 1,
    HALFBIT_ZERO = 2,
    HALFBIT_PACKET = 3,
    HALFBIT_SYNC = 4,
    HALFBIT_START = 5,
    HALFBIT_SHORT = 8,
    HALFBIT_GAP = 9,
    HALFBIT_LONG = 10,
    HALFBIT_UNPAIRED_ONE = 11,
    HALFBIT_UNPAIRED_ZERO = 12,
    HALFBIT_UNEQUAL = 13,
    HALFBIT_ZERO_TOO_LONG = 14,
    HALFBIT_SHORT_PREAMBLE = 15,
    HALFBIT_FEW_BYTES = 16,
    HALFBIT_MANY_BYTES = 17,
    HALFBIT_ERROR_BYTE = 18
};

/* All that layers 2 to 4 remember.
 *
 * After HALFBIT_PACKET data[0 .. length-1] is the packet, error detection byte included, and preamble
 * the number of one-bits before it (255 for that many or more). After a fault data[0 .. length-1] holds
 * the bytes that were complete, after HALFBIT_SHORT_PREAMBLE preamble the one-bits there were. The rest is the
 * machine's own. */
struct halfbit_receiver {
    uint8_t data[HALFBIT_PACKET_MAX]; /* data[length] grows while its byte comes in */
    uint8_t length;
    uint16_t waiting; /* layer 3: see halfbit.c */
    uint8_t ones;     /* layer 4: see core.py */
    uint8_t shifted_ones;
    uint8_t state;
    uint8_t check;
    uint8_t preamble;
};

/* Must be called before the first feed. */
void halfbit_receiver_init(struct halfbit_receiver *r);

/* Takes one duration, in ticks, and gives layer 4's answer. */
uint8_t halfbit_receiver_feed(struct halfbit_receiver *r, uint32_t duration);

#endif
