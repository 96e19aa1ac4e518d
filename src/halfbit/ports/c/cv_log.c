/* See cv_log.h. */

#include "cv_log.h"

#define EMPTY UINT32_C(0xFFFFFFFF)
#define CONTENT UINT32_C(0xFFFFFF)

enum { FIRST = 0x400, LAST = 0x800, NUMBER = 0x3FF };

/* REST: nothing to do. ERASING: the sector is being erased. ALL: writes every byte into it that is not 0. HEAD: writes
 * its number. SET: writes the bytes that have changed. BROKEN: the memory does not keep what is written. */
enum { REST, ERASING, ALL, HEAD, SET, BROKEN };

/* All bytes, the sector's number, and room for changes: an entry of the table has four bytes. */
typedef char bytes_fit[HALFBIT_LOG_BYTES + 16 < HALFBIT_LOG_RECORDS && HALFBIT_LOG_BYTES % 8 == 0 ? 1 : -1];

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

static uint8_t marked(const struct halfbit_log *log, uint16_t number)
{
    if (log->stage == ALL) /* what is not stored is 0 */
        return log->saved[number] != 0;
    return log->marked[number >> 3] >> (number & 7u) & 1u;
}

/* The first byte of the set from a number on. */
static uint16_t find(const struct halfbit_log *log, uint16_t number)
{
    while (number < HALFBIT_LOG_BYTES && !marked(log, number))
        number++;
    return number;
}

static void apply(const struct halfbit_log *log, uint16_t from, uint16_t to)
{
    for (; from <= to; from++) {
        uint32_t record = log->flash->read(log->sector, from);

        if ((record & NUMBER) < HALFBIT_LOG_BYTES)
            log->bytes[record & NUMBER] = (uint8_t)(record >> 16);
    }
}

uint8_t halfbit_log_load(struct halfbit_log *log, const struct halfbit_flash *flash, uint8_t *bytes)
{
    uint16_t open = 0; /* the first record of the set being read; 0: no set */
    uint16_t at;
    uint8_t sector;

    log->flash = flash;
    log->bytes = bytes;
    for (at = 0; at < HALFBIT_LOG_BYTES; at++)
        bytes[at] = 0;
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
            apply(log, open, at);
            open = 0;
        }
    }
    for (at = 0; at < HALFBIT_LOG_BYTES; at++)
        log->saved[at] = bytes[at];
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

/* Erases the other sector, to write all bytes there. */
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

/* The bytes that differ from what is written become a set. */
static void collect(struct halfbit_log *log)
{
    uint16_t at;

    log->changed = 0;
    for (at = 0; at < HALFBIT_LOG_BYTES; at++) {
        uint8_t bit = (uint8_t)(1u << (at & 7u));

        if (log->saved[at] != log->bytes[at])
            log->marked[at >> 3] |= bit;
        else
            log->marked[at >> 3] &= (uint8_t)~bit;
        log->saved[at] = log->bytes[at];
    }
}

/* Writes the next record of a set. */
static void go_on(struct halfbit_log *log)
{
    uint16_t number = find(log, log->next);
    uint32_t content;

    if (number == HALFBIT_LOG_BYTES) { /* the set is complete */
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
    log->next = (uint16_t)(number + 1u);
    content = number | (uint32_t)log->saved[number] << 16;
    if (log->first)
        content |= FIRST;
    if (find(log, log->next) == HALFBIT_LOG_BYTES)
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

/* The table: entries of four bytes, high, low, CV number - 257 and value. high is 0 in a free entry. A value of 0 needs
 * no entry. Gives the place of an entry; if there is no such entry, that of the first free one; if there is no room,
 * HALFBIT_LOG_BYTES. */
static uint16_t entry(const struct halfbit_log *log, uint8_t high, uint8_t low, uint16_t cv)
{
    uint16_t empty = HALFBIT_LOG_BYTES;
    uint16_t at;

    for (at = HALFBIT_CVS; at < HALFBIT_LOG_BYTES; at = (uint16_t)(at + 4u)) {
        const uint8_t *is = log->bytes + at;

        if (is[0] == high && is[1] == low && is[2] == (uint8_t)(cv - 257u))
            return at;
        if (is[0] == 0 && empty == HALFBIT_LOG_BYTES)
            empty = at;
    }
    return empty;
}

uint8_t halfbit_log_read(const struct halfbit_log *log, uint8_t high, uint8_t low, uint16_t cv)
{
    uint16_t at = entry(log, high, low, cv);

    return at < HALFBIT_LOG_BYTES ? log->bytes[at + 3u] : 0;
}

uint8_t halfbit_log_write(struct halfbit_log *log, uint8_t high, uint8_t low, uint16_t cv, uint8_t value)
{
    uint16_t at = entry(log, high, low, cv);

    if (at == HALFBIT_LOG_BYTES)
        return value == 0; /* it is 0 already */
    log->bytes[at] = value ? high : 0;
    log->bytes[at + 1u] = value ? low : 0;
    log->bytes[at + 2u] = value ? (uint8_t)(cv - 257u) : 0;
    log->bytes[at + 3u] = value;
    log->changed = 1;
    return 1;
}

void halfbit_log_clear(struct halfbit_log *log)
{
    uint16_t at;

    for (at = HALFBIT_CVS; at < HALFBIT_LOG_BYTES; at++)
        log->bytes[at] = 0;
    log->changed = 1;
}
