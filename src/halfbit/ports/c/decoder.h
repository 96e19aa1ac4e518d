/* Models of decoders: a multi-function decoder (in a vehicle) and an accessory decoder (for turnouts and signals).
 *
 * This is halfbit/decoder/ in C. It does the same where the standards leave points open, and tests compare the two.
 * It drives no hardware itself: your program gives it functions for that, and calls it with packets and with the time.
 * It is freestanding C99, like the receiver. Call it from the main loop, not from an interrupt: if packets arrive in an
 * interrupt, copy them there and pass them on in the main loop.
 *
 * Limits: CVs above HALFBIT_CVS do not exist. The pages of CV 257 to 512 exist if your program has them: see struct
 * halfbit_pages. Binary states and analog functions are passed on to your program, but not stored.
 */
#ifndef HALFBIT_DECODER_H
#define HALFBIT_DECODER_H

#include <stdint.h>

/* Number of CVs, from CV 1. At least 128, because the rules need CVs up to 95. */
#ifndef HALFBIT_CVS
#define HALFBIT_CVS 256
#endif
/* Bytes of the longest packet that is remembered. Repeats of longer packets are not recognized, and do nothing. */
#define HALFBIT_LONGEST 15
/* ms per count of CV 11. The unit is in S-9.2.4, which we have not read: 1 s is an assumption. */
#ifndef HALFBIT_TIMEOUT_MS
#define HALFBIT_TIMEOUT_MS 1000
#endif
/* ms per count of CV 3 to 6 of an accessory decoder. The standard has no unit: 10 ms is an assumption. */
#ifndef HALFBIT_ON_TIME_MS
#define HALFBIT_ON_TIME_MS 10
#endif
/* The default of CV 29 of a multi-function decoder: 28 steps, primary address. */
#ifndef HALFBIT_CONFIGURATION
#define HALFBIT_CONFIGURATION 0x02
#endif

#ifdef __cplusplus
extern "C" {
#endif

struct halfbit_decoder;

/* Functions of your program that the decoder calls. Each may be 0. context: as passed to the init function. */
struct halfbit_actions {
    /* A CV has a new value: save it in non-volatile memory. */
    void (*store)(void *context, uint16_t cv, uint8_t value);
    /* Service mode: increase the track load by 60 mA for 6 ms +- 1 ms (S-9.2.3). Return at once, without waiting. */
    void (*acknowledge)(void *context);
    /* Operations mode: the answer to a CV access is this value. Send it only by bi-directional communication. Never use
     * the current pulse of service mode: it would jerk a running train. */
    void (*answer)(void *context, uint16_t cv, uint8_t value);
    /* Speed or direction has changed: see the decoder's fields. */
    void (*motor)(void *context, const struct halfbit_decoder *d);
    /* A function (0 is FL, the headlight), or an output of an accessory decoder, is switched on or off. */
    void (*output)(void *context, uint8_t number, uint8_t on);
    /* A signal of an extended accessory decoder shows another aspect. */
    void (*aspect)(void *context, uint8_t head, uint8_t aspect);
    /* A binary state is set. Number 0: all binary states of the form, short or long. */
    void (*binary)(void *context, uint16_t number, uint8_t on, uint8_t long_form);
    /* An analog output is set. */
    void (*analog)(void *context, uint8_t output, uint8_t value);
};

/* Your program's storage for the indexed CVs of a vehicle, CV 257 to 512: a page of 256 for each value of CV 31 (high,
 * 16 to 255) and CV 32 (low). After the init function, set the decoder's field pages to use it. context: as passed to
 * the init function. */
struct halfbit_pages {
    uint8_t (*read)(void *context, uint8_t high, uint8_t low, uint16_t cv);
    /* 1: saved. 0: no room; the write is then refused, and not acknowledged. */
    uint8_t (*write)(void *context, uint8_t high, uint8_t low, uint16_t cv, uint8_t value);
    /* Factory reset: set all pages to their defaults. */
    void (*clear)(void *context);
};

/* The decoder's mode; HALFBIT_LEFT: service mode is over, but operations have not resumed. */
enum { HALFBIT_OPERATIONS, HALFBIT_SERVICE_MODE, HALFBIT_LEFT };

enum { HALFBIT_FUNCTIONS = 69, HALFBIT_OUTPUTS = 8, HALFBIT_HEADS = 4 };

/* A remembered packet, and how many times in a row it came (3 for three or more). */
struct halfbit_heard {
    uint8_t data[HALFBIT_LONGEST];
    uint8_t length;
    uint8_t run;
};

struct halfbit_kind;

struct halfbit_decoder {
    uint8_t *cvs; /* HALFBIT_CVS values, CV 1 first */
    const struct halfbit_actions *actions;
    void *context;
    const struct halfbit_pages *pages; /* 0: CV 257 to 512 do not exist */
    const struct halfbit_kind *kind;
    uint32_t valid; /* time of the last valid packet, ms */
    uint32_t kept;  /* time of the last packet that keeps service mode active, ms */
    struct halfbit_heard last; /* the last valid packet */
    struct halfbit_heard own;  /* the last packet to this decoder in operations mode */
    uint8_t mode;
    uint8_t held;    /* 1: a write to CV 17 waits for a write to CV 18 */
    uint8_t held_17; /* the waiting value */
    /* Multi-function decoder: the requested state. */
    uint8_t step;      /* 0: stop */
    uint8_t steps;     /* number of steps: 14, 28 or 126; 0 for stop */
    uint8_t emergency; /* 1: stop at once */
    uint8_t direction; /* the last direction bit; for the direction of the vehicle call halfbit_forward() */
    uint8_t restricted; /* 1: the speed is restricted; restriction has bits 0 to 5 */
    uint8_t restriction;
    uint8_t page; /* the page register */
    uint8_t functions[(HALFBIT_FUNCTIONS + 7) / 8]; /* bit 0 of the first: FL */
    /* Accessory decoder. */
    uint8_t outputs; /* one bit per output */
    uint8_t timed;   /* outputs that go off after their time, one bit per output */
    uint8_t aspects[HALFBIT_HEADS];
    uint32_t off_at[HALFBIT_OUTPUTS]; /* ms */
};

/* Initialize a decoder. cvs: HALFBIT_CVS bytes of your program, as saved before; see the defaults functions below.
 * now: ms, from a counter that may wrap around. */
void halfbit_multi_function_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                                 void *context, uint32_t now);
void halfbit_accessory_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                            void *context, uint32_t now);

