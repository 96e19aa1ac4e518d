"""A plain multi-function decoder: packets in, effects and a state snapshot out. A judge for tests, not for use.

A second model, written apart by someone who had not seen halfbit.decoder; only the imports were changed since.
Written from a digest of the standards alone, sections 3 to 6. Choices A (service mode, CVs) stand in plain_common.py,
choices V (speed, direction, functions) in plain_vehicle.py.

Choices
 B1  Not covered, because the text marks them later additions [memory]: 00111100, 11000001, 11000010, 11110100,
     11110101, 24-bit CV access. They count as reserved. F29 to F68 are covered, as the brief asks.
 B2  Instructions are acted on in order. A reserved one or one cut short ends the packet; those before it stand. At most
     one instruction a class is a rule for the station: not checked. Broadcast packets are read the same way.
 B3  Own address: the primary one if CV 29 bit 5 = 0, else the extended one. Never both. Addresses are those at the
     start of the packet.
 B4  CV 1 = 0: every packet outside service mode is ignored, broadcast and extended included. State stays as it was.
 B5  In service mode a reset packet only keeps the mode: the reset before entry has cleared everything.
 B6  To the consist address, decoder and consist control (resets too) and the short form are obeyed, the long form is
     not, even if the own primary address is the same.
 B7  "Second identical packet" in operations: the whole packet. A packet between undoes the first if it is to the own,
     consist or broadcast address. Exactly the second of a run, as A7. Long form writes to broadcast are done.
 B8  Operations verify: one packet, byte or bit; answered with the CV's value whether or not it agrees. A write that is
     done, the short form too, is answered as well, with the value written. A CV that does not exist: no answer.
 B9  Decoder flags, factory test, acknowledgement request, decoder lock, address query: read, no effect.
 B10 Consist address 0 sets CV 19 := 0, whichever direction. Bit 7 in the address byte: reserved (B2).
 B11 CV 11: unit 1 s (not in the text; a keyword), 0 = no time-out. Any valid packet counts, from end to end. At the
     time itself "speed" becomes "stop"; nothing else changes.
 B12 Paged: page 0 has no CVs. The page register starts at 1 and is left alone by resets. Address-only mode is
     register 1, so CV 1 at page 1 only. Page preset is a write of 1 to register 6, acknowledged.
     Changed later, as it was decided for all of halfbit: leaving service mode sets the page register back to 1 (common
     practice, no source).
 B13 Factory reset: all CVs to the defaults except 7 and 8, page register 1, then a reset; acknowledged. Refused while
     locked.
 B14 Hard reset while locked: the reset alone.
"""

from __future__ import annotations

from fractions import Fraction

from . import plain_common as common
from .plain_common import Effect
from .plain_vehicle import To, Vehicle


