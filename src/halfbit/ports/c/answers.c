/* A program for `halfbit vectors check`: reads durations and prints answers, one per line.
 *
 * cc -O2 answers.c halfbit.c -o answers && halfbit vectors check ./answers
 */
#include "halfbit.h"

#include <stdio.h>
#include <stdlib.h>

int main(void)
{
    struct halfbit_receiver receiver;
    char line[32];
    unsigned taken = 0;

    halfbit_receiver_init(&receiver);
    while (fgets(line, sizeof line, stdin) != NULL) {
        uint8_t answer;
        unsigned i;

        if (line[0] == '\n') { /* the end of a case */
            halfbit_receiver_init(&receiver);
            taken = 0;
            puts("");
            continue;
        }
        answer = halfbit_receiver_feed(&receiver, (uint32_t)strtoul(line, NULL, 10));
        taken++;
        if (answer == HALFBIT_MORE)
            continue;
        printf("%u %u", taken, (unsigned)answer);
        if (answer == HALFBIT_PACKET) {
            printf(" %u ", (unsigned)receiver.preamble);
            for (i = 0; i < receiver.length; i++)
                printf("%02X", (unsigned)receiver.data[i]);
        }
        puts("");
    }
    return 0;
}
