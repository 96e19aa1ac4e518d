"""What every layer's machine has in common."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

from .error import HalfbitError

__all__ = ["Machine", "run"]

In = TypeVar("In")
Out = TypeVar("Out")
In_contra = TypeVar("In_contra", contravariant=True)
Out_co = TypeVar("Out_co", covariant=True)


class Machine(Protocol[In_contra, Out_co]):
    """An incremental machine: values in, what is complete with them out.

    However a signal is divided between calls, the values that come out are the same. A value that is wrong is
    refused by the call that brought it, and changes nothing.
    """

    def feed(self, value: In_contra, /) -> tuple[Out_co, ...]:
        """Take the next value; give what is complete with it.

        :raises HalfbitError: if the value is wrong; the machine can go on.
        """
        ...

    def finish(self) -> tuple[Out_co, ...]:
        """The signal is over; give what was pending."""
        ...


def run(machine: Machine[In, Out], values: Iterable[In]) -> Iterator[Out]:
    """What a machine makes of all values, each as soon as it is complete.

    :raises HalfbitError: as the machine does; and if ``values`` cannot be iterated over.
    """
    try:
        source = iter(values)
    except TypeError:
        raise HalfbitError(f"{values!r} cannot be iterated over: give a row of values, or an iterator") from None
    for value in source:
        yield from machine.feed(value)
    yield from machine.finish()
