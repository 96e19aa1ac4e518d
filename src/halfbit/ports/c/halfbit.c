/* See halfbit.h, and halfbit/core.py, which this file mirrors name for name.
 *
 * Three things are held otherwise than there, to need fewer instructions, with the same answers:
 *
 * - core.Bits.held and .waiting and core.Packets.previous_half are one number here, waiting: the duration of
 *   the half-bit before, on one of three shelves. On the lowest stand one-halves that ended a bit,
 *   with NONE for nothing to pair with; a one's half that waits for its other stands HELD_ONE
 *   higher; a zero's half that waits is HELD_ZERO or more. A subtraction then tells both what is
 *   held and whether the new half-bit pairs with it.
 * - shifted_ones is brought up to date when the first part of a bit comes, not when the bit is complete. Nothing
 *   looks at it in between, and the work is spread more evenly over the half-bits.
 * - A byte is shifted in place behind a marker bit, which falls out at the top with the eighth bit.
 */

#include "halfbit.h"
#include "halfbit_rom.h"

/* A hint where the compiler takes one: nearly every bit of a packet is a data bit. */
#ifdef __GNUC__
#define OFTEN(x) __builtin_expect((x), 1)
#else
#define OFTEN(x) (x)
#endif

/* small counts up to 255 and one more, word up to 65535: each in the register that the chip handles fastest. */
#ifdef __AVR__
typedef uint16_t word;
typedef uint8_t small;
#else
typedef uint32_t word;
typedef uint32_t small;
#endif

#define ONE_MIN ((uint32_t)(HALFBIT_ONE_MIN))
#define ONE_MAX ((uint32_t)(HALFBIT_ONE_MAX))
#define ZERO_MIN ((uint32_t)(HALFBIT_ZERO_MIN))
#define ZERO_MAX ((uint32_t)(HALFBIT_ZERO_MAX))
#define ZERO_TOTAL_MAX ((uint32_t)(HALFBIT_ZERO_TOTAL_MAX))
#define PREAMBLE_MIN ((small)(HALFBIT_PREAMBLE_MIN))
#define PACKET_MIN ((small)(HALFBIT_PACKET_MIN))
#define PACKET_MAX ((small)(HALFBIT_PACKET_MAX))

/* A larger difference than the window's width is as good as none. */
#define WIDTH (ONE_MAX - ONE_MIN)
#define DIFFERENCE ((uint32_t)(HALFBIT_ONE_DIFFERENCE) < WIDTH ? (uint32_t)(HALFBIT_ONE_DIFFERENCE) : WIDTH)

/* Whether whole zero-bits have a limit of their own: only then must the first half be remembered. */
#define TOTAL_LIMITED (ZERO_TOTAL_MAX < 2u * ZERO_MAX)

/* The shelves of waiting. Each is as high as keeps it apart from the one below, whatever durations in
 * a one's window are subtracted. */
#define NONE 0u
#define PAIRS ((word)(2u * DIFFERENCE)) /* how far apart, shelf and DIFFERENCE subtracted, two that pair can be */
#define HELD_ONE (WIDTH + DIFFERENCE + 1u)
#define HELD_ONE_LOWEST (ONE_MIN + DIFFERENCE + HELD_ONE)
#define HELD_ZERO (ONE_MAX + HELD_ONE + 2u * DIFFERENCE + 1u)

/* What stops the compiler: limits that are not halfbit.Limits' rules; a sum beyond the 16 bits of waiting (longer
 * durations are faults and are not kept); limits that have wrapped round. The preprocessor calculates in 64 bits: if it
 * and an expression of the program disagree whether a limit fits 16 bits, then the expression has wrapped round. */
#define ASSERT(name, condition) typedef char name[(condition) ? 1 : -1]
#define WIDE(limit) ((limit) > UINT32_C(0xFFFF))
ASSERT(shelves_fit, HELD_ZERO + (TOTAL_LIMITED ? ZERO_MAX : 0u) <= 0xFFFFu);
ASSERT(windows_fit, 0u < ONE_MIN && ONE_MIN <= ONE_MAX && ONE_MAX < ZERO_MIN && ZERO_MIN <= ZERO_MAX);
ASSERT(counts_fit, 10u <= (HALFBIT_PREAMBLE_MIN) && (HALFBIT_PREAMBLE_MIN) <= 255u && 1u <= (HALFBIT_PACKET_MIN)
                       && (HALFBIT_PACKET_MIN) <= (HALFBIT_PACKET_MAX) && (HALFBIT_PACKET_MAX) <= 255u);
