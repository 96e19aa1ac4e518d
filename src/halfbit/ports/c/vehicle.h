/* A multi-function decoder on top of halfbit.h: its own address, speed, functions, CVs and service mode.
 *
 * It drives no motor and switches no lamp: it says what is asked for. Freestanding like the rest. Meant for the main loop,
 * not for the interrupt in which half-bits come in: copy a packet there, hand it over here.
 */
#ifndef HALFBIT_VEHICLE_H
#define HALFBIT_VEHICLE_H

#include <stdint.h>

#define HALFBIT_CVS 256u     /* CV 1 to 256 are kept; others do not exist here */
#define HALFBIT_LONGEST 15u  /* bytes of a packet */

/* What a packet has done, added together. */
enum {
    HALFBIT_CHANGED = 1,    /* speed, direction or functions are other than before */
    HALFBIT_ACKNOWLEDGE = 2, /* give the pulse: at least 60 mA more, for 6 ms, give or take 1 (S-9.2.3) */
    HALFBIT_WRITTEN = 4     /* a CV is other than before: save it */
};

struct halfbit_vehicle {
    uint8_t *cvs; /* HALFBIT_CVS of them, CV 1 first */
    uint32_t functions; /* bit 0 FL, bit n Fn, up to F28 */
    uint8_t forward;    /* as asked for; CV 29 bit 0 turns it round for the motor */
    uint8_t step;       /* 0: stand still */
    uint8_t steps;      /* of how many: 14, 28 or 126 */
    uint8_t emergency;  /* stand still at once */
    /* Service mode (S-9.2.3 E), and the second identical packet. */
    uint8_t service;
    uint8_t after_reset;
    uint8_t held_off; /* service mode was left: no packet in its form means anything yet */
    uint8_t page;
    uint8_t before[HALFBIT_LONGEST];
    uint8_t before_length;
    uint32_t since; /* ms: when the last reset or service mode packet came */
};

/* cvs: the vehicle's own, kept by the caller. */
void halfbit_vehicle_init(struct halfbit_vehicle *v, uint8_t *cvs);

/* Takes a packet whose error detection byte is right, error detection byte included.
 * now: ms, from a counter that may wrap. Gives HALFBIT_CHANGED and so on. */
uint8_t halfbit_vehicle_take(struct halfbit_vehicle *v, const uint8_t *data, uint8_t length, uint32_t now);

/* The first instruction in length bytes at body (instructions.h), 255 for none that is known, and how
 * many bytes it takes. place: HALFBIT_BROADCAST and so on; number: a short address; once: whether one came
 * before of which a packet may hold only one. */
uint8_t halfbit_instruction(const uint8_t *body, uint8_t length, uint8_t place, uint8_t number, uint8_t once,
                            uint8_t *taken);

/* A field of an instruction (HALFBIT_F_... of instructions.h). */
uint16_t halfbit_field(const uint8_t *body, uint16_t field);

/* Whether it is an instruction of which a packet may hold only one. */
uint8_t halfbit_once(uint8_t instruction);

#endif
