/* The RP2040's registers, for rp2040.c. See rp2040_chip.h.
 *
 * All addresses and bits here are from memory of the chip's datasheet, and the flash memory's commands from
 * memory of the data sheets of common serial flash memories. They were tested in an emulator only.
 */
#include "rp2040_chip.h"

#define REGISTER(address) (*(volatile uint32_t *)(uintptr_t)(address))
/* Writing a one there sets or clears the bit; the others stay. */
#define SET(address) REGISTER((address) + UINT32_C(0x2000))
#define CLEAR(address) REGISTER((address) + UINT32_C(0x3000))

#define RESETS UINT32_C(0x4000C000)
#define RESETS_DONE (RESETS + 0x8)
enum {
    RESET_DMA = 1 << 2,
    RESET_IO = 1 << 5,
    RESET_PADS = 1 << 8,
    RESET_PIO0 = 1 << 10,
    RESET_PLL = 1 << 12,
    RESET_PWM = 1 << 14
};

#define XOSC_CTRL UINT32_C(0x40024000)
#define XOSC_STATUS (XOSC_CTRL + 0x4)
#define XOSC_STARTUP (XOSC_CTRL + 0xC)
#define PLL_CS UINT32_C(0x40028000)
#define PLL_PWR (PLL_CS + 0x4)
#define PLL_FBDIV (PLL_CS + 0x8)
#define PLL_PRIM (PLL_CS + 0xC)
#define CLK_REF_CTRL UINT32_C(0x40008030)
#define CLK_REF_SELECTED UINT32_C(0x40008038)
#define CLK_SYS_CTRL UINT32_C(0x4000803C)
#define CLK_SYS_SELECTED UINT32_C(0x40008044)

#define IO_CTRL(pin) REGISTER(UINT32_C(0x40014004) + 8u * (uint32_t)(pin))
#define PAD(pin) REGISTER(UINT32_C(0x4001C004) + 4u * (uint32_t)(pin))
enum { FUNCTION_PWM = 4, FUNCTION_SIO = 5 };
enum { PAD_SCHMITT = 1 << 1, PAD_UP = 1 << 3, PAD_4MA = 1 << 4, PAD_INPUT = 1 << 6 };
#define SIO_OUT_SET REGISTER(UINT32_C(0xD0000014))
#define SIO_OUT_CLEAR REGISTER(UINT32_C(0xD0000018))
#define SIO_ENABLE_SET REGISTER(UINT32_C(0xD0000024))

/* PWM slice 0. */
#define PWM_CSR REGISTER(UINT32_C(0x40050000))
#define PWM_DIV REGISTER(UINT32_C(0x40050004))
#define PWM_CC REGISTER(UINT32_C(0x4005000C))
#define PWM_TOP REGISTER(UINT32_C(0x40050010))

/* PIO block 0, state machine 0. */
#define PIO_CTRL REGISTER(UINT32_C(0x50200000))
#define PIO_FDEBUG REGISTER(UINT32_C(0x50200008))
#define PIO_RXF UINT32_C(0x50200020)
#define PIO_PROGRAM(at) REGISTER(UINT32_C(0x50200048) + 4u * (at))
#define PIO_CLKDIV REGISTER(UINT32_C(0x502000C8))
#define PIO_EXECCTRL REGISTER(UINT32_C(0x502000CC))
#define PIO_SHIFTCTRL REGISTER(UINT32_C(0x502000D0))
#define PIO_PINCTRL REGISTER(UINT32_C(0x502000DC))

/* DMA channel 0. */
#define DMA_READ REGISTER(UINT32_C(0x50000000))
#define DMA_WRITE REGISTER(UINT32_C(0x50000004))
#define DMA_COUNT REGISTER(UINT32_C(0x50000008))
#define DMA_CTRL_START REGISTER(UINT32_C(0x5000000C))
#define DMA_COUNT_START REGISTER(UINT32_C(0x5000001C))
#define DMA_BUSY (UINT32_C(1) << 24)

