/* Checks the receiver on an ATmega328P with a 16 MHz crystal against the vectors, over its serial line:
 *
 *   avr-gcc -mmcu=atmega328p -std=c99 -Os -I.. atmega328p_serial.c ../halfbit.c -o serial.elf
 *   halfbit vectors check --serial --baud 115200 /dev/ttyUSB0
 *
 * It is answers.c with the serial line in place of standard input and output. It was tested in an emulator of the whole
 * chip, not on a board. The track has no part in it: leave it unconnected. Never share a ground between the track and a
 * PC that is plugged in.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>
#include <stdio.h>

enum { RING = 128 }; /* bytes that wait while an answer goes out: the check sends at most 64 at once */

static volatile uint8_t ring[RING];
static volatile uint8_t head;
static uint8_t tail;

ISR(USART_RX_vect)
{
    ring[head] = UDR0;
    head = (head + 1u) % RING;
}

static int get(FILE *stream)
{
    uint8_t byte;

    (void)stream;
    while (tail == head)
        ;
    byte = ring[tail];
    tail = (tail + 1u) % RING;
    return byte;
}

static int put(char byte, FILE *stream)
{
    (void)stream;
    while (!(UCSR0A & _BV(UDRE0)))
        ;
    UDR0 = (uint8_t)byte;
    return 0;
}

#define main answer
#include "answers.c"
#undef main

int main(void)
{
    static FILE line = FDEV_SETUP_STREAM(put, get, _FDEV_SETUP_RW);

    UBRR0 = 16; /* 115200 baud and 2 %: 16 MHz / 8 / 17 */
    UCSR0A = _BV(U2X0);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    stdin = stdout = &line;
    sei();
    return answer();
}
