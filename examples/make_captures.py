"""Makes the example captures of the invented railway again, exactly as they are checked in.

    python examples/make_captures.py [DIRECTORY]

From the scenes in ``railway.py`` and a seeded random source: the packets as the station sends them, what
dirty rails and a recorder's clock make of them, and files of three kinds.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path

import attrs

import railway
from halfbit.simulate.distort import counted, flipped_half, jittered, lost_edge, polled, spike
from halfbit.instruction import STANDARD
from halfbit.simulate.signal import packet_durations
from railway import Harm, Sent, Step

__all__ = ["CAPTURES", "Record", "files", "record"]

US = 1000
CAPTURES = Path(__file__).parent / "captures"
SEED = 1911
CUT = 31  # half-bits of the first packet that went by before the recorder was on


@attrs.frozen
class Record:
    """What the recorder took down of a scene, and what it was."""

    sent: list[Sent]
    #: When each packet's preamble starts, ns from the first level change taken down.
    starts: list[int]
    #: Between level changes, in whole us as the recorder counts them, in ns.
    durations: list[int]


def record(scene: Sequence[Step]) -> Record:
    """Play a scene to the recorder. It is switched on within the first packet."""
    rng = random.Random(SEED)
    sent = railway.sent(scene)
    durations: list[int] = []
    starts = []
    for packet in sent:
        starts.append(sum(durations))
        halves = packet_durations(data_of(packet), packet.preamble, packet.timing)
        durations += _harmed(halves, packet, rng)
    before = sum(durations[:CUT])
    return Record(sent, [start - before for start in starts], counted(jittered(durations[CUT:], US, rng), US))


def data_of(packet: Sent) -> bytes:
    """A packet's bytes, error detection byte included."""
    return STANDARD.encode_packet(packet.instructions)


def _harmed(halves: list[int], packet: Sent, rng: random.Random) -> list[int]:
    if packet.harm is None:
        return halves
    at = rng.randrange(2 * packet.preamble + 4, len(halves) - 24)  # behind the preamble and the start bit
    if packet.harm is Harm.LOST_CHANGE:
        return lost_edge(halves, at)
    if packet.harm is Harm.SPIKE:
        return spike(halves, at, 20 * US, 9 * US)
    if packet.harm is Harm.FLIPPED:
        return flipped_half(halves, at)
    return [*halves[:at], sum(halves[at : at + 20]), *halves[at + 20 :]]


def files() -> dict[str, str]:
    """Each capture's name and text."""
    turn, programming = record(railway.SHUNTING_TURN), record(railway.PROGRAMMING_TRACK)
    loop = polled(turn.durations, (20 * US, 36 * US), random.Random(SEED))
    return {
        "shunting_turn.txt": _text(
            "A shunting turn: us between level changes.", "durations us", _counts(turn.durations)
        ),
        "shunting_turn.csv": _table(turn.durations),
        "shunting_turn_polled.txt": _text(
            "The shunting turn as a loop saw it that looked at the level every 20 to 36 us: its clock, in us,\n"
            "# whenever the level had changed. The clock starts over after 65536 counts.",
            "times us wrap=65536",
            [(time // US + 60_000) % 65_536 for time in accumulate(loop, initial=0)],
        ),
        "programming_track.txt": _text(
            "A programming track: us between level changes.", "durations us", _counts(programming.durations)
        ),
        "scenario.txt": _scenario({"The shunting turn": turn, "The programming track": programming}),
    }


def _counts(durations: Sequence[int]) -> list[int]:
    return [duration // US for duration in durations]


def _text(title: str, heading: str, numbers: Sequence[int]) -> str:
    lines = [f"# {title}", "# Invented: the Ostrel Bay Tramway does not exist. See scenario.txt.", f"# halfbit: {heading}"]
    return "\n".join([*lines, *map(str, numbers)]) + "\n"


def _table(durations: Sequence[int]) -> str:
    """The scene as a table: time in s, and the level from then on."""
    lines = [
        "# The shunting turn as a table: each level change.",
        "# Invented: the Ostrel Bay Tramway does not exist. See scenario.txt.",
        "time_s,track",
    ]
    for index, time in enumerate(accumulate(durations, initial=2000 * US)):
        lines.append(f"{time / 1e9:.6f},{index % 2}")
    return "\n".join(lines) + "\n"


def _scenario(scenes: dict[str, Record]) -> str:
    """Who does what when, as it plays in the captures."""
    lines = ["The scenes of the captures beside this file. Invented: the Ostrel Bay Tramway does not exist."]
    assert railway.__doc__ is not None
    lines += ["", *railway.__doc__.split("\n\n``")[0].splitlines()[2:]]
    for title, played in scenes.items():
        lines += ["", title, "-" * len(title), "", "       ms  who           does"]
        step: Step | None = None
        for packet, start in zip(played.sent, played.starts):
            when = f"{max(start, 0) / 1e6:9.3f}"
            if packet.step is not None and packet.step is not step:
                step = packet.step
                lines.append(f"{when}  {step.who:<12}  {step.does}")
            if packet.harm is not None:
                lines.append(f"{when}  a packet is torn: {packet.harm.value}")
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str]) -> None:
    directory = Path(arguments[0]) if arguments else CAPTURES
    for name, text in files().items():
        (directory / name).write_text(text, encoding="ascii", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1:])
