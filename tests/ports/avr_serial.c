/* The whole ATmega328P with its serial line at standard input and output, for tests: avr_serial PROGRAM.elf
 *
 * Bytes come in at the speed of the line, or as fast as the emulated line takes them: it knows no double speed (U2X0). The
 * chip's time goes on as long as the other end is there.
 */
#include "avr_chip.h"

#include <simavr/avr_uart.h>

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

enum { BYTE_CYCLES = 10 * 16000000 / 115200 };

static avr_irq_t *input;
static int gone, full;

static void output(avr_irq_t *irq, uint32_t value, void *context)
{
    uint8_t byte = (uint8_t)value;

    (void)irq, (void)context;
    while (write(1, &byte, 1) != 1)
        if (errno != EAGAIN && errno != EINTR) {
            gone = 1;
            return;
        }
}

static void flow(avr_irq_t *irq, uint32_t value, void *context)
{
    (void)irq;
    if (value)
        full = context != NULL;
}

static avr_cycle_count_t arrive(avr_t *avr, avr_cycle_count_t when, void *context)
{
    uint8_t byte;
    ssize_t got;

    (void)avr, (void)context;
    if (full)
        return when + BYTE_CYCLES;
    got = read(0, &byte, 1);
    if (got == 1)
        avr_raise_irq(input, byte);
    else if (got == 0 || (errno != EAGAIN && errno != EINTR))
        gone = 1;
    else
        usleep(100);
    return when + BYTE_CYCLES;
}

int main(int words, char **word)
{
    avr_t *chip;
    uint32_t flags = 0;

    if (words != 2 || (chip = chip_with(word[1])) == NULL)
        return 2;
    avr_ioctl(chip, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    input = avr_io_getirq(chip, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(chip, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), output, NULL);
    avr_irq_register_notify(avr_io_getirq(chip, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), flow, NULL);
    avr_irq_register_notify(avr_io_getirq(chip, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), flow, &full);
    fcntl(0, F_SETFL, fcntl(0, F_GETFL) | O_NONBLOCK);
    avr_cycle_timer_register(chip, BYTE_CYCLES, arrive, NULL);
    while (!gone) {
        int state = avr_run(chip);

        if (state == cpu_Done || state == cpu_Crashed)
            return 3;
    }
    return 0;
}
