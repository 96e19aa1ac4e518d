/* See halfbit_sum_lengths.h. This file does the same as halfbit/core_sum_lengths.py, with the same names.
 *
 * Divisions are loops of a few turns, or the function divided(): some chips cannot divide. The answers are the same.
 */

#include "halfbit_sum_lengths.h"

#define LATE ((uint32_t)(HALFBIT_SUM_LATE))
#define SCALE ((uint16_t)(HALFBIT_SUM_SCALE))
#define ONE_MIN ((uint32_t)(HALFBIT_SUM_ONE_MIN))
#define ONE_MAX ((uint32_t)(HALFBIT_SUM_ONE_MAX))

/* The constants of core_sum_lengths.py. */
enum { STRAIN_MAX = 64, DOUBT = 52, SLACK = 32, CREEP = 4, GAIN_MIN = 6, GAIN_MAX = 9 };
#define WHOLE 32768u
#define SOME 200u
#define MANY 8192u
#define MOST 18000u
#define RUN 20u
#define RUN_MAX 64u
#define RUNS 12u
#define ZEROS 25u
#define PIECE 40u
#define SURE (2u * STRAIN_MAX)
#define CLEARLY 64u
#define STRETCHED 12u

/* Those fields of Lengths that never change. */
#define FARTHEST ((int16_t)(LATE * SCALE / 2u + SLACK)) /* most */
#define SIXTEENTH ((int16_t)(FARTHEST / 16))
#define DOUBTFUL ((int16_t)(FARTHEST / 2)) /* doubt */
#define HALF_MAX ((uint16_t)(4000u / SCALE))

/* Compile-time checks: the limits follow the rules of halfbit.Limits, and all times in units fit 16 bits. */
#define ASSERT(name, condition) typedef char name[(condition) ? 1 : -1]
ASSERT(scale_fits, 1u <= (HALFBIT_SUM_SCALE) && (HALFBIT_SUM_SCALE) <= 255u);
ASSERT(late_fits, LATE * SCALE / 2u + SLACK <= 511u && RUN * ONE_MIN > LATE);
ASSERT(windows_fit, 0u < ONE_MIN && ONE_MIN <= ONE_MAX && ONE_MAX * SCALE <= 1600u && ONE_MAX < (HALFBIT_SUM_ZERO_MAX));
#if HALFBIT_SUM_ZERO_MAX > 0x7FFFFFFF
#error "the timer is too fast: its limits do not fit 32 bits"
#endif

typedef struct halfbit_sum_length length_t;
typedef struct halfbit_sum_lengths lengths_t;
typedef struct halfbit_sum_boundaries boundaries_t;
typedef struct halfbit_sum_learner learner_t;

static uint32_t divided(uint32_t number, uint32_t by)
{
    uint32_t result = 0;
    uint32_t rest = 0;
    uint8_t i;

    for (i = 0; i < 32u; i++) {
        rest = rest << 1 | number >> 31;
        number <<= 1;
        result <<= 1;
        if (rest >= by) {
            rest -= by;
            result++;
        }
    }
    return result;
}

static void length_begin(length_t *l, int16_t value)
{
    l->value = value;
    l->rest = 0;
    l->gain = GAIN_MIN;
    l->seen = 1u << GAIN_MIN;
}

static int16_t length_learn(length_t *l, int16_t off)
{
    uint8_t gain = (uint8_t)(l->gain + 1u);
    int16_t part = (int16_t)(1 << gain);
    int16_t rest = (int16_t)(l->rest + off);
    int16_t change = 0;

    for (; rest < 0; rest = (int16_t)(rest + part))
        change--;
    for (; rest >= part; rest = (int16_t)(rest - part))
        change++;
    l->rest = rest;
    l->value = (int16_t)(l->value + change);
    if (gain <= GAIN_MAX && ++l->seen == (uint16_t)part)
        l->gain = gain;
    return change;
}