#define SYSTICK_CTRL REGISTER(UINT32_C(0xE000E010))
#define SYSTICK_RELOAD REGISTER(UINT32_C(0xE000E014))
#define SYSTICK_NOW REGISTER(UINT32_C(0xE000E018))

/* The serial interface to the flash memory, and the pin that selects it. */
#define SSI_CTRLR0 REGISTER(UINT32_C(0x18000000))
#define SSI_CTRLR1 REGISTER(UINT32_C(0x18000004))
#define SSI_ENABLE REGISTER(UINT32_C(0x18000008))
#define SSI_SELECT REGISTER(UINT32_C(0x18000010))
#define SSI_DIVIDER REGISTER(UINT32_C(0x18000014))
#define SSI_STATUS REGISTER(UINT32_C(0x18000028))
#define SSI_DATA REGISTER(UINT32_C(0x18000060))
#define SELECT_CTRL UINT32_C(0x4001800C)
enum { SSI_NOT_EMPTY = 1 << 3, OUT_LOW = 2 << 8, OUT_HIGH = 3 << 8, LOW_TO_HIGH = 1 << 8 };

enum { READ = 0x03, WRITE = 0x02, STATUS = 0x05, WRITE_ENABLE = 0x06, ERASE_SECTOR = 0x20, WORKING = 1 };

/* Where the CVs are: the last two sectors of the board's flash memory. rp2040.ld keeps the program away. */
#ifndef CHIP_FLASH_BYTES
#define CHIP_FLASH_BYTES UINT32_C(0x200000)
#endif
#define STORE (CHIP_FLASH_BYTES - 2u * SECTOR)
#define SECTOR UINT32_C(4096)

#define MHZ 125u

/* half_bit_timer.py, assembled (a test compares the two). It counts down while the level does not change, two cycles a
 * tick, and gives the count at each change. */
static const uint16_t HALF_BIT_TIMER[] = {
    0xE03F, 0xA0C3, 0x4025, 0x4025, 0x4025, 0xA046, 0xA022, 0x00CB, 0x0047, 0xE020, 0x0007,
    0xA0C1, 0x8000, 0xA222, 0x00D3, 0xA0C1, 0x8000, 0xA022, 0x0107, 0x004E, 0xE020, 0x000E,
};
enum { PROGRAM = sizeof HALF_BIT_TIMER / sizeof HALF_BIT_TIMER[0] };

/* The DMA's ring needs an address that is a multiple of its size. */
volatile uint32_t chip_ring[CHIP_RING] __attribute__((aligned(4 * CHIP_RING), section(".ring")));
enum { RING_BITS = 13 };
typedef char ring_fits[4 * CHIP_RING == 1u << RING_BITS && CHIP_COUNTS % CHIP_RING == 0 ? 1 : -1];

static uint8_t working; /* a write or an erase was begun, and was not seen to be done */

/* 125 MHz from a crystal of 12 MHz. */
static void start_clocks(void)
{
    REGISTER(XOSC_STARTUP) = 47; /* about 1 ms, in 256 cycles */
    REGISTER(XOSC_CTRL) = 0xFABAA0;
    while (!(REGISTER(XOSC_STATUS) & UINT32_C(0x80000000)))
        ;
    REGISTER(CLK_REF_CTRL) = 2; /* from the crystal */
    while (!(REGISTER(CLK_REF_SELECTED) & 4u))
        ;
    CLEAR(CLK_SYS_CTRL) = 1; /* from the above, while the PLL is set up */
    while (!(REGISTER(CLK_SYS_SELECTED) & 1u))
        ;
    SET(RESETS) = RESET_PLL;
    CLEAR(RESETS) = RESET_PLL;
    while (!(REGISTER(RESETS_DONE) & RESET_PLL))
        ;
    REGISTER(PLL_CS) = 1;
    REGISTER(PLL_FBDIV) = 125; /* 1500 MHz, divided by 6 and by 2 */
    CLEAR(PLL_PWR) = 0x21;
    while (!(REGISTER(PLL_CS) & UINT32_C(0x80000000)))
        ;
    REGISTER(PLL_PRIM) = 6u << 16 | 2u << 12;
    CLEAR(PLL_PWR) = 0x08;
    CLEAR(CLK_SYS_CTRL) = 0xE0;
    SET(CLK_SYS_CTRL) = 1;
    while (!(REGISTER(CLK_SYS_SELECTED) & 2u))
        ;
}

