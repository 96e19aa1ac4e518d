@ The first 256 bytes of the flash memory. The chip's boot ROM copies them to RAM, compares their check and runs them.
@ They set the serial interface to the simplest way of reading, copy the program to RAM and start it.
@ Registers and the boot ROM's rules are from memory of the chip's datasheet.

    .syntax unified
    .cpu cortex-m0plus
    .thumb
    .section .boot, "ax"
    .balign 4
    .global boot
boot:
    ldr r3, ssi
    movs r1, #0
    str r1, [r3, #0x08]     @ off while it is set up
    movs r1, #2
    str r1, [r3, #0x14]     @ half of the clock, which is slow here
    ldr r1, ctrlr0
    str r1, [r3, #0x00]
    movs r1, #0
    str r1, [r3, #0x04]     @ one word at a time
    ldr r1, spi_ctrlr0
    movs r0, #0xF4
    str r1, [r3, r0]
    movs r1, #1
    str r1, [r3, #0x10]     @ the memory's select pin
    str r1, [r3, #0x08]     @ on

    ldr r0, source
    ldr r1, target
    ldr r2, [r0, #28]       @ vector 7: where the image ends
copy:
    ldmia r0!, {r3}
    stmia r1!, {r3}
    cmp r1, r2
    bcc copy

    ldr r0, target
    ldr r1, vtor
    str r0, [r1]
    ldmia r0!, {r1, r2}     @ stack and start
    msr msp, r1
    bx r2

    .balign 4
ssi:        .word 0x18000000
ctrlr0:     .word 0x001F0300    @ 32 bits; write command and address, then read
spi_ctrlr0: .word 0x03000218    @ command 03, 8 bits, and 24 bits of address, one line
source:     .word 0x10000100
target:     .word 0x20000000
vtor:       .word 0xE000ED08

    .org 252
    .word 0xB9D36784        @ CRC-32 of the above: polynomial 04C11DB7, begins with ones, not reflected, not inverted
