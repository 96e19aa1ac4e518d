"""Effects: what a decoder does, as values to compare and print. Nothing here acts on hardware."""

from __future__ import annotations

from typing import Union

import attrs

from ..instruction import Context, SpeedReading


@attrs.frozen(slots=True)
class Speed:
    """A requested speed."""

    step: int  #: The step, from 1; 0 for stop and emergency stop.
    #: Number of steps: 14, 28 or 126. 0 for stop and emergency stop: they do not depend on the number of steps.
    steps: int
    emergency: bool = False  #: True for emergency stop: the motor gets no energy, and momentum is ignored (S-9.2 B).

    @classmethod
    def of(cls, reading: SpeedReading) -> Speed:
        """The speed of one reading of a speed code."""
        return cls(reading.step, reading.steps if reading.step else 0, reading.emergency)

    def __str__(self) -> str:
        if self.step:
            return f"step {self.step} of {self.steps}"
        return "emergency stop" if self.emergency else "stop"


@attrs.frozen(slots=True)
class ModeChanged:
    """Service mode was entered or left, or operations resumed (S-9.2.3)."""

    mode: Context

    def __str__(self) -> str:
        return f"mode: {self.mode.value}"


@attrs.frozen(slots=True)
class SpeedChanged:
    """A new speed is requested: the target, and how fast to reach it."""

    speed: Speed
    acceleration: int = 0  #: ns per step while the speed rises (CV 3 and 23); 0 for at once.
    deceleration: int = 0  #: ns per step while it falls (CV 4 and 24); 0 for at once. Emergency stop is always at once.

    def __str__(self) -> str:
        words = f"speed: {self.speed}"
        for way, duration in (("rising", self.acceleration), ("falling", self.deceleration)):
            words += f", {way} {duration / 1e6:.1f} ms a step" if duration else ""
        return words


@attrs.frozen(slots=True)
class DirectionChanged:
    """The vehicle must change its direction."""

    forward: bool

    def __str__(self) -> str:
        return f"direction: {'forward' if self.forward else 'reverse'}"


@attrs.frozen(slots=True)
class FunctionChanged:
    """A function is switched on or off; number 0 is FL (the headlight)."""

    number: int
    on: bool

    def __str__(self) -> str:
        return f"{'FL' if self.number == 0 else f'F{self.number}'} {_on(self.on)}"


@attrs.frozen(slots=True)
class BinaryStateSet:
    """A binary state is set; number 0 means all binary states of the form (short or long)."""

    number: int
    on: bool
    long: bool = False  #: True for the long form, which reaches 1 to 32767; the short form reaches 1 to 127.

    def __str__(self) -> str:
        return f"binary state {self.number or 'all'} {_on(self.on)}"


@attrs.frozen(slots=True)
class AnalogSet:
    """An analog output gets a value; output 1 is the volume (S-9.2.1 C)."""

    output: int
    value: int

    def __str__(self) -> str:
        return f"{'volume' if self.output == 1 else f'analog output {self.output}'}: {self.value}"


@attrs.frozen(slots=True)
class RestrictionChanged:
    """The speed is limited to a step, or no longer limited (``None``)."""

    code: int | None  #: Bits 0 to 5 as sent: a speed code of S-9.2.

    def __str__(self) -> str:
        return "speed not restricted" if self.code is None else f"speed restricted to code {self.code}"


@attrs.frozen(slots=True)
class ResetDone:
    """A digital decoder reset or a hard reset was obeyed (S-9.2.1 C)."""

    hard: bool = False

    def __str__(self) -> str:
        return "hard reset" if self.hard else "reset"


@attrs.frozen(slots=True)
class FactoryResetDone:
    """The CVs were set to their factory defaults (S-9.2.3 E)."""

    def __str__(self) -> str:
        return "factory reset"


@attrs.frozen(slots=True)
class PacketTimeOut:
    """No valid packet came within the time of CV 11, so the vehicle stops (S-9.2.2)."""

    def __str__(self) -> str:
        return "no valid packet for too long"


@attrs.frozen(slots=True)
class CvWritten:
    """A CV was written. The new value may be the same as the old one."""

    cv: int
    old: int
    new: int

    def __str__(self) -> str:
        return f"CV {self.cv}: {self.old} -> {self.new}"


@attrs.frozen(slots=True)
class CvHeld:
    """A write to CV 17 waits for a write to CV 18 (S-9.2.1 C: the two are paired)."""

    cv: int
    value: int

    def __str__(self) -> str:
        return f"CV {self.cv} := {self.value} waits for CV {self.cv + 1}"


@attrs.frozen(slots=True)
class CvRefused:
    """A write to a CV was refused."""

    cv: int
    value: int
    reason: str

    def __str__(self) -> str:
        return f"CV {self.cv} stays, not {self.value}: {self.reason}"


@attrs.frozen(slots=True)
class Acknowledgement:
    """Service mode: load the track now (S-9.2.3: 60 mA for 6 +- 1 ms)."""

    milliamperes: int = 60
    duration: int = 6_000_000  #: Duration of the load, ns.

    def __str__(self) -> str:
        return f"acknowledgement: load {self.milliamperes} mA for {self.duration / 1e6:g} ms"


@attrs.frozen(slots=True)
class Answer:
    """Operations mode: the decoder answers with the value of a CV, if it can send answers (S-9.3.1, S-9.3.2).

    This is never a load on the track (S-9.2.1 E).
    """

    cv: int
    value: int

    def __str__(self) -> str:
        return f"answer: CV {self.cv} = {self.value}"


@attrs.frozen(slots=True)
class OutputChanged:
    """An output of an accessory decoder is switched on or off."""

    output: int  #: 0 to 7: DDD of the packet. With output addressing, 0 or 1.
    on: bool

    def __str__(self) -> str:
        return f"output {self.output} {_on(self.on)}"


@attrs.frozen(slots=True)
class AspectChanged:
    """A signal shows another aspect; 0 is absolute stop (S-9.2.1 D)."""

    head: int  #: The number of the signal at this decoder, 0 to 3. With output addressing, 0.
    aspect: int

    def __str__(self) -> str:
        return f"signal {self.head}: aspect {self.aspect}"


def _on(on: bool) -> str:
    return "on" if on else "off"


STOP = Speed(0, 0)  #: Stop, with momentum.
EMERGENCY_STOP = Speed(0, 0, emergency=True)

Effect = Union[
    Acknowledgement, AnalogSet, Answer, AspectChanged, BinaryStateSet, CvHeld, CvRefused, CvWritten, DirectionChanged,
    FactoryResetDone, FunctionChanged, ModeChanged, OutputChanged, PacketTimeOut, ResetDone, RestrictionChanged,
    SpeedChanged,
]  # fmt: skip
