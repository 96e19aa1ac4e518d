"""The log of CVs in C, on a simulated flash memory whose power fails at any place."""

from __future__ import annotations

import ctypes
import functools
import random

import attrs
import pytest

from .support_build import C, STRICT, ZIG, build
from .support_rp2040 import BYTES, FIRST, LAST, SECTOR, cvs_in, store_of, with_check

CVS = BYTES  # they count as CVs from 1 up here
RECORDS = SECTOR // 4
BEGIN = {cv: cv * 7 & 255 for cv in range(1, CVS + 1)}
#: What is not 0 is stored.
WRITTEN = sum(value > 0 for value in BEGIN.values())

Read = ctypes.CFUNCTYPE(ctypes.c_uint32, ctypes.c_uint8, ctypes.c_uint16)
Write = ctypes.CFUNCTYPE(None, ctypes.c_uint8, ctypes.c_uint16, ctypes.c_uint32)
Erase = ctypes.CFUNCTYPE(None, ctypes.c_uint8)
Busy = ctypes.CFUNCTYPE(ctypes.c_uint8)


class Functions(ctypes.Structure):
    """struct halfbit_flash."""

    _fields_ = (("read", Read), ("write", Write), ("erase", Erase), ("busy", Busy))


@functools.cache
def library() -> ctypes.CDLL:
    """The log, undefined behaviour trapped."""
    flags = (*STRICT, "-O1", "-shared", "-fPIC", "-fsanitize=undefined", "-fsanitize-trap=undefined")
    loaded = ctypes.CDLL(str(build(ZIG, flags, (C / "cv_log.c",), suffix=".so")))
    loaded.halfbit_log_load.restype = loaded.halfbit_log_done.restype = ctypes.c_uint8
    loaded.halfbit_log_read.restype = loaded.halfbit_log_write.restype = ctypes.c_uint8
    return loaded


@attrs.define
class Memory:
    """Two sectors. A write only clears bits, an erase only sets them; both are done some time after they begin."""

    store: bytearray
    rng: random.Random
    #: Writes and erases until power fails; None: it does not.
    left: int | None = None
    dead: bool = False
    operations: int = 0
    #: Cells that stay one, whatever is written: byte and bits.
    worn: dict[int, int] = attrs.field(factory=dict)
    _busy: int = 0

    def functions(self) -> Functions:
        """What the log calls."""
        return Functions(Read(self._read), Write(self._write), Erase(self._erase), Busy(self._is_busy))

    def _read(self, sector: int, at: int) -> int:
        assert self.dead or not self._busy, "a read while it is busy"
        return int.from_bytes(self.store[sector * SECTOR + 4 * at :][:4], "little")

    def _write(self, sector: int, at: int, record: int) -> None:
        place = sector * SECTOR + 4 * at
        old, new = self.store[place : place + 4], record.to_bytes(4, "little")
        stays = [self.worn.get(place + index, 0) for index in range(4)]
        self._change(place, bytes(a & b | c for a, b, c in zip(old, new, stays)))

    def _erase(self, sector: int) -> None:
        self._change(sector * SECTOR, b"\xff" * SECTOR)

    def _change(self, place: int, wanted: bytes) -> None:
        assert self.dead or not self._busy
        if self.dead:
            return
        share = 2.0
        if self.left is not None:
            self.left -= 1
            if self.left < 0:
                self.dead = True
                share = self.rng.choice((0.0, 0.2, 0.5, 0.9, 1.0))
        for index, byte in enumerate(wanted, place):
            done = sum(1 << bit for bit in range(8) if self.rng.random() < share) if self.dead else 255
            self.store[index] ^= (self.store[index] ^ byte) & done
        self.operations += 1
        self._busy = self.rng.randrange(3)

    def _is_busy(self) -> int:
        self._busy -= self._busy > 0
        return int(self._busy > 0)


