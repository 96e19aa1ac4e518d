"""What a type checker must infer for whoever uses the library. Nothing here runs: mypy checks it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import halfbit

if TYPE_CHECKING:
    from typing_extensions import assert_type

    def sources(numbers: list[int], floats: Iterator[float], samples: bytes) -> None:
        edges = halfbit.edges_from_durations(numbers, "us")
        assert_type(edges, halfbit.Edges)
        assert_type(halfbit.edges_from_times(floats, 84_000_000, wrap=2**32), halfbit.Edges)
        assert_type(halfbit.edges_from_samples(samples, 1_000_000), halfbit.Edges)
        assert_type(next(iter(edges)), halfbit.Edge)

    def layers(edges: halfbit.Edges) -> None:
        halves = halfbit.half_bits(edges)
        assert_type(next(halves), halfbit.HalfBit | halfbit.Fault)
        bits = halfbit.bits(halves, halfbit.TRANSMIT)
        assert_type(next(bits), halfbit.Bit | halfbit.Fault)
        packets = halfbit.packets(bits)
        assert_type(next(packets), halfbit.Packet | halfbit.Fault | halfbit.Cutout)
        decoded = halfbit.instructions(packets)
        assert_type(next(decoded), halfbit.Instruction | halfbit.Fault | halfbit.Cutout)

    def narrowing(edges: halfbit.Edges) -> None:
        for item in halfbit.decode(edges):
            if isinstance(item, halfbit.Fault):
                assert_type(item.kind, halfbit.FaultKind)
                assert_type(item.layer, halfbit.Layer)
            elif isinstance(item, halfbit.Cutout):
                assert_type(item.start, int)
            else:
                assert_type(item, halfbit.Instruction)
                assert_type(item.packet, halfbit.Packet | None)
                assert_type(halfbit.STANDARD.encode(item), bytes)

    def machines(edge: halfbit.Edge) -> None:
        decoder = halfbit.StreamDecoder(halfbit.Limits(preamble_min=12))
        assert_type(decoder.feed(edge), tuple[halfbit.Event, ...])
        assert_type(decoder.feed_many([edge]), list[halfbit.Event])
        assert_type(decoder.finish(), tuple[halfbit.Event, ...])
        assert_type(halfbit.HalfBitMachine().feed(edge), tuple[halfbit.HalfBit | halfbit.Fault, ...])

    def misuse(numbers: list[int]) -> None:
        # Each of these must be refused: were one not, mypy would say that its ignore is unused.
        halfbit.edges_from_times(5)  # type: ignore[arg-type]
        halfbit.edges_from_durations(numbers, wrap=3)  # type: ignore[call-arg]
        halfbit.Limits(52_000)  # type: ignore[call-arg]
        halfbit.Edge(1.5, 1)  # type: ignore[arg-type]
        halfbit.Edge(1, 1).time = 3  # type: ignore[misc]
