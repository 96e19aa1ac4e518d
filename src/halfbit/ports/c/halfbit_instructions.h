/* What the bytes of a packet mean, by tables that are made from halfbit's registry (instructions.h). */
#ifndef HALFBIT_INSTRUCTIONS_OF_A_PACKET_H
#define HALFBIT_INSTRUCTIONS_OF_A_PACKET_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The first instruction in length bytes at body (HALFBIT_I_... of instructions.h), 255 if none is known, and how
 * many bytes it takes. place: HALFBIT_BROADCAST and so on; number: a short address; once: whether one came
 * before of which a packet may hold only one. */
uint8_t halfbit_instruction(const uint8_t *body, uint8_t length, uint8_t place, uint8_t number, uint8_t once,
                            uint8_t *taken);

/* A field of an instruction (HALFBIT_F_... of instructions.h). */
uint16_t halfbit_field(const uint8_t *body, uint16_t field);

/* 1 for an instruction of which a packet may hold only one. */
uint8_t halfbit_once(uint8_t instruction);

#ifdef __cplusplus
}
#endif

#endif
