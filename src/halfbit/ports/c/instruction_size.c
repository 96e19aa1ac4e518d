/* Lengths of the instructions after the address of a multi-function decoder (S-9.2 B, S-9.2.1 C). */

#include "decoder_kind.h"

/* Instruction classes that may occur only once in a packet (S-9.2.1 C). */
enum { CLASS_CONTROL = 1, CLASS_ADVANCED = 2, CLASS_CV = 4 };

enum { UNKNOWN = HALFBIT_UNKNOWN, REST = HALFBIT_REST };

/* Number of bytes of the instruction at body; REST for all bytes that are left; UNKNOWN if not an instruction. The
 * result may be greater than left. */
static uint8_t size_of(uint8_t broadcast, const uint8_t *body, uint8_t left)
{
    uint8_t byte = body[0];

    if (byte >= 0x40u && byte < 0xC0u)
        return 1;
    if (byte < 0x20u) {
        if (byte < 2 || (byte & 0xFEu) == 0x0Au || (byte & 0xFEu) == 0x0Eu)
            return 1;
        if ((byte & 0xFEu) == 0x06u) /* decoder flags */
            return left >= 2 && (body[1] & 8u) == 0 ? 2 : UNKNOWN;
        return (byte & 0xFEu) == 0x12u ? 2 : REST;
    }
    if (byte < 0x40u) {
        if (byte == 0x3Cu)
            return left < 3 || left > 6 ? REST : left; /* up to four bytes of functions, to the end of the packet */
        return byte >= 0x3Eu ? 2 : byte == 0x3Du ? 3 : REST;
    }
    if (byte >= 0xE0u) {
        if (byte < 0xF0u)
            return (byte & 0x0Cu) != 8u || (left >= 3 && body[2] >= 0xE0u) ? 3 : UNKNOWN;
        if ((byte & 0xFEu) == 0xF2u || (byte == 0xF9u && broadcast))
            return 2;
        return (byte & 0xFEu) == 0xF4u && left >= 3 ? 3 : REST;
    }
    if (byte == 0xC0u)
        return 3;
    if (byte == 0xDDu || byte >= 0xDEu)
        return 2;
    if (byte >= 0xD8u)
        return left >= 2 ? 2 : REST;
    if (broadcast && byte == 0xC1u && left >= 4 /* model time and date (RCN-211, from memory) */
        && ((body[1] < 0x40u && (body[3] & 0x40u) == 0) || body[1] >> 5 == 2))
        return 4;
    return byte == 0xC2u && left >= 3 ? 3 : REST; /* system time */
}

uint8_t halfbit_instruction_size(uint8_t broadcast, const uint8_t *body, uint8_t left, uint8_t *classes)
{
    uint8_t byte = body[0];
    uint8_t class_of = byte < 0x20u ? CLASS_CONTROL : byte < 0x40u ? CLASS_ADVANCED : byte >= 0xE0u ? CLASS_CV : 0;
    uint8_t size = size_of(broadcast, body, left);

    if (byte == 0x0Fu)
        class_of = 0; /* this instruction may share a packet with others of its class */
    if ((class_of & *classes) != 0 || (size > left && size != REST))
        return UNKNOWN;
    *classes |= class_of;
    return size;
}

uint8_t halfbit_extended_access(uint8_t broadcast, const uint8_t *body, uint8_t left)
{
    uint8_t classes = 0;
    uint8_t at = 0;

    if (body[0] < 0xE4u || body[0] >= 0xF0u || left < 4 || left > 8)
        return 0;
    while (at < left) {
        uint8_t size = halfbit_instruction_size(broadcast, body + at, (uint8_t)(left - at), &classes);

        if (size == UNKNOWN)
            return 1;
        if (size == REST)
            return 0;
        at = (uint8_t)(at + size);
        if (broadcast)
            return at < left;
    }
    return 0;
}

