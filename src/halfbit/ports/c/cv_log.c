/* See cv_log.h. */

#include "cv_log.h"

#define EMPTY UINT32_C(0xFFFFFFFF)
#define CONTENT UINT32_C(0xFFFFFF)

enum { FIRST = 0x400, LAST = 0x800, NUMBER = 0x3FF };

/* REST: nothing to do. ERASING: the sector is being erased. ALL: writes every CV into it. HEAD: writes its number.
 * SET: writes the CVs that have changed. BROKEN: the memory does not keep what is written. */
enum { REST, ERASING, ALL, HEAD, SET, BROKEN };

typedef char numbers_fit[(HALFBIT_CVS) <= NUMBER + 1 && (HALFBIT_CVS) % 8 == 0 ? 1 : -1];

static uint32_t with_check(uint32_t content)
{
    uint32_t zeros = 0;
    uint8_t bit;

    for (bit = 0; bit < 24; bit++)
        zeros += ~(content >> bit) & 1u;
    return content | zeros << 24;
}

static uint8_t sound(uint32_t record)
{
    return record == with_check(record & CONTENT);
}

static uint8_t marked(const struct halfbit_log *log, uint16_t cv)
{
    return log->stage == ALL || log->marked[cv >> 3] >> (cv & 7u) & 1u;
}

/* The first CV of the set from cv on. */
static uint16_t find(const struct halfbit_log *log, uint16_t cv)
{
    while (cv < HALFBIT_CVS && !marked(log, cv))
        cv++;
    return cv;
}

static void apply(const struct halfbit_log *log, uint8_t *cvs, uint16_t from, uint16_t to)
{
    for (; from <= to; from++) {
        uint32_t record = log->flash->read(log->sector, from);

        if ((record & NUMBER) < HALFBIT_CVS)
            cvs[record & NUMBER] = (uint8_t)(record >> 16);
    }
}

uint8_t halfbit_log_load(struct halfbit_log *log, const struct halfbit_flash *flash, uint8_t *cvs)
{
    uint16_t open = 0; /* the first record of the set being read; 0: no set */
    uint16_t at;
    uint8_t sector;

    log->flash = flash;
    log->cvs = cvs;
    log->generation = 0;
    log->record = EMPTY;
    log->sector = 1; /* so that sector 0 is the first to be written */
    log->stage = REST;
    log->changed = 0;
    log->end = HALFBIT_LOG_RECORDS;
    for (sector = 0; sector < 2; sector++) {
        uint32_t head = flash->read(sector, 0);

        if (sound(head) && (head & CONTENT) > log->generation) {
            log->generation = head & CONTENT;
            log->sector = sector;
        }
    }
    if (log->generation == 0)
        return 0;
    log->end = 1;
    for (at = 1; at < HALFBIT_LOG_RECORDS; at++) {
        uint32_t record = flash->read(log->sector, at);

        if (record == EMPTY)
            continue;
        log->end = (uint16_t)(at + 1u);
        if (!sound(record)) {
            open = 0;
            continue;
        }
        if (record & FIRST)
            open = at;
        if ((record & LAST) && open) {
            apply(log, cvs, open, at);
            open = 0;
        }
    }
    for (at = 0; at < HALFBIT_CVS; at++)
        log->saved[at] = cvs[at];
    return 1;
}

void halfbit_log_store(struct halfbit_log *log)
{
    log->changed = 1;
}

uint8_t halfbit_log_done(const struct halfbit_log *log)
{
    return log->stage == REST && !log->changed;
}

static void begin(struct halfbit_log *log, uint8_t stage)
{
    log->stage = stage;
    log->next = 0;
    log->first = 1;
}

/* Erases the other sector, to write all CVs there. */
static void turn_over(struct halfbit_log *log)
{
    log->sector ^= 1u;
    begin(log, ERASING);
    log->flash->erase(log->sector);
}

static void write(struct halfbit_log *log, uint16_t at, uint32_t content)
{
    log->record = with_check(content);
    log->flash->write(log->sector, at, log->record);
}

/* The CVs that differ from what is written become a set. */
static void collect(struct halfbit_log *log)
{
    uint16_t cv;

    log->changed = 0;
    for (cv = 0; cv < HALFBIT_CVS; cv++) {
        uint8_t bit = (uint8_t)(1u << (cv & 7u));

        if (log->saved[cv] != log->cvs[cv])
            log->marked[cv >> 3] |= bit;
        else
            log->marked[cv >> 3] &= (uint8_t)~bit;
        log->saved[cv] = log->cvs[cv];
    }
}

/* Writes the next record of a set. */
static void go_on(struct halfbit_log *log)
{
    uint16_t cv = find(log, log->next);
    uint32_t content;

    if (cv == HALFBIT_CVS) { /* the set is complete */
        if (log->stage == ALL) {
            log->stage = HEAD;
            write(log, 0, log->generation + 1u);
        } else {
            log->stage = REST;
        }
        return;
    }
    if (log->end == HALFBIT_LOG_RECORDS) {
        if (log->stage == ALL)
            log->stage = BROKEN;
        else
            turn_over(log);
        return;
    }
    log->next = (uint16_t)(cv + 1u);
    content = cv | (uint32_t)log->saved[cv] << 16;
    if (log->first)
        content |= FIRST;
    if (find(log, log->next) == HALFBIT_CVS)
        content |= LAST;
    log->first = 0;
    write(log, log->end, content);
}

/* Compares the record just written. If it is not there, its set begins again behind it. */
static void compare(struct halfbit_log *log)
{
    uint32_t found = log->flash->read(log->sector, log->stage == HEAD ? 0 : log->end);
    uint8_t good = found == log->record;

    log->record = EMPTY;
    if (log->stage != HEAD) {
        log->end++;
        if (!good)
            begin(log, log->stage);
    } else if (good) {
        log->generation++;
        log->stage = REST;
    } else {
        log->stage = BROKEN;
    }
}

void halfbit_log_step(struct halfbit_log *log)
{
    if (log->stage == BROKEN || (log->stage == REST && !log->changed) || log->flash->busy())
        return;
    if (log->record != EMPTY)
        compare(log);
    if (log->stage == ERASING) {
        log->end = 1;
        begin(log, ALL);
    }
    if (log->stage == REST && log->changed) {
        collect(log);
        begin(log, SET);
        if (log->generation == 0) {
            turn_over(log);
            return;
        }
    }
    if (log->stage == SET || log->stage == ALL)
        go_on(log);
}