#if HALFBIT_ZERO_MAX > 0x7FFFFFFF || HALFBIT_ZERO_TOTAL_MAX > 0xFFFFFFFF || HALFBIT_ZERO_MIN > HALFBIT_ZERO_MAX
#error "the timer is too fast: its limits do not fit 32 bits"
#endif
#if HALFBIT_ZERO_MAX > 0xFFFF
ASSERT(zero_max_is_whole, WIDE(ZERO_MAX));
#else
ASSERT(zero_max_is_whole, !WIDE(ZERO_MAX));
#endif
#if HALFBIT_ZERO_TOTAL_MAX > 0xFFFF
ASSERT(zero_total_max_is_whole, WIDE(ZERO_TOTAL_MAX));
#else
ASSERT(zero_total_max_is_whole, !WIDE(ZERO_TOTAL_MAX));
#endif

enum { COUNT_MAX = 255 };

/* States, each the start of its row in STEPS. */
enum { LOST = 0, IDLE = 6, BYTE = 12, SEPARATOR = 18 };

enum { IN_ONE, IN_RUN, IN_ZERO, IN_START, IN_SLIP, IN_FAULT };

enum { STAY, FIND, OPEN, SHIFT, NEXT, CLOSE, FAIL, EARLY };

static const uint8_t STEPS[24] HALFBIT_ROM = {
    /* ONE  RUN    ZERO   START  SLIP  FAULT */
    STAY,   FIND,  STAY,  STAY,  STAY, FAIL, /* LOST */
    STAY,   STAY,  EARLY, OPEN,  STAY, FAIL, /* IDLE */
    SHIFT,  SHIFT, SHIFT, SHIFT, FAIL, FAIL, /* BYTE */
    CLOSE,  CLOSE, NEXT,  NEXT,  FAIL, FAIL, /* SEPARATOR */
};

void halfbit_receiver_init(struct halfbit_receiver *r)
{
    r->state = LOST;
    r->waiting = NONE;
    r->ones = 0;
    r->length = 0; /* the rest is written before it is read */
}

/* Layer 4: takes the step for a bit and what it means to the packet (core.Packets.feed).
 * Comparisons rather than a switch: for that some compilers call a function of their own library. */
static inline small packets_feed(struct halfbit_receiver *r, small bit, small input, word ones)
{
    small step = HALFBIT_ROM_8(STEPS[r->state + input]);
    small length;
    small state = LOST;
    small answer = bit;

    if (step == STAY)
        return HALFBIT_MORE;
    length = r->length;
    if (OFTEN(step == SHIFT)) {
        word value = (word)(2u * r->data[length] + HALFBIT_ZERO - bit);
        r->data[length] = (uint8_t)value;
        if (value > 255u) { /* the marker bit has fallen out */
            r->length = (uint8_t)(length + 1u);
            r->check = (uint8_t)(r->check ^ value);
            r->state = SEPARATOR;
        }
        return HALFBIT_MORE;
    }
    if (step == NEXT) {
        answer = HALFBIT_MANY_BYTES;
        if (length < PACKET_MAX) {
            r->data[length] = 1;
            state = BYTE;
            answer = HALFBIT_MORE;
        }
    } else if (step == OPEN) {
        r->preamble = (uint8_t)ones;
        r->data[0] = 1;
        r->length = 0;
        r->check = 0;
        state = BYTE;
        answer = HALFBIT_START;
    } else if (step == CLOSE) {
        answer = HALFBIT_FEW_BYTES;
        if (length >= PACKET_MIN) {
            answer = HALFBIT_ERROR_BYTE;
            if (r->check == 0) {
                /* The end bit counts for the next preamble, the bits before it do not (S-9.2 A). Its
                 * last half stays in waiting, to pair one half-bit later if a half was lost before. */
                r->ones = 1;
                r->shifted_ones = 0;
                state = IDLE;
                answer = HALFBIT_PACKET;
            }
        }
    } else if (step == FIND) {
        state = IDLE;
        answer = HALFBIT_SYNC;
    } else if (step == EARLY) {
        r->preamble = (uint8_t)ones;
        answer = HALFBIT_SHORT_PREAMBLE;
    } /* else FAIL: the answer is the fault */
    r->state = (uint8_t)state;
    return answer;
}

