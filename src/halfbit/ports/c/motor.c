/* Drive level and momentum of the motor. See decoder.h. The rules are those of halfbit/decoder/multi_function.py. */

#include "decoder_kind.h"

enum { STEPS_28 = 0x02, TABLE = 0x10 }; /* CV 29 */

/* Linear interpolation between equally spaced points. The result is multiplied by spans (number of steps - 1). */
static uint32_t between(const uint8_t *points, uint8_t lines, uint16_t step, uint16_t spans)
{
    uint16_t place = (uint16_t)((step - 1u) * lines);
    uint8_t at = 0;

    while (place >= spans && at < lines - 1u) {
        place = (uint16_t)(place - spans);
        at++;
    }
    return (uint32_t)points[at] * (uint32_t)(spans - place) + (uint32_t)points[at + 1u] * place;
}

/* The drive level of one step, 0 to 255. */
static uint8_t level_of(const struct halfbit_decoder *d, uint8_t step, uint8_t steps, uint8_t forward)
{
    uint16_t spans = (uint16_t)(steps - 1u);
    uint32_t level;
    uint32_t whole = spans;

    if (step == 0)
        return 0;
    if (halfbit_cv(d, 29) & TABLE) {
        uint8_t trim = halfbit_cv(d, forward ? 66 : 95);

        level = between(d->cvs + 66, 27, step, spans) * (trim ? trim : 128u);
        whole *= 128u;
    } else {
        uint8_t points[3];
        uint8_t middle = halfbit_cv(d, 6) > 1;

        points[0] = halfbit_cv(d, 2);
        points[1] = halfbit_cv(d, 6);
        points[middle ? 2 : 1] = halfbit_cv(d, 5) > 1 ? halfbit_cv(d, 5) : 255;
        level = between(points, middle ? 2 : 1, step, spans);
    }
    level = (2u * level + whole) / (2u * whole); /* rounded to the nearest */
    return level > 255u ? 255 : (uint8_t)level;
}

/* The same, but no more than the level of a restricted speed step. */
static uint8_t restricted_level(const struct halfbit_decoder *d, uint8_t step, uint8_t steps, uint8_t forward)
{
    uint8_t level = level_of(d, step, steps, forward);
    uint8_t half = d->restriction & 15u; /* bits 0 to 4 are a speed code of S-9.2 */
    uint8_t most;

    if (!d->restricted)
        return level;
    if (half < 2)
        return 0;
    if (halfbit_cv(d, 29) & STEPS_28)
        most = level_of(d, (uint8_t)(2u * half - 3u + halfbit_bit(d->restriction, 4)), 28, forward);
    else
        most = level_of(d, (uint8_t)(half - 1u), 14, forward);
    return level < most ? level : most;
}

uint8_t halfbit_drive_level(const struct halfbit_decoder *d)
{
    return restricted_level(d, d->step, d->steps, halfbit_forward(d));
}

static uint16_t momentum_of(const struct halfbit_decoder *d, uint8_t rising, uint8_t steps)
{
    uint16_t value = halfbit_cv(d, rising ? 3 : 4);
    uint8_t adjustment = halfbit_cv(d, rising ? 23 : 24);
    uint8_t amount = adjustment & 0x7Fu;

    if (adjustment & 0x80u)
        value = value > amount ? (uint16_t)(value - amount) : 0;
    else if ((value = (uint16_t)(value + amount)) > 255)
        value = 255;
    return (uint16_t)((2u * (uint32_t)value * 896u + steps) / (2u * steps)); /* CV 3 * 0.896 s / steps (S-9.2.2) */
}

uint16_t halfbit_momentum(const struct halfbit_decoder *d, uint8_t rising)
{
    return momentum_of(d, rising, d->steps ? d->steps : halfbit_cv(d, 29) & STEPS_28 ? 28 : 14);
}

void halfbit_motion_init(struct halfbit_motion *m)
{
    m->since = 0;
    m->step = 0;
    m->steps = 28;
    m->forward = 1;
}

uint8_t halfbit_motion_tick(struct halfbit_motion *m, const struct halfbit_decoder *d, uint32_t now)
{
    uint8_t forward = halfbit_forward(d);
    uint8_t requested = d->mode == HALFBIT_OPERATIONS ? d->step : 0;

    if (d->emergency || d->mode != HALFBIT_OPERATIONS)
        m->step = 0;
    if (d->steps && m->steps != d->steps) { /* nearly the same speed, in the new steps */
        m->step = (uint8_t)(((uint16_t)m->step * d->steps + m->steps / 2u) / m->steps);
        m->steps = d->steps;
    }
    for (;;) {
        uint8_t target;
        uint16_t ms;

        if (m->step == 0)
            m->forward = forward;
        target = m->forward == forward ? requested : 0; /* to reverse, it stops first */
        if (m->step == target) {
            m->since = now;
            break;
        }
        ms = momentum_of(d, m->step < target, m->steps);
        if (now - m->since < ms)
            break;
        m->since += ms;
        if (ms == 0)
            m->step = target;
        else
            m->step = (uint8_t)(m->step < target ? m->step + 1u : m->step - 1u);
    }
    return restricted_level(d, m->step, m->steps, m->forward);
}
