"""Decode in an asyncio program: two sources at once, each with a decoder of its own.

A source here is a file that is given out in small pieces, as a socket or a serial port would. Decoding takes about a
microsecond for each half-bit, so it runs in the event loop itself: no thread is needed.
"""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

from halfbit import Event, Instruction, StreamDecoder

CAPTURES = Path(__file__).parent / "captures"


async def source(path: Path) -> asyncio.StreamReader:
    """A stream that is filled while others run."""
    reader = asyncio.StreamReader()

    async def fill() -> None:
        data = path.read_bytes()
        for start in range(0, len(data), 997):
            reader.feed_data(data[start : start + 997])
            await asyncio.sleep(0)
        reader.feed_eof()

    reader.task = asyncio.create_task(fill())  # type: ignore[attr-defined]  # kept, so that it is not collected
    return reader


async def decoded(reader: asyncio.StreamReader) -> AsyncIterator[Event]:
    """The events of a stream of durations, us, a number a line."""
    decoder = StreamDecoder()
    async for line in reader:
        if not line.startswith(b"#"):
            for event in decoder.feed_duration(int(line) * 1000):
                yield event
    for event in decoder.finish():
        yield event


async def count(name: str) -> tuple[str, int, int]:
    """How many instructions and how many losses a source has."""
    instructions = losses = 0
    async for event in decoded(await source(CAPTURES / name)):
        if isinstance(event, Instruction):
            instructions += 1
        else:
            losses += 1
    return name, instructions, losses


async def main() -> None:
    """Decode both at once."""
    for name, instructions, losses in await asyncio.gather(count("shunting_turn.txt"), count("programming_track.txt")):
        print(f"{name}: {instructions} instructions, {losses} losses")


if __name__ == "__main__":
    asyncio.run(main())
