/* A program for `halfbit vectors check --limits sum`: reads durations and prints packets, one per line.
 *
 * cc -O2 sum_answers.c halfbit_sum.c halfbit_sum_lengths.c halfbit.c -o sum_answers
 * halfbit vectors check --limits sum ./sum_answers
 */
#include "halfbit_sum.h"

#include <stdio.h>
#include <stdlib.h>

int main(void)
{
    static struct halfbit_sum receiver;
    char line[32];
    unsigned taken = 0;

    halfbit_sum_init(&receiver);
    while (fgets(line, sizeof line, stdin) != NULL) {
        unsigned i;

        if (line[0] == '\n') { /* the end of a case */
            halfbit_sum_init(&receiver);
            taken = 0;
            puts("");
            continue;
        }
        taken++;
        if (halfbit_sum_feed(&receiver, (uint32_t)strtoul(line, NULL, 10)) == HALFBIT_MORE)
            continue;
        printf("%u %u %u ", taken, (unsigned)HALFBIT_PACKET, (unsigned)receiver.preamble);
        for (i = 0; i < receiver.length; i++)
            printf("%02X", (unsigned)receiver.data[i]);
        puts("");
    }
    return 0;
}
