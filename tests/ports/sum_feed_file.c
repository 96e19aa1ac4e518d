/* Durations from standard input, 32 bits each; answers to standard output, as sum_feed_all() gives them. */
#include "halfbit_sum.h"

#include <stdio.h>

void sum_feed_all(struct halfbit_sum *s, const uint32_t *durations, uint8_t *answers, uint32_t count);

int main(void)
{
    static struct halfbit_sum receiver;
    static uint32_t durations[4096];
    static uint8_t answers[4096];
    size_t count;

    halfbit_sum_init(&receiver);
    while ((count = fread(durations, sizeof durations[0], 4096, stdin)) > 0) {
        sum_feed_all(&receiver, durations, answers, (uint32_t)count);
        if (fwrite(answers, 1, count, stdout) != count)
            return 1;
    }
    return 0;
}