/* Set all CVs to their defaults, for the first start. CV 7 and 8 become 0: set them yourself. */
void halfbit_multi_function_defaults(uint8_t *cvs);
void halfbit_accessory_defaults(uint8_t *cvs);

/* Take a packet, error detection byte included. Wrong or short packets are ignored. now: ms. */
void halfbit_decoder_take(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now);

/* Let time pass. Call this every few ms. now: ms. */
void halfbit_decoder_tick(struct halfbit_decoder *d, uint32_t now);

/* 1 if the vehicle must run forward. Depends on direction, CV 29 bit 0 and, in a consist, CV 19 bit 7. */
uint8_t halfbit_forward(const struct halfbit_decoder *d);
uint8_t halfbit_function(const struct halfbit_decoder *d, uint8_t number);

/* Drive level for the requested step, 0 (off) to 255 (full supply); CV 2, 5, 6 or the table CV 67 to 94 with trims. */
uint8_t halfbit_drive_level(const struct halfbit_decoder *d);
/* Duration of one step while the speed rises or falls, ms (CV 3, 4, 23, 24). */
uint16_t halfbit_momentum(const struct halfbit_decoder *d, uint8_t rising);

/* The speed that the motor has now. It follows the requested speed step by step, each for the duration of
 * halfbit_momentum(). To reverse, it stops first. An emergency stop and service mode stop it at once. */
struct halfbit_motion {
    uint32_t since; /* time of the last step, ms */
    uint8_t step;
    uint8_t steps;
    uint8_t forward; /* 1: run the motor forward */
};

void halfbit_motion_init(struct halfbit_motion *m);
/* Call this every few ms: returns the drive level for now, 0 (off) to 255. Set the motor's direction from m->forward;
 * it only changes at the level 0. now: ms, on the clock of the decoder. */
uint8_t halfbit_motion_tick(struct halfbit_motion *m, const struct halfbit_decoder *d, uint32_t now);

#ifdef __cplusplus
}
#endif

#endif
