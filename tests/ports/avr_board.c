/* The whole ATmega328P with a signal at its capture pin, for tests.
 *
 * avr_board PROGRAM.elf SIGNAL EEPROM [CYCLE...]: SIGNAL holds cycles between changes, 32 bits each; EEPROM is read if
 * it is there, and written at each CYCLE and at the end, one after the other. Each change of an output goes to standard
 * output as a line: cycle, what, value.
 */
#include "avr_chip.h"

#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>

#include <stdlib.h>

enum { EEPROM_SIZE = 1024, OCR0A_AT = 0x47, TCCR0A_AT = 0x44, EECR_AT = 0x3F, EEPE = 2, EEMPE = 4 };
enum { WRITE_US = 3400 }; /* from memory of the chip's datasheet */

static uint32_t *durations;
static size_t count, at;
static int level = 1;
static avr_irq_t *pin;

static avr_cycle_count_t change(avr_t *avr, avr_cycle_count_t when, void *context)
{
    avr_ioport_external_t driven = {.name = 'B', .mask = 1};

    (void)context;
    level ^= 1;
    driven.value = (unsigned)level; /* else a write to the port's other pins would set this one to its pull-up */
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('B'), &driven);
    avr_raise_irq(pin, (uint32_t)level);
    return at < count ? when + durations[at++] : 0;
}

static avr_t *chip;

static void output(avr_irq_t *irq, uint32_t value, void *name)
{
    (void)irq;
    printf("%llu %s %u\n", (unsigned long long)chip->cycle, (const char *)name, value);
}

static void watch(char port, int bit, const char *name)
{
    avr_irq_register_notify(avr_io_getirq(chip, AVR_IOCTL_IOPORT_GETIRQ(port), (uint32_t)bit), output, (void *)(uintptr_t)name);
}

static avr_cycle_count_t written(avr_t *avr, avr_cycle_count_t when, void *context)
{
    (void)when, (void)context;
    avr->data[EECR_AT] &= (uint8_t)~EEPE;
    return 0;
}

/* Called after the emulator's own function, which writes a byte at once. On the chip EEPE stays set meanwhile. */
static void eeprom_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *context)
{
    static avr_cycle_count_t done;

    (void)address, (void)context;
    if ((value & EEPE) == 0 && avr->cycle < done)
        avr->data[EECR_AT] |= EEPE; /* it cannot be cleared */
    if ((value & (EEPE | EEMPE)) != (EEPE | EEMPE))
        return;
    if (avr->cycle < done) {
        fputs("a byte of EEPROM is written while another is\n", stderr);
        exit(4);
    }
    done = avr->cycle + WRITE_US * 16;
    avr->data[EECR_AT] |= EEPE;
    avr_cycle_timer_register_usec(avr, WRITE_US, written, NULL);
}

static void load(const char *path)
{
    FILE *file = fopen(path, "rb");
    long size;

    if (file == NULL)
        exit(2);
    fseek(file, 0, SEEK_END);
    size = ftell(file);
    rewind(file);
    durations = malloc((size_t)size + 4);
    count = (size_t)size / 4;
    if (durations == NULL || fread(durations, 4, count, file) != count)
        exit(2);
    fclose(file);
}

static void save(FILE *file)
{
    avr_eeprom_desc_t descriptor = {NULL, 0, EEPROM_SIZE}; /* NULL: give the memory itself */

    avr_ioctl(chip, AVR_IOCTL_EEPROM_GET, &descriptor);
    if (fwrite(descriptor.ee, 1, EEPROM_SIZE, file) != EEPROM_SIZE)
        exit(2);
}

int main(int words, char **word)
{
    static uint8_t eeprom[EEPROM_SIZE];
    avr_eeprom_desc_t descriptor = {eeprom, 0, EEPROM_SIZE};
    avr_cycle_count_t end = 16000000 / 5; /* for what follows the last change */
    FILE *file;
    int level_before = 0;
    int moment = 4;
    size_t i;

    if (words < 4 || (chip = chip_with(word[1])) == NULL)
        return 2;
    load(word[2]);
    memset(eeprom, 0xFF, sizeof eeprom);
    file = fopen(word[3], "rb");
    if (file != NULL) {
        if (fread(eeprom, 1, sizeof eeprom, file) != sizeof eeprom)
            return 2;
        fclose(file);
    }
    avr_ioctl(chip, AVR_IOCTL_EEPROM_SET, &descriptor);
    avr_register_io_write(chip, EECR_AT, eeprom_control, NULL);
    watch('B', 1, "front");
    watch('B', 2, "rear");
    watch('C', 0, "f1");
    watch('D', 5, "direction");
    watch('D', 7, "pulse");
    pin = avr_io_getirq(chip, AVR_IOCTL_IOPORT_GETIRQ('B'), 0);
    avr_raise_irq(pin, 1);
    for (i = 0; i < count; i++)
        end += durations[i];
    if (count)
        avr_cycle_timer_register(chip, durations[at++], change, NULL);
    file = fopen(word[3], "wb");
    if (file == NULL)
        return 2;
    while (chip->cycle < end) {
        int pwm;
        int state = avr_run(chip);

        if (state == cpu_Done || state == cpu_Crashed)
            return 3;
        pwm = chip->data[TCCR0A_AT] & 0x80 ? chip->data[OCR0A_AT] : 0;
        if (pwm != level_before)
            printf("%llu motor %d\n", (unsigned long long)chip->cycle, pwm);
        level_before = pwm;
        for (; moment < words && chip->cycle >= strtoull(word[moment], NULL, 10); moment++)
            save(file);
    }
    save(file);
    fclose(file);
    for (i = 0x100; i < 0x900; i++) /* its memory, for the counters in it */
        fprintf(stderr, "%02x", chip->data[i]);
    return 0;
}
