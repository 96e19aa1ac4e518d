/* See vehicle.h. What bytes mean comes from instructions.h, which is made from halfbit's registry. */

#include "vehicle.h"

#include "instructions.h"

enum { NONE = 255, RESERVED = 1, ONCE = 2 };

/* CV 29 (S-9.2.2). */
enum { CV_PRIMARY = 1, CV_HIGH = 17, CV_LOW = 18, CV_CONSIST = 19, CV_CONFIGURATION = 29 };
enum { STEPS_28 = 0x02, LONG_ADDRESS = 0x20 };

#define SERVICE_MS 20u /* service mode ends after so long without its packets (S-9.2.3 E) */

uint8_t halfbit_once(uint8_t instruction)
{
    return (HALFBIT_ROWS[HALFBIT_STARTS[instruction] + 3u] & ONCE) != 0;
}

uint8_t halfbit_instruction(const uint8_t *body, uint8_t length, uint8_t place, uint8_t number, uint8_t once,
                            uint8_t *taken)
{
    const uint8_t *list;

    if (length == 0)
        return NONE;
    for (list = HALFBIT_LISTS + HALFBIT_FIRST[place][body[0]]; *list != NONE; list++) {
        const uint8_t *row = HALFBIT_ROWS + HALFBIT_STARTS[*list];
        uint8_t size = row[0];
        uint8_t behind;
        uint8_t i;

        if (length < size + row[1] || (once && (row[3] & ONCE)))
            continue;
        if (place == HALFBIT_SHORT_ADDRESS && (number < row[4] || number > row[5]))
            continue;
        for (i = 0; i < size && (body[i] & row[6u + i]) == row[6u + size + i]; i++)
            ;
        if (i < size)
            continue;
        behind = (uint8_t)(length - size);
        if (row[2] != NONE && behind > row[2])
            behind = row[2];
        if (place == HALFBIT_SERVICE && size + behind != length)
            continue; /* there the pattern is the whole packet */
        *taken = (uint8_t)(size + behind);
        return *list;
    }
    return NONE;
}

uint16_t halfbit_field(const uint8_t *body, uint16_t field)
{
    const uint16_t *run = HALFBIT_FIELDS + field + 3;
    uint16_t value = 0;
    uint16_t i;

    for (i = 0; i < HALFBIT_FIELDS[field + 2u]; i++, run += 4)
        value = (uint16_t)(value | ((body[run[0]] >> run[1]) & ((1u << run[2]) - 1u)) << run[3]);
    return (uint16_t)((value ^ HALFBIT_FIELDS[field]) + HALFBIT_FIELDS[field + 1u]);
}

void halfbit_vehicle_init(struct halfbit_vehicle *v, uint8_t *cvs)
{
    v->cvs = cvs;
    v->functions = 0;
    v->forward = 1;
    v->step = 0;
    v->steps = 28;
    v->emergency = 0;
    v->service = 0;
    v->after_reset = 0;
    v->held_off = 0;
    v->page = 1;
    v->before_length = 0;
    v->since = 0;
}

static uint8_t cv(const struct halfbit_vehicle *v, uint16_t number)
{
    return v->cvs[number - 1u];
}

/* In service mode a CV that is done is acknowledged, whether or not it changes. */
static uint8_t write_cv(struct halfbit_vehicle *v, uint16_t number, uint8_t value)
{
    if (number > HALFBIT_CVS)
        return 0;
    if (cv(v, number) == value)
        return HALFBIT_ACKNOWLEDGE;
    v->cvs[number - 1u] = value;
    return HALFBIT_ACKNOWLEDGE | HALFBIT_WRITTEN;
}

static uint8_t verify_cv(const struct halfbit_vehicle *v, uint16_t number, uint8_t value)
{
    return number <= HALFBIT_CVS && cv(v, number) == value ? HALFBIT_ACKNOWLEDGE : 0;
}

static uint8_t bit_of_cv(struct halfbit_vehicle *v, uint16_t number, uint16_t position, uint16_t value, uint16_t write)
{
    uint8_t mask = (uint8_t)(1u << position);

    if (number > HALFBIT_CVS)
        return 0;
    if (write)
        return write_cv(v, number, (uint8_t)(value ? cv(v, number) | mask : cv(v, number) & ~mask));
    return ((cv(v, number) & mask) != 0) == value ? HALFBIT_ACKNOWLEDGE : 0;
}

