/* CVs in flash memory, and a table of indexed CVs: a log in two sectors. A write that power interrupts is never read as
 * a value.
 *
 * Flash memory is erased a sector at a time, to ones. A write can only turn ones into zeros. So each change is appended
 * as a record of four bytes:
 *
 *     bits 0 to 9     number of the byte: of a CV, its number - 1; the bytes of the table follow
 *     bits 10 and 11  FIRST and LAST: the ends of a set
 *     bits 16 to 23   value
 *     bits 24 to 31   check: the number of zeros in bits 0 to 23
 *
 * The check: an interrupted write leaves ones that should be zeros. Then bits 0 to 23 have fewer zeros than they
 * should, and the check is larger than it should be. An interrupted erase does the same. So damaged records never fit
 * their check.
 *
 * A set holds all bytes that changed together: CV 17 and 18, or CV 1, 19 and 29, or an entry of the table. It counts as
 * a whole, or not at all.
 *
 * When a sector is full, the other one is erased, all bytes that are not 0 are written there, and its first record
 * comes last: a number that is larger by one, with the same kind of check. At the start, the sector with the larger
 * number is read.
 *
 * Not covered: a cell that power left half-way may read as written now and as not written later. Then the CV has its
 * old value again.
 *
 * Freestanding C99, like the receiver. Nothing here waits: call halfbit_log_step() in the main loop.
 */
#ifndef HALFBIT_CV_LOG_H
#define HALFBIT_CV_LOG_H

#include "decoder.h"

/* Records in a sector of 4096 bytes. */
#define HALFBIT_LOG_RECORDS 1024u
/* Most indexed CVs (CV 257 to 512, on the pages of CV 31 and 32) that are kept. A value of 0 takes no room. */
#ifndef HALFBIT_INDEXED
#define HALFBIT_INDEXED 64
#endif
/* Bytes that are kept: the CVs, and the table of indexed CVs. */
#define HALFBIT_LOG_BYTES ((HALFBIT_CVS) + 4 * (HALFBIT_INDEXED))

#ifdef __cplusplus
extern "C" {
#endif

/* Functions of your program. sector: 0 or 1. at: number of the record in the sector. */
struct halfbit_flash {
    uint32_t (*read)(uint8_t sector, uint16_t at);
    /* Begin to write, or to erase. Return at once. */
    void (*write)(uint8_t sector, uint16_t at, uint32_t record);
    void (*erase)(uint8_t sector);
    /* 1 until the last write or erase is done. */
    uint8_t (*busy)(void);
};

/* All fields are internal. */
struct halfbit_log {
    const struct halfbit_flash *flash;
    uint8_t *bytes;
    uint32_t generation;              /* the sector's number; 0 if no sector is good */
    uint32_t record;                  /* being written */
    uint16_t end;                     /* where the next record goes */
    uint16_t next;                    /* the byte of the next record */
    uint8_t sector;
    uint8_t stage;
    uint8_t first;                    /* 1: the next record is the first of its set */
    uint8_t changed;                     /* 1: compare bytes with saved */
    uint8_t saved[HALFBIT_LOG_BYTES];    /* as written, or as they will be when the set is written */
    uint8_t marked[HALFBIT_LOG_BYTES / 8]; /* bytes of the set, one bit each */
};

/* Reads the bytes (HALFBIT_LOG_BYTES, which must stay): first the CVs, CV 1 first, then the table. What is not stored
 * becomes 0. Returns 0 if nothing is stored: then set the CVs to your defaults and call halfbit_log_store(). */
uint8_t halfbit_log_load(struct halfbit_log *log, const struct halfbit_flash *flash, uint8_t *bytes);

/* Bytes have changed. What changes before the next step becomes one set. */
void halfbit_log_store(struct halfbit_log *log);

/* Begins the next write or erase, if there is one to do and the last one is done. */
void halfbit_log_step(struct halfbit_log *log);

/* 1 if all changes are in flash memory. */
uint8_t halfbit_log_done(const struct halfbit_log *log);

/* The functions of struct halfbit_pages, on the table of the log; see there. */
uint8_t halfbit_log_read(const struct halfbit_log *log, uint8_t high, uint8_t low, uint16_t cv);
uint8_t halfbit_log_write(struct halfbit_log *log, uint8_t high, uint8_t low, uint16_t cv, uint8_t value);
void halfbit_log_clear(struct halfbit_log *log);

#ifdef __cplusplus
}
#endif

#endif
