/* Between decoder.c and its two kinds, multi_function.c and accessory.c. Not for programs that use a decoder. */
#ifndef HALFBIT_DECODER_KIND_H
#define HALFBIT_DECODER_KIND_H

#include "decoder.h"

/* An access to a CV, in whichever form it was sent. */
struct halfbit_access {
    uint16_t cv;
    uint8_t write;
    uint8_t value;
    uint8_t bit; /* which one; WHOLE: the whole byte */
};

enum { HALFBIT_WHOLE = 255 };

static inline uint8_t halfbit_bit(uint8_t value, uint8_t number)
{
    return (uint8_t)((unsigned)value >> number & 1u);
}

/* What the two kinds do each in its own way. */
struct halfbit_kind {
    /* Acts on a packet in operations: body without the error detection byte. */
    void (*obey)(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now);
    /* Acts on register 1 to 8 in service mode. */
    void (*reg)(struct halfbit_decoder *d, uint8_t number, uint8_t value, uint8_t write);
    /* The number under which a CV is kept; 0 if it does not exist. in_service: see S-9.2.2, CV 29 bit 7. */
    uint16_t (*number)(const struct halfbit_decoder *d, uint16_t cv, uint8_t in_service);
    /* Bounds of a CV's value. */
    void (*bounds)(uint16_t cv, uint8_t *least, uint8_t *most);
    /* What follows from a CV that was written. */
    void (*written)(struct halfbit_decoder *d, uint16_t cv);
    /* What follows from the time. */
    void (*passed)(struct halfbit_decoder *d, uint32_t now);
    /* Forgets what is in no CV. */
    void (*power_up)(struct halfbit_decoder *d);
    void (*defaults)(uint8_t *cvs);
    uint8_t vehicle; /* 1: CV 15 and 16 lock it, CV 17 and 18 are a pair */
};

void halfbit_decoder_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions, void *context,
                          uint32_t now, const struct halfbit_kind *kind);

uint8_t halfbit_cv(const struct halfbit_decoder *d, uint16_t cv);
/* Sets a CV that exists, whatever the rules, and has it saved. */
void halfbit_put_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value);
/* Writes a CV as a packet does. 0 if that is refused. */
uint8_t halfbit_write_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value);
/* 1 if only CV 15 can be written. */
uint8_t halfbit_locked(const struct halfbit_decoder *d);
/* Notes a packet to this decoder; 1 if it is the second identical one with no other to it between. */
uint8_t halfbit_second(struct halfbit_decoder *d, const uint8_t *data, uint8_t length);
/* An access in operations mode. */
void halfbit_access_in_operations(struct halfbit_decoder *d, struct halfbit_access access, uint8_t second);
/* An access in service mode, and the acknowledgement by itself. */
void halfbit_access_in_service(struct halfbit_decoder *d, struct halfbit_access access);
void halfbit_acknowledge(struct halfbit_decoder *d);
/* The access in three bytes CCVV VVVVVVVV DDDDDDDD, the lowest four bits of the first (S-9.2.1 C, S-9.2.3 E); 0 if none. */
uint8_t halfbit_long_form(const uint8_t *body, struct halfbit_access *access);

enum { HALFBIT_UNKNOWN = 0, HALFBIT_REST = 255 };

/* Bytes of the instruction at body behind a multi-function decoder's address, HALFBIT_REST for one that takes all that are
 * left and does nothing, HALFBIT_UNKNOWN if it is none. classes: those of which the packet has had one; 0 at first. */
uint8_t halfbit_instruction_size(uint8_t broadcast, const uint8_t *body, uint8_t left, uint8_t *classes);
/* 1 for extended CV access (RCN-214, from memory), which starts as the long form and stands alone. It is taken for that only
 * if what comes behind the long form is no instruction. */
uint8_t halfbit_extended_access(uint8_t broadcast, const uint8_t *body, uint8_t left);

#endif
