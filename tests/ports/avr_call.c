/* Calls the receiver on an emulated ATmega328P, for tests: durations in on standard input (32 bits each), out on standard
 * output for each an answer (8 bits), the cycles of the call (16 bits), and the packet's length (8 bits).
 *
 * avr_call PROGRAM.elf INIT FEED LENGTH_AT: the functions' addresses in bytes, and where length is in the struct.
 * The last lines on standard error are the most cycles of a call, and the deepest the stack has been, bytes. Cycles stop at
 * 65535 on standard output.
 */
#include "avr_chip.h"

#include <simavr/sim_core.h>

#include <stdlib.h>

enum { STATE = 0x200, STACK = 0x8FF, RETURN = 0x7000, SPL = 0x5D, SPH = 0x5E };

static unsigned deepest = STACK;
static unsigned most;

static unsigned call(avr_t *avr, unsigned function, uint32_t argument)
{
    avr_cycle_count_t start = avr->cycle;
    int i;

    avr->data[STACK] = (RETURN >> 1) & 255;
    avr->data[STACK - 1] = (RETURN >> 1) >> 8;
    avr->data[SPL] = (STACK - 2) & 255;
    avr->data[SPH] = (STACK - 2) >> 8;
    avr->data[24] = STATE & 255; /* the first argument: r24, r25 */
    avr->data[25] = STATE >> 8;
    for (i = 0; i < 4; i++) /* the second, 32 bits: r20 to r23 */
        avr->data[20 + i] = (uint8_t)(argument >> 8 * i);
    avr->data[1] = 0;
    avr->pc = function;
    while (avr->pc != RETURN) {
        unsigned sp;

        avr->pc = avr_run_one(avr);
        sp = (unsigned)(avr->data[SPH] << 8 | avr->data[SPL]);
        if (sp < deepest)
            deepest = sp;
        if (avr->cycle - start > 100000000) {
            fprintf(stderr, "does not return\n");
            exit(1);
        }
    }
    return (unsigned)(avr->cycle - start);
}

int main(int count, char **words)
{
    avr_t *avr;
    unsigned char in[4];
    unsigned feed, length_at;

    if (count != 5 || (avr = chip_with(words[1])) == NULL)
        return 2;
    avr->state = cpu_Running;
    feed = (unsigned)strtoul(words[3], NULL, 0);
    length_at = (unsigned)strtoul(words[4], NULL, 0);
    memset(avr->data + STATE, 0xEE, STACK - STATE);
    call(avr, (unsigned)strtoul(words[2], NULL, 0), 0);
    deepest = STACK;
    while (fread(in, 1, 4, stdin) == 4) {
        uint32_t duration = (uint32_t)in[0] | (uint32_t)in[1] << 8 | (uint32_t)in[2] << 16 | (uint32_t)in[3] << 24;
        unsigned cycles = call(avr, feed, duration);

        if (cycles > most)
            most = cycles;
        if (cycles > 65535)
            cycles = 65535;
        putchar(avr->data[24]);
        putchar((int)(cycles & 255));
        putchar((int)(cycles >> 8));
        putchar(avr->data[STATE + length_at]);
    }
    fprintf(stderr, "\n%u\n%u\n", most, STACK - deepest);
    return 0;
}
