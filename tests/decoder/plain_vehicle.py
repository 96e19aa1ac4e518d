"""The moving half of the plain multi-function decoder: speed, direction, functions, drive level.

A second model, written apart by someone who had not seen halfbit.decoder; only the imports were changed since.
Written from a digest of the standards alone, sections 4 and 6. The decoder's own half is plain_decoder.py.

Choices
 V1  After a reset and at power-up: speed "stop" (not "emergency_stop"), direction bit forward, all functions off,
     binary states and analog values cleared, no restriction. CVs stay: the consist too, and 892 to 895.
 V2  Direction is worked out anew from the last direction bit, CV 29 bit 0 and, if a consist is set, CV 19 bit 7. A
     change of these CVs changes "forward" at once.
 V3  "steps" without a speed packet in force: 28 if CV 29 bit 1, else 14.
 V4  Consist address equal to the own primary one: speed and functions are obeyed.
 V5  Through the consist address alone, functions are obeyed only if CV 21 or 22 has a bit for them and it is set. So
     F13 up, binary states and analog are not.
 V6  FL through the consist address: CV 22 bit 0 if "forward" (after the packet's own direction bit), else bit 1.
 V7  Speed to the own address in a consist is ignored whole: direction and 14-step FL too. Restricted speed as well.
     Whether there is a consist is asked at each instruction, so one set earlier in the same packet counts.
 V8  Broadcast speed is obeyed in a consist and for any step, not only stop. With 14 steps C is FL in broadcast too.
 V9  Stop and emergency stop: the direction bit is taken. C = 1 with 28 steps changes nothing.
 V10 Restricted speed: bits 0 to 5 kept as a number; bit 6 ignored. "speed" stays the step asked for, not the limited
     one.
 V11 Binary states: the long form also reaches 1 to 127. Address 0: short form 1 to 127, long form 1 to 32767.
 V12 Drive level: straight lines between the points. CV 6 lies halfway between step 1 and the top step. Without CV 5 the
     top is 255, without CV 6 the line is straight. Table: step 1 has CV 67, the top step CV 94. Trims act on the table
     only, by "forward". Rounded to the nearest, held at 255.
 V13 Momentum: CV 23 and 24 also act if CV 3 or 4 is 0. Held from 0 to 255.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from .plain_common import Effect, MultiStore


class To(NamedTuple):
    """Which of the decoder's addresses a packet has."""

    own: bool
    consist: bool
    broadcast: bool
    skip: int  # address bytes