uint8_t halfbit_receiver_feed(struct halfbit_receiver *r, uint32_t duration)
{
    word waiting = r->waiting;
    word ones = 0;
    small bit;   /* layer 3's answer */
    small input; /* what it means to layer 4 (core.Packets.count) */

    if (duration - ONE_MIN <= WIDTH) { /* half of a one-bit */
        word half = (word)duration;
        word above = (word)(waiting - half);

        if (above <= PAIRS) { /* it begins a bit, and pairs with the half before */
            r->waiting = (uint16_t)(half + (word)(DIFFERENCE + HELD_ONE));
            r->shifted_ones++;
            return HALFBIT_MORE;
        }
        if ((word)(above - (word)HELD_ONE) <= PAIRS) { /* it ends one, and pairs */
            bit = HALFBIT_ONE;
            input = IN_ONE;
            ones = (word)(r->ones + 1u);
        } else if (waiting < (word)HELD_ONE_LOWEST) { /* it begins one, and does not */
            r->waiting = (uint16_t)(half + (word)(DIFFERENCE + HELD_ONE));
            r->shifted_ones = 0;
            return HALFBIT_MORE;
        } else {
            input = IN_FAULT;
            bit = waiting < (word)HELD_ZERO ? HALFBIT_UNEQUAL : HALFBIT_UNPAIRED_ZERO;
        }
        if (bit == HALFBIT_UNPAIRED_ZERO) {
            r->waiting = (uint16_t)(half + (word)(DIFFERENCE + HELD_ONE));
            r->shifted_ones = 0;
        } else {
            small shifted_ones = r->shifted_ones;

            r->waiting = (uint16_t)(half + (word)DIFFERENCE);
            if (ones >= PREAMBLE_MIN || shifted_ones >= PREAMBLE_MIN) { /* never inside a packet */
                input = IN_RUN;
                ones = (word)(ones - (ones >> 8)); /* both stop at COUNT_MAX; shifted_ones grows once more before it is read */
                if (shifted_ones == COUNT_MAX)
                    r->shifted_ones = COUNT_MAX - 1;
            }
        }
        r->ones = (uint8_t)ones;
    } else if (duration - ZERO_MIN <= ZERO_MAX - ZERO_MIN) { /* half of a zero-bit */
        if (waiting >= (word)HELD_ZERO) {
            r->waiting = NONE;
            ones = r->ones;
            r->ones = 0;
            bit = HALFBIT_ZERO;
            input = ones >= PREAMBLE_MIN ? IN_START : IN_ZERO;
            if (TOTAL_LIMITED && waiting - HELD_ZERO + duration > ZERO_TOTAL_MAX) {
                bit = HALFBIT_ZERO_TOO_LONG;
                input = IN_FAULT;
            }
        } else {
            r->waiting = (uint16_t)(HELD_ZERO + (TOTAL_LIMITED ? duration : 0u));
            if (waiting < (word)HELD_ONE_LOWEST)
                return HALFBIT_MORE;
            bit = HALFBIT_UNPAIRED_ONE;
            input = IN_SLIP;
            ones = r->shifted_ones; /* the pairs were one half-bit off: this count is the truth */
            r->ones = (uint8_t)ones;
            if (ones >= PREAMBLE_MIN) /* never inside a packet: there shifted_ones is less than ones */
                input = IN_RUN;
        }
    } else { /* no half-bit */
        r->waiting = NONE;
        r->ones = 0;
        bit = duration < ONE_MIN ? HALFBIT_SHORT : duration < ZERO_MIN ? HALFBIT_GAP : HALFBIT_LONG;
        input = IN_FAULT;
    }
    return (uint8_t)packets_feed(r, bit, input, ones);
}