void halfbit_sum_lengths_begin(lengths_t *l, int16_t one, int16_t zero, uint8_t stretches)
{
    uint32_t apart = zero > one ? (uint32_t)(zero - one) : 1u;

    length_begin(&l->one, one);
    length_begin(&l->zero, zero);
    l->shorter = (uint16_t)divided((uint32_t)FARTHEST * (uint32_t)FARTHEST, 3u * apart);
    if (l->shorter == 0)
        l->shorter = 1;
    l->stretching = stretches ? WHOLE / 2u : 0u;
}

uint8_t halfbit_sum_many_stretched(const lengths_t *l)
{
    return l->stretching > MANY;
}

void halfbit_sum_boundaries_lose(boundaries_t *b)
{
    b->strain = STRAIN_MAX;
    b->stretched = 0;
    b->low = b->likely = -FARTHEST;
    b->high = FARTHEST;
}

static void boundaries_astray(boundaries_t *b, lengths_t *l, uint8_t bit, int16_t low, int16_t high, int16_t half)
{
    uint8_t steps = 0;
    int16_t over;

    if (bit == HALFBIT_ONE || (low < 0 && l->stretching <= MOST)) {
        over = (int16_t)(low > 0 ? low - FARTHEST : -FARTHEST - high);
        while (over >= SIXTEENTH && steps < 8u) {
            over = (int16_t)(over - SIXTEENTH);
            steps++;
        }
        b->strain = (uint8_t)(b->strain + steps * steps);
        b->low = b->likely = low > 0 ? FARTHEST / 2 : -FARTHEST;
        b->high = low > 0 ? FARTHEST : -(FARTHEST / 2);
        return;
    }
    b->stretched = 1;
    if (b->teaches)
        l->stretching = (uint16_t)(l->stretching + ((WHOLE - l->stretching) >> 5));
    b->low = b->likely = -FARTHEST;
    b->high = FARTHEST;
    over = (int16_t)((int16_t)((uint16_t)(l->one.value + l->zero.value) >> 1) - 2 * half);
    while (over >= (int16_t)l->shorter && steps < STRAIN_MAX) {
        over = (int16_t)(over - (int16_t)l->shorter);
        steps++;
    }
    b->strain = (uint8_t)(b->strain + steps);
}

/* A half-bit in units. Longer ones than HALF_MAX count as that. */
static int16_t in_units(halfbit_sum_duration half)
{
    return (int16_t)((half < HALF_MAX ? (uint16_t)half : HALF_MAX) * SCALE);
}

uint8_t halfbit_sum_boundaries_bit(boundaries_t *b, lengths_t *l, halfbit_sum_duration first_half,
                                   halfbit_sum_duration last_half)
{
    int16_t first = in_units(first_half);
    int16_t last = in_units(last_half);
    int16_t low = (int16_t)(b->low + first + last);
    int16_t high = (int16_t)(b->high + first + last);
    int16_t likely = (int16_t)(b->likely + first + last);
    int16_t middle = (int16_t)((b->low + b->likely + 2 * FARTHEST) / 2 - FARTHEST); /* rounded down */
    int16_t beyond = (int16_t)(middle + first + last + high - l->one.value - l->zero.value);
    uint8_t bit = beyond <= 0 ? HALFBIT_ONE : HALFBIT_ZERO;
    int16_t length = bit == HALFBIT_ONE ? l->one.value : l->zero.value;

    b->strain = -DOUBTFUL < beyond && beyond < DOUBTFUL ? DOUBT : 0;
    b->stretched = 0;
    low = (int16_t)(low - length - CREEP);
    high = (int16_t)(high - length + CREEP);
    likely = (int16_t)(likely - length - CREEP);
    if (low > FARTHEST || high < -FARTHEST) {
        boundaries_astray(b, l, bit, low, high, first < last ? first : last);
        return bit;
    }
    if (b->teaches) {
        if (bit == HALFBIT_ZERO)
            l->stretching = (uint16_t)(l->stretching - (l->stretching >> 5));
        if (high - likely <= FARTHEST && likely <= FARTHEST) {
            int16_t change = length_learn(bit == HALFBIT_ONE ? &l->one : &l->zero, (int16_t)(likely + high));

            low = (int16_t)(low - change);
            high = (int16_t)(high - change);
            likely = (int16_t)(likely - change);
        }
    }
    if (bit == HALFBIT_ZERO && l->stretching > SOME) {
        low = -FARTHEST;
        if (l->stretching > MANY)
            likely = low;
    }
    b->low = low > -FARTHEST ? low : -FARTHEST;
    b->high = high < FARTHEST ? high : FARTHEST;
    b->likely = b->low < likely && likely <= FARTHEST ? likely : b->low;
    return bit;
}