static void set_speed(struct halfbit_vehicle *v, uint16_t forward, uint16_t step, uint8_t steps, int emergency)
{
    v->forward = (uint8_t)forward;
    v->step = (uint8_t)step;
    v->steps = steps;
    v->emergency = (uint8_t)emergency;
}

/* Speed and direction: 28 steps, or 14 with FL, as CV 29 bit 1 says (S-9.2 B, S-9.2.1 C). */
static void speed_and_direction(struct halfbit_vehicle *v, uint16_t forward, uint16_t code)
{
    uint16_t half = code & 15u; /* SSSS of CSSSS */
    uint16_t c = (uint16_t)(code >> 4);

    if (cv(v, CV_CONFIGURATION) & STEPS_28) {
        set_speed(v, forward, half < 2 ? 0 : (uint16_t)(2u * half - 3u + c), 28, half == 1);
    } else {
        set_speed(v, forward, half < 2 ? 0 : (uint16_t)(half - 1u), 14, half == 1);
        v->functions = (v->functions & ~1u) | c;
    }
}

static void set_functions(struct halfbit_vehicle *v, uint16_t states, uint32_t first, uint32_t count)
{
    uint32_t mask = ((1u << count) - 1u) << first;

    v->functions = (v->functions & ~mask) | ((uint32_t)states << first & mask);
}

static void reset(struct halfbit_vehicle *v)
{
    v->functions = 0;
    set_speed(v, v->forward, 0, v->steps, 0);
}

/* CV access in operations mode; second: whether the same packet came right before (S-9.2.1 C). */
static uint8_t operate_cv(struct halfbit_vehicle *v, uint8_t instruction, const uint8_t *body, int second)
{
    switch (instruction) {
    case HALFBIT_I_CV_ACCESS_LONG_FORM_WRITE_BYTE:
        return second ? write_cv(v, halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_WRITE_BYTE_CV),
                                 (uint8_t)halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_WRITE_BYTE_VALUE))
                      : 0;
    case HALFBIT_I_CV_ACCESS_LONG_FORM_VERIFY_BYTE:
        return verify_cv(v, halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_VERIFY_BYTE_CV),
                         (uint8_t)halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_VERIFY_BYTE_VALUE));
    case HALFBIT_I_CV_ACCESS_LONG_FORM_BIT_MANIPULATION: {
        uint16_t write = halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_WRITE);

        return write && !second
                   ? 0
                   : bit_of_cv(v, halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_CV),
                               halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_POSITION),
                               halfbit_field(body, HALFBIT_F_CV_ACCESS_LONG_FORM_BIT_MANIPULATION_VALUE), write);
    }
    default:
        return 0;
    }
}

/* One instruction in operations mode. moves: whether speeds to this address count (not in a consist). */
static uint8_t operate(struct halfbit_vehicle *v, uint8_t instruction, const uint8_t *body, int moves, int second)
{
    uint16_t code;

    switch (instruction) {
    case HALFBIT_I_DIGITAL_DECODER_RESET_PACKET:
    case HALFBIT_I_DIGITAL_DECODER_RESET:
        reset(v);
        return 0;
    case HALFBIT_I_CONSIST_CONTROL:
        return write_cv(v, CV_CONSIST,
                        (uint8_t)(halfbit_field(body, HALFBIT_F_CONSIST_CONTROL_NUMBER)
                                  | halfbit_field(body, HALFBIT_F_CONSIST_CONTROL_REVERSED) << 7))
               & HALFBIT_WRITTEN;
    case HALFBIT_I_BROADCAST_STOP:
        set_speed(v, v->forward, 0, v->steps, (int)halfbit_field(body, HALFBIT_F_BROADCAST_STOP_EMERGENCY));
        return 0;
    case HALFBIT_I_SPEED_AND_DIRECTION:
        if (moves)
            speed_and_direction(v, halfbit_field(body, HALFBIT_F_SPEED_AND_DIRECTION_FORWARD),
                                halfbit_field(body, HALFBIT_F_SPEED_AND_DIRECTION_CODE));
        return 0;
    case HALFBIT_I_128_SPEED_STEP_CONTROL:
        code = halfbit_field(body, HALFBIT_F_128_SPEED_STEP_CONTROL_CODE);
        if (moves)
            set_speed(v, halfbit_field(body, HALFBIT_F_128_SPEED_STEP_CONTROL_FORWARD),
                      code < 2 ? 0 : (uint16_t)(code - 1u), 126, code == 1);
        return 0;
    case HALFBIT_I_FUNCTION_GROUP_ONE:
        set_functions(v, halfbit_field(body, HALFBIT_F_FUNCTION_GROUP_ONE_STATES), 1, 4);
        if (cv(v, CV_CONFIGURATION) & STEPS_28)
            set_functions(v, halfbit_field(body, HALFBIT_F_FUNCTION_GROUP_ONE_BIT4), 0, 1);
        return 0;
    case HALFBIT_I_FUNCTION_GROUP_TWO_F5_TO_F8:
        set_functions(v, halfbit_field(body, HALFBIT_F_FUNCTION_GROUP_TWO_F5_TO_F8_STATES), 5, 4);
        return 0;
    case HALFBIT_I_FUNCTION_GROUP_TWO_F9_TO_F12:
        set_functions(v, halfbit_field(body, HALFBIT_F_FUNCTION_GROUP_TWO_F9_TO_F12_STATES), 9, 4);
        return 0;
    case HALFBIT_I_F13_TO_F20:
        set_functions(v, halfbit_field(body, HALFBIT_F_F13_TO_F20_STATES), 13, 8);
        return 0;
    case HALFBIT_I_F21_TO_F28:
        set_functions(v, halfbit_field(body, HALFBIT_F_F21_TO_F28_STATES), 21, 8);
        return 0;
    default:
        return operate_cv(v, instruction, body, second);
    }
}

