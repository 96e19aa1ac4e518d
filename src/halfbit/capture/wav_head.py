"""The chunks of a WAV file: RIFF, or RF64 for files above 4 GB (from memory). Samples are integers or floats."""

from __future__ import annotations

import struct
import sys
from array import array
from collections.abc import Generator, Iterator, Sequence

import attrs

from ..error import CaptureError

__all__ = ["Form", "read_form", "samples_in"]

_INTEGER, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE  #: The format tag: integers, floats, or given in the extended head.

_UNKNOWN = 0x7FFF0000  #: From this size in bytes on, it is unknown: a recorder that writes to a pipe cannot know it.

_SIGNED = bytes((value - 128) % 256 for value in range(256))  # 8-bit samples are unsigned, wider ones signed


@attrs.frozen
class Form:
    """The sample format, from the file's head."""

    rate: int
    width: int  #: Bytes per sample.
    channels: int
    floats: bool
    frames: int | None  #: Number of frames; ``None`` if it was not known when the head was written.
    full_scale: float  #: Largest value of a sample. 24-bit samples are read as the upper bits of 32.


class _Bytes:
    """A buffer over chunks of bytes."""

    def __init__(self, chunks: Generator[bytes, None, None]) -> None:
        self._chunks = chunks
        self._rest = b""

    def take(self, size: int) -> bytes:
        """Take ``size`` bytes, or the rest if there are fewer."""
        parts, have = [self._rest], len(self._rest)
        while have < size and (chunk := next(self._chunks, b"")):
            parts.append(chunk)
            have += len(chunk)
        data = b"".join(parts)
        self._rest = data[size:]
        return data[:size]


def read_form(chunks: Generator[bytes, None, None]) -> tuple[Form, Iterator[bytes]]:
    """Read the head; return it with the bytes of the samples, in chunks.

    :raises CaptureError: if it is not a WAV file, or if its samples are compressed.
    """
    source = _Bytes(chunks)
    start = source.take(12)
    if len(start) >= 4 and (start[:4] not in (b"RIFF", b"RF64", b"BW64") or start[8:12] not in (b"WAVE", b"")):
        raise CaptureError("is no WAV file: it does not begin with RIFF and WAVE")
    long_size: int | None = None
    form: Form | None = None
    while len(head := source.take(8)) == 8:
        name, size = head[:4], struct.unpack("<I", head[4:])[0]
        if name == b"data":
            if form is None:
                raise CaptureError("is a damaged WAV file: its samples come before their form")
            length = long_size if size == 0xFFFFFFFF else None if size >= _UNKNOWN else size
            frames = None if length is None else length // (form.width * form.channels)
            return attrs.evolve(form, frames=frames), _rest(source, length)
        body = source.take(size + size % 2)
        if len(body) < size:
            break
        if name == b"ds64" and len(body) >= 16:
            long_size = struct.unpack("<Q", body[8:16])[0]
        elif name == b"fmt ":
            form = _form(body)
    raise CaptureError("ends within its head: is empty, or cut short")


def _form(body: bytes) -> Form:
    if len(body) < 16:
        raise CaptureError("is a damaged WAV file: the form of its samples is cut short")
    tag, channels, rate, _, _, bits = struct.unpack("<HHIIHH", body[:16])
    if tag == _EXTENSIBLE and len(body) >= 26:
        tag = struct.unpack("<H", body[24:26])[0]
    if tag not in (_INTEGER, _FLOAT):
        raise CaptureError(f"has packed samples (form {tag}): save it as plain PCM of 16 bits, or as floats")
    full_scales = {32: 1.0, 64: 1.0} if tag == _FLOAT else {8: 1 << 7, 16: 1 << 15, 24: 1 << 31, 32: 1 << 31}
    if bits not in full_scales:
        raise CaptureError(f"has samples of {bits} bits; {', '.join(map(str, full_scales))} can be read")
    if rate < 1 or channels < 1:
        raise CaptureError(f"says it has {channels} channels with {rate} samples a second")
    return Form(rate, bits // 8, channels, tag == _FLOAT, None, full_scales[bits])


def _rest(source: _Bytes, length: int | None) -> Iterator[bytes]:
    left = float("inf") if length is None else length
    while left > 0 and (data := source.take(int(min(left, 1 << 16)))):
        left -= len(data)
        yield data


def samples_in(data: bytes, form: Form) -> Sequence[float]:
    """The samples of all channels, centred on 0. 24-bit samples become the upper bits of 32.

    :raises CaptureError: if a sample is not a finite number.
    """
    width = form.width
    if width == 1:
        return array("b", data.translate(_SIGNED))
    if width == 3:
        wide = bytearray(len(data) // 3 * 4)
        for byte in range(3):
            wide[byte + 1 :: 4] = data[byte::3]
        data, width = bytes(wide), 4
    values = array(("f" if width == 4 else "d") if form.floats else ("h" if width == 2 else "i"), data)
    if sys.byteorder == "big":
        values.byteswap()
    if form.floats and not all(abs(value) < 1e9 for value in values):
        raise CaptureError("holds a sample that is no number, or far too large")
    return values