static void learner_try_lengths(learner_t *t)
{
    boundaries_t phases[2];
    uint16_t piece;

    phases[0].teaches = phases[1].teaches = 0;
    halfbit_sum_boundaries_lose(&phases[0]);
    halfbit_sum_boundaries_lose(&phases[1]);
    t->cost = t->strain = t->stretched = 0;
    for (piece = 0; piece + 1u < t->count; piece = (uint16_t)(piece + PIECE)) {
        uint16_t best = 0;
        uint16_t strain = 0;
        uint16_t stretched = 0;
        uint8_t phase;

        for (phase = 0; phase < 2u; phase++) {
            uint16_t at = (uint16_t)(piece + phase);
            uint16_t last = (uint16_t)(at + PIECE < t->count ? at + PIECE : t->count);
            uint16_t sum_strain = 0;
            uint16_t sum_stretched = 0;
            uint16_t cost;

            for (; at + 1u < last; at = (uint16_t)(at + 2u)) {
                halfbit_sum_boundaries_bit(&phases[phase], &t->lengths, t->recent[at], t->recent[at + 1u]);
                sum_strain = (uint16_t)(sum_strain + phases[phase].strain);
                sum_stretched = (uint16_t)(sum_stretched + phases[phase].stretched);
            }
            cost = (uint16_t)(sum_strain + STRETCHED * sum_stretched);
            if (phase == 0 || cost < best) {
                best = cost;
                strain = sum_strain;
                stretched = sum_stretched;
            }
        }
        t->cost = (uint16_t)(t->cost + best);
        t->strain = (uint16_t)(t->strain + strain);
        t->stretched = (uint16_t)(t->stretched + stretched);
    }
}

static uint8_t learner_fits(learner_t *t, uint16_t start, uint16_t end)
{
    const uint32_t fine = 16u * SCALE; /* parts of a tick */
    uint32_t count = (uint32_t)(end - start);
    uint32_t half;
    int32_t low = 0;
    int32_t high = 0;
    int32_t off = 0;
    uint16_t place;

    t->total = 0;
    for (place = start; place < end; place++) {
        if (t->recent[place] > HALF_MAX)
            return 0;
        t->total += t->recent[place] * (((uint32_t)(place - start) + 1u) * (uint32_t)(end - place));
    }
    t->weight = divided(count * (count + 1u) * (count + 2u), 6u);
    half = divided(t->total * fine, t->weight);
    if (half < ONE_MIN * fine || half > ONE_MAX * fine)
        return 0;
    for (place = start; place < end; place++) {
        off += (int32_t)(t->recent[place] * fine) - (int32_t)half;
        if (off < low)
            low = off;
        if (off > high)
            high = off;
    }
    return (uint32_t)(high - low) <= 16u * (LATE * SCALE + SLACK);
}

/* True if a run that was used begins near a place. */
static uint8_t near(const uint16_t *reached, uint8_t runs, uint16_t begin)
{
    while (runs--)
        if (begin + 2u * RUN > reached[runs] && begin < reached[runs] + 2u * RUN)
            return 1;
    return 0;
}

