"""A decoder of your own on the model: Pepper's, at short address 7, with 28 speed steps, a motor and two lamps.

The model says what a packet makes a decoder do. You say what your hardware does then. Here it prints.
"""

import sys
from pathlib import Path

from halfbit import Event, Instruction, decode, open_capture
from halfbit.decoder import DirectionChanged, Effect, FunctionChanged, MultiFunctionDecoder, SpeedChanged

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"
LAMPS = {0: "front lamp", 1: "bell"}  # function number to what is connected


class Engine:
    """Hardware behind the model: in your program, pins."""

    def __init__(self) -> None:
        # CV 1 is the address, CV 29 bit 1 says 28 steps; CV 5 is the drive level at full speed (S-9.2.2).
        self.decoder = MultiFunctionDecoder({1: 7, 2: 20, 5: 200, 29: 0b10})

    def hear(self, event: Event) -> None:
        """Take what was on the track."""
        when = event.packet.end if isinstance(event, Instruction) and event.packet else 0
        for done in dict.fromkeys(map(self.act, self.decoder.feed(event))):  # each thing once
            if done:
                print(f"{when / 1e6:9.3f} ms  {done}")

    def act(self, effect: Effect) -> str:
        """Do something about an effect; say what."""
        if isinstance(effect, (SpeedChanged, DirectionChanged)):
            way = "forward" if self.decoder.forward else "reverse"
            return f"motor {way} at {self.decoder.drive_level} of 255 ({self.decoder.speed})"
        if isinstance(effect, FunctionChanged) and effect.number in LAMPS:
            return f"{LAMPS[effect.number]} {'on' if effect.on else 'off'}"
        return ""  # consist, CVs: the model keeps them


def main(path: Path) -> None:
    """Drive through a capture."""
    engine = Engine()
    for event in decode(open_capture(path)):
        engine.hear(event)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
