/* What rp2040.c needs of the chip. rp2040_chip.c does it on the registers; if you have a library for the chip that you
 * prefer, write these functions with it and leave rp2040_chip.c, rp2040_boot.S and rp2040.ld out. */
#ifndef HALFBIT_RP2040_CHIP_H
#define HALFBIT_RP2040_CHIP_H

#include <stdint.h>

/* Pins (GPIO numbers). The motor's pin must be on channel B of PWM slice 0: 1 or 17. */
enum {
    PIN_TRACK = 16,
    PIN_MOTOR = 17,
    PIN_DIRECTION = 18,
    PIN_FRONT = 19,
    PIN_REAR = 20,
    PIN_ACKNOWLEDGE = 21,
    PIN_F1 = 2 /* F1 to F6 are on six pins in a row */
};

/* The ring of half-bits: 4096 would be a quarter of a second; 2048 hold 106 ms at the densest (52 us). */
#define CHIP_RING 2048u
/* chip_written() counts up to this, and then from 0. A multiple of CHIP_RING. */
#ifndef CHIP_COUNTS
#define CHIP_COUNTS UINT32_C(0x80000000)
#endif
/* A half-bit lasts CHIP_TOP - chip_ring[...] ticks of half a us. */
#define CHIP_TOP (0x7FFFu + 3u)

/* Half-bits as the hardware writes them; number n is in place n % CHIP_RING. */
extern volatile uint32_t chip_ring[CHIP_RING];

/* Sets everything up: pins low, motor off; after it, half-bits are written and chip_tick() is called. */
void chip_start(void);
/* Number of half-bits begun to be written, modulo CHIP_COUNTS. The last ones may still be on their way to the ring. */
uint32_t chip_written(void);
/* 1 if the hardware has dropped half-bits since the last call, because they could not be written in time. */
uint8_t chip_dropped(void);
void chip_pin(uint8_t pin, uint8_t on);
/* Level of the motor's pin: 0 is off, 255 is on without a break. */
void chip_motor(uint8_t level);
/* Waits for the next interrupt. */
void chip_sleep(void);
/* Yours: called by an interrupt every half millisecond. */
void chip_tick(void);

/* Two sectors at the end of the flash memory, as in cv_log.h. */
uint32_t chip_flash_read(uint8_t sector, uint16_t at);
void chip_flash_write(uint8_t sector, uint16_t at, uint32_t record);
void chip_flash_erase(uint8_t sector);
uint8_t chip_flash_busy(void);

#endif
