/* Where constant tables are kept.
 *
 * Most chips read constants where they stand in flash memory. An AVR does not: without help it copies every table to its
 * 2 KiB of RAM at the start. HALFBIT_ROM marks a table, and HALFBIT_ROM_8 and HALFBIT_ROM_16 read one element.
 * For another chip with the same trouble define all three before this file is read.
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
