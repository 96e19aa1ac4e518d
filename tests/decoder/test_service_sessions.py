"""Programming sessions from half-bits, in all modes of S-9.2.3 E: the CVs at the end, and the acknowledgements."""

from __future__ import annotations

import random

import attrs
import pytest

from halfbit.decoder import AccessoryDecoder, Acknowledgement, CvWritten, MultiFunctionDecoder
from halfbit.simulate.distort import lost_edge

from .support_track import RESET, effects_of, half_bits


@attrs.frozen
class Session:
    """What a programmer sends, as S-9.2.3 E has it, and what comes of it."""

    name: str
    bodies: tuple[str, ...]
    #: CV to value at the end.
    cvs: dict[int, int]
    acknowledgements: int


POWER_ON = (RESET,) * 20
READY = (RESET,) * 3
SILENCE = [58_000, 58_000] * 173  # one-bits for 20.07 ms


def _write(body: str, recovery: int = 6) -> tuple[str, ...]:
    return (*READY, *(body,) * 5, *(RESET,) * recovery)


SESSIONS = (
    Session("direct, write byte", (*POWER_ON, *_write("7C 1C 26")), {29: 0x26}, 1),
    Session("direct, write bit", (*POWER_ON, *_write("78 1C F9")), {29: 0b10}, 1),
    Session("direct, verify byte that is so", (*POWER_ON, *READY, *("74 00 03",) * 5), {}, 1),
    Session("direct, verify byte that is not", (*POWER_ON, *READY, *("74 00 04",) * 5), {}, 0),
    Session("direct, verify bit", (*POWER_ON, *READY, *("78 00 E8",) * 5), {}, 1),
    Session("direct, recovery by writes", (*POWER_ON, *READY, *("7C 02 07",) * 11), {3: 7}, 1),
    Session("paged", (*POWER_ON, *_write("7D 08"), *_write("78 06")), {29: 6}, 2),
    Session("paged, CV 65 at page 17", (*POWER_ON, *_write("7D 11"), *_write("78 09")), {65: 9}, 2),
    Session("register", (*POWER_ON, *_write("7D 01"), *_write("7A 05")), {3: 5}, 2),
    Session("register 5", (*POWER_ON, *_write("7D 01"), *_write("7C 06")), {29: 6}, 2),
    Session("register, verify", (*POWER_ON, *_write("7D 01"), *READY, *("70 03",) * 7), {}, 2),
    Session("address only", (*POWER_ON, *_write("7D 01"), *_write("78 0C", 10)), {1: 12}, 2),
    Session("two CVs", (*POWER_ON, *_write("7C 02 07"), *_write("7C 03 08")), {3: 7, 4: 8}, 2),
)


def _differs(
    decoder: MultiFunctionDecoder | AccessoryDecoder, fresh: MultiFunctionDecoder | AccessoryDecoder
) -> dict[int, int]:
    return {n: decoder.cvs[n] for n in range(1, 257) if decoder.cvs[n] != fresh.cvs[n]}


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session.name)
def test_a_session(session: Session) -> None:
    decoder = MultiFunctionDecoder()
    effects = effects_of(decoder, half_bits(session.bodies))
    assert _differs(decoder, MultiFunctionDecoder()) == session.cvs
    assert sum(isinstance(effect, Acknowledgement) for effect in effects) == session.acknowledgements


@pytest.mark.parametrize("session", SESSIONS, ids=lambda session: session.name)
def test_an_interrupted_session_leaves_the_cvs(session: Session) -> None:
    """S-9.2.3: only the second identical packet acts. Cut off before it, wherever, nothing is written."""
    first = next(index for index, body in enumerate(session.bodies) if body != RESET)
    whole = half_bits(session.bodies[: first + 1])
    rest = half_bits((session.bodies[first + 1],))
    rng = random.Random(1)
    for cut in (0, len(rest) - 3, *(rng.randrange(len(rest)) for _ in range(5))):
        decoder = MultiFunctionDecoder()
        effects = effects_of(decoder, [*whole, *rest[:cut]])
        assert _differs(decoder, MultiFunctionDecoder()) == {}
        assert not any(isinstance(effect, (Acknowledgement, CvWritten)) for effect in effects)


@pytest.mark.parametrize("between", ["FF 00", "03 74"])
def test_another_packet_ends_it(between: str) -> None:
    """S-9.2.3: a valid packet that is neither reset nor service mode ends service mode."""
    decoder = MultiFunctionDecoder()
    effects_of(decoder, half_bits((*READY, "7C 02 07", between, "7C 02 07", "7C 02 07")))
    assert _differs(decoder, MultiFunctionDecoder()) == {}


