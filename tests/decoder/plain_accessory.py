"""A plain accessory decoder: packets in, effects and a state snapshot out. A judge for tests, not for use.

A second model, written apart by someone who had not seen halfbit.decoder; only the imports were changed since.
Written from a digest of the standards alone, sections 3 to 6. Choices A1 to A9 (service mode) stand in plain_common.py.

Choices
 C1  CV 29 bit 5 = 0: basic packets only. Bit 5 = 1: extended ones only. A packet of the other kind is to another
     decoder: it undoes nothing. CV access follows the same rule; the legacy form is taken by both kinds.
 C2  Decoder addressing (bit 6 = 0): the 9-bit address; the decoder has eight outputs 0 to 7 (DDD), or four aspects 0 to
     3 (bits 1 and 2 of the second byte). Output addressing: one pair, outputs 0 and 1 (bit 0 of DDD), or one aspect 0.
 C3  Output addressing: 4 * board address + pair = CV 1 + 256 * CV 9 + 3, modulo 2048, so that CV 1 = 1, CV 9 = 0 is
     board 1, pair 0. Only the three low bits of CV 9 count; in decoder addressing only the six low bits of CV 1.
 C4  C = 1 activates the one output, C = 0 deactivates it; the other of the pair is left alone.
 C5  CV 3 to 6 are the times of pairs 0 to 3; in output addressing CV 3. Unit 10 ms (not in the text; a keyword).
     0 = for ever. Counted from the end of the packet; each activation starts it anew. Off at the time itself. The CV's
     value at the activation counts.
 C6  Basic broadcast sets output DDD of every decoder (DDD bit 0 with output addressing, whatever the pair). Extended
     broadcast sets every aspect. An aspect byte above 31 is not acted on.
 C7  CV access has no broadcast. CDDD = 0000 is to the board address (with output addressing, to the board of the pair);
     1DDD to the board and, with output addressing, the pair. The decoder has one set of CVs: DDD selects nothing more.
     Other CDDD: ignored.
 C8  The legacy form writes the byte to CV V + 1 and is to the board address.
 C9  Writes in operations: exactly the second identical packet; any other packet to the decoder, accessory broadcast
     included, between undoes the first. Packets to 00000000 are not to an accessory decoder.
 C10 A reset packet changes no output and no CV.
 C11 CV 513 to 521, 540 and 541 are CV 1 to 9, 28 and 29 by their older numbers, in both modes. cv_written gives the
     lower number.
 C12 CV 29 bit 7 = 1: in service mode, CV number - 1 is taken modulo 256. Register access too, where it changes nothing
     beyond C11.
 C13 Registers 2 to 6 (page preset included): nothing, no acknowledgement.
 C14 Defaults: CV 1 = 1, CV 9 = 0 (section 6). Others start at 0 except CV 29 = 128 (an accessory decoder). Factory
     reset: all CVs but 7 and 8 to the defaults, outputs off, aspects 0; acknowledged.
 C15 No bounds and no lock: table 3 names none. CV 7 and 8 are read-only. CV 2 has no effect here.
 C16 Accessory NOP and other forms are ignored and are not packets to the decoder.
 C17 Operations verify and writes are answered as in plain_decoder.py (B8).
 C18 Outputs and aspects that a change of CV 29 leaves out stay as they were in the snapshot.
"""

from __future__ import annotations

from . import plain_common as common
from .plain_common import Effect

DEFAULTS = {1: 1, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0, 7: 0, 8: 0, 9: 0, 28: 0, 29: 128}


