/* A complete decoder on an ATmega328P with a 16 MHz crystal: input pin, motor, lamps, CVs and acknowledgement.
 *
 * It was tested in an emulator of the whole chip, not on a board.
 *
 * TRACK POWER CAN HURT BOARDS AND PEOPLE. Never connect the rails to the chip: put an optocoupler between them. Never
 * share a ground between the track and a PC that is plugged in: remove the programming cable before you switch track
 * power on. Put a fuse and a current limit into each line. Never use mains. Never use this for anything that people
 * ride on, or whose failure could hurt somebody. Local codes and the advice of qualified people come first.
 *
 *   pin                 what
 *   PB0 (ICP1)          in: the optocoupler's output
 *   PD6 (OC0A)          motor driver, enable (PWM)
 *   PD5                 motor driver, direction
 *   PB1, PB2            lamps FL forward and reverse, each through a transistor
 *   PC0 to PC5          F1 to F6, each through a transistor
 *   PD7                 acknowledgement: a load of 60 mA on the track, through its own isolator
 *
 * Timer 1 records the time of every change in hardware, with 2 ticks per us, so its interrupt may be late by up to one
 * half-bit. The interrupt writes durations into a ring buffer; the main loop does everything else. If the ring is full,
 * a half-bit is lost, and a 0 goes into the ring in its place: the receiver reports it as a fault. Timer 2 counts half
 * milliseconds; timer 0 makes the PWM.
 *
 * avr-gcc -mmcu=atmega328p -std=c99 -Os -I.. -DHALFBIT_TICKS_PER_US=2 -DHALFBIT_TOLERANCE=1 atmega328p.c ../halfbit.c
 *     ../decoder.c ../multi_function.c ../instruction_size.c ../motor.c -o decoder.elf
 */
#include "decoder.h"
#include "halfbit.h"

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>

#if HALFBIT_TIMER_TICKS != 2 * HALFBIT_TIMER_US
#error "timer 1 counts two ticks a us: -DHALFBIT_TICKS_PER_US=2"
#endif

enum { RING = 128, PULSE = 13 }; /* PULSE: acknowledgement in half milliseconds; the first may be shorter */

static volatile uint16_t ring[RING];
static volatile uint8_t head; /* where the next duration is written */
static uint8_t tail;          /* where the next duration is read */
static volatile uint16_t lost;
static volatile uint8_t torn; /* durations were lost, and the 0 for them is not yet in the ring */
static volatile uint8_t turns; /* overflows of timer 1 since the last change; stops at 255 */
static uint16_t before;        /* value of timer 1 at the last change */
static volatile uint16_t halves; /* half milliseconds */
static volatile uint8_t pulse;   /* half milliseconds left of the acknowledgement */

static struct halfbit_receiver receiver;
static struct halfbit_decoder decoder;
static struct halfbit_motion motion;
static uint8_t cvs[HALFBIT_CVS];

static void put(uint16_t duration)
{
    uint8_t next = (head + 1u) % RING;

    if (next == tail || (torn && (next + 1u) % RING == tail)) {
        lost++;
        torn = 1;
        return;
    }
    if (torn) {
        torn = 0;
        ring[head] = 0;
        head = next;
        next = (next + 1u) % RING;
    }
    ring[head] = duration;
    head = next;
}

ISR(TIMER1_OVF_vect)
{
    if (turns != 255)
        turns++;
}

ISR(TIMER1_CAPT_vect)
{
    uint16_t now = ICR1;
    uint8_t whole = turns;

    TCCR1B ^= _BV(ICES1); /* the next change has the other direction */
    TIFR1 = _BV(ICF1);    /* switching may have set this flag: clear it */
    if ((TIFR1 & _BV(TOV1)) && now < 0x8000u) { /* it overflowed before this change and was not counted yet */
        TIFR1 = _BV(TOV1);
        whole++;
    }
    turns = 0;
    /* More than one turn of the timer: longer than any half-bit, whatever the difference is. */
    put(whole > 1 || (whole == 1 && now >= before) ? 0xFFFFu : (uint16_t)(now - before));
    before = now;
    /* The interrupt was so late that the next change is over and was missed: this is a loss too. */
    if (((PINB & _BV(PINB0)) != 0) == ((TCCR1B & _BV(ICES1)) != 0) && !(TIFR1 & _BV(ICF1))) {
        TCCR1B ^= _BV(ICES1);
        put(0);
    }
}

