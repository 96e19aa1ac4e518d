"""What a session on the programming track asked and set: CV by CV, each act once.

Decoders act on the second identical packet (S-9.2.3), so that is where an act is counted. A decoder's answer
is a pulse of current. It is not in this signal, so nothing here says if a decoder answered.
"""

import sys
from pathlib import Path

from ending import quietly

from halfbit import Context, Instruction, Repetition, decode, open_capture
from halfbit.instruction import DirectVerifyByte, DirectWriteByte, RegisterAccess

CAPTURE = Path(__file__).parent / "captures" / "programming_track.txt"


def main(path: Path) -> None:
    """List the acts, then what the CVs hold as far as the session tells."""
    written: dict[int, int] = {}
    acted: Instruction | None = None
    for event in decode(open_capture(path)):
        if not isinstance(event, Instruction) or event.context is not Context.SERVICE:
            continue
        if event.repetition is not Repetition.REPEAT:
            acted = None
            continue
        if event == acted:
            continue
        acted = event
        print(event)
        if isinstance(event, DirectWriteByte) or (isinstance(event, RegisterAccess) and event.writes):
            if event.cv is not None:
                written[event.cv] = event.value
        elif isinstance(event, DirectVerifyByte):
            print(f"  (if the decoder answered, CV {event.cv} is {event.value})")
    for cv, value in sorted(written.items()):
        print(f"CV {cv} = {value}")


if __name__ == "__main__":
    with quietly():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