class PlainAccessory:
    """An accessory decoder. Times in ns.

    State: "mode" as PlainDecoder; "outputs" {0..7: bool}; "aspects" {0..3: value, 0 = absolute stop}; "cvs".
    Effects: ("mode", mode); ("output", n, on) and ("aspect", n, value) on changes; ("cv_written", cv, old, new) also if
    equal; ("acknowledge",); ("answer_operations", cv, value); ("factory_reset",).
    """

    def __init__(
        self,
        cvs: dict[int, int] | None = None,
        *,
        defaults: dict[int, int] | None = None,
        on_time_unit: int = 10_000_000,
    ) -> None:
        """cvs: CVs that differ from the defaults. defaults: defaults that differ from choice C14. on_time_unit: ns per
        count of CV 3 to 6. ValueError if a number or value is out of range.
        """
        common.check_cvs(cvs or {})
        common.check_cvs(defaults or {})
        self.on_time_unit = on_time_unit
        self.service = common.ServiceMode()
        self.repeats = common.Repeats()
        self.defaults = dict(DEFAULTS)
        for number, value in (defaults or {}).items():
            self.defaults[self._lower(number)] = value
        self.cvs = dict(self.defaults)
        for number, value in (cvs or {}).items():
            self.cvs[self._lower(number)] = value
        self.outputs = {number: False for number in range(8)}
        self.aspects = {number: 0 for number in range(4)}
        self.off_at: dict[int, int] = {}

    def state(self) -> dict[str, object]:
        return {
            "mode": self.service.mode,
            "outputs": dict(self.outputs),
            "aspects": dict(self.aspects),
            "cvs": dict(self.cvs),
        }

    # What comes in

    def tick(self, now: int) -> list[Effect]:
        """Time passes."""
        effects = self.service.tick(now)
        for number in range(8):
            if number in self.off_at and now >= self.off_at[number]:
                del self.off_at[number]
                effects += self._output(number, False)
        return effects

    def torn(self, start: int, end: int) -> list[Effect]:
        """A lost stretch is no packet: only time passes (choice A8)."""
        return self.tick(end)

    def packet(self, data: bytes, start: int, end: int) -> list[Effect]:
        """A sound packet, error byte included. ValueError if it is not sound."""
        common.check_packet(data, start, end)
        effects = self.tick(end)
        verdict, more = self.service.packet(data, end)
        effects += more
        if ("mode", "service") in more:
            self.repeats.clear()
        if verdict == "execute":
            effects += self._execute(data)
        if verdict == "operate":
            effects += self._operate(data, end)
        return effects

    # CVs (section 6, table 3)

    def _lower(self, number: int) -> int:
        """Number of a CV without the optional older numbers."""
        if 513 <= number <= 521 or number in (540, 541):
            return number - 512
        return number

    def _value(self, number: int) -> int:
        return self.cvs.get(self._lower(number), 0)

    def _write(self, number: int, value: int) -> list[Effect] | None:
        """Write a CV; None if it was refused."""
        number = self._lower(number)
        if number in (7, 8):
            return None
        old = self._value(number)
        self.cvs[number] = value
        return [("cv_written", number, old, value)]

    # Service mode (section 5)

    def _execute(self, data: bytes) -> list[Effect]:
        if len(data) == 4:
            number = ((data[0] & 3) << 8 | data[1]) + 1
            return self._service_cv(number, data[0] >> 2 & 3, data[2])
        if data[0] == 0b01111111 and data[1] == 0b00001000:
            return self._factory_reset()
        code = 3 if data[0] & 8 else 1
        register = (data[0] & 7) + 1
        if register == 1:
            return self._service_cv(513, code, data[1])
        if register == 7:
            return self._service_cv(7, code, data[1])
        if register == 8:
            return self._service_cv(520, code, data[1])
        return []

    def _service_cv(self, number: int, code: int, data: int) -> list[Effect]:
        if self._value(29) & 128:
            number = (number - 1) % 256 + 1
        value = self._value(number)
        if common.is_write(code, data):
            done = self._write(number, common.written_value(code, data, value))
            if done is None:
                return []
            return [*done, ("acknowledge",)]
        if common.is_verify(code, data) and common.verify_matches(code, data, value):
            return [("acknowledge",)]
        return []

    def _factory_reset(self) -> list[Effect]:
        kept = {number: self._value(number) for number in (7, 8)}
        self.cvs = {**self.defaults, **kept}
        self.off_at = {}
        effects: list[Effect] = [("factory_reset",)]
        for number in range(8):
            effects += self._output(number, False)
        for number in range(4):
            effects += self._aspect(number, 0)
        return [*effects, ("acknowledge",)]

    # Operations (sections 3 and 4)

    def _output(self, number: int, on: bool) -> list[Effect]:
        if self.outputs[number] == on:
            return []
        self.outputs[number] = on
        return [("output", number, on)]

    def _aspect(self, number: int, value: int) -> list[Effect]:
        if self.aspects[number] == value:
            return []
        self.aspects[number] = value
        return [("aspect", number, value)]

    def _output_addressing(self) -> bool:
        return self._value(29) & 64 != 0

    def _board_is_mine(self, board: int) -> bool:
        high = self._value(9) & 7
        if self._output_addressing():
            return board == (self._value(1) + 256 * high + 3) % 2048 // 4
        return board == (high << 6 | self._value(1) & 63)

    def _pair_is_mine(self, board: int, pair: int) -> bool:
        """True if the packet is to this decoder: its board and, with output addressing, its pair."""
        if self._output_addressing():
            high = self._value(9) & 7
            return 4 * board + pair == (self._value(1) + 256 * high + 3) % 2048
        return self._board_is_mine(board)

    def _operate(self, data: bytes, end: int) -> list[Effect]:
        if not 128 <= data[0] <= 191:
            return []
        second_byte = data[1]
        board = (~second_byte & 0b01110000) << 2 | data[0] & 0b00111111
        pair = second_byte >> 1 & 3
        extended_decoder = self._value(29) & 32 != 0
        if second_byte & 0b10000000:
            if extended_decoder:
                return []
            return self._basic(data, board, pair, end)
        if second_byte & 0b00001001 == 0b00000001:
            if not extended_decoder:
                return []
            return self._extended(data, board, pair)
        if second_byte & 0b00001100 == 0b00001100 and len(data) == 5:
            if not self._board_is_mine(board):
                return []
            second = self.repeats.count(data) == 2
            return self._cv(3, ((second_byte & 3) << 8 | data[2]) + 1, data[3], second)
        return []

    def _basic(self, data: bytes, board: int, pair: int, end: int) -> list[Effect]:
        low = data[1] & 15
        if len(data) == 3:
            broadcast = data[0] == 0b10111111 and data[1] & 0b11110000 == 0b10000000
            if not broadcast and not self._pair_is_mine(board, pair):
                return []
            self.repeats.count(data)
            return self._switch(low, pair, end)
        if len(data) == 6 and data[2] & 0b11110000 == 0b11100000:
            if low == 0:
                mine = self._board_is_mine(board)
            else:
                mine = self._pair_is_mine(board, pair)
            if not mine:
                return []
            second = self.repeats.count(data) == 2
            if low != 0 and low & 8 == 0:
                return []
            return self._long_form(data, second)
        return []

    def _switch(self, low: int, pair: int, end: int) -> list[Effect]:
        """low is CDDD."""
        number = low & 7
        time = self._value(3 + pair)
        if self._output_addressing():
            number = low & 1
            time = self._value(3)
        self.off_at.pop(number, None)
        if low & 8 and time != 0:
            self.off_at[number] = end + time * self.on_time_unit
        return self._output(number, low & 8 != 0)

    def _extended(self, data: bytes, board: int, pair: int) -> list[Effect]:
        if len(data) == 4:
            broadcast = data[0] == 0b10111111 and data[1] == 0b00000111
            if not broadcast and not self._pair_is_mine(board, pair):
                return []
            self.repeats.count(data)
            if data[2] > 31:
                return []
            if self._output_addressing():
                return self._aspect(0, data[2])
            if not broadcast:
                return self._aspect(pair, data[2])
            effects: list[Effect] = []
            for number in range(4):
                effects += self._aspect(number, data[2])
            return effects
        if len(data) == 6 and data[2] & 0b11110000 == 0b11100000:
            if not self._pair_is_mine(board, pair):
                return []
            return self._long_form(data, self.repeats.count(data) == 2)
        return []

    def _long_form(self, data: bytes, second: bool) -> list[Effect]:
        return self._cv(data[2] >> 2 & 3, ((data[2] & 3) << 8 | data[3]) + 1, data[4], second)

    def _cv(self, code: int, number: int, data: int, second: bool) -> list[Effect]:
        value = self._value(number)
        if common.is_write(code, data):
            if not second:
                return []
            new = common.written_value(code, data, value)
            done = self._write(number, new)
            if done is None:
                return []
            return [*done, ("answer_operations", number, new)]
        if common.is_verify(code, data):
            return [("answer_operations", number, value)]
        return []
