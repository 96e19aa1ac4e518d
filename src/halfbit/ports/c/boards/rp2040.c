/* A complete decoder on an RP2040: input pin, motor, lamps, CVs and acknowledgement.
 *
 * It was tested in an emulator of the chip, not on a board.
 *
 * TRACK POWER CAN HURT BOARDS AND PEOPLE. Never connect the rails to the chip: put an optocoupler between them. Never
 * share a ground between the track and a PC that is plugged in: remove the programming cable before you switch track
 * power on. Put a fuse and a current limit into each line. Never use mains. Never use this for anything that people
 * ride on, or whose failure could hurt somebody. Local codes and the advice of qualified people come first.
 *
 *   pin                 what
 *   GPIO 16             in: the optocoupler's output
 *   GPIO 17             motor driver, enable (PWM)
 *   GPIO 18             motor driver, direction
 *   GPIO 19, 20         lamps FL forward and reverse, each through a transistor
 *   GPIO 2 to 7         F1 to F6, each through a transistor
 *   GPIO 21             acknowledgement: a load of 60 mA on the track, through its own isolator
 *
 * Programmable I/O times every half-bit in hardware, with 2 ticks per us, and DMA writes the times into a ring of 2048
 * half-bits. So the main loop may be late by 100 ms. If it is later, half-bits are lost: all that wait are left out,
 * and the receiver gets a 0 in their place, which it reports as a fault. An interrupt counts half milliseconds. CVs
 * are written to flash memory without waiting for it; all code runs from RAM.
 *
 * python -m ziglang cc -target thumb-freestanding-eabi -mcpu=cortex_m0plus -std=c99 -Os -ffreestanding -I..
 *     -DHALFBIT_TICKS_PER_US=2 -DHALFBIT_TOLERANCE=1 rp2040.c rp2040_chip.c rp2040_boot.S ../halfbit.c ../decoder.c
 *     ../multi_function.c ../instruction_size.c ../motor.c ../cv_log.c -T rp2040.ld -Wl,-e,boot -o decoder.elf
 * python -m ziglang objcopy -O binary decoder.elf decoder.bin
 */
#include "cv_log.h"
#include "decoder.h"
#include "halfbit.h"
#include "rp2040_chip.h"

#if HALFBIT_TIMER_TICKS != 2 * HALFBIT_TIMER_US
#error "the hardware counts two ticks a us: -DHALFBIT_TICKS_PER_US=2"
#endif

enum { PULSE = 13 }; /* acknowledgement in half milliseconds; the first may be shorter */

#define TICKS 2u /* of the hardware in a us */
/* When this few places are left, a half-bit that is read may be overwritten at the same time. */
#define MARGIN 16u
/* When fewer half-bits than this wait, the main loop is not behind: 2 ms at the densest. */
#define FEW 40u
/* A level that lasted too long to be counted is taken for 20 ms, in ticks: then service mode is over (S-9.2.3 E). */
#define SILENCE (20000u * TICKS)

static uint32_t taken; /* number of the next half-bit to take */
static uint32_t ready; /* those before this one are in the ring for certain */
static uint8_t torn;   /* half-bits were lost: leave out all that wait */
static uint32_t torn_at; /* when, in half milliseconds */
static uint32_t lost;
static uint32_t caught_up_at; /* when few half-bits waited, in ms */
static uint32_t since;        /* ticks of the half-bits taken after that */
static volatile uint32_t halves; /* half milliseconds */
static volatile uint8_t pulse;   /* half milliseconds left of the acknowledgement */
static uint32_t counts[HALFBIT_ERROR_BYTE + 1]; /* the receiver's answers, for a look with a debugger */

static struct halfbit_receiver receiver;
static struct halfbit_decoder decoder;
static struct halfbit_motion motion;
static struct halfbit_log cv_log;
static uint8_t cvs[HALFBIT_LOG_BYTES]; /* and the table of indexed CVs */

void chip_tick(void)
{
    halves++;
    if (pulse && --pulse == 0)
        chip_pin(PIN_ACKNOWLEDGE, 0);
}

static void store(void *context, uint16_t cv, uint8_t value)
{
    (void)context;
    (void)cv;
    (void)value;
    halfbit_log_store(&cv_log);
}

static void acknowledge(void *context)
{
    (void)context;
    pulse = PULSE;
    chip_pin(PIN_ACKNOWLEDGE, 1);
}