class Log:
    """The log on a memory, from power on."""

    def __init__(self, memory: Memory) -> None:
        self.memory = memory
        memory.dead, memory._busy = False, 0
        self._lib, self._functions = library(), memory.functions()
        self._log = ctypes.create_string_buffer(b"\xee" * 2048, 2048)
        self._cvs = (ctypes.c_uint8 * CVS)(*[0xEE] * CVS)
        self.found = bool(self._lib.halfbit_log_load(self._log, ctypes.byref(self._functions), self._cvs))

    @property
    def cvs(self) -> dict[int, int]:
        """As the program has them."""
        return dict(enumerate(self._cvs, 1))

    def change(self, values: dict[int, int]) -> None:
        """The decoder changes CVs."""
        for cv, value in values.items():
            self._cvs[cv - 1] = value
        self._lib.halfbit_log_store(self._log)

    def indexed(self, high: int, low: int, cv: int) -> int:
        """The value of an indexed CV."""
        return int(self._lib.halfbit_log_read(self._log, high, low, cv))

    def write_indexed(self, high: int, low: int, cv: int, value: int) -> bool:
        """The decoder writes an indexed CV."""
        return bool(self._lib.halfbit_log_write(self._log, high, low, cv, value))

    def clear(self) -> None:
        """A factory reset clears all pages."""
        self._lib.halfbit_log_clear(self._log)

    def step(self) -> None:
        """One turn of the main loop."""
        self._lib.halfbit_log_step(self._log)

    def settle(self) -> bool:
        """Turns until all is written; False if it never is, or power fails."""
        for _ in range(8 * RECORDS):
            if self._lib.halfbit_log_done(self._log):
                return True
            if self.memory.dead:
                return False
            self.step()
        return False


def memory(store: bytes = b"\xff" * 2 * SECTOR, seed: int = 1) -> Memory:
    """With power that does not fail."""
    return Memory(bytearray(store), random.Random(seed))


def test_an_empty_memory() -> None:
    log = Log(memory())
    assert not log.found
    log.change(BEGIN)
    assert log.settle()
    assert bytes(log.memory.store) == store_of(BEGIN)
    again = Log(log.memory)
    assert again.found and again.cvs == BEGIN


def test_changes_are_appended_and_then_go_to_the_other_sector() -> None:
    """A sector has room for some 500 changes behind all bytes; then the other one has a larger number."""
    log = Log(memory(store_of(BEGIN)))
    for turn in range(RECORDS - 1 - WRITTEN + 10):
        log.change({5: turn & 255, 6: 1})
        assert log.settle()
        assert cvs_in(bytes(log.memory.store)) == log.cvs
    store = bytes(log.memory.store)
    assert store[SECTOR : SECTOR + 4] == with_check(2).to_bytes(4, "little")
    assert Log(log.memory).cvs == log.cvs


def test_nothing_is_written_if_nothing_changes() -> None:
    log = Log(memory(store_of(BEGIN)))
    log.change({9: BEGIN[9]})
    assert log.settle() and log.memory.operations == 0


def test_what_changes_together_counts_together() -> None:
    """CV 1, 19 and 29: power fails after each of the three records."""
    for left, expected in ((0, False), (1, False), (2, False), (3, True)):
        log = Log(memory(store_of(BEGIN)))
        log.memory.left = left
        log.change({1: 99, 19: 98, 29: 97})
        log.settle()
        log.memory.dead = True
        log.memory.left = None
        after = Log(log.memory)
        last_is_whole = cvs_in(bytes(log.memory.store)) == after.cvs
        assert last_is_whole and after.cvs in (BEGIN, BEGIN | {1: 99, 19: 98, 29: 97})
        if expected or left < 2:
            assert (after.cvs != BEGIN) == expected


@pytest.mark.parametrize("seed", range(4))
def test_power_that_fails_anywhere(seed: int) -> None:
    """A hundred failures in a row, in writes and erases. The CVs are always those of a moment: no change by half,
    nothing older than what was written for certain."""
    rng = random.Random(seed)
    flash = memory(store_of(BEGIN, fill=rng.randrange(RECORDS - 1 - WRITTEN)), seed)
    possible = [BEGIN]  # what may be found: the last that was certain, and all after it
    failures = 0
    for _ in range(120):
        flash.left = rng.choice((rng.randrange(4), rng.randrange(400)))
        log = Log(flash)
        assert log.found and log.cvs in possible
        possible = [log.cvs]
        while not flash.dead:
            log.change({rng.randrange(1, CVS + 1): rng.randrange(256) for _ in range(rng.choice((1, 2, 3)))})
            possible.append(log.cvs)
            if rng.random() < 0.7:
                if log.settle():
                    possible = [log.cvs]
            else:
                for _ in range(rng.randrange(5)):
                    log.step()
        failures += 1
    assert failures == 120


