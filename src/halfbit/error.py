"""The exceptions: one family, for wrong arguments and for input that cannot be read.

A fault of the *signal* is never an exception. It is a value: :class:`halfbit.Fault`.
"""

from __future__ import annotations

import copy
from typing import Any

__all__ = ["AmbiguousError", "CaptureError", "HalfbitError", "LastLineError"]


class HalfbitError(ValueError):
    """A wrong argument, or input that cannot be read.

    Everything halfbit raises on purpose is of this class.
    """


class CaptureError(HalfbitError):
    """A capture that cannot be read in the given format.

    :param problem: what is wrong, with the wrong value.
    :param place: the place: ``"item 17"`` of a sequence, or ``"line 17"`` of a file.
    :param file: the file's name, if there is one.
    """

    def __init__(self, problem: str, place: str = "", file: str = "") -> None:
        self.problem = problem
        self.place = place
        self.file = file
        super().__init__(": ".join(part for part in (file, place, problem) if part))

    def within(self, file: str) -> CaptureError:
        """The same error with the name of the file it was found in."""
        return self._changed(self.place, file)

    def at(self, place: str) -> CaptureError:
        """The same error with its place."""
        return self._changed(place, self.file)

    def _changed(self, place: str, file: str) -> CaptureError:
        error = copy.copy(self)
        CaptureError.__init__(error, self.problem, place, file)
        return error


class LastLineError(CaptureError):
    """The last line has no line end, so it may be incomplete."""


class AmbiguousError(CaptureError):
    """The file can be read in several ways, so a parameter must say which.

    The message gives parameters as ``name=value``. The command line shows them as its options.

    :param parameter: the name of the parameter.
    :param choices: the possible values, if they can be listed.
    """

    def __init__(self, problem: str, parameter: str = "", choices: tuple[Any, ...] = (), place: str = "") -> None:
        super().__init__(problem, place)
        self.parameter = parameter
        self.choices = choices
