/* See halfbit_sum.h. This file does the same as halfbit/core_sum.py, with the same names.
 *
 * The machine of layer 4 of each lane is a whole receiver of halfbit.h here. It is fed two equal halves for each bit.
 */

#include "halfbit_sum.h"

#define ONE_MIN ((uint32_t)(HALFBIT_SUM_ONE_MIN))
#define ZERO_MAX ((uint32_t)(HALFBIT_SUM_ZERO_MAX))
#define RECENT ((uint16_t)(HALFBIT_SUM_RECENT))

/* The constants of core_sum.py. */
enum {
    BLOCK = 240,
    PATIENCE_MAX = 15,
    PATIENCE = 3,
    OWN_MAX = 64,
    OWN_MAX_STRETCHED = 100,
    OWN_CLEAR = 1,
    CLEAR = 50,
    CLEAR_STRETCHED = 110,
    PAST_MAX = 120,
    TEACHER = 30,
    TOTAL_MAX = 1000,
    HELD_MAX = 500
};

/* What became of a packet, where it matters. As in core_sum.py. */
enum { NOT_UNSURE, UNSURE = 3 };

#define ASSERT(name, condition) typedef char name[(condition) ? 1 : -1]
ASSERT(recent_fits, (HALFBIT_SUM_RECENT) % BLOCK == 0 && 0 < (HALFBIT_SUM_RECENT) && (HALFBIT_SUM_RECENT) <= 4 * BLOCK);

typedef struct halfbit_sum_boundaries boundaries_t;
typedef struct halfbit_sum_lane lane_t;
typedef struct halfbit_sum sum_t;

static void lane_init(lane_t *lane)
{
    halfbit_receiver_init(&lane->packets);
    halfbit_sum_boundaries_lose(&lane->boundaries);
    lane->boundaries.strain = 0;
    lane->boundaries.teaches = 0;
    lane->own = lane->others = 0;
    lane->past = 0;
    lane->proof = 0;
    lane->held = 0; /* all other fields are written before they are read */
}

void halfbit_sum_init(struct halfbit_sum *s)
{
    s->due = s->known = s->blocks = s->patience = s->turn = s->started = 0;
    s->behind = s->at = s->count = 0;
    s->balance = 0;
    lane_init(&s->lanes[0]);
    lane_init(&s->lanes[1]);
}

static void sum_begin(sum_t *s, const struct halfbit_sum_learner *t)
{
    halfbit_sum_lengths_begin(&s->lengths, t->one, t->zero, t->stretches);
    halfbit_sum_boundaries_lose(&s->lanes[0].boundaries);
    halfbit_sum_boundaries_lose(&s->lanes[1].boundaries);
    s->lanes[0].proof = s->lanes[1].proof = 0;
    s->known = 1;
    s->balance = 0;
}

static void sum_learn(sum_t *s)
{
    struct halfbit_sum_learner learner;

    learner.recent = s->recent + (s->at - s->count);
    learner.count = s->count;
    s->count = 0;
    if (!s->known) {
        halfbit_sum_learn(&learner);
        if (learner.sure || (learner.fit && s->behind == RECENT))
            sum_begin(s, &learner);
        else if (s->behind == RECENT)
            s->behind -= BLOCK;
        return;
    }
    s->blocks++;
    if (s->blocks <= s->patience)
        return;
    s->blocks = 0;
    s->patience = (uint8_t)(2 * s->patience < PATIENCE_MAX ? 2 * s->patience + 1 : PATIENCE_MAX);
    halfbit_sum_learn(&learner);
    if (learner.sure && halfbit_sum_better(&learner, &s->lengths))
        sum_begin(s, &learner);
}

static void sum_keep(sum_t *s, uint32_t duration)
{
    s->recent[s->at] = (halfbit_sum_duration)(duration <= ZERO_MAX ? duration : ZERO_MAX + 1u);
    s->at++;
    s->behind++;
    s->count++;
    if (s->count == BLOCK)
        sum_learn(s);
    if (s->at == RECENT)
        s->at = 0;
}

static void sum_start(sum_t *s, lane_t *lane, lane_t *other)
{
    boundaries_t *own = &lane->boundaries;
    boundaries_t *others = &other->boundaries;
    int16_t last = (int16_t)(others->strain - own->strain);
    int16_t past = (int16_t)((lane == &s->lanes[0] ? s->balance : -s->balance) - last);

    lane->own = own->strain;
    lane->others = others->strain;
    if (past > PAST_MAX)
        past = PAST_MAX;
    else if (past < -PAST_MAX)
        past = -PAST_MAX;
    s->balance = (int16_t)(lane == &s->lanes[0] ? past + last : -past - last);
    lane->past = (int8_t)past;
    lane->chance = 0;
    own->teaches = past >= TEACHER;
    others->teaches = past <= -TEACHER;
}