class PlainDecoder:
    """A multi-function decoder. Times in ns.

    Effects: ("mode", mode); ("reset",); ("hard_reset",); ("factory_reset",); ("emergency_stop",) for each one obeyed;
    ("packet_timeout",); ("cv_written", cv, old, new) also if equal; ("cv_held", 17, value); ("acknowledge",);
    ("answer_operations", cv, value); ("binary_state", n, state) as sent, 0 = all; ("analog", n, value) as sent;
    ("restricted", step or None) as sent. Last, once a packet: ("speed", speed), ("direction", forward) and
    ("function", n, state) for each that differs from before the packet.
    """

    def __init__(
        self,
        cvs: dict[int, int] | None = None,
        *,
        defaults: dict[int, int] | None = None,
        timeout_unit: int = 1_000_000_000,
    ) -> None:
        """cvs: CVs that differ from the defaults. defaults: defaults that differ from choice A13. timeout_unit: ns per
        count of CV 11. ValueError if a number or value is out of range.
        """
        self.store = common.MultiStore(cvs or {}, defaults or {})
        self.service = common.ServiceMode()
        self.repeats = common.Repeats()
        self.timeout_unit = timeout_unit
        self.last_valid = 0
        self.page = 1
        self.vehicle = Vehicle(self.store)

    # What the decoder is now

    def state(self) -> dict[str, object]:
        """Snapshot. "indexed" holds CV 257 to 512 as {(CV 31, CV 32, number): value}; "cvs" all others."""
        return {
            "mode": self.service.mode,
            "forward": self.vehicle.forward(),
            "speed": self.vehicle.speed,
            "steps": self.vehicle.steps_in_force(),
            "functions": dict(self.vehicle.functions),
            "binary_states": dict(self.vehicle.binary_states),
            "analog": dict(self.vehicle.analog),
            "consist": self.vehicle.consist(),
            "restricted": self.vehicle.restricted,
            "page": self.page,
            "cvs": dict(self.store.values),
            "indexed": dict(self.store.pages),
        }

    # What comes in

    def tick(self, now: int) -> list[Effect]:
        """Time passes."""
        effects = self.service.tick(now)
        self._turn_back()
        limit = self.store.value(11) * self.timeout_unit
        if isinstance(self.vehicle.speed, int) and limit > 0 and now - self.last_valid >= limit:
            self.vehicle.speed = "stop"
            effects += [("packet_timeout",), ("speed", "stop")]
        return effects

    def torn(self, start: int, end: int) -> list[Effect]:
        """A lost stretch is no packet: only time passes (choice A8)."""
        return self.tick(end)

    def packet(self, data: bytes, start: int, end: int) -> list[Effect]:
        """A sound packet, error byte included. ValueError if it is not sound."""
        common.check_packet(data, start, end)
        effects = self.tick(end)
        self.last_valid = end
        verdict, more = self.service.packet(data, end)
        effects += more
        if ("mode", "service") in more:
            self.repeats.clear()
        self._turn_back()
        speed = self.vehicle.speed
        forward = self.vehicle.forward()
        functions = dict(self.vehicle.functions)
        if verdict == "execute":
            effects += self._execute(data)
        if verdict == "operate":
            effects += self._operate(data)
        if self.vehicle.speed != speed:
            effects.append(("speed", self.vehicle.speed))
        if self.vehicle.forward() != forward:
            effects.append(("direction", self.vehicle.forward()))
        for number in range(69):
            if self.vehicle.functions[number] != functions[number]:
                effects.append(("function", number, self.vehicle.functions[number]))
        return effects

    # Service mode (section 5)

    def _turn_back(self) -> None:
        """Choice B12, as it was changed later."""
        if self.service.mode != "service":
            self.page = 1

    def _execute(self, data: bytes) -> list[Effect]:
        if len(data) == 4:
            number = ((data[0] & 3) << 8 | data[1]) + 1
            return self._service_cv(number, (data[0] >> 2) & 3, data[2])
        if data[0] == 0b01111111 and data[1] == 0b00001000:
            return self._factory_reset()
        code = 3 if data[0] & 8 else 1
        register = (data[0] & 7) + 1
        if register == 6:
            if code == 3:
                self.page = data[1]
                return [("acknowledge",)]
            if data[1] == self.page:
                return [("acknowledge",)]
            return []
        if register == 5:
            number = 29
        elif register in (7, 8):
            number = register
        else:
            number = (self.page - 1) * 4 + register
        return self._service_cv(number, code, data[1])

    def _service_cv(self, number: int, code: int, data: int) -> list[Effect]:
        value = self.store.get(number)
        if value is None:
            return []
        if common.is_write(code, data):
            done = self.store.write(number, common.written_value(code, data, self.store.base(number)))
            if done is None:
                return []
            return [*done, ("acknowledge",)]
        if common.is_verify(code, data) and common.verify_matches(code, data, value):
            return [("acknowledge",)]
        return []

    def _factory_reset(self) -> list[Effect]:
        if self.store.locked():
            return []
        fixed = {number: self.store.value(number) for number in (7, 8)}
        self.store.factory()
        self.store.fill(fixed)
        self.page = 1
        self.vehicle.power_up()
        return [("factory_reset",), ("acknowledge",)]

    # Operations (sections 3 and 4)

    def _addressed(self, data: bytes) -> To | None:
        """Which of the decoder's addresses the packet has, or None."""
        first = data[0]
        if first == 0:
            return To(False, False, True, 1)
        if 1 <= first <= 127:
            own = first == self.store.value(1) and not self.store.value(29) & 32
            consist = first == self.vehicle.consist()
            if own or consist:
                return To(own, consist, False, 1)
            return None
        if not 192 <= first <= 231 or not self.store.value(29) & 32:
            return None
        if first == self.store.value(17) and data[1] == self.store.value(18):
            return To(True, False, False, 2)
        return None

    def _operate(self, data: bytes) -> list[Effect]:
        if self.store.value(1) == 0:
            return []
        to = self._addressed(data)
        if to is None:
            return []
        second = self.repeats.count(data) == 2
        body = data[to.skip : -1]
        effects: list[Effect] = []
        while body:
            used, more = self._instruction(body, to, second)
            effects += more
            if used == 0 or used > len(body):
                break
            body = body[used:]
        return effects

    def _instruction(self, body: bytes, to: To, second: bool) -> tuple[int, list[Effect]]:
        """One instruction: bytes used (0: reserved or cut short) and effects."""
        kind = body[0] >> 5
        if kind == 0b000:
            return self._control(body)
        if kind == 0b001:
            return self.vehicle.advanced(body, to)
        if kind in (0b010, 0b011):
            return 1, self.vehicle.speed_28_14(body[0], to)
        if kind in (0b100, 0b101):
            self.vehicle.groups(body[0], to)
            return 1, []
        if kind == 0b110:
            return self.vehicle.feature(body, to)
        return self._cv(body, to, second)

    def _control(self, body: bytes) -> tuple[int, list[Effect]]:
        first = body[0]
        if first == 0b00000000:
            self.vehicle.power_up()
            return 1, [("reset",)]
        if first == 0b00000001:
            effects: list[Effect] = [("hard_reset",)]
            if not self.store.locked():
                effects += self.store.hard_reset()
            self.vehicle.power_up()
            return 1, [*effects, ("reset",)]
        if first in (0b00000010, 0b00000011):
            return len(body), []
        if first in (0b00000110, 0b00000111):
            if len(body) < 2:
                return 0, []
            return 2, []
        if first in (0b00001010, 0b00001011):
            value = self.store.value(29) & 0b11011111
            if first & 1:
                value = value | 0b00100000
            return 1, self.store.write(29, value) or []
        if first in (0b00001110, 0b00001111):
            return 1, []
        if first in (0b00010010, 0b00010011):
            if len(body) < 2 or body[1] > 127:
                return 0, []
            value = body[1]
            if value != 0 and first & 1:
                value = value | 128
            return 2, self.store.write(19, value) or []
        return 0, []

    def _cv(self, body: bytes, to: To, second: bool) -> tuple[int, list[Effect]]:
        if body[0] & 16:
            return self._short_form(body, to)
        code = body[0] >> 2 & 3
        if len(body) < 3 or not (common.is_write(code, body[2]) or common.is_verify(code, body[2])):
            return 0, []
        if to.consist:
            return 3, []
        number = ((body[0] & 3) << 8 | body[1]) + 1
        if common.is_write(code, body[2]):
            if not second:
                return 3, []
            return 3, self._operations_write(number, common.written_value(code, body[2], self.store.base(number)))
        value = self.store.get(number)
        if value is None:
            return 3, []
        return 3, [("answer_operations", number, value)]

    def _operations_write(self, number: int, value: int) -> list[Effect]:
        done = self.store.write(number, value)
        if done is None:
            return []
        return [*done, ("answer_operations", number, value)]

    def _short_form(self, body: bytes, to: To) -> tuple[int, list[Effect]]:
        if body[0] in (0b11110010, 0b11110011) and len(body) >= 2:
            return 2, self._operations_write(23 if body[0] == 0b11110010 else 24, body[1])
        if body[0] == 0b11111001 and to.broadcast and len(body) >= 2:
            return 2, []
        if body[0] == 0b11111001 and not to.broadcast:
            return 1, []
        return 0, []

    # Section 6: drive level and momentum

    def drive_level(self, step: int, of: int) -> int:
        """Part of the supply, 0 to 255, for a step of 14, 28 or 126 (choice V12)."""
        return self.vehicle.drive_level(step, of)

    def momentum(self, faster: bool, of: int) -> Fraction:
        """Seconds per step: CV 3 with CV 23 if faster, else CV 4 with CV 24."""
        return self.vehicle.momentum(faster, of)
