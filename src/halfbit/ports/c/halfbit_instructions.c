/* See halfbit_instructions.h. */

#include "halfbit_instructions.h"

#include "instructions.h"

enum { UNKNOWN = 255, ANY = 255, ONCE = 2 };

#define ROW(at) HALFBIT_ROM_8(HALFBIT_ROWS[at])
#define FIELD(at) HALFBIT_ROM_16(HALFBIT_FIELDS[at])

uint8_t halfbit_once(uint8_t instruction)
{
    return (ROW(HALFBIT_ROM_16(HALFBIT_STARTS[instruction]) + 3u) & ONCE) != 0;
}

/* Bytes that the instruction in a row takes, 0 if the bytes are another. */
static uint8_t matched(uint16_t row, const uint8_t *body, uint8_t length, uint8_t place, uint8_t number, uint8_t once)
{
    uint8_t size = ROW(row);
    uint8_t most = ROW(row + 2u);
    uint8_t behind;
    uint8_t i;

    if (length < size + ROW(row + 1u) || (once && (ROW(row + 3u) & ONCE)))
        return 0;
    if (place == HALFBIT_SHORT_ADDRESS && (number < ROW(row + 4u) || number > ROW(row + 5u)))
        return 0;
    for (i = 0; i < size; i++)
        if ((body[i] & ROW(row + 6u + i)) != ROW(row + 6u + size + i))
            return 0;
    behind = (uint8_t)(length - size);
    if (most != ANY && behind > most)
        behind = most;
    if (place == HALFBIT_SERVICE && size + behind != length)
        return 0; /* there the pattern is the whole packet */
    return (uint8_t)(size + behind);
}

uint8_t halfbit_instruction(const uint8_t *body, uint8_t length, uint8_t place, uint8_t number, uint8_t once,
                            uint8_t *taken)
{
    uint16_t list;

    if (length == 0)
        return UNKNOWN;
    for (list = HALFBIT_ROM_8(HALFBIT_FIRST[place][body[0]]); HALFBIT_ROM_8(HALFBIT_LISTS[list]) != UNKNOWN; list++) {
        uint8_t instruction = HALFBIT_ROM_8(HALFBIT_LISTS[list]);

        *taken = matched(HALFBIT_ROM_16(HALFBIT_STARTS[instruction]), body, length, place, number, once);
        if (*taken != 0)
            return instruction;
    }
    return UNKNOWN;
}

uint16_t halfbit_field(const uint8_t *body, uint16_t field)
{
    uint16_t run = (uint16_t)(field + 3u);
    uint16_t left = FIELD(field + 2u);
    uint16_t value = 0;

    for (; left != 0; left--, run = (uint16_t)(run + 4u))
        value = (uint16_t)(value | ((body[FIELD(run)] >> FIELD(run + 1u)) & ((1u << FIELD(run + 2u)) - 1u)) << FIELD(run + 3u));
    return (uint16_t)((value ^ FIELD(field)) + FIELD(field + 1u));
}