ISR(TIMER2_COMPA_vect)
{
    halves++;
    if (pulse && --pulse == 0)
        PORTD &= (uint8_t)~_BV(PORTD7);
}

/* CVs in EEPROM. If power fails during a write, no wrong value must remain, and of CVs that changed together (CV 17 and
 * 18, or CV 1, 19 and 29) either all must have changed or no CV. So such a set first goes into a journal: number and
 * value of each CV, then how many there are, then a mark that it is complete. Only then the CVs themselves are written.
 * At the start, a marked journal is written again. A byte takes 3.4 ms; the main loop continues meanwhile. */
enum { MARK = HALFBIT_CVS, COUNT, MADE, JOURNAL, MARKED = 0x5A, WRITTEN = 0xA5 };

#define FITS ((HALFBIT_CVS) <= 256 && (HALFBIT_CVS) % 8 == 0 && JOURNAL + 2 * (HALFBIT_CVS) <= E2END + 1)
typedef char journal_fits[FITS ? 1 : -1];

/* What is written next. */
enum { REST, NUMBER, VALUE, COMMIT, APPLY };

static uint8_t changed;                 /* 1: there are dirty CVs */
static uint8_t dirty[HALFBIT_CVS / 8];  /* CVs that changed and are not in the set, one bit each */
static uint8_t marked[HALFBIT_CVS / 8]; /* CVs of the set, until the journal is marked */
static uint8_t stage;
static uint16_t next;    /* a CV, counted from 0; or the place in the journal from which a CV is written */
static uint16_t entries; /* in the journal */

static uint8_t eeprom_at(uint16_t address)
{
    return eeprom_read_byte((const uint8_t *)address);
}

static void eeprom_begin(uint16_t address, uint8_t value)
{
    uint8_t flags = SREG;

    EEAR = address;
    EEDR = value;
    cli(); /* the second must follow the first within four cycles */
    EECR |= _BV(EEMPE);
    EECR |= _BV(EEPE);
    SREG = flags;
}

/* Starts to write the next byte, if the last one is done. */
static void eeprom_step(void)
{
    uint8_t i;

    if ((stage == REST && !changed) || EECR & _BV(EEPE))
        return;
    switch (stage) {
    case REST: /* all CVs that have changed become a set */
        changed = 0;
        for (i = 0; i < sizeof dirty; i++) {
            marked[i] |= dirty[i];
            dirty[i] = 0;
        }
        next = entries = 0;
        stage = NUMBER;
        break;
    case NUMBER:
        while (next < HALFBIT_CVS && !(marked[next >> 3] >> (next & 7u) & 1u))
            next++;
        if (next < HALFBIT_CVS) {
            eeprom_begin(JOURNAL + 2u * entries, (uint8_t)next);
            stage = VALUE;
        } else {
            eeprom_begin(COUNT, (uint8_t)(entries - 1u));
            stage = COMMIT;
        }
        break;
    case VALUE:
        eeprom_begin(JOURNAL + 2u * entries + 1u, cvs[next]);
        next++;
        entries++;
        stage = NUMBER;
        break;
    case COMMIT:
        for (i = 0; i < sizeof marked; i++)
            marked[i] = 0;
        eeprom_begin(MARK, MARKED);
        next = 0;
        stage = APPLY;
        break;
    default: /* write the journal's values, even if the CVs have changed since */
        if (next < entries) {
            eeprom_begin(eeprom_at(JOURNAL + 2u * next), eeprom_at(JOURNAL + 2u * next + 1u));
            next++;
        } else {
            eeprom_begin(MARK, 0xFF);
            stage = REST;
        }
        break;
    }
}

static void load_cvs(void)
{
    uint16_t i;

    if (eeprom_at(MARK) == MARKED) {
        entries = (uint16_t)(eeprom_at(COUNT) + 1u);
        for (i = 0; i < entries; i++)
            eeprom_update_byte((uint8_t *)(uint16_t)eeprom_at(JOURNAL + 2u * i), eeprom_at(JOURNAL + 2u * i + 1u));
        eeprom_update_byte((uint8_t *)MARK, 0xFF);
    }
    if (eeprom_at(MADE) != WRITTEN) { /* the first start */
        halfbit_multi_function_defaults(cvs);
        cvs[6] = 1;    /* version */
        cvs[7] = 13;   /* maker: public domain and do-it-yourself (from memory) */
        for (i = 0; i < HALFBIT_CVS; i++)
            eeprom_update_byte((uint8_t *)i, cvs[i]);
        eeprom_update_byte((uint8_t *)MADE, WRITTEN);
    }
    for (i = 0; i < HALFBIT_CVS; i++)
        cvs[i] = eeprom_at(i);
}

