/* Model of a multi-function decoder. See decoder.h. The rules are the same as in halfbit/decoder/multi_function.py. */

#include "decoder_kind.h"

/* The kinds of the decoder's own addresses that match a packet. OWN and CONSIST can both match. */
enum { NOBODY = 0, OWN = 1, CONSIST = 2, ALL = 4 };

/* CV 29 (S-9.2.2). */
enum { REVERSED = 0x01, STEPS_28 = 0x02, EXTENDED = 0x20 };

static uint8_t in_consist(const struct halfbit_decoder *d)
{
    return halfbit_cv(d, 19) & 0x7Fu;
}

uint8_t halfbit_forward(const struct halfbit_decoder *d)
{
    uint8_t turned = halfbit_cv(d, 29) & REVERSED;

    if (in_consist(d) && (halfbit_cv(d, 19) & 0x80u))
        turned ^= 1u;
    return d->direction ^ turned;
}

uint8_t halfbit_function(const struct halfbit_decoder *d, uint8_t number)
{
    return halfbit_bit(d->functions[number >> 3], number & 7u);
}

/* CV 21: F1 to F8; CV 22: FL forward, FL reverse, F9 to F12 (S-9.2.2). */
static uint8_t obeys_consist(const struct halfbit_decoder *d, uint8_t number)
{
    if (number == 0)
        return halfbit_bit(halfbit_cv(d, 22), halfbit_forward(d) ? 0 : 1);
    if (number <= 8)
        return halfbit_bit(halfbit_cv(d, 21), (uint8_t)(number - 1u));
    return number <= 12 && halfbit_bit(halfbit_cv(d, 22), (uint8_t)(number - 7u));
}

static void set_function(struct halfbit_decoder *d, uint8_t number, uint8_t on)
{
    if (halfbit_function(d, number) == on)
        return;
    d->functions[number >> 3] = (uint8_t)(d->functions[number >> 3] ^ 1u << (number & 7u));
    if (d->actions->output)
        d->actions->output(d->context, number, on);
}

static void set_functions(struct halfbit_decoder *d, uint8_t to, uint8_t first, uint8_t count, uint8_t states)
{
    uint8_t i;

    for (i = 0; i < count; i++)
        if (to != CONSIST || obeys_consist(d, (uint8_t)(first + i)))
            set_function(d, (uint8_t)(first + i), halfbit_bit(states, i));
}

/* Sets speed and direction. 0 if the address does not control them: in a consist, the own address (S-9.2.1 C). */
static uint8_t set_speed(struct halfbit_decoder *d, uint8_t to, uint8_t step, uint8_t steps, uint8_t emergency,
                         uint8_t direction)
{
    if (to == OWN && in_consist(d))
        return 0;
    d->step = step;
    d->steps = step ? steps : 0;
    d->emergency = emergency;
    d->direction = direction;
    return 1;
}

/* 28 steps, or 14 steps with FL, depending on CV 29 bit 1 (S-9.2 B, S-9.2.1 C). Also used for broadcast stop. */
static void speed_and_direction(struct halfbit_decoder *d, uint8_t to, uint8_t byte)
{
    uint8_t half = byte & 15u; /* SSSS of CSSSS */
    uint8_t c = (byte >> 4) & 1u;
    uint8_t direction = (byte >> 5) & 1u;

    if (halfbit_cv(d, 29) & STEPS_28)
        set_speed(d, to, half < 2 ? 0 : (uint8_t)(2u * half - 3u + c), 28, half == 1, direction);
    else if (set_speed(d, to, half < 2 ? 0 : (uint8_t)(half - 1u), 14, half == 1, direction))
        set_functions(d, to, 0, 1, c);
}

static void speed_126(struct halfbit_decoder *d, uint8_t to, uint8_t byte)
{
    uint8_t code = byte & 0x7Fu;

    set_speed(d, to, code < 2 ? 0 : (uint8_t)(code - 1u), 126, code == 1, byte >> 7);
}

static void power_up(struct halfbit_decoder *d)
{
    uint8_t i;

    d->step = 0;
    d->steps = 0;
    d->emergency = 0;
    d->direction = 1;
    d->restricted = 0;
    d->restriction = 0;
    for (i = 0; i < HALFBIT_FUNCTIONS; i++)
        set_function(d, i, 0);
}

static uint8_t default_of(uint16_t cv)
{
    return cv == 1 ? 3 : cv == 17 ? 192 : cv == 29 ? HALFBIT_CONFIGURATION : cv == 31 ? 16 : 0;
}

void halfbit_multi_function_defaults(uint8_t *cvs)
{
    uint16_t cv;

    for (cv = 1; cv <= HALFBIT_CVS; cv++)
        cvs[cv - 1u] = default_of(cv);
}

