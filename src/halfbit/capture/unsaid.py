"""Errors of captures that the caller can settle: what the file does not say, and a last line that may be cut short.

Parameters stand in messages as ``name=value``; the command line writes them as its options.
"""

from __future__ import annotations

from typing import Any

from ..error import CaptureError

__all__ = ["LastLineError", "UnsaidError"]


class LastLineError(CaptureError):
    """The last line has no line end, so nobody can say whether it is whole."""


class UnsaidError(CaptureError):
    """The file alone does not say how to read it: a parameter is needed.

    :param parameter: its name.
    :param choices: the values that would do, if they can be listed.
    """

    def __init__(self, problem: str, parameter: str, choices: tuple[Any, ...] = (), place: str = "") -> None:
        super().__init__(problem, place)
        self.parameter = parameter
        self.choices = choices

    def __reduce__(self) -> Any:
        return type(self), (self.problem, self.parameter, self.choices, self.place), self.__dict__
