/* An emulated ATmega328P with a program in it, for the harnesses around simavr. */
#ifndef AVR_CHIP_H
#define AVR_CHIP_H

#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

static void quiet(avr_t *avr, const int kind, const char *format, va_list rest)
{
    (void)avr, (void)format, (void)rest;
    if (kind == LOG_ERROR)
        fputs("error in the emulator\n", stderr);
}

/* The chip at 16 MHz with a linked program; NULL if the file cannot be read. */
static avr_t *chip_with(const char *program)
{
    elf_firmware_t firmware;
    avr_t *chip;

    avr_global_logger_set(quiet);
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(program, &firmware) != 0)
        return NULL;
    chip = avr_make_mcu_by_name("atmega328p");
    if (chip == NULL)
        return NULL;
    avr_init(chip);
    chip->frequency = 16000000;
    avr_load_firmware(chip, &firmware);
    return chip;
}

#endif
