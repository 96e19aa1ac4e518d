"""Parts that both plain decoders use: service mode's rules, repeated packets, CV access bytes, the CV store.

A second model, written apart by someone who had not seen halfbit.decoder; only the imports were changed since.
Written from a digest of the standards alone (the section is named beside each rule). Times are integer nanoseconds.

Choices (the digest leaves these open)
 A1  Service form (section 5): first byte 112 to 127 and 3 or 4 bytes in all, error byte included. CC = 00 in 4 bytes,
     or bit manipulation whose data is not 111KDBBB, has the form too: it enters and keeps service mode, does nothing.
 A2  Reset packet: exactly 00 00 00.
 A3  20 ms are counted from the end of the last valid reset or service mode packet to the end of the next one; at
     exactly 20 ms service mode has been left. A packet counts only once its end has come.
 A4  The packet that ends service mode is itself "not identical in form", so operations resume with it and it is acted
     on. "waiting" therefore follows only the 20 ms; there a packet of service form is ignored, any other one resumes.
 A5  "Immediately preceded": no other valid packet between; no time limit. So service mode is entered from "waiting"
     too, if the last valid packet was a reset.
 A6  The packet that enters service mode is the first of its pair. A reset between two equal packets separates them.
 A7  Exactly the second of a run of equal packets is executed; the third and later ones do nothing.
 A8  A torn stretch does not separate a reset from a service mode packet, nor two equal packets.
 A9  A write out of bounds, to a read-only CV, or while locked is not done: no effect, no acknowledgement. Bounds are
     those that section 6 names: CV 1 0 to 127, CV 17 192 to 231, CV 31 16 to 255. CV 7 and CV 8 are both read-only (the
     text says so of CV 8 only; the brief of both). A write of 8 to CV 8 is no factory reset except as 7F 08 77.
 A10 Lock, literally: every change of a CV by any packet is refused while CV 15 and CV 16 differ: consist control, set
     extended addressing, hard reset's and factory reset's CVs included. CV 15 can be written. Multi-function only.
 A11 CV 17: a write is held aside. Until CV 18 is written, CV 17 reads as before, in all modes. The held write counts as
     done (acknowledged). A bit write to CV 17 starts from the held value if there is one. No reset drops it, only the
     factory reset.
 A12 CV 1 to 1024 all exist and read 0 until written. CV 257 to 512 do not exist while CV 31 is below 16.
 A13 Defaults: section 6 gives CV 1 = 3 only. Others that matter here start at 0, except CV 17 = 192 and CV 31 = 16 (the
     lowest in bounds). So CV 29 starts at 0. CV 33 to 46 are left out: which bit is which output is not in the text.
 A14 Writing CV 1, even with the value it has, clears CV 29 bit 5 and CV 19.
"""

from __future__ import annotations

Effect = tuple[object, ...]

RESET = bytes((0, 0, 0))
SERVICE_TIME = 20_000_000  # ns; section 5: left after 20 ms

# Section 6. Only CV 1 has its default in the text; the rest is choice A13.
MULTI_DEFAULTS: dict[int, int] = {
    1: 3, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 7: 0, 8: 0, 11: 0, 15: 0, 16: 0, 17: 192, 18: 0, 19: 0,
    21: 0, 22: 0, 23: 0, 24: 0, 29: 0, 31: 16, 32: 0, 66: 0, 95: 0,
}
MULTI_DEFAULTS.update({number: 0 for number in range(67, 95)})


def check_packet(data: bytes, start: int, end: int) -> None:
    """Raise ValueError if the packet is not sound: under 3 bytes, wrong error byte (section 2), or negative length."""
    if len(data) < 3:
        raise ValueError(f"packet has {len(data)} bytes; give at least 3, with the error byte")
    rest = 0
    for byte in data:
        rest ^= byte
    if rest != 0:
        raise ValueError(f"packet {data.hex()} has a wrong error byte; give sound packets only")
    if end < start:
        raise ValueError(f"packet ends at {end}, before its start at {start}")


def check_cvs(cvs: dict[int, int]) -> None:
    """Raise ValueError unless numbers are 1 to 1024 and values 0 to 255."""
    for number, value in cvs.items():
        if not 1 <= number <= 1024:
            raise ValueError(f"CV {number} does not exist; give 1 to 1024")
        if not 0 <= value <= 255:
            raise ValueError(f"CV {number} cannot be {value}; give 0 to 255")


def is_service_form(data: bytes) -> bool:
    """True if the packet could be a service mode packet (section 5, choice A1)."""
    return 112 <= data[0] <= 127 and len(data) in (3, 4)


class Repeats:
    """Counts equal packets in a row."""

    def __init__(self) -> None:
        self.last = b""
        self.run = 0

    def count(self, data: bytes) -> int:
        """Place of this packet in its run of equal packets: 1 for the first."""
        if data == self.last:
            self.run += 1
        else:
            self.last = data
            self.run = 1
        return self.run

    def clear(self) -> None:
        self.last = b""
        self.run = 0


