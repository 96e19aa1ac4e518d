"""An invented railway: who is on the Ostrel Bay Tramway, and what the station sends in two scenes.

Nothing of it exists. The engines:

- Pepper, a tank engine: short address 7, 28 speed steps.
- Madrigal, a diesel: long address 2604, 126 speed steps.
- Thimble, a railcar: short address 44, 14 speed steps; later short address 12.
- The Dowager, a tram without a decoder: she runs on stretched zeros.

Turnout 1 leads to the mill: board 9, pair 2. Signal 1 guards the bay: extended accessory address 37.
The recorder rides in Pepper's brake van, so that a dirty rail shows in what it takes down.

``SHUNTING_TURN`` and ``PROGRAMMING_TRACK`` are the scenes, step by step in the order of time. :func:`sent`
makes of a scene what the station sends.
"""

from __future__ import annotations

import enum
from collections import deque
from collections.abc import Sequence

import attrs

from halfbit import Instruction
from halfbit.instruction import (
    AccessoryAddress,
    BasicAccessory,
    Broadcast,
    BroadcastStop,
    ConsistControl,
    CvWriteByte,
    DigitalDecoderReset,
    DirectVerifyByte,
    DirectWriteByte,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    FunctionGroupOne,
    FunctionGroupTwo,
    Idle,
    IdleAddress,
    LongAddress,
    NoAddress,
    RegisterAccess,
    ShortAddress,
    SpeedAndDirection,
    SpeedControl128,
)
from halfbit.simulate.signal import NOMINAL, Timing

__all__ = ["PROGRAMMING_TRACK", "SHUNTING_TURN", "Harm", "Sent", "Step", "sent"]

PEPPER = ShortAddress(7)
MADRIGAL = LongAddress(2604)
THIMBLE = ShortAddress(44)
THIMBLE_LATER = ShortAddress(12)
PAIR = ShortAddress(11)  # the consist's address
TURNOUT_1 = AccessoryAddress(9, 2, 1)
SIGNAL_1 = ExtendedAccessoryAddress(37)

PREAMBLE = 16  # one-bits; a station must send 14 (S-9.2 A)
LONG_PREAMBLE = 22  # on the programming track it must send 20 (S-9.2.3 E)

IDLE = Idle(IdleAddress())
RESET = DigitalDecoderReset(Broadcast())


class Harm(enum.Enum):
    """What a dirty rail does to a packet on its way to the recorder."""

    LOST_CHANGE = "a level change goes missing"
    SPIKE = "a spark: a short pulse too many"
    FLIPPED = "half of a bit comes out as long as the other kind's"
    NO_CONTACT = "the wheels lose the rail for a moment"


@attrs.frozen
class Step:
    """One line of a scene: who does what, and the packet with which the station says so."""

    who: str
    does: str
    instructions: tuple[Instruction, ...]
    #: How often the packet is sent.
    times: int = 3
    #: Whether the station repeats it from now on.
    lasts: bool = False
    #: Which of the packet's sendings is harmed on its way, counted from 0.
    harm: tuple[int, Harm] | None = None
    timing: Timing = NOMINAL
    #: Whether it plays on the programming track.
    service: bool = False


@attrs.frozen
class Sent:
    """A packet as the station sends it."""

    #: The step it was sent for; ``None`` where the station repeats something or has nothing to say.
    step: Step | None
    instructions: tuple[Instruction, ...]
    preamble: int
    timing: Timing
    harm: Harm | None = None


def _speed(address: ShortAddress, forward: bool, code: int) -> tuple[Instruction, ...]:
    return (SpeedAndDirection(address, forward, code),)


def _speed_126(address: LongAddress, forward: bool, step: int) -> tuple[Instruction, ...]:
    return (SpeedControl128(address, forward, step + 1 if step else 0),)


# Zeros whose first part is longer put a direct voltage on the track, which moves a tram without a decoder.
DOWAGER_RUNS = Timing(zero_first=410_000)

