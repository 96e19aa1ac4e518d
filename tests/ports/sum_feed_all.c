/* Many durations at once for the receiver by sum, for tests on emulated chips. A packet counts as one number, as
 * mark_of() in support_sum.py has it. */
#include "halfbit_sum.h"

uint8_t sum_feed_mark(struct halfbit_sum *s, uint32_t duration);
void sum_feed_all(struct halfbit_sum *s, const uint32_t *durations, uint8_t *answers, uint32_t count);

uint8_t sum_feed_mark(struct halfbit_sum *s, uint32_t duration)
{
    uint32_t mark;
    uint32_t i;

    if (halfbit_sum_feed(s, duration) == HALFBIT_MORE)
        return 0;
    mark = s->preamble;
    for (i = 0; i < s->length; i++)
        mark += (i + 1u) * s->data[i];
    return (uint8_t)((mark & 63u) | 64u);
}

void sum_feed_all(struct halfbit_sum *s, const uint32_t *durations, uint8_t *answers, uint32_t count)
{
    while (count--)
        *answers++ = sum_feed_mark(s, *durations++);
}
