/* A decoder with everything around it, for tests: what it does is written to a log. */
#include "decoder.h"

#include <string.h>

struct world {
    struct halfbit_decoder decoder;
    struct halfbit_motion motion;
    uint8_t cvs[HALFBIT_CVS];
    uint16_t length;
    uint16_t written; /* number of indexed CVs that were written */
    uint32_t keys[512];
    uint8_t values[512];
    uint8_t log[6000];
};

static void add(struct world *w, uint8_t kind, uint16_t number, uint8_t value, uint8_t more)
{
    if (w->length + 5u <= sizeof w->log) {
        uint8_t *at = w->log + w->length;

        at[0] = kind;
        at[1] = (uint8_t)(number & 255u);
        at[2] = (uint8_t)(number >> 8);
        at[3] = value;
        at[4] = more;
        w->length = (uint16_t)(w->length + 5u);
    }
}

static void store(void *w, uint16_t cv, uint8_t value) { add(w, 'S', cv, value, 0); }
static void acknowledge(void *w) { add(w, 'K', 0, 0, 0); }
static void answer(void *w, uint16_t cv, uint8_t value) { add(w, 'A', cv, value, 0); }
static void motor(void *w, const struct halfbit_decoder *d) { add(w, 'M', d->step, d->steps, halfbit_forward(d)); }
static void output(void *w, uint8_t number, uint8_t on) { add(w, 'O', number, on, 0); }
static void aspect(void *w, uint8_t head, uint8_t shown) { add(w, 'H', head, shown, 0); }
static void binary(void *w, uint16_t number, uint8_t on, uint8_t long_form) { add(w, 'B', number, on, long_form); }
static void analog(void *w, uint8_t number, uint8_t value) { add(w, 'N', number, value, 0); }

static const struct halfbit_actions ACTIONS = {store, acknowledge, answer, motor, output, aspect, binary, analog};

static uint32_t place(const struct world *w, uint8_t high, uint8_t low, uint16_t cv)
{
    uint32_t key = (uint32_t)high << 16 | (uint32_t)low << 8 | (cv - 257u);
    uint32_t i;

    for (i = 0; i < w->written && w->keys[i] != key; i++)
        ;
    return i;
}

static uint8_t read_page(void *context, uint8_t high, uint8_t low, uint16_t cv)
{
    const struct world *w = context;
    uint32_t i = place(w, high, low, cv);

    return i < w->written ? w->values[i] : 0;
}

static uint8_t write_page(void *context, uint8_t high, uint8_t low, uint16_t cv, uint8_t value)
{
    struct world *w = context;
    uint32_t i = place(w, high, low, cv);

    if (i == sizeof w->values)
        return 0;
    if (i == w->written) {
        w->keys[i] = (uint32_t)high << 16 | (uint32_t)low << 8 | (cv - 257u);
        w->written++;
    }
    w->values[i] = value;
    return 1;
}

static void clear_pages(void *context)
{
    ((struct world *)context)->written = 0;
}

static const struct halfbit_pages PAGES = {read_page, write_page, clear_pages};

uint32_t world_size(void);
uint32_t world_pages(const struct world *w, uint32_t *keys, uint8_t *values);
void world_init(struct world *w, uint8_t accessory, uint32_t now);
void world_take(struct world *w, const uint8_t *data, uint8_t length, uint32_t now);
void world_tick(struct world *w, uint32_t now);
void world_state(const struct world *w, uint8_t *out);
uint8_t *world_cvs(struct world *w);
uint8_t world_motion(struct world *w, uint32_t now);

uint32_t world_pages(const struct world *w, uint32_t *keys, uint8_t *values)
{
    memcpy(keys, w->keys, sizeof w->keys);
    memcpy(values, w->values, sizeof w->values);
    return w->written;
}

uint32_t world_size(void) { return sizeof(struct world); }
uint8_t *world_cvs(struct world *w) { return w->cvs; }
uint8_t world_motion(struct world *w, uint32_t now) { return halfbit_motion_tick(&w->motion, &w->decoder, now); }

void world_init(struct world *w, uint8_t accessory, uint32_t now)
{
    memset(w, 0xEE, sizeof *w);
    w->length = 0;
    w->written = 0;
    w->cvs[6] = w->cvs[7] = 0;
    if (accessory) {
        halfbit_accessory_defaults(w->cvs);
        halfbit_accessory_init(&w->decoder, w->cvs, &ACTIONS, w, now);
    } else {
        halfbit_multi_function_defaults(w->cvs);
        halfbit_multi_function_init(&w->decoder, w->cvs, &ACTIONS, w, now);
        halfbit_motion_init(&w->motion);
        w->decoder.pages = &PAGES;
    }
}

void world_take(struct world *w, const uint8_t *data, uint8_t length, uint32_t now)
{
    w->length = 0;
    halfbit_decoder_take(&w->decoder, data, length, now);
}

void world_tick(struct world *w, uint32_t now)
{
    w->length = 0;
    halfbit_decoder_tick(&w->decoder, now);
}

/* mode, page, step, steps, emergency, forward, restricted, restriction, drive level, momentum up and down (16 bits each),
 * outputs, four aspects, functions; then the log's length (16 bits) and the log. */
void world_state(const struct world *w, uint8_t *out)
{
    const struct halfbit_decoder *d = &w->decoder;
    uint16_t up = halfbit_momentum(d, 1);
    uint16_t down = halfbit_momentum(d, 0);
    const uint8_t state[] = {d->mode, d->page, d->step, d->steps, d->emergency, halfbit_forward(d), d->restricted,
                             d->restriction, halfbit_drive_level(d), (uint8_t)(up & 255u), (uint8_t)(up >> 8),
                             (uint8_t)(down & 255u), (uint8_t)(down >> 8), d->outputs, d->aspects[0], d->aspects[1],
                             d->aspects[2], d->aspects[3]};

    memcpy(out, state, sizeof state);
    memcpy(out + sizeof state, d->functions, sizeof d->functions);
    out += sizeof state + sizeof d->functions;
    out[0] = (uint8_t)(w->length & 255u);
    out[1] = (uint8_t)(w->length >> 8);
    memcpy(out + 2, w->log, w->length);
}