/* Registers without paging: 1 to 4 of the page, 5 is CV 29, 6 the page register, 7 and 8 their own (S-9.2.3 E). */
static uint8_t access_register(struct halfbit_vehicle *v, uint16_t number, uint8_t value, uint16_t write)
{
    static const uint8_t FIXED[8] = {0, 0, 0, 0, CV_CONFIGURATION, 0, 7, 8};
    uint16_t target = FIXED[number - 1u];

    if (number == 6) {
        if (write)
            v->page = value;
        return write || v->page == value ? HALFBIT_ACKNOWLEDGE : 0;
    }
    if (number <= 4)
        target = (uint16_t)((uint8_t)(v->page - 1u) * 4u + number);
    return write ? write_cv(v, target, value) : verify_cv(v, target, value);
}

/* The second of two identical packets in service mode. */
static uint8_t serve(struct halfbit_vehicle *v, const uint8_t *data, uint8_t length)
{
    uint8_t taken = 0;

    switch (halfbit_instruction(data, length, HALFBIT_SERVICE, 0, 0, &taken)) {
    case HALFBIT_I_DIRECT_MODE_WRITE_BYTE:
        return write_cv(v, halfbit_field(data, HALFBIT_F_DIRECT_MODE_WRITE_BYTE_CV),
                        (uint8_t)halfbit_field(data, HALFBIT_F_DIRECT_MODE_WRITE_BYTE_VALUE));
    case HALFBIT_I_DIRECT_MODE_VERIFY_BYTE:
        return verify_cv(v, halfbit_field(data, HALFBIT_F_DIRECT_MODE_VERIFY_BYTE_CV),
                         (uint8_t)halfbit_field(data, HALFBIT_F_DIRECT_MODE_VERIFY_BYTE_VALUE));
    case HALFBIT_I_DIRECT_MODE_BIT_MANIPULATION:
        return bit_of_cv(v, halfbit_field(data, HALFBIT_F_DIRECT_MODE_BIT_MANIPULATION_CV),
                         halfbit_field(data, HALFBIT_F_DIRECT_MODE_BIT_MANIPULATION_POSITION),
                         halfbit_field(data, HALFBIT_F_DIRECT_MODE_BIT_MANIPULATION_VALUE),
                         halfbit_field(data, HALFBIT_F_DIRECT_MODE_BIT_MANIPULATION_WRITE));
    case HALFBIT_I_PAGE_PRESET:
        v->page = 1;
        return HALFBIT_ACKNOWLEDGE;
    case HALFBIT_I_REGISTER_OR_PAGED_MODE:
    case HALFBIT_I_ADDRESS_ONLY_MODE:
        return access_register(v, halfbit_field(data, HALFBIT_F_REGISTER_OR_PAGED_MODE_REGISTER),
                               (uint8_t)halfbit_field(data, HALFBIT_F_REGISTER_OR_PAGED_MODE_VALUE),
                               halfbit_field(data, HALFBIT_F_REGISTER_OR_PAGED_MODE_WRITE));
    default:
        return 0;
    }
}

