/* See counters.h. */

#include "counters.h"

/* Ticks of a class, times HALFBIT_TIMER_US. */
#define CLASS (HALFBIT_CLASS_US * UINT32_C(1) * (HALFBIT_TIMER_TICKS))
#define LONGEST ((HALFBIT_CLASSES - 1) * CLASS / (HALFBIT_TIMER_US))

void halfbit_counters_init(struct halfbit_counters *c)
{
    uint8_t i;

    for (i = 0; i < HALFBIT_CLASSES; i++)
        c->counts[0][i] = c->counts[1][i] = 0;
    c->level = 0;
    c->full = 0;
}

void halfbit_counters_add(struct halfbit_counters *c, uint32_t duration)
{
    uint16_t *counts = c->counts[c->level];
    uint8_t i = HALFBIT_CLASSES - 1;

    c->level ^= 1u;
    if (c->full)
        return;
    if (duration < LONGEST)
        i = (uint8_t)(duration * (HALFBIT_TIMER_US) / CLASS);
    if (++counts[i] == 0xFFFFu)
        c->full = 1;
}
