/* Model of an accessory decoder. See decoder.h. The rules are the same as in halfbit/decoder/accessory.py. */

#include "decoder_kind.h"

/* CV 29 (S-9.2.2 table 3). */
enum { EXTENDED = 0x20, BY_OUTPUT = 0x40, ACCESSORY = 0x80 };

enum { NUMBER_1 = 4 }; /* the 11-bit address of output 1: board 1, pair 0 */

static void switch_output(struct halfbit_decoder *d, uint8_t number, uint8_t on)
{
    uint8_t mask = (uint8_t)(1u << number);

    if (((d->outputs & mask) != 0) == on)
        return;
    d->outputs ^= mask;
    if (d->actions->output)
        d->actions->output(d->context, number, on);
}

static void show(struct halfbit_decoder *d, uint8_t head, uint8_t aspect)
{
    if (d->aspects[head] == aspect)
        return;
    d->aspects[head] = aspect;
    if (d->actions->aspect)
        d->actions->aspect(d->context, head, aspect);
}

static void power_up(struct halfbit_decoder *d)
{
    uint8_t i;

    d->timed = 0;
    for (i = 0; i < HALFBIT_OUTPUTS; i++)
        switch_output(d, i, 0);
    for (i = 0; i < HALFBIT_HEADS; i++)
        show(d, i, 0);
}

void halfbit_accessory_defaults(uint8_t *cvs)
{
    uint16_t cv;

    for (cv = 1; cv <= HALFBIT_CVS; cv++)
        cvs[cv - 1u] = cv == 1 ? 1 : cv == 29 ? ACCESSORY : 0;
}

static uint16_t number_of(const struct halfbit_decoder *d, uint16_t cv, uint8_t in_service)
{
    uint16_t older = (uint16_t)(cv - 512u); /* CVs that also have an older number, 512 higher */

    if (in_service && (halfbit_cv(d, 29) & ACCESSORY))
        cv = (uint16_t)(((cv - 1u) & 0xFFu) + 1u); /* the two highest bits may be ignored (S-9.2.2, CV 29 bit 7) */
    else if (cv > 512 && ((older >= 1 && older <= 9) || older == 28 || older == 29))
        cv = older;
    return cv <= HALFBIT_CVS ? cv : 0;
}

static void bounds(uint16_t cv, uint8_t *least, uint8_t *most)
{
    (void)cv;
    (void)least;
    (void)most;
}

static void written(struct halfbit_decoder *d, uint16_t cv)
{
    (void)d;
    (void)cv;
}

static void passed(struct halfbit_decoder *d, uint32_t now)
{
    uint8_t i;

    for (i = 0; i < HALFBIT_OUTPUTS; i++)
        if (halfbit_bit(d->timed, i) && now - d->off_at[i] < UINT32_C(0x80000000)) {
            d->timed = (uint8_t)(d->timed & ~(1u << i));
            switch_output(d, i, 0);
        }
}

enum { ANY_PAIR = 4 };

/* The nine bits of a board's address. The three high bits are sent inverted (S-9.2.1 D). */
static uint16_t board_of(const uint8_t *data)
{
    uint8_t high = (data[1] & 0x70u) ^ 0x70u;

    return (uint16_t)((uint16_t)(high << 2) | (data[0] & 0x3Fu));
}

/* 1 if a packet to this board address (nine bits) and pair is for this decoder. */
static uint8_t reaches(const struct halfbit_decoder *d, uint16_t board, uint8_t pair)
{
    uint16_t low = halfbit_cv(d, 1);
    uint16_t high = halfbit_cv(d, 9) & 7u;
    uint16_t own;

    if (!(halfbit_cv(d, 29) & BY_OUTPUT))
        return board == (high << 6 | (low & 0x3F));
    own = (uint16_t)((low + 256u * high - 1u + NUMBER_1) & 2047u);
    return pair == ANY_PAIR ? board == own >> 2 : (uint16_t)(board << 2 | pair) == own;
}

static void switch_pair(struct halfbit_decoder *d, uint8_t second, uint32_t now)
{
    uint8_t number = second & 7u;
    uint8_t time;

    if (halfbit_cv(d, 29) & BY_OUTPUT)
        number &= 1u;
    d->timed = (uint8_t)(d->timed & ~(1u << number));
    if (!(second & 8u)) {
        switch_output(d, number, 0);
        return;
    }
    switch_output(d, number, 1);
    time = halfbit_cv(d, (uint16_t)(3u + (number >> 1)));
    if (time) {
        d->timed = (uint8_t)(d->timed | 1u << number);
        d->off_at[number] = now + (uint32_t)time * (HALFBIT_ON_TIME_MS);
    }
}