static void start_pins(void)
{
    static const uint8_t OUTPUTS[] = {PIN_DIRECTION, PIN_FRONT,  PIN_REAR,   PIN_ACKNOWLEDGE, PIN_F1,
                                      PIN_F1 + 1,    PIN_F1 + 2, PIN_F1 + 3, PIN_F1 + 4,      PIN_F1 + 5};
    uint32_t i;

    for (i = 0; i < sizeof OUTPUTS; i++) {
        SIO_OUT_CLEAR = UINT32_C(1) << OUTPUTS[i];
        SIO_ENABLE_SET = UINT32_C(1) << OUTPUTS[i];
        PAD(OUTPUTS[i]) = PAD_4MA | PAD_SCHMITT;
        IO_CTRL(OUTPUTS[i]) = FUNCTION_SIO;
    }
    /* Pull-up for the optocoupler's transistor; see "Isolators" in the documentation. */
    PAD(PIN_TRACK) = PAD_INPUT | PAD_UP | PAD_SCHMITT;
    IO_CTRL(PIN_TRACK) = FUNCTION_SIO;
    PWM_DIV = 25u << 4; /* 125 MHz / 25 / 255: 19.6 kHz */
    PWM_TOP = 254;
    PWM_CC = 0;
    PWM_CSR = 1;
    PAD(PIN_MOTOR) = PAD_4MA | PAD_SCHMITT;
    IO_CTRL(PIN_MOTOR) = FUNCTION_PWM;
}

static void start_timing(void)
{
    uint32_t at;

    for (at = 0; at < PROGRAM; at++)
        PIO_PROGRAM(at) = HALF_BIT_TIMER[at];
    PIO_CLKDIV = (MHZ / 4u) << 16 | (MHZ % 4u * 64u) << 8; /* 4 MHz: two cycles a tick */
    PIO_EXECCTRL = (uint32_t)PIN_TRACK << 24 | 31u << 12;  /* the pin of JMP PIN; the program never reaches its end */
    PIO_SHIFTCTRL = UINT32_C(1) << 31;                     /* both FIFOs for receiving; shift to the left */
    PIO_PINCTRL = (uint32_t)PIN_TRACK << 15;
    DMA_READ = PIO_RXF;
    DMA_WRITE = (uint32_t)(uintptr_t)chip_ring;
    DMA_COUNT = CHIP_COUNTS;
    /* Enabled, 32 bits, next place of the ring after each, no other channel after it, when PIO 0 has received. */
    DMA_CTRL_START = 1u | 2u << 2 | 1u << 5 | (uint32_t)RING_BITS << 6 | 1u << 10 | 0u << 11 | 4u << 15 | 1u << 21;
    PIO_CTRL = 1;
    SYSTICK_RELOAD = MHZ * 500u - 1u;
    SYSTICK_NOW = 0;
    SYSTICK_CTRL = 7;
}

static uint8_t exchange(uint32_t out)
{
    SSI_DATA = out & 255u;
    while (!(SSI_STATUS & SSI_NOT_EMPTY))
        ;
    return (uint8_t)SSI_DATA;
}

static void select_flash(void)
{
    CLEAR(SELECT_CTRL) = LOW_TO_HIGH;
}

static void end_command(void)
{
    SET(SELECT_CTRL) = LOW_TO_HIGH;
}

static void command(uint8_t code, uint32_t address)
{
    select_flash();
    (void)exchange(code);
    (void)exchange(address >> 16);
    (void)exchange(address >> 8);
    (void)exchange(address);
}