static void learner_run(learner_t *t)
{
    const uint32_t low = RUN * ONE_MIN - LATE;
    uint16_t reached[RUNS];
    uint8_t runs = 0;
    uint32_t total = 0;
    uint32_t weights = 0;
    uint32_t span = 0;
    uint16_t index = 0;
    uint8_t tried;

    for (tried = 0; tried < RUNS; tried++) {
        uint32_t shortest = 0;
        uint32_t length = 0;
        uint16_t begin = 0;
        uint16_t end;
        uint16_t at;

        for (end = 1; end <= t->count; end++) {
            length += t->recent[end - 1u];
            if (end < RUN)
                continue;
            at = (uint16_t)(end - RUN);
            if (low <= length && length <= RUN * ONE_MAX + LATE && (length > span || (length == span && at > index))
                && (shortest == 0 || length < shortest) && !near(reached, runs, at)) {
                shortest = length;
                begin = at;
            }
            length -= t->recent[at];
        }
        if (shortest == 0)
            break;
        span = shortest;
        index = begin;
        end = (uint16_t)(begin + RUN);
        if (!learner_fits(t, begin, end))
            continue;
        reached[runs++] = begin;
        while (begin > 1u && end - begin < (int)RUN_MAX && learner_fits(t, (uint16_t)(begin - 2u), end))
            begin = (uint16_t)(begin - 2u);
        while (end + 1u < t->count && end - begin < (int)RUN_MAX && learner_fits(t, begin, (uint16_t)(end + 2u)))
            end = (uint16_t)(end + 2u);
        learner_fits(t, begin, end);
        total += t->total;
        weights += t->weight;
    }
    t->one = (int16_t)(weights == 0 ? 0 : divided(2u * total * SCALE, weights));
}

static int16_t learner_zero_tried(const learner_t *t, uint8_t index)
{
    uint16_t one = (uint16_t)t->one;

    return (int16_t)(one + (one >> 1) + index * (one >> 5));
}

void halfbit_sum_learn(learner_t *t)
{
    uint16_t costs[ZEROS];
    uint16_t best_strain = 0;
    uint16_t best_stretched = 0;
    uint16_t rival = 0;
    uint8_t rivals = 0;
    int16_t eighth;
    uint8_t i;

    learner_run(t);
    t->fit = t->sure = 0;
    if (t->one == 0)
        return; /* no run of ones, so no preamble and no packet */
    eighth = (int16_t)((uint16_t)t->one >> 3);
    t->best = 0;
    t->zero = 0;
    for (i = 0; i < ZEROS; i++) {
        halfbit_sum_lengths_begin(&t->lengths, t->one, learner_zero_tried(t, i), 0);
        learner_try_lengths(t);
        costs[i] = t->cost;
        if (i == 0 || t->cost < t->best || (t->cost == t->best && t->strain < best_strain)) {
            t->best = t->cost;
            best_strain = t->strain;
            best_stretched = t->stretched;
            t->zero = t->lengths.zero.value;
        }
    }
    for (i = 0; i < ZEROS; i++) {
        int16_t apart = (int16_t)(learner_zero_tried(t, i) - t->zero);

        if ((apart > eighth || -apart > eighth) && (!rivals || costs[i] < rival)) {
            rival = costs[i];
            rivals = 1;
        }
    }
    t->stretches = best_stretched > t->count >> 6;
    t->fit = best_strain <= SURE;
    t->sure = t->fit && rivals && 2u * (uint32_t)rival >= 3u * (uint32_t)t->best + 2u * CLEARLY;
}

uint8_t halfbit_sum_better(learner_t *t, const lengths_t *known)
{
    halfbit_sum_lengths_begin(&t->lengths, known->one.value, known->zero.value, 0);
    t->lengths.stretching = known->stretching;
    learner_try_lengths(t);
    return t->cost >= t->best + CLEARLY;
}
