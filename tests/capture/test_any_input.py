"""Whatever bytes a capture holds, and however they come in: edges, or an error of halfbit's own."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from halfbit.capture import open_capture
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces

#: What turns a capture into one that is nearly right, or right in another way.
PIECES = st.sampled_from(
    [b"58", b"1.5", b"100\n", b"\n", b"\r\n", b"\r", b",", b";", b" ", b"\t", b"|", b".", b"-", b"+", b"_", b"e", b"nan", b"inf", b"#"]
    + [b"\n# halfbit: durations us\n", b"\n# halfbit: times wrap=128\n", b"\n# c\n", b"\n\n", b'"', b"time", b"level"]
    + [b"\0", b"\xff", b"\xef\xbb\xbf", b"\xd9\xa1", b"9" * 30]
)


@st.composite
def captures(draw: st.DrawFn) -> bytes:
    """A capture as text or as a table, with up to two pieces put into it somewhere."""
    steps = draw(st.lists(st.sampled_from([0, 1, 58, 100, 58.5]), max_size=12))
    times = list(itertools.accumulate(steps)) if draw(st.booleans()) else steps
    delimiter = draw(st.sampled_from(["", ",", ";", " "]))
    levels = draw(st.lists(st.sampled_from("01"), min_size=len(times), max_size=len(times)))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    lines = [f"{time}{delimiter}{level if delimiter else ''}" for time, level in zip(times, levels)]
    head = draw(st.sampled_from(["", f"time{delimiter}level", "# halfbit: times us", "# halfbit: durations us"]))
    data = end.join([head] * bool(head) + lines + [""]).encode()
    for _ in range(draw(st.sampled_from([0, 0, 1, 1, 2]))):
        at = draw(st.integers(0, len(data)))
        data = data[:at] + draw(PIECES) + data[at:]
    return data


CAPTURES = st.one_of(captures(), captures(), captures(), st.lists(PIECES).map(b"".join), st.binary(max_size=60))
SIZES = st.lists(st.integers(1, 40), min_size=1, max_size=4)
OPTIONS = st.fixed_dictionaries(
    {},
    optional={
        "holds": st.sampled_from(["durations", "times"]),
        "unit": st.sampled_from(["ns", "s", 3, 1e6]),
        "wrap": st.sampled_from([128, 1 << 32]),
        "last_line": st.just("take"),
    },
)


def outcome(data: bytes, sizes: list[int], bulk: bool, **options: Any) -> tuple[list[int], str]:
    """The times of the edges that come out, and the error they end with, if any."""
    times: list[int] = []
    try:
        edges = open_capture(Pieces.of(data, itertools.cycle(sizes)), **options)
        if not bulk:
            for edge in edges:
                times.append(edge.time)
        else:
            for durations, scale in edges._rows():
                for duration in durations:
                    times.append((times[-1] if times else 0) + duration * scale)
    except HalfbitError as error:
        assert isinstance(error, CaptureError)
        return times, str(error)
    return times, ""


@pytest.mark.parametrize("format", ["text", "csv"])
@given(data=CAPTURES, sizes=SIZES, options=OPTIONS)
@example(data=b"1\n58,1\n", sizes=[3], options={})
@example(data=b"# halfbit: times\n" * 3, sizes=[20], options={})
@example(data=b"# halfbit: times us\n0\n0\n# halfbit: times us\n", sizes=[7], options={})
@example(data=b"0,0\n60,1\n\xff", sizes=[40], options={})
@example(data=b'time,level\n0,0\n60,"1\n120,0"\n', sizes=[12], options={})
def test_same_times_and_same_error_however_it_is_cut(
    format: str, data: bytes, sizes: list[int], options: dict[str, Any]
) -> None:
    whole = outcome(data, [len(data) + 1], bulk=False, format=format, **options)
    assert outcome(data, sizes, bulk=False, format=format, **options) == whole
    times, error = outcome(data, sizes, bulk=True, format=format, **options)
    assert error == whole[1]
    # The first edge has no duration before it.
    assert times == whole[0][1:]
