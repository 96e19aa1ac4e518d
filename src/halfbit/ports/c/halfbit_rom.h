/* Storage of constant tables.
 *
 * Most chips read constants directly from flash memory. An AVR does not: normally every table is copied to RAM (2 KiB)
 * at the start. HALFBIT_ROM keeps a table in flash; HALFBIT_ROM_8 and HALFBIT_ROM_16 read one element of it. For
 * another chip with the same problem, define all three before you include this file.
 */
#ifndef HALFBIT_ROM_H
#define HALFBIT_ROM_H

#if !defined(HALFBIT_ROM) && defined(__AVR__)
#include <avr/pgmspace.h>
#define HALFBIT_ROM PROGMEM
#define HALFBIT_ROM_8(element) pgm_read_byte(&(element))
#define HALFBIT_ROM_16(element) pgm_read_word(&(element))
#elif !defined(HALFBIT_ROM)
#define HALFBIT_ROM
#define HALFBIT_ROM_8(element) (element)
#define HALFBIT_ROM_16(element) (element)
#endif

#endif
