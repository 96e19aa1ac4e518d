/* CVs in flash memory: a log in two sectors. A write that power interrupts is never read as a value.
 *
 * Flash memory is erased a sector at a time, to ones. A write can only turn ones into zeros. So each change is appended
 * as a record of four bytes:
 *
 *     bits 0 to 9     CV number - 1
 *     bits 10 and 11  FIRST and LAST: the ends of a set
 *     bits 16 to 23   value
 *     bits 24 to 31   check: the number of zeros in bits 0 to 23
 *
 * The check: an interrupted write leaves ones that should be zeros. Then bits 0 to 23 have fewer zeros than they
 * should, and the check is larger than it should be. An interrupted erase does the same. So damaged records never fit
 * their check.
 *
 * A set holds all CVs that changed together: CV 17 and 18, or CV 1, 19 and 29. It counts as a whole, or not at all.
 *
 * When a sector is full, the other one is erased, all CVs are written there, and its first record comes last: a number
 * that is larger by one, with the same kind of check. At the start, the sector with the larger number is read.
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
    const uint8_t *cvs;
    uint32_t generation;              /* the sector's number; 0 if no sector is good */
    uint32_t record;                  /* being written */
    uint16_t end;                     /* where the next record goes */
    uint16_t next;                    /* the CV of the next record, counted from 0 */
    uint8_t sector;
    uint8_t stage;
    uint8_t first;                    /* 1: the next record is the first of its set */
    uint8_t changed;                  /* 1: compare cvs with saved */
    uint8_t saved[HALFBIT_CVS];       /* as written, or as they will be when the set is written */
    uint8_t marked[HALFBIT_CVS / 8];  /* CVs of the set, one bit each */
};

/* Reads the CVs into cvs (HALFBIT_CVS bytes, which must stay). Returns 0 if no CVs are stored: then set cvs to your
 * defaults and call halfbit_log_store(). */
uint8_t halfbit_log_load(struct halfbit_log *log, const struct halfbit_flash *flash, uint8_t *cvs);

/* CVs have changed. What changes before the next step becomes one set. */
void halfbit_log_store(struct halfbit_log *log);

/* Begins the next write or erase, if there is one to do and the last one is done. */
void halfbit_log_step(struct halfbit_log *log);

/* 1 if all changes are in flash memory. */
uint8_t halfbit_log_done(const struct halfbit_log *log);

#ifdef __cplusplus
}
#endif

#endif
