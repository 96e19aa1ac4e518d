/* What packets make a decoder do: a multi-function decoder (a vehicle), or an accessory decoder (turnouts, signals).
 *
 * It mirrors halfbit/decoder/ in C, decides what the standards leave open as that does, and is held to it by tests. It drives
 * nothing itself: whoever uses it gives functions that do, and calls it with packets and with the time. Freestanding C99
 * like the receiver. It belongs into the main loop, not into an interrupt: copy a packet there, hand it over here.
 *
 * Not here: CVs above HALFBIT_CVS, the pages of CV 257 to 512 among them, do not exist; of binary states and analog
 * functions nothing is kept, they are only passed on.
 */
#ifndef HALFBIT_DECODER_H
#define HALFBIT_DECODER_H

#include <stdint.h>

/* CV 1 to this one exist. 128 at least, for CV 95 is the last that the rules need. */
#ifndef HALFBIT_CVS
#define HALFBIT_CVS 256
#endif
/* Bytes of the longest packet that is remembered: a repeat of a longer one is not known as such, and does nothing. */
#define HALFBIT_LONGEST 15
/* ms for each count of CV 11: S-9.2.4 has the unit, which was not at hand; a second is an assumption. */
#ifndef HALFBIT_TIMEOUT_MS
#define HALFBIT_TIMEOUT_MS 1000
#endif
/* ms for each count of CV 3 to 6 of an accessory decoder: the text has no unit; 10 ms is an assumption. */
#ifndef HALFBIT_ON_TIME_MS
#define HALFBIT_ON_TIME_MS 10
#endif
/* The maker's CV 29 of a multi-function decoder: 28 steps, own primary address. */
#ifndef HALFBIT_CONFIGURATION
#define HALFBIT_CONFIGURATION 0x02
#endif

#ifdef __cplusplus
extern "C" {
#endif

struct halfbit_decoder;

/* What the program does for the decoder; each may be 0. Context is what was given to halfbit_decoder_init. */
struct halfbit_actions {
    /* A CV has another value now: save it where power cannot take it. */
    void (*store)(void *context, uint16_t cv, uint8_t value);
    /* Service mode: load the track with 60 mA more for 6 ms, give or take 1 (S-9.2.3), without waiting for the end. */
    void (*acknowledge)(void *context);
    /* Operations mode: a CV access is answered by a value, for those who have bi-directional communication. Never by the
     * current pulse: it would jerk a running train. */
    void (*answer)(void *context, uint16_t cv, uint8_t value);
    /* Speed or direction are not as they were: see the decoder's fields. */
    void (*motor)(void *context, const struct halfbit_decoder *d);
    /* A function (0: FL), or an output of an accessory decoder, goes on or off. */
    void (*output)(void *context, uint8_t number, uint8_t on);
    /* A signal of an extended accessory decoder shows another aspect. */
    void (*aspect)(void *context, uint8_t head, uint8_t aspect);
    /* A binary state is set; number 0 is all that its form reaches. */
    void (*binary)(void *context, uint16_t number, uint8_t on, uint8_t long_form);
    /* An analog output is set. */
    void (*analog)(void *context, uint8_t output, uint8_t value);
};

/* Where a decoder is. */
enum { HALFBIT_OPERATIONS, HALFBIT_SERVICE_MODE, HALFBIT_LEFT };

enum { HALFBIT_FUNCTIONS = 69, HALFBIT_OUTPUTS = 8, HALFBIT_HEADS = 4 };

/* A packet that is remembered, and how many times in a row it came (2 for twice, 3 for more). */
struct halfbit_heard {
    uint8_t data[HALFBIT_LONGEST];
    uint8_t length;
    uint8_t run;
};

struct halfbit_kind;

struct halfbit_decoder {
    uint8_t *cvs; /* HALFBIT_CVS of them, CV 1 first */
    const struct halfbit_actions *actions;
    void *context;
    const struct halfbit_kind *kind;
    uint32_t valid; /* ms: when the last valid packet came */
    uint32_t kept;  /* ms: when service mode was last kept up */
    struct halfbit_heard last; /* of all valid packets */
    struct halfbit_heard own;  /* of those to this decoder in operations */
    uint8_t mode;
    uint8_t held;    /* a write to CV 17 waits for one to CV 18 */
    uint8_t held_17; /* its value */
    /* A multi-function decoder: what is asked for. */
    uint8_t step;      /* 0: stand still */
    uint8_t steps;     /* of how many: 14, 28 or 126; 0 while it stands still */
    uint8_t emergency; /* stand still at once */
    uint8_t direction; /* the last direction bit; halfbit_forward() has which way to run */
    uint8_t restricted; /* a restricted speed step is in force: its bits 0 to 5 */
    uint8_t restriction;
    uint8_t page; /* the page register */
    uint8_t functions[(HALFBIT_FUNCTIONS + 7) / 8]; /* bit 0 of the first: FL */
    /* An accessory decoder. */
    uint8_t outputs; /* a bit each */
    uint8_t timed;   /* outputs that will go off by themselves, a bit each */
    uint8_t aspects[HALFBIT_HEADS];
    uint32_t off_at[HALFBIT_OUTPUTS]; /* ms */
};

/* cvs: HALFBIT_CVS bytes of the caller's, as they were saved; see halfbit_defaults. now: ms, a counter that may wrap. */
void halfbit_multi_function_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                                 void *context, uint32_t now);
void halfbit_accessory_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                            void *context, uint32_t now);

/* The maker's CVs, for a store that was never written: all but CV 7 and 8 are set. */
void halfbit_multi_function_defaults(uint8_t *cvs);
void halfbit_accessory_defaults(uint8_t *cvs);

/* Takes a packet, error detection byte included. Wrong or short ones are left alone. now: ms. */
void halfbit_decoder_take(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now);

/* Lets time pass: call it at least once in a few ms. */
void halfbit_decoder_tick(struct halfbit_decoder *d, uint32_t now);

/* 1 if a multi-function decoder is to run forward: direction, CV 29 bit 0, and in a consist CV 19 bit 7. */
uint8_t halfbit_forward(const struct halfbit_decoder *d);
uint8_t halfbit_function(const struct halfbit_decoder *d, uint8_t number);

/* The share of the supply for the step asked for, 0 to 255 (CV 2, 5, 6, or the table of CV 67 to 94 with its trims). */
uint8_t halfbit_drive_level(const struct halfbit_decoder *d);
/* How long a step lasts, ms, while the speed rises or falls (CV 3, 4, 23, 24). */
uint16_t halfbit_momentum(const struct halfbit_decoder *d, uint8_t rising);

#ifdef __cplusplus
}
#endif

#endif
