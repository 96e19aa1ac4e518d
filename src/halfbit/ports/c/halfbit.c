/* See halfbit.h. This file does the same as halfbit/core.py, with the same names.
 *
 * Three things are stored differently, to need fewer instructions. The answers are the same:
 *
 * - core.Bits.held, core.Bits.waiting and core.Packets.previous_half are one number here, waiting: the duration of the
 *   previous half-bit plus an offset that shows its kind. There are three ranges. Lowest: the last half of a one-bit,
 *   or NONE if there is no half to pair with. HELD_ONE higher: the first half of a one-bit, which waits for its last
 *   half. HELD_ZERO or more: the first half of a zero-bit. One subtraction then shows the kind, and if the new half-bit
 *   pairs with it.
 * - shifted_ones is updated at the first half of a bit, not when the bit is complete. Nothing reads it in between, and
 *   the work is spread more evenly over the half-bits.
 * - A byte starts as a single marker bit. The data bits shift it up; it falls out at the top with the eighth bit.
 */

#include "halfbit.h"
#include "halfbit_rom.h"

/* A hint for compilers that accept one: nearly every bit of a packet is a data bit. */
#ifdef __GNUC__
#define OFTEN(x) __builtin_expect((x), 1)
#else
#define OFTEN(x) (x)
#endif

/* small holds at least 0 to 255, word at least 0 to 65535. Each uses the type that the chip handles fastest. */
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

/* A limit wider than the window of a half-bit is the same as no limit. */
#define WIDTH (ONE_MAX - ONE_MIN)
#define DIFFERENCE ((uint32_t)(HALFBIT_ONE_DIFFERENCE) < WIDTH ? (uint32_t)(HALFBIT_ONE_DIFFERENCE) : WIDTH)

/* 1 if whole zero-bits have their own limit. Only then must the duration of the first half be remembered. */
#define TOTAL_LIMITED (ZERO_TOTAL_MAX < 2u * ZERO_MAX)

/* The ranges of waiting. They are far enough apart that subtracting any half of a one-bit cannot mix them up. */
#define NONE 0u
#define PAIRS ((word)(2u * DIFFERENCE)) /* largest result of the subtraction for two halves that pair */
#define HELD_ONE (WIDTH + DIFFERENCE + 1u)
#define HELD_ONE_LOWEST (ONE_MIN + DIFFERENCE + HELD_ONE)
#define HELD_ZERO (ONE_MAX + HELD_ONE + 2u * DIFFERENCE + 1u)

/* Compile-time checks: the limits follow the rules of halfbit.Limits; sums fit the 16 bits of waiting (longer durations
 * are faults and are not stored); no limit has overflowed. The preprocessor calculates in 64 bits. If preprocessor and
 * compiler disagree about a limit that should fit 16 bits, it has overflowed in the compiler. */
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

/* States. The value is the index of the state's row in STEPS. */
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
    r->length = 0; /* all other fields are written before they are read */
}

/* Layer 4: does the step for a bit and its input class (core.Packets.feed).
 * It uses comparisons, not a switch: for a switch, some compilers call a function of their library. */
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
                /* The end bit counts for the next preamble; the bits before it do not (S-9.2 A). Its last half
                 * stays in waiting, so that it can pair one half-bit later if a half was lost before. */
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
    small input; /* its input class for layer 4 (core.Packets.count) */

    if (duration - ONE_MIN <= WIDTH) { /* half of a one-bit */
        word half = (word)duration;
        word above = (word)(waiting - half);

        if (above <= PAIRS) { /* first half of a bit; pairs with the half before */
            r->waiting = (uint16_t)(half + (word)(DIFFERENCE + HELD_ONE));
            r->shifted_ones++;
            return HALFBIT_MORE;
        }
        if ((word)(above - (word)HELD_ONE) <= PAIRS) { /* last half of a bit; pairs */
            bit = HALFBIT_ONE;
            input = IN_ONE;
            ones = (word)(r->ones + 1u);
        } else if (waiting < (word)HELD_ONE_LOWEST) { /* first half of a bit; does not pair */
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
                ones = (word)(ones - (ones >> 8)); /* both stop at COUNT_MAX; shifted_ones grows before a read */
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
            ones = r->shifted_ones; /* the pairs were shifted by one half-bit: this count is right */
            r->ones = (uint8_t)ones;
            if (ones >= PREAMBLE_MIN) /* never inside a packet: there shifted_ones is less than ones */
                input = IN_RUN;
        }
    } else { /* not a half-bit */
        r->waiting = NONE;
        r->ones = 0;
        bit = duration < ONE_MIN ? HALFBIT_SHORT : duration < ZERO_MIN ? HALFBIT_GAP : HALFBIT_LONG;
        input = IN_FAULT;
    }
    return (uint8_t)packets_feed(r, bit, input, ones);
}