static void store(void *context, uint16_t cv, uint8_t value)
{
    uint16_t at = (uint16_t)(cv - 1u) >> 3;
    uint8_t bit = (uint8_t)(1u << ((cv - 1u) & 7u));

    (void)context;
    (void)value;
    changed = 1;
    dirty[at] |= bit;
    if (marked[at] & bit) /* the journal may have its old value: begin again, with all that has changed since */
        stage = REST;
}

static void acknowledge(void *context)
{
    (void)context;
    pulse = PULSE;
    PORTD |= _BV(PORTD7);
}

/* Motor and lamps: what they show changes with packets, with CVs and with the time. */
static void drive(uint32_t now)
{
    uint8_t level = halfbit_motion_tick(&motion, &decoder, now);
    uint8_t port = PORTB & (uint8_t)~(_BV(PORTB1) | _BV(PORTB2));

    if (halfbit_function(&decoder, 0))
        port |= halfbit_forward(&decoder) ? _BV(PORTB1) : _BV(PORTB2);
    if (port != PORTB)
        PORTB = port;
    OCR0A = level;
    if (level == 0) /* off: a compare value of 0 would still give a short pulse */
        TCCR0A &= (uint8_t)~_BV(COM0A1);
    if (motion.forward)
        PORTD |= _BV(PORTD5);
    else
        PORTD &= (uint8_t)~_BV(PORTD5);
    if (level)
        TCCR0A |= _BV(COM0A1);
}

static void output(void *context, uint8_t number, uint8_t on)
{
    (void)context;
    if (number == 0 || number > 6) /* FL: see drive() */
        return;
    if (on)
        PORTC |= (uint8_t)(1u << (number - 1u));
    else
        PORTC &= (uint8_t)~(1u << (number - 1u));
}

static const struct halfbit_actions ACTIONS = {store, acknowledge, 0, 0, output, 0, 0, 0};

/* The time in ms, from the half milliseconds that have passed. Must be called at least every 32 seconds. */
static uint32_t clock_ms(void)
{
    static uint16_t seen;
    static uint32_t ms;
    uint8_t flags = SREG;
    uint16_t now;

    cli();
    now = halves;
    SREG = flags;
    ms += (uint16_t)(now - seen) / 2u;
    seen = (uint16_t)(seen + ((now - seen) & 0xFFFEu));
    return ms;
}

static void set_up(void)
{
    DDRB = _BV(DDB1) | _BV(DDB2);
    DDRC = 0x3F;
    DDRD = _BV(DDD5) | _BV(DDD6) | _BV(DDD7);
    PORTB = _BV(PORTB0); /* pull-up for the optocoupler's transistor; see "Isolators" in the documentation */
    TCCR0A = _BV(WGM01) | _BV(WGM00); /* fast PWM, 7.8 kHz */
    TCCR0B = _BV(CS01);
    TCCR1A = 0;
    TCCR1B = _BV(CS11) | _BV(ICES1);
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
    OCR2A = 124; /* 16 MHz / 64 / 125: half a millisecond */
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    TIMSK2 = _BV(OCIE2A);
}

int main(void)
{
    uint32_t driven = 0;

    load_cvs();
    halfbit_receiver_init(&receiver);
    halfbit_multi_function_init(&decoder, cvs, &ACTIONS, 0, 0);
    halfbit_motion_init(&motion);
    set_up();
    sei();
    for (;;) {
        uint32_t now;

        while (tail != head) {
            uint16_t duration = ring[tail];

            tail = (tail + 1u) % RING;
            if (halfbit_receiver_feed(&receiver, duration) == HALFBIT_PACKET)
                halfbit_decoder_take(&decoder, receiver.data, receiver.length, clock_ms());
        }
        now = clock_ms();
        halfbit_decoder_tick(&decoder, now);
        if (now != driven) {
            driven = now;
            drive(now);
        }
        eeprom_step();
    }
}
