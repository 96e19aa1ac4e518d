/* The core in C, for small boards: half-bits, bits and packets of the digital track signal.
 *
 * It has the same names as halfbit/core.py and gives the same answer to every feed. The theory is explained there.
 * Rules for this code:
 *
 * - C99, freestanding: no library, no heap, no floating point, no global state, no recursion. The whole state is in one
 *   struct. No division and no switch, so that compilers call no library of their own. One does all the same: gcc -Os
 *   for a Cortex-M0+ makes a table of jumps (see "The receiver in C" in docs/porting.rst).
 * - Durations are in timer ticks. The limits below are calculated from the length of a tick.
 * - halfbit_receiver_feed() may run in an interrupt. It accepts any duration and returns one of the answers below,
 *   in a bounded number of instructions. The figures are in docs/porting.rst.
 */
#ifndef HALFBIT_H
#define HALFBIT_H

#include <stdint.h>

/* HALFBIT_TIMER_TICKS ticks of the timer last HALFBIT_TIMER_US us. Example: for 2.5 ticks per us, 5 and 2. */
#ifndef HALFBIT_TICKS_PER_US
#define HALFBIT_TICKS_PER_US 1
#endif
#ifndef HALFBIT_TIMER_TICKS
#define HALFBIT_TIMER_TICKS HALFBIT_TICKS_PER_US
#endif
#ifndef HALFBIT_TIMER_US
#define HALFBIT_TIMER_US 1
#endif

/* Largest measuring error of a duration, in ticks. Each window is wider by it on both sides, and the allowed difference
 * of two halves by twice as much. Use 1 for a timer whose count may be wrong by one, and more for an isolator that
 * delays one direction of change: see "Isolators" in docs/porting.rst. */
#ifndef HALFBIT_TOLERANCE
#define HALFBIT_TOLERANCE 0
#endif

/* A bound in us as ticks, rounded so that it stays inside the bound. Uses 32 bits on every chip: an int may have 16. */
#define HALFBIT_FROM_US(us) \
    (((us) * UINT32_C(1) * (HALFBIT_TIMER_TICKS) + (HALFBIT_TIMER_US) - 1u) / (HALFBIT_TIMER_US) - (HALFBIT_TOLERANCE))
#define HALFBIT_TO_US(us) \
    (((us) * UINT32_C(1) * (HALFBIT_TIMER_TICKS)) / (HALFBIT_TIMER_US) + (HALFBIT_TOLERANCE))

/* Limits, in ticks, all bounds included. The defaults are the limits of a decoder (S-9.1 A, table 1). */
#ifndef HALFBIT_ONE_MIN
#define HALFBIT_ONE_MIN HALFBIT_FROM_US(52)
#endif
#ifndef HALFBIT_ONE_MAX
#define HALFBIT_ONE_MAX HALFBIT_TO_US(64)
#endif
/* Use HALFBIT_ANY_DIFFERENCE to switch this rule off: the halves of a one-bit then need not match. It helps if an
 * isolator makes one half longer than the other, but protects less against wrong readings. */
#define HALFBIT_ANY_DIFFERENCE UINT32_C(0xFFFFFFFF)
#ifndef HALFBIT_ONE_DIFFERENCE
#define HALFBIT_ONE_DIFFERENCE (HALFBIT_TO_US(6) + (HALFBIT_TOLERANCE))
#endif
#ifndef HALFBIT_ZERO_MIN
#define HALFBIT_ZERO_MIN HALFBIT_FROM_US(90)
#endif
#ifndef HALFBIT_ZERO_MAX
#define HALFBIT_ZERO_MAX HALFBIT_TO_US(10000)
#endif
/* For a decoder a whole zero-bit has no limit of its own; only its halves have limits. */
#ifndef HALFBIT_ZERO_TOTAL_MAX
#define HALFBIT_ZERO_TOTAL_MAX (2u * (HALFBIT_ZERO_MAX))
#endif
/* Fewest one-bits of a preamble, fewest bytes of a packet (S-9.2 A), and most bytes of a packet. */
#ifndef HALFBIT_PREAMBLE_MIN
#define HALFBIT_PREAMBLE_MIN 10
#endif
#ifndef HALFBIT_PACKET_MIN
#define HALFBIT_PACKET_MIN 3
#endif
#ifndef HALFBIT_PACKET_MAX
#define HALFBIT_PACKET_MAX 15
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* Answers. Their meanings are in halfbit/core.py. */
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

/* The state of layers 2 to 4.
 *
 * After HALFBIT_PACKET, data[0 .. length-1] is the packet, error detection byte included, and preamble is the number of
 * one-bits before it (255 for 255 or more). After a fault, data[0 .. length-1] holds the complete bytes. After
 * HALFBIT_SHORT_PREAMBLE, preamble is the number of one-bits. The other fields are internal. */
struct halfbit_receiver {
    uint8_t data[HALFBIT_PACKET_MAX]; /* data[length] is the byte being received */
    uint8_t length;
    uint16_t waiting; /* layer 3: see halfbit.c */
    uint8_t ones;     /* layer 4: see core.py */
    uint8_t shifted_ones;
    uint8_t state;
    uint8_t check;
    uint8_t preamble;
};

/* Call this before the first feed. */
void halfbit_receiver_init(struct halfbit_receiver *r);

/* Takes one duration, in ticks, and returns layer 4's answer. */
uint8_t halfbit_receiver_feed(struct halfbit_receiver *r, uint32_t duration);

#ifdef __cplusplus
}
#endif

#endif
