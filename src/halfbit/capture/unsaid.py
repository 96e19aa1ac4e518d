"""Capture errors that the caller can fix with a parameter: missing information, and an incomplete last line.

Messages give parameters as ``name=value``. The command line shows them as its options.
"""

from __future__ import annotations

from typing import Any

from ..error import CaptureError

__all__ = ["LastLineError", "UnsaidError"]


class LastLineError(CaptureError):
    """The last line has no line end, so it may be incomplete."""


class UnsaidError(CaptureError):
    """The file does not say how to read it, so a parameter is needed.

    :param parameter: the name of the parameter.
    :param choices: the possible values, if they can be listed.
    """

    def __init__(self, problem: str, parameter: str, choices: tuple[Any, ...] = (), place: str = "") -> None:
        super().__init__(problem, place)
        self.parameter = parameter
        self.choices = choices

    def __reduce__(self) -> Any:
        return type(self), (self.problem, self.parameter, self.choices, self.place), self.__dict__