static void lane_hold(lane_t *lane)
{
    uint8_t i;

    for (i = 0; i < lane->packets.length; i++)
        lane->data[i] = lane->packets.data[i];
    lane->length = lane->packets.length;
    lane->preamble = lane->packets.preamble;
    lane->age = 0;
    lane->held = 1;
}

static uint8_t sum_judge(sum_t *s, lane_t *lane, lane_t *other)
{
    int16_t clear = (int16_t)(lane->others - lane->own);
    int8_t past = lane->past < lane->proof ? lane->past : lane->proof;
    uint8_t stretches = halfbit_sum_many_stretched(&s->lengths);
    uint8_t after_fault = stretches && !lane->proof;

    if (lane->chance)
        return NOT_UNSURE;
    if (lane->own > (stretches ? OWN_MAX_STRETCHED : OWN_MAX) || clear < (int16_t)lane->own
        || (clear < OWN_CLEAR && stretches))
        return UNSURE;
    lane->proof = (int8_t)(lane->proof + clear < PAST_MAX ? lane->proof + clear : PAST_MAX);
    if (after_fault || clear + past < (stretches ? CLEAR_STRETCHED : CLEAR)) {
        lane_hold(lane);
        return NOT_UNSURE;
    }
    s->due = lane->held && lane->age <= HELD_MAX ? 2 : 1;
    s->giving = lane != &s->lanes[0];
    lane->held = other->held = 0;
    other->chance = 1;
    s->blocks = 0;
    s->patience = PATIENCE;
    return NOT_UNSURE;
}

/* Layer 4: two equal halves for a bit. */
static uint8_t packets_feed(struct halfbit_receiver *packets, uint8_t bit)
{
    uint32_t half = bit == HALFBIT_ONE ? HALFBIT_ONE_MIN : HALFBIT_ZERO_MIN;

    if (bit != HALFBIT_ONE && bit != HALFBIT_ZERO)
        return halfbit_receiver_feed(packets, 0);
    halfbit_receiver_feed(packets, half);
    return halfbit_receiver_feed(packets, half);
}

static void sum_take(sum_t *s)
{
    uint16_t at = (uint16_t)(s->at >= s->behind ? s->at - s->behind : s->at + RECENT - s->behind);
    halfbit_sum_duration half = s->recent[at];
    halfbit_sum_duration before = s->before;
    lane_t *lane = &s->lanes[s->turn];
    lane_t *other = &s->lanes[1 - s->turn];
    uint8_t bit;
    uint8_t answer;
    uint8_t strain;
    uint8_t verdict = NOT_UNSURE;
    int16_t balance;

    s->behind--;
    s->before = half;
    if (!s->started) {
        s->started = 1;
        return;
    }
    s->turn = (uint8_t)(1 - s->turn);
    if (before > ZERO_MAX || half > ZERO_MAX) {
        bit = HALFBIT_LONG;
        halfbit_sum_boundaries_lose(&lane->boundaries);
    } else if ((uint32_t)before + half < 2u * ONE_MIN) {
        bit = HALFBIT_SHORT;
        halfbit_sum_boundaries_lose(&lane->boundaries);
    } else {
        bit = halfbit_sum_boundaries_bit(&lane->boundaries, &s->lengths, before, half);
    }
    strain = lane->boundaries.strain;
    if (lane->own < TOTAL_MAX)
        lane->own = (uint16_t)(lane->own + strain);
    if (other->others < TOTAL_MAX)
        other->others = (uint16_t)(other->others + strain);
    balance = (int16_t)(lane == &s->lanes[0] ? s->balance - strain : s->balance + strain);
    if (-TOTAL_MAX < balance && balance < TOTAL_MAX)
        s->balance = balance;
    if (lane->held && lane->age <= HELD_MAX)
        lane->age++;
    answer = packets_feed(&lane->packets, bit);
    if (answer == HALFBIT_START)
        sum_start(s, lane, other);
    else if (answer == HALFBIT_PACKET)
        verdict = sum_judge(s, lane, other);
    if (answer >= HALFBIT_SHORT || verdict == UNSURE) {
        /* A fault: the phase may have swapped. */
        lane->proof = 0;
        lane->held = 0;
    }
}

static uint8_t sum_give(sum_t *s)
{
    const lane_t *lane = &s->lanes[s->giving];

    s->due--;
    if (s->due) {
        s->data = lane->data;
        s->length = lane->length;
        s->preamble = lane->preamble;
    } else {
        s->data = lane->packets.data;
        s->length = lane->packets.length;
        s->preamble = lane->packets.preamble;
    }
    return HALFBIT_PACKET;
}

uint8_t halfbit_sum_feed(struct halfbit_sum *s, uint32_t duration)
{
    sum_keep(s, duration);
    if (!s->due && s->known) {
        sum_take(s);
        if (s->behind && !s->due)
            sum_take(s);
    }
    return s->due ? sum_give(s) : HALFBIT_MORE;
}