/* 10AAAAAA 1AAACDDD: switch an output, or CV access to the decoder (CDDD = 0000) or to one output (C = 1). */
static void basic(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now)
{
    uint8_t second = data[1];
    uint8_t everybody = length == 3 && data[0] == 0xBFu && (second & 0xF0u) == 0x80u;
    uint16_t board = board_of(data);
    uint8_t pair = (second >> 1) & 3u;
    uint8_t whole = length == 6 && (second & 15u) == 0;
    uint8_t repeated;
    struct halfbit_access access;

    if (halfbit_cv(d, 29) & EXTENDED)
        return;
    if (length == 6) {
        if (!whole && !(second & 8u))
            return;
        if ((data[2] & 0xF0u) != 0xE0u || ((data[2] & 0x0Cu) == 8u && (data[4] & 0xE0u) != 0xE0u))
            return;
    } else if (length != 3) {
        return;
    }
    if (!everybody && !reaches(d, board, whole ? ANY_PAIR : pair))
        return;
    repeated = halfbit_second(d, data, length);
    if (length == 3)
        switch_pair(d, second, now);
    else if (halfbit_long_form(data + 2, &access))
        halfbit_access_in_operations(d, access, repeated);
}

/* 10AAAAAA 0AAA0AA1 XXXXXXXX: an aspect, or CV access. */
static void extended(struct halfbit_decoder *d, const uint8_t *data, uint8_t length)
{
    uint8_t second = data[1];
    uint8_t everybody = length == 4 && data[0] == 0xBFu && second == 0x07u;
    uint16_t board = board_of(data);
    uint8_t head = (second >> 1) & 3u;
    uint8_t nop = length == 3 && (second & 9u) == 9u; /* RCN-213, from memory */
    struct halfbit_access access;
    uint8_t repeated;
    uint8_t i;

    if (!(halfbit_cv(d, 29) & EXTENDED))
        return;
    if (!nop && (second & 9u) != 1u)
        return;
    if (!nop && length != 4 && length != 6)
        return;
    if (length == 6 && ((data[2] & 0xF0u) != 0xE0u || ((data[2] & 0x0Cu) == 8u && (data[4] & 0xE0u) != 0xE0u)))
        return;
    if (!everybody && !reaches(d, board, head))
        return;
    repeated = halfbit_second(d, data, length);
    if (length == 4) {
        if (halfbit_cv(d, 29) & BY_OUTPUT)
            show(d, 0, data[2]);
        else if (!everybody)
            show(d, head, data[2]);
        else
            for (i = 0; i < HALFBIT_HEADS; i++)
                show(d, i, data[2]);
    } else if (length == 6 && halfbit_long_form(data + 2, &access)) {
        halfbit_access_in_operations(d, access, repeated);
    }
}

static void obey(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now)
{
    uint8_t second = data[1];
    uint16_t board = board_of(data);

    if (data[0] < 128 || data[0] > 191)
        return;
    if (second & 0x80u) {
        basic(d, data, length, now);
    } else if (length == 5 && (second & 0x0Cu) == 0x0Cu) { /* 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD (appendix A) */
        struct halfbit_access access = {0, 1, 0, HALFBIT_WHOLE};

        if (!reaches(d, board, ANY_PAIR))
            return;
        access.cv = (uint16_t)(((second & 3u) << 8 | data[2]) + 1u);
        access.value = data[3];
        halfbit_access_in_operations(d, access, halfbit_second(d, data, length));
    } else if (length == 3 && (second & 9u) == 8u) { /* NOP to a basic decoder (RCN-213, from memory): only noted */
        if (!(halfbit_cv(d, 29) & EXTENDED) && reaches(d, board, (second >> 1) & 3u))
            halfbit_second(d, data, length);
    } else {
        extended(d, data, length);
    }
}

/* Registers, second column of the table in S-9.2.3 E. Registers 2 to 6 are undefined. */
static void reg(struct halfbit_decoder *d, uint8_t number, uint8_t value, uint8_t write)
{
    struct halfbit_access access = {0, 0, 0, HALFBIT_WHOLE};

    access.cv = number == 1 ? 513 : number == 7 ? 7 : number == 8 ? 520 : 0;
    access.write = write;
    access.value = value;
    if (access.cv)
        halfbit_access_in_service(d, access);
}

void halfbit_accessory_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                            void *context, uint32_t now)
{
    static const struct halfbit_kind KIND = {obey, reg, number_of, bounds, written, passed, power_up,
                                             halfbit_accessory_defaults, 0};

    halfbit_decoder_init(d, cvs, actions, context, now, &KIND);
}
