/* Counts durations in classes of 2 us, for each of the two levels: what the board's own pin sees of the signal.
 *
 * Print the counters to see how your isolator does. One-bits make one peak near 58 us, zero-bits one near 100 us. If an
 * isolator delays one direction of change by 4 us more than the other, each peak is in two places, 8 us apart: in one for
 * each level. Broad peaks are jitter. Counts between the peaks are noise or missed changes.
 */
#ifndef HALFBIT_COUNTERS_H
#define HALFBIT_COUNTERS_H

#include "halfbit.h"

enum { HALFBIT_CLASS_US = 2, HALFBIT_CLASSES = 64 };

struct halfbit_counters {
    /* counts[level][i]: durations from 2 * i us to less than 2 * i + 2 us; the last class has all longer ones too. Which
     * level is 0 is not known, and after a lost half-bit it can be the other one. */
    uint16_t counts[2][HALFBIT_CLASSES];
    uint8_t level;
    uint8_t full; /* 1: a counter is at its end, and nothing is counted any more */
};

void halfbit_counters_init(struct halfbit_counters *c);
/* Counts a duration, in ticks. Call it for each one that the receiver gets. */
void halfbit_counters_add(struct halfbit_counters *c, uint32_t duration);

#endif
