"""Objects of frozen classes, made fast.

A frozen attrs class writes each field of a new object past its own ``__setattr__``, with a call for each.
Where objects are made by the thousand, that is most of the work. A class whose objects are laid out
the same but may be written to takes plain assignments, in a third of the time; then the object's
class is set to the frozen one, and from there on it is what any other is::

    new = UnfrozenPoint()
    new.x = 1
    new.y = 2  # every field, as the frozen class's defaults play no part
    new.__class__ = Point

Python itself checks that the layouts agree, and raises TypeError where they don't.
"""

from __future__ import annotations

from typing import Any

__all__ = ["unfrozen"]


def unfrozen(frozen: type) -> Any:
    """A class laid out as a frozen attrs class with slots, no base and no slot for weak references.

    Any, since a type checker takes the fields for what they are in the frozen class: read-only.
    """
    return type(f"Unfrozen{frozen.__name__}", (), {"__slots__": getattr(frozen, "__slots__")})