/* Motor and lamps: what they show changes with packets, with CVs and with the time. */
static void drive(uint32_t now)
{
    uint8_t level = halfbit_motion_tick(&motion, &decoder, now);
    uint8_t lit = halfbit_function(&decoder, 0);
    uint8_t forward = halfbit_forward(&decoder);

    chip_pin(PIN_FRONT, lit && forward);
    chip_pin(PIN_REAR, lit && !forward);
    chip_pin(PIN_DIRECTION, motion.forward);
    chip_motor(level);
}

static void output(void *context, uint8_t number, uint8_t on)
{
    (void)context;
    if (number >= 1 && number <= 6) /* FL: see drive() */
        chip_pin((uint8_t)(PIN_F1 + number - 1u), on);
}

static const struct halfbit_actions ACTIONS = {store, acknowledge, 0, 0, output, 0, 0, 0};
/* Indexed CVs. */
static uint8_t read_page(void *context, uint8_t high, uint8_t low, uint16_t cv)
{
    (void)context;
    return halfbit_log_read(&cv_log, high, low, cv);
}

static uint8_t write_page(void *context, uint8_t high, uint8_t low, uint16_t cv, uint8_t value)
{
    (void)context;
    return halfbit_log_write(&cv_log, high, low, cv, value);
}

static void clear_pages(void *context)
{
    (void)context;
    halfbit_log_clear(&cv_log);
}

static const struct halfbit_pages PAGES = {read_page, write_page, clear_pages};
static const struct halfbit_flash FLASH = {chip_flash_read, chip_flash_write, chip_flash_erase, chip_flash_busy};

/* The time in ms, from the half milliseconds that have passed. */
static uint32_t clock_ms(void)
{
    static uint32_t seen;
    static uint32_t ms;
    uint32_t passed = (halves - seen) / 2u;

    ms += passed;
    seen += 2u * passed;
    return ms;
}

/* The time of the half-bits that are being taken, in ms. After a pause of the main loop it is earlier than the clock's,
 * so that the decoder sees its 20 ms and its time-outs as they were on the track. It never goes back. */
static uint32_t signal_ms(void)
{
    static uint32_t last;
    uint32_t now = caught_up_at + since / (1000u * TICKS);

    if (now - last < UINT32_C(0x80000000))
        last = now;
    return last;
}

static void feed(uint32_t duration)
{
    uint8_t answer = halfbit_receiver_feed(&receiver, duration);

    since += duration < CHIP_TOP ? duration : SILENCE;
    counts[answer]++;
    if (answer == HALFBIT_PACKET)
        halfbit_decoder_take(&decoder, receiver.data, receiver.length, signal_ms());
}

static void lose(void)
{
    torn = 1;
    torn_at = halves;
}

/* Takes what was written before the last call: so nothing that is still on its way to the ring. */
static void take_half_bits(void)
{
    if (torn) {
        uint32_t written = chip_written();

        if (halves - torn_at < 2) /* wait until all from before the loss has left the hardware */
            return;
        torn = 0;
        lost += (written - taken) % CHIP_COUNTS;
        taken = ready = written;
        feed(0);
    }
    while (taken != ready) {
        uint32_t value = chip_ring[taken % CHIP_RING];

        if ((chip_written() - taken) % CHIP_COUNTS > CHIP_RING - MARGIN) {
            lose(); /* this place may have been written again already */
            return;
        }
        taken = (taken + 1u) % CHIP_COUNTS;
        feed(CHIP_TOP - value);
    }
    ready = chip_written();
    if ((ready - taken) % CHIP_COUNTS < FEW) {
        caught_up_at = clock_ms();
        since = 0;
    }
    if (chip_dropped())
        lose();
}

static void load_cvs(void)
{
    if (halfbit_log_load(&cv_log, &FLASH, cvs))
        return;
    halfbit_multi_function_defaults(cvs); /* the first start */
    cvs[6] = 1;  /* version */
    cvs[7] = 13; /* maker: public domain and do-it-yourself (from memory) */
    halfbit_log_store(&cv_log);
}

int main(void)
{
    uint32_t driven = 0;

    chip_start();
    load_cvs();
    halfbit_receiver_init(&receiver);
    halfbit_multi_function_init(&decoder, cvs, &ACTIONS, 0, clock_ms());
    decoder.pages = &PAGES;
    halfbit_motion_init(&motion);
    for (;;) {
        uint32_t now;

        take_half_bits();
        now = signal_ms();
        halfbit_decoder_tick(&decoder, now);
        if (now != driven) {
            driven = now;
            drive(now);
        }
        halfbit_log_step(&cv_log);
        chip_sleep();
    }
}
