"""A layer's two ways, its machine and its iterator: what each gives, and how soon."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Protocol, TypeVar

__all__ = ["Steps", "by_iterator", "by_machine"]

In = TypeVar("In")
Out = TypeVar("Out")
Taken = TypeVar("Taken", contravariant=True)
Given = TypeVar("Given", covariant=True)

#: What came out, each with how many had been taken by then.
Steps = list[tuple[int, Out]]


class Machine(Protocol[Taken, Given]):
    """What the machines of the layers have in common."""

    def feed(self, one: Taken, /) -> tuple[Given, ...]: ...

    def finish(self) -> tuple[Given, ...]: ...


def by_machine(machine: Machine[In, Out], values: Sequence[In]) -> Steps[Out]:
    """Fed one at a time."""
    steps = [(count, out) for count, value in enumerate(values, 1) for out in machine.feed(value)]
    return [*steps, *((len(values), out) for out in machine.finish())]


def by_iterator(layer: Callable[[Iterable[In]], Iterator[Out]], values: Sequence[In]) -> Steps[Out]:
    """As from a live source."""
    taken = 0

    def source() -> Iterator[In]:
        nonlocal taken
        for taken, value in enumerate(values, 1):
            yield value

    return [(taken, out) for out in layer(source())]
