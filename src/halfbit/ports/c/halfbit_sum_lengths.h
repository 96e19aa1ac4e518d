/* The lengths of the station's bits, for the decision by sum. Part of halfbit_sum.h: include that.
 *
 * The same as halfbit/core_sum_lengths.py, with the same names.
 */
#ifndef HALFBIT_SUM_LENGTHS_H
#define HALFBIT_SUM_LENGTHS_H

#include "halfbit.h"

/* Longest time from a level change until the board sees it, minus the shortest, in ticks: the period of a polled loop,
 * or how much an isolator delays one direction of change more than the other. At most 42 us. */
#ifndef HALFBIT_SUM_LATE
#define HALFBIT_SUM_LATE HALFBIT_TO_US(40)
#endif
/* Units of time in a tick: a unit is about 1/16 us. */
#ifndef HALFBIT_SUM_SCALE
#define HALFBIT_SUM_SCALE (16u * (HALFBIT_TIMER_US) / (HALFBIT_TIMER_TICKS))
#endif
/* Limits, in ticks, as halfbit.Limits.for_sampling_period() has them. */
#ifndef HALFBIT_SUM_ONE_MIN
#define HALFBIT_SUM_ONE_MIN (HALFBIT_FROM_US(52) - (HALFBIT_SUM_LATE) / 2u)
#endif
#ifndef HALFBIT_SUM_ONE_MAX
#define HALFBIT_SUM_ONE_MAX HALFBIT_TO_US(77)
#endif
#ifndef HALFBIT_SUM_ZERO_MAX
#define HALFBIT_SUM_ZERO_MAX (HALFBIT_TO_US(10000) + (HALFBIT_SUM_LATE))
#endif
#ifdef __cplusplus
extern "C" {
#endif

#if HALFBIT_SUM_ZERO_MAX < 0xFFFF
typedef uint16_t halfbit_sum_duration;
#else
typedef uint32_t halfbit_sum_duration;
#endif

/* core_sum_lengths.Length, Lengths, Boundaries. */
struct halfbit_sum_length {
    int16_t value;
    int16_t rest;
    uint16_t seen;
    uint8_t gain;
};

struct halfbit_sum_lengths {
    struct halfbit_sum_length one;
    struct halfbit_sum_length zero;
    uint16_t shorter;
    uint16_t stretching;
};

struct halfbit_sum_boundaries {
    int16_t low;
    int16_t high;
    int16_t likely;
    uint8_t strain;
    uint8_t stretched;
    uint8_t teaches;
};

/* core_sum_lengths.Learner. It is on the stack while it learns. */
struct halfbit_sum_learner {
    const halfbit_sum_duration *recent; /* the first of the durations */
    uint16_t count;                     /* how many there are */
    int16_t one;
    int16_t zero;
    uint8_t stretches;
    uint8_t fit;
    uint8_t sure;
    uint16_t best;
    uint16_t cost;
    uint16_t strain;
    uint16_t stretched;
    uint32_t total;
    uint32_t weight;
    struct halfbit_sum_lengths lengths;
};

void halfbit_sum_lengths_begin(struct halfbit_sum_lengths *l, int16_t one, int16_t zero, uint8_t stretches);
uint8_t halfbit_sum_many_stretched(const struct halfbit_sum_lengths *l);
void halfbit_sum_boundaries_lose(struct halfbit_sum_boundaries *b);
uint8_t halfbit_sum_boundaries_bit(struct halfbit_sum_boundaries *b, struct halfbit_sum_lengths *l,
                                   halfbit_sum_duration first, halfbit_sum_duration last);
void halfbit_sum_learn(struct halfbit_sum_learner *t);
uint8_t halfbit_sum_better(struct halfbit_sum_learner *t, const struct halfbit_sum_lengths *known);

#ifdef __cplusplus
}
#endif

#endif