static int same_as_before(const struct halfbit_vehicle *v, const uint8_t *data, uint8_t length)
{
    uint8_t i;

    if (length != v->before_length)
        return 0;
    for (i = 0; i < length && data[i] == v->before[i]; i++)
        ;
    return i == length;
}

/* Whom a packet is for: where its instructions start, 0 if it is for another. */
static uint8_t mine(const struct halfbit_vehicle *v, const uint8_t *data, uint8_t length, uint8_t *place, int *moves)
{
    uint8_t consist = cv(v, CV_CONSIST) & 0x7Fu;

    *moves = consist == 0;
    *place = HALFBIT_SHORT_ADDRESS;
    if (data[0] == 0) {
        *place = HALFBIT_BROADCAST;
        *moves = 1;
        return 1;
    }
    if (data[0] < 128) {
        if (consist != 0 && data[0] == consist) {
            *moves = 1;
            return 1;
        }
        return !(cv(v, CV_CONFIGURATION) & LONG_ADDRESS) && data[0] == cv(v, CV_PRIMARY);
    }
    *place = HALFBIT_LONG_ADDRESS;
    if (length > 3 && data[0] >= 192 && data[0] < 232 && (cv(v, CV_CONFIGURATION) & LONG_ADDRESS))
        return data[0] == cv(v, CV_HIGH) && data[1] == cv(v, CV_LOW) ? 2 : 0;
    return 0;
}

/* Service mode comes and goes (S-9.2.3 E). Whether this packet belongs to it: 1; is to be left alone: 2. */
static int context(struct halfbit_vehicle *v, const uint8_t *data, uint8_t length, uint32_t now)
{
    int is_reset = length == 3 && data[0] == 0 && data[1] == 0;
    int in_form = (data[0] & 0xF0u) == 0x70u && (length == 3 || length == 4);

    if ((v->service || v->after_reset) && now - v->since >= SERVICE_MS) {
        v->held_off = v->service;
        v->service = 0;
        v->after_reset = 0;
    }
    if (is_reset) {
        v->after_reset = 1;
        v->since = now;
        return 0;
    }
    if (in_form && (v->service || v->after_reset)) {
        v->service = 1;
        v->after_reset = 0;
        v->since = now;
        return 1;
    }
    v->after_reset = 0;
    if (v->service) {
        v->service = 0;
        v->held_off = 1;
    }
    if (v->held_off && in_form)
        return 2;
    v->held_off = 0;
    return 0;
}

uint8_t halfbit_vehicle_take(struct halfbit_vehicle *v, const uint8_t *data, uint8_t length, uint32_t now)
{
    int second = same_as_before(v, data, length);
    int where = context(v, data, length, now);
    uint8_t body = (uint8_t)(length - 1u); /* without the error detection byte */
    uint8_t done = 0;
    uint8_t place;
    uint8_t at;
    int moves;
    uint8_t i;

    if (where == 1) {
        done = second ? serve(v, data, body) : 0;
        if (done)
            v->before_length = 0; /* once for each pair */
    } else if (where == 0) {
        at = mine(v, data, length, &place, &moves);
        if (at != 0) {
            uint32_t functions = v->functions;
            uint8_t state[4] = {v->forward, v->step, v->steps, v->emergency};
            uint8_t once = 0;
            uint8_t taken = 0;

            while (at < body) {
                uint8_t instruction =
                    halfbit_instruction(data + at, (uint8_t)(body - at), place, data[0], once, &taken);

                if (instruction == NONE)
                    break;
                once |= halfbit_once(instruction);
                done |= operate(v, instruction, data + at, moves, second);
                at = (uint8_t)(at + taken);
            }
            if (functions != v->functions || state[0] != v->forward || state[1] != v->step || state[2] != v->steps
                || state[3] != v->emergency)
                done |= HALFBIT_CHANGED;
        } else {
            return 0; /* to another: neither first nor second of anything here */
        }
    }
    if (!(where == 1 && done)) {
        for (i = 0; i < length; i++)
            v->before[i] = data[i];
        v->before_length = length;
    }
    return done;
}
