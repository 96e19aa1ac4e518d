/* Feeds cases to a receiver, for tests of mutations: reads pairs of a count and that many durations, 32 bits each, from
 * the file named, and writes for each case a number made from all that `halfbit vectors check` compares.
 *
 * -DSUM: the receiver by sum. */
#ifdef SUM
#include "halfbit_sum.h"
typedef struct halfbit_sum receiver_t;
#define INIT halfbit_sum_init
#define FEED halfbit_sum_feed
#else
#include "halfbit.h"
typedef struct halfbit_receiver receiver_t;
#define INIT halfbit_receiver_init
#define FEED halfbit_receiver_feed
#endif

#include <stdio.h>
#include <stdlib.h>

static uint64_t mixed(uint64_t sum, uint64_t value)
{
    return (sum ^ value) * UINT64_C(1099511628211) + (sum >> 29);
}

int main(int count, char **words)
{
    FILE *file = count == 2 ? fopen(words[1], "rb") : NULL;
    static struct {
        uint8_t before[256];
        receiver_t receiver;
        uint8_t behind[256];
    } memory;
    uint32_t length;

    if (file == NULL)
        return 2;
    while (fread(&length, 4, 1, file) == 1) {
        uint32_t *durations = malloc(4u * (length + 1u));
        uint64_t sum = length;
        uint32_t i;

        if (durations == NULL || fread(durations, 4, length, file) != length)
            return 2;
        INIT(&memory.receiver);
        for (i = 0; i < length; i++) {
            uint8_t answer = FEED(&memory.receiver, durations[i]);
            uint8_t at;

            if (answer == HALFBIT_MORE)
                continue;
            sum = mixed(mixed(sum, i), answer);
            if (answer == HALFBIT_PACKET) {
                sum = mixed(sum, memory.receiver.preamble);
                for (at = 0; at < memory.receiver.length; at++)
                    sum = mixed(sum, memory.receiver.data[at]);
            }
        }
        free(durations);
        fwrite(&sum, 8, 1, stdout);
    }
    return 0;
}