def test_a_reset_between_undoes_the_first() -> None:
    """S-9.2.3: no other valid packet between the two."""
    decoder = MultiFunctionDecoder()
    effects_of(decoder, half_bits((*READY, "7C 02 07", RESET, "7C 02 07", RESET, "7C 02 07")))
    assert _differs(decoder, MultiFunctionDecoder()) == {}


def test_a_torn_packet_does_not_undo_the_first() -> None:
    """S-9.2.3 names valid packets only: the packet before the torn one and the one after it are two in a row."""
    decoder = MultiFunctionDecoder()
    torn = lost_edge(half_bits(("7C 02 07",)), 60)
    effects_of(decoder, [*half_bits((*READY, "7C 02 07")), *torn, *half_bits(("7C 02 07",))])
    assert _differs(decoder, MultiFunctionDecoder()) == {3: 7}


def test_without_a_reset_it_is_no_service_mode() -> None:
    """S-9.2.3: entered only with a reset immediately before."""
    decoder = MultiFunctionDecoder()
    effects_of(decoder, half_bits(("FF 00", *("7C 02 07",) * 5)))
    assert _differs(decoder, MultiFunctionDecoder()) == {}


def test_20_ms_of_silence_end_it() -> None:
    """S-9.2.3: 20 ms without a valid reset or service mode packet; a packet of that form does not resume operations."""
    decoder = MultiFunctionDecoder()
    effects_of(decoder, [*half_bits((*READY, "7C 02 07")), *SILENCE, *half_bits(("7C 02 07", "7C 02 07"))])
    assert _differs(decoder, MultiFunctionDecoder()) == {}


@pytest.mark.parametrize(
    ("between", "cv"),
    [([], 67), (half_bits((RESET,) * 9), 67), (half_bits(("FF 00",)), 3), (SILENCE, 3)],
    ids=["nothing", "resets", "another packet", "silence"],
)
def test_the_page_does_not_outlive_service_mode(between: list[int], cv: int) -> None:
    """Register 3 is CV 67 at page 17; after service mode it is CV 3 again (common practice, no source)."""
    decoder = MultiFunctionDecoder()
    page, register = half_bits((*READY, "7D 11", "7D 11")), half_bits((*READY, "7A 05", "7A 05"))
    effects_of(decoder, [*page, *between, *register])
    assert _differs(decoder, MultiFunctionDecoder()) == {cv: 5}


def test_a_factory_reset_sets_the_page_back_to_1() -> None:
    """The standard leaves it open; the model does it. Register 3 is CV 67 at page 17, and CV 3 at page 1."""
    decoder = MultiFunctionDecoder()
    effects_of(decoder, half_bits((*READY, "7D 11", "7D 11", "7F 08", "7F 08", *READY, "7A 05", "7A 05")))
    assert _differs(decoder, MultiFunctionDecoder()) == {3: 5}


def test_a_refused_write_is_not_acknowledged() -> None:
    """S-9.2.2: CV 8 is read-only; CV 15 and 16 lock the decoder."""
    for body, cvs in (("7C 07 55", {}), ("7C 02 07", {15: 1, 16: 2})):
        decoder = MultiFunctionDecoder(cvs)
        effects = effects_of(decoder, half_bits((*POWER_ON, *_write(body))))
        assert _differs(decoder, MultiFunctionDecoder(cvs)) == {}
        assert not any(isinstance(effect, Acknowledgement) for effect in effects)


@pytest.mark.parametrize(
    ("body", "cvs", "acknowledgements"),
    [
        ("7C 00 09", {1: 9}, 1),  # direct mode, CV 1
        ("7E 00 09", {1: 9}, 1),  # CV 513 is CV 1 (CV 29 bit 7: the two top bits may be ignored)
        ("78 09", {1: 9}, 1),  # register 1 is CV 513
        ("7F 09", {}, 0),  # register 8 is CV 520, which is CV 8: read-only
        ("7A 09", {}, 0),  # register 3 is undefined
        ("7D 02", {}, 0),  # register 6 is undefined: no page register
    ],
)
def test_an_accessory_decoder(body: str, cvs: dict[int, int], acknowledgements: int) -> None:
    """S-9.2.3 E, second column of the table of registers; S-9.2.2, CV 29 bit 7."""
    decoder = AccessoryDecoder()
    effects = effects_of(decoder, half_bits((*POWER_ON, *_write(body))))
    assert _differs(decoder, AccessoryDecoder()) == cvs
    assert sum(isinstance(effect, Acknowledgement) for effect in effects) == acknowledgements