def test_a_set_with_a_damaged_record_in_it_is_not_taken() -> None:
    """As after years: the record in the middle of three has lost a bit. Its set is left out, the next one counts."""
    log = Log(memory(store_of(BEGIN)))
    log.change({1: 99, 19: 98, 29: 97})
    assert log.settle()
    log.memory.store[4 * (1 + WRITTEN + 1) + 2] |= 0x80
    assert Log(log.memory).cvs == BEGIN
    log.change({30: 96})
    assert log.settle() and Log(log.memory).cvs == BEGIN | {30: 96}


def test_interrupted_records_never_fit_their_check() -> None:
    """Each record of a CV with some of its zeros still ones: 100,000 of them, and all with one bit."""
    rng = random.Random(3)
    for _ in range(100_000):
        record = with_check(rng.randrange(1 << 24))
        torn = record | rng.randrange(1 << 32) & rng.randrange(1 << 32)
        assert torn == record or torn != with_check(torn & 0xFFFFFF)
    record = with_check(FIRST | LAST | 2 | 77 << 16)
    for bit in range(32):
        torn = record | 1 << bit
        assert torn == record or torn != with_check(torn & 0xFFFFFF)


@pytest.mark.parametrize("worn", [1 + WRITTEN, 1 + WRITTEN + 3])
def test_a_worn_place_is_passed_over(worn: int) -> None:
    """A record that does not read back as written is written again behind, with its set."""
    log = Log(memory(store_of(BEGIN)))
    log.memory.worn = {4 * worn + 1: 0xFF, 4 * worn + 2: 0xFF}
    for turn in range(6):
        log.change({5: turn, 6: turn})
        assert log.settle()
        assert Log(log.memory).cvs == log.cvs == cvs_in(bytes(log.memory.store))


def test_a_memory_that_keeps_nothing_is_given_up() -> None:
    """No endless writing."""
    log = Log(memory(store_of(BEGIN)))
    log.memory.worn = dict.fromkeys(range(2 * SECTOR), 0xFF)
    log.change({5: 1})
    assert not log.settle()
    assert log.memory.operations < 2 * RECORDS


def test_indexed_cvs_over_power_on() -> None:
    """Kept with the page that CV 31 and 32 had; a value of 0 needs no room."""
    log = Log(memory(store_of({cv: 0 for cv in range(1, CVS + 1)})))
    rng = random.Random(4)
    model: dict[tuple[int, int, int], int] = {}
    refused = 0
    for turn in range(1_500):
        key = rng.choice((16, 17, 255)), rng.choice((0, 5, 255)), rng.choice((257, 258, rng.randrange(257, 280), 512))
        value = rng.choice((0, 0, 1, rng.randrange(256)))
        room = key in model or len(model) < 64 or value == 0
        assert log.write_indexed(*key, value) == room
        refused += not room
        if room:
            model[key] = value
            model = {one: held for one, held in model.items() if held}
        assert log.indexed(*key) == model.get(key, 0)
        if turn % 50 == 0:
            assert log.settle()
            log = Log(log.memory)
            assert all(log.indexed(*key) == model.get(key, 0) for key in model)
    assert refused > 20
    log.clear()
    assert log.settle() and not any(Log(log.memory).cvs.values())


def test_power_that_fails_while_an_indexed_cv_is_written() -> None:
    """It has its old value or its new one, on its page."""
    seen = set()
    for left in range(6):
        log = Log(memory(store_of(BEGIN | {cv: 0 for cv in range(257, CVS + 1)})))
        assert log.write_indexed(16, 3, 300, 7) and log.settle()
        log.memory.left = left
        assert log.write_indexed(16, 3, 300, 8) and log.write_indexed(17, 3, 300, 9)
        log.settle()
        log.memory.left = None
        after = Log(log.memory)
        seen.add((after.indexed(16, 3, 300), after.indexed(17, 3, 300)))
        assert after.indexed(18, 3, 300) == after.indexed(16, 4, 300) == after.indexed(16, 3, 301) == 0
    assert seen == {(7, 0), (8, 9)}
