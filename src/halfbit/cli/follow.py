"""Lets a decoder follow a capture, and shows what it would have done, in the order of time.

The decoder has the CVs that give it the address, and CV 29 = 2 (28 and 128 steps, no speed table), or 34 with a long
address. An accessory decoder has decoder addressing (CV 29 = 128), an extended one output addressing (CV 29 = 224).
--cv sets these or others.

With --json each line is an object. Its key event is effect or, in the last line, state. Times are ns.

Exit status: 0 the decoder did something, 1 it did nothing, 2 the input cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse
import json
from typing import Any

from ..decoder import AccessoryDecoder, Effect, MultiFunctionDecoder
from ..error import HalfbitError
from ..event import as_json
from ..inspect.losses import end_of
from ..instruction import AccessoryAddress, Address, ExtendedAccessoryAddress, LongAddress, ShortAddress
from .columns import Columns, milliseconds, terminal_width
from .opening import opened
from .options import CaptureOptions, address_of, cv_of

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything, "FILE --address ADDRESS")
    group = options.group("the decoder")
    address = "its address: 7, 2604, 'accessory 9' or 'extended accessory 37'"
    group.add("--address", type=address_of, required=True, metavar="ADDRESS", help=address)
    cv = "a CV's value at the start; may be repeated"
    group.add("--cv", type=cv_of, action="append", default=[], metavar="N=V", help=cv)
    group.add("--json", action="store_true", help="JSON Lines instead of text")
    options.add_shared(questions=True)


def run(args: argparse.Namespace) -> int:
    """Follow the capture and return the exit status."""
    decoder = decoder_at(args.address, dict(args.cv))
    output = _Output(args.json)
    with opened(args) as capture:
        for event in capture.events():
            end = end_of(event)
            while (due := decoder.due) is not None and due < end:  # timeouts have effects at their own time
                output.put(due, decoder.tick(due))
            output.put(end, decoder.feed(event))
        output.end()
        if args.json:
            print(json.dumps({"event": "state", "state": decoder.state().as_dict()}))
        else:
            print("\n" + "\n".join(_at_the_end(decoder)))
        return capture.status(output.count, f"nothing for {args.address}")


class _Output:
    """Writes effects. In text output, repeated effects are counted instead of repeated."""

    def __init__(self, json_lines: bool) -> None:
        self._json = json_lines
        self._lines = Columns(("time ms", "effect"), (-12,), terminal_width())
        self._last = ""
        self._more, self._time = 0, 0
        self.count = 0
        if not json_lines:
            print(self._lines.head)

    def put(self, time: int, effects: tuple[Effect, ...]) -> None:
        """Take the effects of a decoder at a time, ns."""
        for effect in effects:
            self.count += 1
            words = str(effect)
            if self._json:
                print(json.dumps({"event": "effect", "time": time, "effect": _object(effect), "words": words}))
            elif words == self._last:
                self._more, self._time = self._more + 1, time
            else:
                self.end()
                self._last = words
                print(self._lines.row((milliseconds(time), words)))

    def end(self) -> None:
        """End a run of equal effects: another effect comes, or the capture ends."""
        if self._more:
            print(self._lines.row((milliseconds(self._time), f"{self._last}, the last of {self._more + 1}")))
        self._last, self._more = "", 0


def decoder_at(address: Address, cvs: dict[int, int]) -> MultiFunctionDecoder | AccessoryDecoder:
    """A decoder with an address.

    :param cvs: further CVs with their values.
    :raises HalfbitError: if the address is not that of one decoder.
    """
    if isinstance(address, ShortAddress):
        return MultiFunctionDecoder({1: address.number, 29: 0b00000010, **cvs})
    if isinstance(address, LongAddress):
        own = {17: 0xC0 | address.number >> 8, 18: address.number & 0xFF, 29: 0b00100010}
        return MultiFunctionDecoder({**own, **cvs})
    if isinstance(address, ExtendedAccessoryAddress):
        number = (address.number - 3) % 2048  # output addressing counts from board address 1
        return AccessoryDecoder({1: number & 0xFF, 9: number >> 8, 29: 0b11100000, **cvs})
    if not isinstance(address, AccessoryAddress):
        raise HalfbitError(f"{address} is not the address of one decoder: give a short, long or accessory address")
    return AccessoryDecoder({1: address.board & 0x3F, 9: address.board >> 6, 29: 0b10000000, **cvs})


def _object(effect: Effect) -> dict[str, Any]:
    return {"kind": type(effect).__name__, **as_json(effect)}


def _at_the_end(decoder: MultiFunctionDecoder | AccessoryDecoder) -> list[str]:
    """The decoder's last state in words."""
    state = decoder.state()
    parts = [f"mode: {state.mode.value}"]
    if isinstance(decoder, MultiFunctionDecoder):
        on = ["FL" if number == 0 else f"F{number}" for number in sorted(decoder.state().vehicle.functions)]
        direction = "forward" if decoder.forward else "reverse"
        parts.append(f"speed: {decoder.speed}, {direction}, drive level {decoder.drive_level} of 255")
        parts.append(f"functions on: {' '.join(on) or '-'}")
    else:
        parts.append(f"outputs on: {' '.join(map(str, sorted(decoder.outputs))) or '-'}")
        parts.append(f"aspects: {' '.join(map(str, decoder.aspects))}")
    cvs = [f"{number}={value}" for number, value in state.cvs.values.items()]
    return ["at the end", *(f"  {part}" for part in parts), f"  CVs other than 0: {' '.join(cvs)}"]
