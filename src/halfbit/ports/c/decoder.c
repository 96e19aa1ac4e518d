/* The common part of both decoder models: packets, service mode, the second identical packet, CVs. See decoder.h. The
 * rules are the same as in halfbit/decoder/base.py and cv.py. */

#include "decoder_kind.h"

typedef char cvs_fit[(HALFBIT_CVS) >= 128 && (HALFBIT_CVS) <= 1024 ? 1 : -1];

enum { MANY = 3 }; /* longer runs count as this */

#define HOLD_MS 20u /* service mode ends after this time without its packets (S-9.2.3 E) */

void halfbit_decoder_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions, void *context,
                          uint32_t now, const struct halfbit_kind *kind)
{
    uint8_t *byte = (uint8_t *)d;
    uint16_t i;

    for (i = 0; i < sizeof *d; i++)
        byte[i] = 0;
    d->cvs = cvs;
    d->actions = actions;
    d->context = context;
    d->kind = kind;
    d->valid = now;
    d->page = 1;
    d->mode = HALFBIT_OPERATIONS; /* no decoder powers up in service mode */
    kind->power_up(d);
}

uint8_t halfbit_cv(const struct halfbit_decoder *d, uint16_t cv)
{
    return d->cvs[cv - 1u];
}

uint8_t halfbit_indexed(const struct halfbit_decoder *d, uint16_t cv)
{
    return d->kind->vehicle && cv >= 257 && cv <= 512;
}

/* The value of an existing CV. */
static uint8_t value_of(const struct halfbit_decoder *d, uint16_t cv)
{
    if (halfbit_indexed(d, cv))
        return d->pages->read(d->context, halfbit_cv(d, 31), halfbit_cv(d, 32), cv);
    return halfbit_cv(d, cv);
}

uint8_t halfbit_put_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value)
{
    if (value_of(d, cv) == value)
        return 1;
    if (halfbit_indexed(d, cv))
        return d->pages->write(d->context, halfbit_cv(d, 31), halfbit_cv(d, 32), cv, value);
    d->cvs[cv - 1u] = value;
    if (d->actions->store)
        d->actions->store(d->context, cv, value);
    return 1;
}

uint8_t halfbit_locked(const struct halfbit_decoder *d)
{
    return d->kind->vehicle && halfbit_cv(d, 15) != halfbit_cv(d, 16);
}

void halfbit_acknowledge(struct halfbit_decoder *d)
{
    if (d->actions->acknowledge)
        d->actions->acknowledge(d->context);
}

uint8_t halfbit_write_cv(struct halfbit_decoder *d, uint16_t cv, uint8_t value)
{
    uint8_t least = 0;
    uint8_t most = 255;

    if (cv == 7 || cv == 8 || (cv != 15 && halfbit_locked(d))) /* read-only (S-9.2.2); locked (CV 15, 16) */
        return 0;
    d->kind->bounds(cv, &least, &most);
    if (value < least || value > most)
        return 0;
    if (cv == 17 && d->kind->vehicle) { /* takes effect when CV 18 is written (S-9.2.1 C) */
        d->held = 1;
        d->held_17 = value;
        return 1;
    }
    if (cv == 18 && d->held) {
        d->held = 0;
        halfbit_put_cv(d, 17, d->held_17);
    }
    if (!halfbit_put_cv(d, cv, value))
        return 0;
    d->kind->written(d, cv);
    return 1;
}

/* The value of a CV after a write. If a value for CV 17 waits, a bit write changes that value. */
static uint8_t after(const struct halfbit_decoder *d, struct halfbit_access access)
{
    uint8_t old = access.cv == 17 && d->held ? d->held_17 : value_of(d, access.cv);
    uint8_t mask;

    if (access.bit == HALFBIT_WHOLE)
        return access.value;
    mask = (uint8_t)(1u << access.bit);
    return (uint8_t)(access.value ? old | mask : old & (uint8_t)~mask);
}

void halfbit_access_in_operations(struct halfbit_decoder *d, struct halfbit_access access, uint8_t second)
{
    uint16_t asked = access.cv; /* of an accessory decoder it may be the older number */
    uint8_t value;

    access.cv = d->kind->number(d, access.cv, 0);
    if (access.cv == 0)
        return;
    value = value_of(d, access.cv);
    if (access.write) {
        if (!second)
            return;
        value = after(d, access);
        if (!halfbit_write_cv(d, access.cv, value))
            return;
    }
    if (d->actions->answer)
        d->actions->answer(d->context, asked, value);
}

void halfbit_access_in_service(struct halfbit_decoder *d, struct halfbit_access access)
{
    uint8_t held;
    uint8_t done;

    access.cv = d->kind->number(d, access.cv, 1);
    if (access.cv == 0)
        return;
    held = value_of(d, access.cv);
    if (access.write)
        done = halfbit_write_cv(d, access.cv, after(d, access));
    else if (access.bit == HALFBIT_WHOLE)
        done = held == access.value;
    else
        done = halfbit_bit(held, access.bit) == access.value;
    if (done)
        halfbit_acknowledge(d);
}