SHUNTING_TURN = (
    Step("Pepper", "lamps on, bell off", (FunctionGroupOne(PEPPER, True, 0),), lasts=True),
    Step("Thimble", "waits in the bay, lamp on", _speed(THIMBLE, True, 0b10000), lasts=True),
    Step("Turnout 1", "is set for the mill", (BasicAccessory(TURNOUT_1, True),), times=2),
    Step("Turnout 1", "has its coil switched off", (BasicAccessory(TURNOUT_1, False),), times=2),
    Step("Signal 1", "shows aspect 5", (ExtendedAccessory(SIGNAL_1, 5),), times=2),
    Step("Pepper", "rings the bell and sets off, forward at step 6 of 28", (*_speed(PEPPER, True, 0b10100), FunctionGroupOne(PEPPER, True, 1))),
    Step("Pepper", "rings no more", (FunctionGroupOne(PEPPER, True, 0),), times=2, lasts=True),
    Step("Pepper", "forward at step 11 of 28", _speed(PEPPER, True, 0b00111), lasts=True, harm=(1, Harm.LOST_CHANGE)),
    Step("Madrigal", "wakes: F5 and F8 on", (FunctionGroupTwo(MADRIGAL, 5, 0b1001),), lasts=True),
    Step("Madrigal", "reverse at step 30 of 126", _speed_126(MADRIGAL, False, 30), lasts=True, harm=(2, Harm.SPIKE)),
    Step("Pepper", "stops at the buffers", _speed(PEPPER, True, 0b00000), lasts=True, harm=(0, Harm.NO_CONTACT)),
    Step("Pepper", "reverse at step 2 of 28", _speed(PEPPER, False, 0b10010), lasts=True),
    Step("Everyone", "stops: a mug stands on the track", (BroadcastStop(Broadcast(), True, True, False),), times=4),
    Step("The Dowager", "rolls along the bay", (IDLE,), times=6, timing=DOWAGER_RUNS),
    Step("Pepper", "joins consist 11", (ConsistControl(PEPPER, False, 11),), times=2),
    Step("Madrigal", "joins consist 11, turned round", (ConsistControl(MADRIGAL, True, 11),), times=2),
    Step("The consist", "forward at step 4 of 28", _speed(PAIR, True, 0b10011), lasts=True, harm=(1, Harm.FLIPPED)),
    Step("Madrigal", "is to start more gently: CV 3 := 20", (CvWriteByte(MADRIGAL, 3, 20),), times=2),
    Step("Signal 1", "shows stop", (ExtendedAccessory(SIGNAL_1, 0),), times=2),
    Step("The consist", "stops in the mill", _speed(PAIR, True, 0b00000), lasts=True, times=4),
)


def _resets(times: int, does: str) -> Step:
    return Step("The station", does, (RESET,), times=times, service=True)


def _programs(does: str, instruction: Instruction) -> Step:
    return Step("The station", does, (instruction,), times=5, service=True)


_NOBODY = NoAddress()
PROGRAMMING_TRACK = (
    _resets(20, "powers the programming track, on which Thimble stands, with resets"),
    _programs("asks: is CV 8 = 13 (direct mode)", DirectVerifyByte(_NOBODY, 8, 13)),
    _resets(3, "is ready for another"),
    _programs("CV 1 := 12 (direct mode)", DirectWriteByte(_NOBODY, 1, 12)),
    _resets(6, "lets her recover"),
    _resets(3, "is ready for another"),
    _programs("page register := 8 (paged mode)", RegisterAccess(_NOBODY, True, 6, 8)),
    _resets(6, "lets her recover"),
    _programs("register 1, on page 8: CV 29 := 4 (paged mode)", RegisterAccess(_NOBODY, True, 1, 4)),
    _resets(6, "lets her recover"),
    Step("The station", "switches the track back to the railway", (IDLE,), times=4),
    Step("Thimble", "forward at step 1 of 14, under her new address", _speed(THIMBLE_LATER, True, 0b00010), times=6),
)


def sent(scene: Sequence[Step]) -> list[Sent]:
    """What the station sends for a scene.

    On the railway it sends between two packets of a step, by turns, what lasts; an idle packet where nothing does,
    or where two packets to one decoder would come less than 5 ms apart (S-9.2 C). On the programming track it
    sends the long preamble, and the step's packets one after the other (S-9.2.3 E).
    """
    packets: list[Sent] = []
    lasting: deque[tuple[Instruction, ...]] = deque()
    for step in scene:
        lasting = deque(old for old in lasting if not _ended(old[0], step.instructions[0]))
        for index in range(step.times):
            harm = step.harm[1] if step.harm and step.harm[0] == index else None
            if step.service:
                packets.append(Sent(step, step.instructions, LONG_PREAMBLE, step.timing, harm))
                continue
            address = step.instructions[0].address
            if packets and packets[-1].instructions[0].address == address != IDLE.address:
                packets.append(Sent(None, (IDLE,), PREAMBLE, step.timing))
            packets.append(Sent(step, step.instructions, PREAMBLE, step.timing, harm))
            others = [one for one in lasting if one[0].address != address]
            between = others[0] if others else (IDLE,)
            packets.append(Sent(None, between, PREAMBLE, step.timing))
            if others:  # it goes to the end of the queue
                lasting.remove(between)
                lasting.append(between)
        if step.lasts:
            lasting.append(step.instructions)
    return packets


def _ended(lasting: Instruction, new: Instruction) -> bool:
    """Whether what lasted is replaced, or made void, by what is sent now."""
    if isinstance(new, (BroadcastStop, ConsistControl)):
        moves = isinstance(lasting, (SpeedAndDirection, SpeedControl128))
        return moves and new.address in (lasting.address, Broadcast())
    return lasting.address == new.address and type(lasting) is type(new)