/* Sets CV 29, 31 and 32 to their defaults and CV 19 to 0, then does a digital decoder reset (S-9.2.1 C). */
static void hard_reset(struct halfbit_decoder *d)
{
    if (!halfbit_locked(d)) {
        halfbit_put_cv(d, 29, default_of(29));
        halfbit_put_cv(d, 31, default_of(31));
        halfbit_put_cv(d, 32, default_of(32));
        halfbit_put_cv(d, 19, 0);
    }
    power_up(d);
}

/* Class 000. */
static void control(struct halfbit_decoder *d, const uint8_t *body)
{
    uint8_t byte = body[0];

    if (byte == 0x00u) {
        power_up(d);
    } else if (byte == 0x01u) {
        hard_reset(d);
    } else if ((byte & 0xFEu) == 0x0Au) { /* extended addressing */
        uint8_t now = halfbit_cv(d, 29);

        halfbit_write_cv(d, 29, (uint8_t)(byte & 1u ? now | EXTENDED : now & ~EXTENDED));
    } else if ((byte & 0xFEu) == 0x12u && body[1] < 128) { /* consist control */
        halfbit_write_cv(d, 19, body[1] == 0 ? 0 : (uint8_t)(body[1] | (byte & 1u) << 7));
    }
}

/* Class 001. */
static void advanced(struct halfbit_decoder *d, uint8_t to, const uint8_t *body, uint8_t length)
{
    uint8_t i;

    if (body[0] == 0x3Fu) {
        speed_126(d, to, body[1]);
    } else if (body[0] == 0x3Eu && (to != OWN || !in_consist(d))) { /* restricted speed step */
        d->restricted = body[1] >> 7 == 0;
        d->restriction = d->restricted ? body[1] & 0x3Fu : 0;
    } else if (body[0] == 0x3Du && to != CONSIST && d->actions->analog) {
        d->actions->analog(d->context, body[1], body[2]);
    } else if (body[0] == 0x3Cu) { /* speed, direction, functions (RCN-212, from memory) */
        speed_126(d, to, body[1]);
        for (i = 2; i < length; i++)
            set_functions(d, to, (uint8_t)(8u * (i - 2u)), 8, body[i]);
    }
}

/* Class 110. */
static void expansion(struct halfbit_decoder *d, uint8_t to, const uint8_t *body)
{
    uint8_t byte = body[0];

    if (byte == 0xC0u || byte == 0xDDu) { /* binary state, long and short form */
        uint16_t number = body[1] & 0x7Fu;

        if (byte == 0xC0u)
            number = (uint16_t)((uint16_t)body[2] << 7 | number);
        if (to != CONSIST && d->actions->binary)
            d->actions->binary(d->context, number, body[1] >> 7, byte == 0xC0u);
    } else if (byte >= 0xD8u) {
        uint8_t first = byte >= 0xDEu ? (uint8_t)(13u + 8u * (byte - 0xDEu)) : (uint8_t)(29u + 8u * (byte - 0xD8u));

        set_functions(d, to, first, 8, body[1]);
    }
}

/* Class 111. A decoder does not act on the long form sent to its consist address (S-9.2.1 C). */
static void cv_access(struct halfbit_decoder *d, uint8_t to, const uint8_t *body, uint8_t second)
{
    struct halfbit_access access;
    uint8_t byte = body[0];

    access.write = 1; /* field by field: an initializer may become a call of memcpy, which a board need not have */
    access.bit = HALFBIT_WHOLE;
    if (byte < 0xF0u) {
        if (halfbit_long_form(body, &access) && !(to & CONSIST))
            halfbit_access_in_operations(d, access, second);
    } else if ((byte & 0xFEu) == 0xF2u) { /* short form: CV 23, 24 */
        access.cv = (uint16_t)(23u + (byte & 1u));
        access.value = body[1];
        halfbit_access_in_operations(d, access, 1);
    } else if ((byte & 0xFEu) == 0xF4u) { /* CV 17 and 18, 31 and 32 (RCN-214, from memory) */
        access.cv = byte & 1u ? 31 : 17;
        access.value = body[2];
        if (halfbit_write_cv(d, access.cv, body[1])) {
            access.cv++;
            halfbit_access_in_operations(d, access, 1);
        }
    }
}

static void operate(struct halfbit_decoder *d, uint8_t to, const uint8_t *body, uint8_t size, uint8_t second)
{
    uint8_t byte = body[0];

    if (byte < 0x20u) {
        control(d, body);
    } else if (byte < 0x40u) {
        advanced(d, to, body, size);
    } else if (byte >= 0xE0u) {
        cv_access(d, to, body, second);
    } else if (byte >= 0xC0u) {
        expansion(d, to, body);
    } else if (byte < 0x80u) {
        speed_and_direction(d, to, byte);
    } else if (byte < 0xA0u) { /* function group one */
        if (halfbit_cv(d, 29) & STEPS_28)
            set_functions(d, to, 0, 1, byte >> 4);
        set_functions(d, to, 1, 4, byte);
    } else {
        set_functions(d, to, byte & 0x10u ? 5 : 9, 4, byte);
    }
}

