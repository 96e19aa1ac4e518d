"""A decoder of one's own: Pepper's, at short address 7, with speed, direction and functions.

It acts on what is for its address, for the consist it has joined, and for everybody; it knows from its own CV 29
that there are 28 speed steps.
"""

import sys
from pathlib import Path

import attrs

from ending import quietly

from halfbit import Configuration, Instruction, decode, open_capture
from halfbit.instruction import (
    Broadcast,
    BroadcastStop,
    ConsistControl,
    DigitalDecoderReset,
    FunctionControl,
    ShortAddress,
    SpeedAndDirection,
)

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"


@attrs.define
class Engine:
    """What the decoder holds: where it belongs, how fast it runs, what is on."""

    address: ShortAddress
    consist: ShortAddress | None = None
    #: -28 to 28; negative is reverse.
    speed: int = 0
    functions: dict[str, bool] = attrs.field(factory=dict)

    def act(self, instruction: Instruction) -> None:
        """Do what one instruction bids, if it is for this engine."""
        to_me = instruction.address in (self.address, Broadcast())
        if isinstance(instruction, SpeedAndDirection):
            # While it is in a consist, an engine heeds the consist's speed alone (S-9.2.2, CV 19).
            if instruction.address == (self.consist or self.address):
                (reading,) = instruction.readings
                self.speed = reading.step if instruction.forward else -reading.step
        elif not to_me:
            return
        elif isinstance(instruction, (BroadcastStop, DigitalDecoderReset)):
            self.speed = 0
        elif isinstance(instruction, ConsistControl):
            self.consist = ShortAddress(instruction.number) if instruction.number else None
        elif isinstance(instruction, FunctionControl):
            self.functions |= {f"F{number}" if number else "FL": on for number, on in instruction.functions.items()}

    def __str__(self) -> str:
        on = " ".join(name for name, state in self.functions.items() if state) or "nothing"
        place = f"consist {self.consist.number}" if self.consist else "alone"
        return f"{place}, speed {self.speed:+d}, {on} on"


def main(path: Path) -> None:
    """Show the engine whenever it has changed."""
    engine = Engine(ShortAddress(7))
    shown = str(engine)
    # 28 speed steps and FL in function group one: bit 1 of CV 29 (S-9.2.2).
    for event in decode(open_capture(path), configuration=Configuration(cv29=0b10)):
        if isinstance(event, Instruction):
            engine.act(event)
            if str(engine) != shown and event.packet is not None:
                shown = str(engine)
                print(f"{event.packet.end / 1e6:9.3f} ms  {shown}")


if __name__ == "__main__":
    with quietly():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
