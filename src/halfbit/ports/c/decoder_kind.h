/* Internal: between decoder.c and the two kinds, multi_function.c and accessory.c. Programs include decoder.h. */
#ifndef HALFBIT_DECODER_KIND_H
#define HALFBIT_DECODER_KIND_H

#include "decoder.h"

/* An access to a CV. All forms of CV access are turned into this one. */
struct halfbit_access {
    uint16_t cv;
    uint8_t write;
    uint8_t value;
    uint8_t bit; /* the bit's number, or HALFBIT_WHOLE for the whole byte */
};

enum { HALFBIT_WHOLE = 255 };

static inline uint8_t halfbit_bit(uint8_t value, uint8_t number)
{
    return (uint8_t)((unsigned)value >> number & 1u);
}

/* The functions in which the two kinds differ. */
struct halfbit_kind {
    /* Acts on a packet in operations mode. length: with the error detection byte. */
    void (*obey)(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now);
    /* Acts on register 1 to 8 in service mode. */
    void (*reg)(struct halfbit_decoder *d, uint8_t number, uint8_t value, uint8_t write);
    /* The number under which a CV is stored; 0 if it does not exist. in_service: see S-9.2.2, CV 29 bit 7. */
    uint16_t (*number)(const struct halfbit_decoder *d, uint16_t cv, uint8_t in_service);
    /* Narrows the bounds of a CV's value, if it has any. */
    void (*bounds)(uint16_t cv, uint8_t *least, uint8_t *most);
    /* Changes other CVs that depend on a CV that was written. */
    void (*written)(struct halfbit_decoder *d, uint16_t cv);
    /* Applies what is due at the time now, ms. */
    void (*passed)(struct halfbit_decoder *d, uint32_t now);
    /* Goes back to the state at power-up; only the CVs stay. */
    void (*power_up)(struct halfbit_decoder *d);
    void (*defaults)(uint8_t *cvs);
    uint8_t vehicle; /* 1 for a multi-function decoder: CV 15 and 16 lock it, CV 17 and 18 are a pair */
};

void halfbit_decoder_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions, void *context,
                          uint32_t now, const struct halfbit_kind *kind);

/* The value of an existing CV that is not indexed. */
uint8_t halfbit_cv(const struct halfbit_decoder *d, uint16_t cv);
/* 1 if a CV is in the pages that CV 31 and 32 select. */
uint8_t halfbit_indexed(const struct halfbit_decoder *d, uint16_t cv);
/* Sets an existing CV without any check, and saves it. 0 if there is no room for it: then it has its old value. */
uint8_t halfbit_put_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value);
/* Writes a CV like a packet does. 0 if refused. */
uint8_t halfbit_write_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value);
/* 1 if only CV 15 can be written. */
uint8_t halfbit_locked(const struct halfbit_decoder *d);
/* Notes a packet to this decoder. 1 if it is the second identical one, with no other packet to this decoder between. */
uint8_t halfbit_second(struct halfbit_decoder *d, const uint8_t *data, uint8_t length);
/* Does an access in operations mode. second: 1 for the second identical packet. */
void halfbit_access_in_operations(struct halfbit_decoder *d, struct halfbit_access access, uint8_t second);
/* Does an access in service mode, and acknowledges it. */
void halfbit_access_in_service(struct halfbit_decoder *d, struct halfbit_access access);
void halfbit_acknowledge(struct halfbit_decoder *d);
/* Reads an access from three bytes: CCVV (the low four bits of the first) VVVVVVVV DDDDDDDD (S-9.2.1 C, S-9.2.3 E).
 * 0 if it is not an access. */
uint8_t halfbit_long_form(const uint8_t *body, struct halfbit_access *access);

enum { HALFBIT_UNKNOWN = 0, HALFBIT_REST = 255 };

/* Number of bytes of the instruction at body, after the address of a multi-function decoder. HALFBIT_REST: it uses all
 * bytes that are left, and does nothing. HALFBIT_UNKNOWN: not an instruction. classes: the classes of the earlier
 * instructions in this packet; start with 0. */
uint8_t halfbit_instruction_size(uint8_t broadcast, const uint8_t *body, uint8_t left, uint8_t *classes);
/* 1 for extended CV access (RCN-214, from memory). It starts like the long form and is the only instruction of its
 * packet. A packet that can be read as the long form and other instructions is not extended CV access here. */
uint8_t halfbit_extended_access(uint8_t broadcast, const uint8_t *body, uint8_t left);

#endif
