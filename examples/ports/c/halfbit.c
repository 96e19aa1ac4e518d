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

/* A hint where the compiler takes one: nearly every bit of a packet is a data bit. */
#ifdef __GNUC__
#define OFTEN(x) __builtin_expect((x), 1)
#else
#define OFTEN(x) (x)
#endif

#define ONE_MIN ((uint32_t)HALFBIT_ONE_MIN)
#define ONE_MAX ((uint32_t)HALFBIT_ONE_MAX)
#define ZERO_MIN ((uint32_t)HALFBIT_ZERO_MIN)
#define ZERO_MAX ((uint32_t)HALFBIT_ZERO_MAX)
#define ZERO_TOTAL_MAX ((uint32_t)HALFBIT_ZERO_TOTAL_MAX)
#define DIFFERENCE ((uint32_t)HALFBIT_ONE_DIFFERENCE)
#define PREAMBLE_MIN ((uint32_t)HALFBIT_PREAMBLE_MIN)
#define PACKET_MIN ((uint32_t)HALFBIT_PACKET_MIN)
#define PACKET_MAX ((uint32_t)HALFBIT_PACKET_MAX)

/* Whether whole zero-bits have a limit of their own: only then must the first half be remembered. */
#define TOTAL_LIMITED (ZERO_TOTAL_MAX < 2u * ZERO_MAX)

/* The shelves of waiting. Each is as high as keeps it apart from the one below, whatever durations in
 * a one's window are subtracted. */
#define NONE 0u
#define HELD_ONE (ONE_MAX - ONE_MIN + DIFFERENCE + 1u)
#define HELD_ONE_LOWEST (ONE_MIN + DIFFERENCE + HELD_ONE)
#define HELD_ZERO (ONE_MAX + HELD_ONE + 2u * DIFFERENCE + 1u)

/* waiting has 16 bits; longer durations are faults and are not kept. The rest are halfbit.Limits' rules. */
typedef char shelves_fit[HELD_ZERO + (TOTAL_LIMITED ? ZERO_MAX : 0u) <= 0xFFFFu ? 1 : -1];
typedef char windows_fit[0u < ONE_MIN && ONE_MIN <= ONE_MAX && ONE_MAX < ZERO_MIN
                         && ZERO_MIN <= ZERO_MAX ? 1 : -1];
typedef char counts_fit[10u <= PREAMBLE_MIN && PREAMBLE_MIN <= 255u && 1u <= PACKET_MIN
                        && PACKET_MIN <= PACKET_MAX && PACKET_MAX <= 255u ? 1 : -1];

enum { COUNT_MAX = 255 };

/* States, each the start of its row in STEPS. */
enum { LOST = 0, IDLE = 6, BYTE = 12, SEPARATOR = 18 };

enum { IN_ONE, IN_RUN, IN_ZERO, IN_START, IN_SLIP, IN_FAULT };

enum { STAY, FIND, OPEN, SHIFT, NEXT, CLOSE, FAIL, EARLY };

static const uint8_t STEPS[24] = {
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
    r->shifted_ones = 0;
    r->length = 0;
}

/* Layer 4: takes the step for a bit and what it means to the packet (core.Packets.feed). */
static inline uint32_t packets_feed(struct halfbit_receiver *r, uint32_t bit, uint32_t input,
                                    uint32_t ones)
{
    uint32_t step = STEPS[r->state + input];
    uint32_t length;
    uint32_t state;
    uint32_t answer;

    if (step == STAY)
        return HALFBIT_MORE;
    length = r->length;
    if (OFTEN(step == SHIFT)) {
        uint32_t value = 2u * r->data[length] + HALFBIT_ZERO - bit;
        r->data[length] = (uint8_t)value;
        if (value > 255u) { /* the marker bit has fallen out */
            r->length = (uint8_t)(length + 1u);
            r->check = (uint8_t)(r->check ^ value);
            r->state = SEPARATOR;
        }
        return HALFBIT_MORE;
    }
    state = LOST;
    answer = bit;
    switch (step) {
    case NEXT:
        answer = HALFBIT_MANY_BYTES;
        if (length < PACKET_MAX) {
            r->data[length] = 1;
            state = BYTE;
            answer = HALFBIT_MORE;
        }
        break;
    case OPEN:
        r->preamble = (uint8_t)ones;
        r->data[0] = 1;
        r->length = 0;
        r->check = 0;
        state = BYTE;
        answer = HALFBIT_START;
        break;
    case CLOSE:
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
        break;
    case FIND:
        state = IDLE;
        answer = HALFBIT_SYNC;
        break;
    case EARLY:
        r->preamble = (uint8_t)ones;
        answer = HALFBIT_SHORT_PREAMBLE;
        break;
    default: /* FAIL: the answer is the fault */
        break;
    }
    r->state = (uint8_t)state;
    return answer;
}

uint8_t halfbit_receiver_feed(struct halfbit_receiver *r, uint32_t duration)
{
    uint32_t waiting = r->waiting;
    uint32_t ones = 0;
    uint32_t bit;   /* layer 3's answer */
    uint32_t input; /* what it means to layer 4 (core.Packets.count) */

    if (duration - ONE_MIN <= ONE_MAX - ONE_MIN) { /* half of a one-bit */
        uint32_t above = waiting - duration;

        if (above <= 2u * DIFFERENCE) { /* it begins a bit, and pairs with the half before */
            r->waiting = (uint16_t)(duration + DIFFERENCE + HELD_ONE);
            r->shifted_ones++;
            return HALFBIT_MORE;
        }
        if (above - HELD_ONE <= 2u * DIFFERENCE) { /* it ends one, and pairs */
            bit = HALFBIT_ONE;
            input = IN_ONE;
            ones = r->ones + 1u;
        } else if (waiting < HELD_ONE_LOWEST) { /* it begins one, and does not */
            r->waiting = (uint16_t)(duration + DIFFERENCE + HELD_ONE);
            r->shifted_ones = 0;
            return HALFBIT_MORE;
        } else {
            input = IN_FAULT;
            bit = waiting < HELD_ZERO ? HALFBIT_UNEQUAL : HALFBIT_UNPAIRED_ZERO;
        }
        if (bit == HALFBIT_UNPAIRED_ZERO) {
            r->waiting = (uint16_t)(duration + DIFFERENCE + HELD_ONE);
            r->shifted_ones = 0;
        } else {
            uint32_t shifted_ones = r->shifted_ones;

            r->waiting = (uint16_t)(duration + DIFFERENCE);
            if (ones >= PREAMBLE_MIN || shifted_ones >= PREAMBLE_MIN) { /* never inside a packet */
                input = IN_RUN;
                ones -= ones >> 8; /* both stop at COUNT_MAX; shifted_ones grows once more before it is read */
                if (shifted_ones == COUNT_MAX)
                    r->shifted_ones = COUNT_MAX - 1;
            }
        }
        r->ones = (uint8_t)ones;
    } else if (duration - ZERO_MIN <= ZERO_MAX - ZERO_MIN) { /* half of a zero-bit */
        if (waiting >= HELD_ZERO) {
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
            if (waiting < HELD_ONE_LOWEST)
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