/* The kind of address that a packet has for this decoder (S-9.2.1, S-9.2.2 CV 1, 17, 18, 19, 29). Sets *bytes to the
 * number of bytes of the address. */
static uint8_t meant(const struct halfbit_decoder *d, const uint8_t *data, uint8_t *bytes)
{
    uint8_t extended = halfbit_cv(d, 29) & EXTENDED;
    uint8_t to = NOBODY;

    *bytes = 1;
    if (halfbit_cv(d, 1) == 0) /* no digital mode */
        return NOBODY;
    if (data[0] == 0)
        return ALL;
    if (data[0] < 128) {
        if (!extended && data[0] == halfbit_cv(d, 1))
            to |= OWN;
        if (data[0] == in_consist(d))
            to |= CONSIST;
    } else if (data[0] >= 192 && data[0] < 232 && extended) {
        *bytes = 2;
        if (data[0] == halfbit_cv(d, 17) && data[1] == halfbit_cv(d, 18))
            to = OWN;
    }
    return to;
}

static void obey(struct halfbit_decoder *d, const uint8_t *data, uint8_t length, uint32_t now)
{
    uint8_t speed[3] = {d->step, d->steps, d->emergency};
    uint8_t forward = halfbit_forward(d);
    uint8_t body = (uint8_t)(length - 1u);
    uint8_t classes = 0;
    uint8_t at;
    uint8_t to = meant(d, data, &at);
    uint8_t second;

    (void)now;
    if (to == NOBODY)
        return;
    second = halfbit_second(d, data, length);
    if (at < body && halfbit_extended_access(to == ALL, data + at, (uint8_t)(body - at)))
        return;
    while (at < body) {
        uint8_t size = halfbit_instruction_size(to == ALL, data + at, (uint8_t)(body - at), &classes);

        if (size == HALFBIT_UNKNOWN || size == HALFBIT_REST) /* instructions of these sizes do nothing */
            break;
        operate(d, to, data + at, size, second);
        at = (uint8_t)(at + size);
        if (to == ALL)
            break; /* a broadcast has only one instruction (S-9.2.1 B) */
    }
    if (d->actions->motor
        && (forward != halfbit_forward(d) || speed[0] != d->step || speed[1] != d->steps || speed[2] != d->emergency))
        d->actions->motor(d->context, d);
}

/* Registers: 1 to 4 depend on the page, 5 is CV 29, 6 is the page register, 7 and 8 are CV 7 and 8 (S-9.2.3 E). */
static void reg(struct halfbit_decoder *d, uint8_t number, uint8_t value, uint8_t write)
{
    struct halfbit_access access = {0, 0, 0, HALFBIT_WHOLE};

    if (number == 6) {
        if (write)
            d->page = value;
        if (d->page == value)
            halfbit_acknowledge(d);
        return;
    }
    access.cv = number == 5 ? 29 : number;
    if (number <= 4)
        access.cv = (uint16_t)((uint8_t)(d->page - 1u) * 4u + number);
    access.write = write;
    access.value = value;
    halfbit_access_in_service(d, access);
}

static uint16_t number_of(const struct halfbit_decoder *d, uint16_t cv, uint8_t in_service)
{
    (void)in_service;
    if (halfbit_indexed(d, cv)) /* values of CV 31 below 16 are reserved (S-9.2.2) */
        return d->pages && halfbit_cv(d, 31) >= 16 ? cv : 0;
    return cv <= HALFBIT_CVS ? cv : 0;
}

static void bounds(uint16_t cv, uint8_t *least, uint8_t *most)
{
    if (cv == 1)
        *most = 127;
    if (cv == 17) {
        *least = 192;
        *most = 231;
    }
    if (cv == 31)
        *least = 16;
}

static void written(struct halfbit_decoder *d, uint16_t cv)
{
    if (cv == 1) { /* S-9.2.2, CV 1; S-9.2.3 E, address-only mode */
        halfbit_put_cv(d, 29, (uint8_t)(halfbit_cv(d, 29) & ~EXTENDED));
        halfbit_put_cv(d, 19, 0);
    }
}

/* Applies the packet time-out (CV 11). */
static void passed(struct halfbit_decoder *d, uint32_t now)
{
    uint32_t limit = (uint32_t)halfbit_cv(d, 11) * (HALFBIT_TIMEOUT_MS);

    if (limit == 0 || d->step == 0 || now - d->valid < limit)
        return;
    d->step = 0;
    d->steps = 0;
    if (d->actions->motor)
        d->actions->motor(d->context, d);
}

void halfbit_multi_function_init(struct halfbit_decoder *d, uint8_t *cvs, const struct halfbit_actions *actions,
                                 void *context, uint32_t now)
{
    static const struct halfbit_kind KIND = {obey,   reg,      number_of,
                                             bounds, written,  passed,
                                             power_up, halfbit_multi_function_defaults, 1};

    halfbit_decoder_init(d, cvs, actions, context, now, &KIND);
}