static void write_enable(void)
{
    select_flash();
    (void)exchange(WRITE_ENABLE);
    end_command();
    working = 1;
}

static void start_flash(void)
{
    SET(SELECT_CTRL) = OUT_HIGH;
    SSI_ENABLE = 0;
    SSI_DIVIDER = 4; /* 31 MHz */
    SSI_CTRLR0 = 7u << 16; /* eight bits at a time, both ways */
    SSI_CTRLR1 = 0;
    SSI_SELECT = 1;
    SSI_ENABLE = 1;
}

static uint32_t place(uint8_t sector, uint16_t at)
{
    return STORE + SECTOR * sector + 4u * at;
}

uint32_t chip_flash_read(uint8_t sector, uint16_t at)
{
    uint32_t record;

    command(READ, place(sector, at));
    record = exchange(0);
    record |= (uint32_t)exchange(0) << 8;
    record |= (uint32_t)exchange(0) << 16;
    record |= (uint32_t)exchange(0) << 24;
    end_command();
    return record;
}

void chip_flash_write(uint8_t sector, uint16_t at, uint32_t record)
{
    write_enable();
    command(WRITE, place(sector, at));
    (void)exchange(record);
    (void)exchange(record >> 8);
    (void)exchange(record >> 16);
    (void)exchange(record >> 24);
    end_command();
}

void chip_flash_erase(uint8_t sector)
{
    write_enable();
    command(ERASE_SECTOR, place(sector, 0));
    end_command();
}

uint8_t chip_flash_busy(void)
{
    if (working) {
        select_flash();
        (void)exchange(STATUS);
        working = exchange(0) & WORKING;
        end_command();
    }
    return working;
}

void chip_start(void)
{
    const uint32_t used = RESET_DMA | RESET_IO | RESET_PADS | RESET_PIO0 | RESET_PWM;

    start_clocks();
    SET(RESETS) = used; /* as after power on, also when a debugger starts the program again */
    CLEAR(RESETS) = used;
    while ((REGISTER(RESETS_DONE) & used) != used)
        ;
    start_pins();
    start_flash();
    start_timing();
}

uint32_t chip_written(void)
{
    uint32_t left = DMA_COUNT;

    if (left == 0 && !(DMA_CTRL_START & DMA_BUSY))
        DMA_COUNT_START = CHIP_COUNTS; /* it goes on at the ring's first place */
    return (CHIP_COUNTS - left) % CHIP_COUNTS;
}

uint8_t chip_dropped(void)
{
    if (!(PIO_FDEBUG & 1u))
        return 0;
    PIO_FDEBUG = 1; /* writing a one clears it */
    return 1;
}

void chip_pin(uint8_t pin, uint8_t on)
{
    if (on)
        SIO_OUT_SET = UINT32_C(1) << pin;
    else
        SIO_OUT_CLEAR = UINT32_C(1) << pin;
}

void chip_motor(uint8_t level)
{
    PWM_CC = (uint32_t)level << 16;
}

void chip_sleep(void)
{
    __asm__ volatile("wfi" ::: "memory");
}

/* The vector table and the start. rp2040_boot.S copies everything to RAM and comes here through the table. */

extern uint32_t clear_start[], clear_end[];
void stack_top(void), image_end(void); /* addresses, declared as what the table holds: they are never called */
int main(void);

static void start(void)
{
    volatile uint32_t *at;

    for (at = clear_start; at < clear_end; at++)
        *at = 0;
    (void)main();
}

/* Anything that was not expected: motor and all pins off, and stop. */
static void stop(void)
{
    chip_motor(0);
    SIO_OUT_CLEAR = UINT32_C(0xFFFFFFFF);
    for (;;)
        ;
}

typedef void (*vector)(void);

/* The reserved entry 7 is where the image ends, for rp2040_boot.S. No interrupt but the core's own is used. */
static const vector VECTORS[16] __attribute__((used, section(".vectors"))) = {
    stack_top, start, stop, stop, 0, 0, 0, image_end, 0, 0, 0, stop, 0, 0, stop, chip_tick,
};