class Vehicle:
    """Speed, direction and functions of the decoder; every method that obeys an instruction answers effects."""

    def __init__(self, store: MultiStore) -> None:
        self.store = store
        self.power_up()

    def power_up(self) -> None:
        self.direction_bit = True
        self.speed: str | int = "stop"
        self.steps: int | None = None  # no speed packet in force
        self.functions = {number: False for number in range(69)}
        self.binary_states: dict[int, bool] = {}
        self.analog: dict[int, int] = {}
        self.restricted: int | None = None

    def consist(self) -> int:
        return self.store.value(19) & 127

    def forward(self) -> bool:
        """Section 6, CV 29 bit 0 and CV 19 bit 7 (choice V2)."""
        forward = self.direction_bit
        if self.store.value(29) & 1:
            forward = not forward
        if self.consist() != 0 and self.store.value(19) & 128:
            forward = not forward
        return forward

    def steps_in_force(self) -> int:
        """Steps of the last speed packet (choice V3)."""
        if self.steps is not None:
            return self.steps
        if self.store.value(29) & 2:
            return 28
        return 14

    def obeys_speed(self, to: To) -> bool:
        """Section 6, CV 21 and 22: in a consist, speed to the own address is ignored."""
        if to.broadcast or to.consist:
            return True
        return self.consist() == 0

    def advanced(self, body: bytes, to: To) -> tuple[int, list[Effect]]:
        """Class 001: bytes used (0: reserved or cut short) and effects."""
        if body[0] == 0b00111111 and len(body) >= 2:
            if not self.obeys_speed(to):
                return 2, []
            number = body[1] & 127
            self.direction_bit = body[1] & 128 != 0
            self.steps = 126
            return 2, self.set_speed(number)
        if body[0] == 0b00111110 and len(body) >= 2:
            if not self.obeys_speed(to):
                return 2, []
            self.restricted = None if body[1] & 128 else body[1] & 63
            return 2, [("restricted", self.restricted)]
        if body[0] == 0b00111101 and len(body) >= 3:
            if not to.own and not to.broadcast:
                return 3, []
            self.analog[body[1]] = body[2]
            return 3, [("analog", body[1], body[2])]
        return 0, []

    def set_speed(self, number: int) -> list[Effect]:
        """0 stop, 1 emergency stop, else step + 1."""
        if number == 0:
            self.speed = "stop"
            return []
        if number == 1:
            self.speed = "emergency_stop"
            return [("emergency_stop",)]
        self.speed = number - 1
        return []

    def speed_28_14(self, byte: int, to: To) -> list[Effect]:
        if not self.obeys_speed(to):
            return []
        self.direction_bit = byte & 32 != 0
        low = byte & 15
        bit_c = byte >> 4 & 1
        if self.store.value(29) & 2 == 0:
            self.steps = 14
            self.function(0, bit_c == 1, to)
            return self.set_speed(low)
        self.steps = 28
        if low < 2:
            return self.set_speed(low)
        return self.set_speed(2 * low - 3 + bit_c + 1)

    def function(self, number: int, on: bool, to: To) -> None:
        """Set a function if the address may (section 6, CV 21 and 22)."""
        may = to.own or to.broadcast
        if not may:
            if number == 0:
                may = self.store.value(22) & (1 if self.forward() else 2) != 0
            elif number <= 8:
                may = self.store.value(21) >> (number - 1) & 1 == 1
            elif number <= 12:
                may = self.store.value(22) >> (number - 9 + 2) & 1 == 1
        if may:
            self.functions[number] = on

    def groups(self, byte: int, to: To) -> None:
        """Classes 100 and 101: function groups one and two. FL only if CV 29 bit 1 is 1."""
        if byte & 0b11100000 == 0b10000000:
            if self.store.value(29) & 2:
                self.function(0, byte & 16 != 0, to)
            lowest = 1
        elif byte & 16:
            lowest = 5
        else:
            lowest = 9
        for place in range(4):
            self.function(lowest + place, byte >> place & 1 == 1, to)

    def feature(self, body: bytes, to: To) -> tuple[int, list[Effect]]:
        """Class 110: bytes used (0: reserved or cut short) and effects. F29 up: from memory."""
        lowest = {
            0b11011110: 13,
            0b11011111: 21,
            0b11011000: 29,
            0b11011001: 37,
            0b11011010: 45,
            0b11011011: 53,
            0b11011100: 61,
        }
        if body[0] in lowest and len(body) >= 2:
            for place in range(8):
                self.function(lowest[body[0]] + place, body[1] >> place & 1 == 1, to)
            return 2, []
        if body[0] == 0b11000000 and len(body) >= 3:
            return 3, self.binary(body[2] << 7 | body[1] & 127, body[1] & 128 != 0, 32767, to)
        if body[0] == 0b11011101 and len(body) >= 2:
            return 2, self.binary(body[1] & 127, body[1] & 128 != 0, 127, to)
        return 0, []

    def binary(self, number: int, on: bool, highest: int, to: To) -> list[Effect]:
        if not to.own and not to.broadcast:
            return []
        reached = [number] if number != 0 else list(range(1, highest + 1))
        for each in reached:
            if on:
                self.binary_states[each] = True
            else:
                self.binary_states.pop(each, None)
        return [("binary_state", number, on)]

    # Section 6: drive level and momentum

    def drive_level(self, step: int, of: int) -> int:
        """Part of the supply, 0 to 255, for a step of 14, 28 or 126; step 0 or less is a stop (choice V12)."""
        if step <= 0:
            return 0
        place = Fraction(step - 1, of - 1)
        value = self.store.value
        if value(29) & 16:
            place = place * 27
            low = int(place)
            high = min(low + 1, 27)
            level = value(67 + low) + (value(67 + high) - value(67 + low)) * (place - low)
            trim = value(66) if self.forward() else value(95)
            if trim != 0:
                level = level * trim / 128
        else:
            start = value(2)
            top = value(5) if value(5) > 1 else 255
            mid = Fraction(value(6)) if value(6) > 1 else Fraction(start + top, 2)
            if place <= Fraction(1, 2):
                level = start + (mid - start) * place * 2
            else:
                level = mid + (top - mid) * (place * 2 - 1)
        return min(255, int(level + Fraction(1, 2)))

    def momentum(self, faster: bool, of: int) -> Fraction:
        """Seconds per step: CV 3 with CV 23 if faster, else CV 4 with CV 24."""
        base = self.store.value(3) if faster else self.store.value(4)
        adjust = self.store.value(23) if faster else self.store.value(24)
        if adjust & 128:
            base = base - (adjust & 127)
        else:
            base = base + (adjust & 127)
        base = max(0, min(255, base))
        return base * Fraction(896, 1000) / of
