"""Why a packet was lost: the causes, what to do about each, and the words for them."""

from __future__ import annotations

import enum

import attrs

from ..event import Fault, Recovery
from ..limits import Limits

__all__ = ["CAUSE_OF", "Cause", "Diagnosis", "fault_words"]


class Cause(enum.Enum):
    """The cause of a lost packet."""

    MISSED_CHANGE = "a change was missed"  #: Two half-bits show as one.
    TWO_MISSED = "two changes were missed in a row"  #: A long turn of a loop and a short loss of contact look the same.
    ADDED_CHANGE = "a change too many"  #: One half-bit shows as two.
    SPIKE = "a spike"  #: A short pulse: one half-bit shows as three.
    EARLY_CHANGE = "a change came early"  #: The half-bit before it is short, the one after it long, by the same time.
    LATE_CHANGE = "a change came late"  #: The half-bit before it is long, the one after it short, by the same time.
    STRETCHED_HALF = "a half-bit was stretched"  #: The half-bits after it are as usual. So time was added.
    SHORTENED_HALF = "a half-bit was cut short"  #: The half-bits after it are as usual. So time is missing.
    NO_CONTACT = "contact was lost for a while"  #: Nothing changed for several half-bits.
    FLIPPED_BIT = "one bit was read wrong"  #: Both halves of a bit are as long as those of the other kind.
    SHORT_PREAMBLE = "the preamble was too short"  #: It has fewer one-bits than a decoder needs (S-9.2 A).
    BURST = "several changes in a row were wrong"  #: Changes are missing, added and moved within a few half-bits.
    CUT = "the capture starts or ends there"  #: The capture starts or ends inside a packet.
    SEVERAL = "several causes fit"  #: Several causes fit about equally well.
    NOT_FOUND = "no single cause fits"  #: No single cause explains the loss.

    @property
    def advice(self) -> str:
        """What to do on the board or the wiring."""
        return _ADVICE[self]


_CONTACT = "bad contact: clean wheels, track and pick-up, check plugs; or a loop that was busy"
_ADVICE = {
    Cause.MISSED_CHANGE: "look at the input more often, or let a timer or an interrupt note the changes",
    Cause.TWO_MISSED: "the loop takes too long now and then, or contact was lost for less than 0.3 ms",
    Cause.ADDED_CHANGE: "noise at the crossings: use --filter 5, a shorter lead, or an input with hysteresis",
    Cause.SPIKE: "short pulses: use --filter 5, keep the leads away from motors, filter the input",
    Cause.EARLY_CHANGE: "noise on a slow edge: use an input with hysteresis, or a faster optocoupler",
    Cause.LATE_CHANGE: "a busy loop, a slow optocoupler, or contact that came back late",
    Cause.STRETCHED_HALF: _CONTACT,
    Cause.SHORTENED_HALF: "the input misses time: look for a busy loop or a timer that is reset",
    Cause.NO_CONTACT: _CONTACT,
    Cause.FLIPPED_BIT: "single bits are wrong: measure the halves' lengths with halfbit survey",
    Cause.SHORT_PREAMBLE: "the station sends too few one-bits, or their beginning is lost: capture at the station",
    Cause.BURST: "contact that chatters, or strong noise: clean the wheels and the track, use --filter 5",
    Cause.CUT: "nothing: the capture begins or ends inside a packet",
    Cause.SEVERAL: "look at it with halfbit inspect --at",
    Cause.NOT_FOUND: "more than one thing is wrong there: look at it with halfbit inspect --at",
}

#: The cause of the error that a packet was recovered from. Other ways of recovery are not errors of the capture.
CAUSE_OF = {
    Recovery.MISSED_CHANGES: Cause.MISSED_CHANGE,
    Recovery.EXTRA_CHANGES: Cause.ADDED_CHANGE,
    Recovery.LATE_CHANGES: Cause.LATE_CHANGE,
    Recovery.LONG_TURNS: Cause.TWO_MISSED,
}


def fault_words(fault: Fault, limits: Limits) -> str:
    """A fault in words. By sums a fault is about a whole bit, not about a half-bit."""
    return str(fault).replace("half-bit of", "bit of") if limits.decision == "sum" else str(fault)


#: How a cause is undone, in words.
_UNDONE = {
    Cause.MISSED_CHANGE: "with it",
    Cause.TWO_MISSED: "with them",
    Cause.BURST: "without that",
    Cause.SHORT_PREAMBLE: "with a longer one",
}


@attrs.frozen
class Diagnosis:
    """Why a stretch was lost. Times are ns from the capture's start."""

    fault: Fault  #: What was lost.
    cause: Cause  #: The likeliest cause.
    at: int  #: Time of the cause.
    packet: bytes | None = None  #: All bytes of the packet that was lost, if one nearby confirms it.
    before: int | None = None  #: Time from the same packet before the loss, ns; ``None`` if there is none nearby.
    after: int | None = None  #: The same for the packet after it.
    several: tuple[Cause, ...] = ()  #: The causes that fit, if there are several.
    perhaps: bytes | None = None  #: A packet nearby that differs from it in one bit. Another packet may do so too.

    @property
    def is_at_one_place(self) -> bool:
        """True if the cause is known, and with it :attr:`at`."""
        return self.cause not in (Cause.NOT_FOUND, Cause.SEVERAL)

    def __str__(self) -> str:
        where = f"near {self.at // 1_000_000}.{self.at // 1000 % 1000:03d} ms"
        if self.cause is Cause.SEVERAL:
            return f"several causes fit {where}: {self._causes}"
        if self.cause in (Cause.NOT_FOUND, Cause.CUT):
            return f"{self.cause.value} ({where})"
        text = f"{self._causes} {where}"
        near = " and ".join(self._near)
        if self.packet is not None:
            return f"{text}: {_UNDONE.get(self.cause, 'without it')}, this is {self._bytes}, as sent {near}"
        if self.perhaps is not None:
            return f"{text}: perhaps {self._bytes[:-1]}, as sent {near}"
        hides = self.cause is Cause.NO_CONTACT
        return f"{text}; {'it hides which packet this was' if hides else 'nothing nearby says which packet it was'}"

    def brief(self, room: int) -> str:
        """A shorter text, at most ``room`` characters long."""
        cause = self.cause.value
        if not self._bytes:
            kind = self.fault.kind.name.lower().replace("_", " ")
            return f"{cause} ({kind})" if self.cause is Cause.NOT_FOUND else cause
        text, near = f"{cause}: {self._bytes}", self._near
        longer = [f"{text} as {' and '.join(near)}", f"{text} as {near[0]}", text]
        return next((each for each in longer if len(each) <= room), cause[:room])

    @property
    def _causes(self) -> str:
        return ", or ".join(each.value for each in self.several) or self.cause.value

    @property
    def _bytes(self) -> str:
        if self.packet is not None:
            return self.packet.hex(" ").upper()
        return "" if self.perhaps is None else f"{self.perhaps.hex(' ').upper()}?"

    @property
    def _near(self) -> list[str]:
        times = ((self.before, "before"), (self.after, "after"))
        return [f"{time / 1e6:.0f} ms {word}" for time, word in times if time is not None]

    def as_dict(self) -> dict[str, object]:
        """The diagnosis as an object for JSON. Times in ns."""
        return {
            "type": "diagnosis",
            "cause": self.cause.name,
            "at": self.at,
            "data": None if self.packet is None else self.packet.hex().upper(),
            "before": self.before,
            "after": self.after,
            "several": [cause.name for cause in self.several],
            "perhaps": None if self.perhaps is None else self.perhaps.hex().upper(),
        }
