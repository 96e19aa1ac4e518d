/* What a receiver by sum remembers, as numbers, for tests: the same as numbers_of() in support_sum.py. */
#include "halfbit_sum.h"

uint32_t sum_size(void);
uint32_t sum_numbers(const struct halfbit_sum *s, int32_t *out);
uint8_t sum_packet(const struct halfbit_sum *s, uint8_t *out);

uint32_t sum_size(void)
{
    return sizeof(struct halfbit_sum);
}

uint8_t sum_packet(const struct halfbit_sum *s, uint8_t *out)
{
    uint8_t i;

    *out++ = s->preamble;
    for (i = 0; i < s->length; i++)
        *out++ = s->data[i];
    return s->length;
}

static int32_t *length_numbers(const struct halfbit_sum_length *l, int32_t *out)
{
    *out++ = l->value;
    *out++ = l->rest;
    *out++ = l->seen;
    *out++ = l->gain;
    return out;
}

uint32_t sum_numbers(const struct halfbit_sum *s, int32_t *out)
{
    const int32_t *begin = out;
    int i;

    *out++ = s->due;
    *out++ = s->known;
    *out++ = s->behind;
    *out++ = s->at;
    *out++ = s->count;
    *out++ = s->blocks;
    *out++ = s->patience;
    *out++ = s->balance;
    if (s->known) {
        out = length_numbers(&s->lengths.one, out);
        out = length_numbers(&s->lengths.zero, out);
        *out++ = s->lengths.shorter;
        *out++ = s->lengths.stretching;
    }
    for (i = 0; i < 2; i++) {
        const struct halfbit_sum_lane *lane = &s->lanes[i];

        *out++ = lane->boundaries.low;
        *out++ = lane->boundaries.high;
        *out++ = lane->boundaries.strain;
        *out++ = lane->own;
        *out++ = lane->others;
        *out++ = lane->past;
        *out++ = lane->proof;
        *out++ = lane->boundaries.teaches;
        *out++ = lane->held;
    }
    return (uint32_t)(out - begin);
}