class ServiceMode:
    """Section 5: when service mode is entered and left, and which packets are executed."""

    def __init__(self) -> None:
        self.mode = "operations"
        self.after_reset = False
        self.last_time = 0
        self.repeats = Repeats()

    def tick(self, now: int) -> list[Effect]:
        """Leave service mode after 20 ms without a valid reset or service mode packet."""
        if self.mode == "service" and now - self.last_time >= SERVICE_TIME:
            self.mode = "waiting"
            return [("mode", "waiting")]
        return []

    def packet(self, data: bytes, end: int) -> tuple[str, list[Effect]]:
        """Answer ("operate" | "execute" | "ignore", effects) for any sound packet. Call tick(end) before it."""
        after_reset = self.after_reset
        self.after_reset = data == RESET
        form = is_service_form(data)
        if self.mode == "service" and form:
            self.last_time = end
            if self.repeats.count(data) == 2:
                return "execute", []
            return "ignore", []
        if self.mode == "service" and data == RESET:
            self.last_time = end
            self.repeats.clear()
            return "ignore", []
        if form and after_reset:
            self.mode = "service"
            self.last_time = end
            self.repeats.clear()
            self.repeats.count(data)
            return "ignore", [("mode", "service")]
        if self.mode == "waiting" and form:
            return "ignore", []
        if self.mode != "operations":
            self.mode = "operations"
            return "operate", [("mode", "operations")]
        return "operate", []


def is_write(code: int, data: int) -> bool:
    """CC = 11, or CC = 10 with data 1111DBBB (sections 4 and 5)."""
    return code == 3 or (code == 2 and data & 0b11110000 == 0b11110000)


def is_verify(code: int, data: int) -> bool:
    """CC = 01, or CC = 10 with data 1110DBBB (sections 4 and 5)."""
    return code == 1 or (code == 2 and data & 0b11110000 == 0b11100000)


def written_value(code: int, data: int, old: int) -> int:
    """Value a CV has after a write byte or a bit write."""
    if code == 3:
        return data
    bit = 1 << (data & 7)
    if data & 8:
        return old | bit
    return old & ~bit & 255


def verify_matches(code: int, data: int, value: int) -> bool:
    """True if a verify byte or bit verify agrees with the CV's value."""
    if code == 1:
        return value == data
    return (value >> (data & 7)) & 1 == (data >> 3) & 1


class MultiStore:
    """The CVs of a multi-function decoder (section 6)."""

    def __init__(self, cvs: dict[int, int], defaults: dict[int, int]) -> None:
        check_cvs(cvs)
        check_cvs(defaults)
        self.defaults = {**MULTI_DEFAULTS, **defaults}
        self.values: dict[int, int] = {}
        self.pages: dict[tuple[int, int, int], int] = {}  # (CV 31, CV 32, number): value
        self.held_17: int | None = None
        self.fill(self.defaults)
        self.fill(cvs)

    def fill(self, cvs: dict[int, int]) -> None:
        """Set CVs without any rule. CV 257 to 512 go to the page that CV 31 and 32 name once all others are set."""
        for number, value in cvs.items():
            if not 257 <= number <= 512:
                self.values[number] = value
        for number, value in cvs.items():
            if 257 <= number <= 512:
                self.pages[self.values[31], self.values[32], number] = value

    def factory(self) -> None:
        """Everything as the factory left it."""
        self.values = {}
        self.pages = {}
        self.held_17 = None
        self.fill(self.defaults)

    def get(self, number: int) -> int | None:
        """Value of a CV, or None if there is no such CV now."""
        if not 1 <= number <= 1024:
            return None
        if 257 <= number <= 512:
            if self.values[31] < 16:
                return None
            return self.pages.get((self.values[31], self.values[32], number), 0)
        return self.values.get(number, 0)

    def value(self, number: int) -> int:
        """Value of a CV outside the indexed ones."""
        return self.values.get(number, 0)

    def base(self, number: int) -> int:
        """Value that a bit write starts from (choice A11)."""
        if number == 17 and self.held_17 is not None:
            return self.held_17
        value = self.get(number)
        if value is None:
            return 0
        return value

    def locked(self) -> bool:
        return self.value(15) != self.value(16)

    def write(self, number: int, value: int) -> list[Effect] | None:
        """Write a CV; effects if it was done, None if it was refused (choice A9)."""
        old = self.get(number)
        if old is None:
            return None
        if number in (7, 8):
            return None
        if number != 15 and self.locked():
            return None
        if number == 1 and value > 127:
            return None
        if number == 17 and not 192 <= value <= 231:
            return None
        if number == 31 and value < 16:
            return None
        if number == 17:
            self.held_17 = value
            return [("cv_held", 17, value)]
        if 257 <= number <= 512:
            self.pages[self.values[31], self.values[32], number] = value
            return [("cv_written", number, old, value)]
        effects: list[Effect] = []
        if number == 18 and self.held_17 is not None:
            effects.append(("cv_written", 17, self.value(17), self.held_17))
            self.values[17] = self.held_17
            self.held_17 = None
        self.values[number] = value
        effects.append(("cv_written", number, old, value))
        if number == 1:
            effects += self.clear_with_cv_1()
        return effects

    def hard_reset(self) -> list[Effect]:
        """Section 4: CV 29, 31 and 32 to their defaults, CV 19 := 0. The defaults are not held to the bounds."""
        effects: list[Effect] = []
        for number in (29, 31, 32, 19):
            new = 0 if number == 19 else self.defaults[number]
            effects.append(("cv_written", number, self.value(number), new))
            self.values[number] = new
        return effects

    def clear_with_cv_1(self) -> list[Effect]:
        """Section 6, CV 1: CV 29 bit 5 := 0 and CV 19 := 0."""
        effects: list[Effect] = []
        old = self.value(29)
        if old & 0b00100000:
            self.values[29] = old & 0b11011111
            effects.append(("cv_written", 29, old, self.values[29]))
        old = self.value(19)
        if old != 0:
            self.values[19] = 0
            effects.append(("cv_written", 19, old, 0))
        return effects
