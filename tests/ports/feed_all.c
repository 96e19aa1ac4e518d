/* Many durations at once, for tests on emulated chips. */
#include "halfbit.h"

void feed_all(struct halfbit_receiver *r, const uint32_t *durations, uint8_t *answers, uint32_t count);

void feed_all(struct halfbit_receiver *r, const uint32_t *durations, uint8_t *answers, uint32_t count)
{
    while (count--)
        *answers++ = halfbit_receiver_feed(r, *durations++);
}