uint8_t halfbit_long_form(const uint8_t *body, struct halfbit_access *access)
{
    uint8_t kind = (body[0] >> 2) & 3u; /* CC */

    access->cv = (uint16_t)((((body[0] & 3u) << 8) | body[1]) + 1u);
    access->value = body[2];
    access->bit = HALFBIT_WHOLE;
    access->write = kind == 3u;
    if (kind == 2u) { /* 111CDBBB */
        if ((body[2] & 0xE0u) != 0xE0u)
            return 0;
        access->write = (body[2] >> 4) & 1u;
        access->value = (body[2] >> 3) & 1u;
        access->bit = body[2] & 7u;
    }
    return kind != 0;
}

static uint8_t same(const struct halfbit_heard *heard, const uint8_t *data, uint8_t length)
{
    uint8_t i;

    if (length != heard->length || length > HALFBIT_LONGEST)
        return 0;
    for (i = 0; i < length && data[i] == heard->data[i]; i++)
        ;
    return i == length;
}

static void note(struct halfbit_heard *heard, const uint8_t *data, uint8_t length)
{
    uint8_t i;

    if (same(heard, data, length)) {
        if (heard->run < MANY)
            heard->run++;
        return;
    }
    heard->run = 1;
    heard->length = length;
    for (i = 0; i < length && i < HALFBIT_LONGEST; i++)
        heard->data[i] = data[i];
}

uint8_t halfbit_second(struct halfbit_decoder *d, const uint8_t *data, uint8_t length)
{
    note(&d->own, data, length);
    return d->own.run == 2;
}

static uint8_t is_reset(const uint8_t *data, uint8_t length)
{
    return length == 3 && data[0] == 0 && data[1] == 0;
}

/* 1 if the packet has the form of a service mode packet (S-9.2.3 E). */
static uint8_t in_form(const uint8_t *data, uint8_t length)
{
    return (length == 3 || length == 4) && data[0] >> 4 == 7u;
}

static void factory_reset(struct halfbit_decoder *d)
{
    uint8_t seven = halfbit_cv(d, 7);
    uint8_t eight = halfbit_cv(d, 8);
    uint16_t cv;

    if (halfbit_locked(d))
        return;
    d->held = 0;
    d->page = 1;
    d->kind->defaults(d->cvs);
    d->cvs[6] = seven;
    d->cvs[7] = eight;
    if (d->actions->store)
        for (cv = 1; cv <= HALFBIT_CVS; cv++)
            d->actions->store(d->context, cv, halfbit_cv(d, cv));
    if (d->pages)
        d->pages->clear(d->context);
    d->kind->power_up(d);
    halfbit_acknowledge(d);
}

/* Acts on the second of two identical packets in service mode (S-9.2.3 E). length: without the error detection byte. */
static void serve(struct halfbit_decoder *d, const uint8_t *data, uint8_t length)
{
    struct halfbit_access access;

    if (length == 3) {
        if (halfbit_long_form(data, &access))
            halfbit_access_in_service(d, access);
    } else if (data[0] == 0x7Fu && data[1] == 0x08u) {
        factory_reset(d);
    } else {
        d->kind->reg(d, (uint8_t)((data[0] & 7u) + 1u), data[1], (data[0] >> 3) & 1u);
    }
}

/* Leaves service mode. The page register is then 1 again (common practice, no source). */
static void leave(struct halfbit_decoder *d, uint8_t mode)
{
    d->mode = mode;
    d->page = 1;
}

/* Enters and leaves service mode (S-9.2.3 E). d->last is still the packet before this one. */
static void follow(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now)
{
    if (in_form(data, length)) {
        if (is_reset(d->last.data, d->last.length) && d->mode != HALFBIT_SERVICE_MODE) {
            d->mode = HALFBIT_SERVICE_MODE;
            d->own.length = 0;
            d->own.run = 0;
        }
        if (d->mode == HALFBIT_SERVICE_MODE)
            d->kept = now;
    } else if (is_reset(data, length)) {
        d->kept = now;
        if (d->mode == HALFBIT_LEFT)
            d->mode = HALFBIT_OPERATIONS;
    } else {
        leave(d, HALFBIT_OPERATIONS);
    }
}

void halfbit_decoder_tick(struct halfbit_decoder *d, uint32_t now)
{
    if (d->mode == HALFBIT_SERVICE_MODE && now - d->kept >= HOLD_MS)
        leave(d, HALFBIT_LEFT);
    d->kind->passed(d, now);
}

void halfbit_decoder_take(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now)
{
    uint8_t check = 0;
    uint8_t i;

    halfbit_decoder_tick(d, now);
    for (i = 0; i < length; i++)
        check = (uint8_t)(check ^ data[i]);
    if (length < 3 || check != 0)
        return;
    follow(d, data, length, now);
    note(&d->last, data, length);
    d->valid = now;
    if (in_form(data, length) && d->mode != HALFBIT_OPERATIONS) {
        if (d->mode == HALFBIT_SERVICE_MODE && d->last.run == 2)
            serve(d, data, (uint8_t)(length - 1u));
    } else if (d->mode == HALFBIT_OPERATIONS) {
        d->kind->obey(d, data, length, now);
    }
}
