"""The exceptions: one family, for misuse of the API and for input that cannot be read.

What is wrong with a *signal* is never an exception but a :class:`halfbit.Fault`.
"""

from __future__ import annotations

__all__ = ["CaptureError", "HalfbitError"]


class HalfbitError(ValueError):
    """A wrong argument, or input that cannot be read.

    Everything halfbit raises on purpose is of this class.
    """


class CaptureError(HalfbitError):
    """A capture that cannot be read as what it was said to be.

    :param problem: what is wrong, in words, with the value that is wrong.
    :param place: where it is: ``"item 17"`` of a sequence, or ``"line 17"`` of a file.
    :param file: the file's name, where there is one.
    """

    def __init__(self, problem: str, place: str = "", file: str = "") -> None:
        self.problem = problem
        self.place = place
        self.file = file
        super().__init__(": ".join(part for part in (file, place, problem) if part))

    def within(self, file: str) -> CaptureError:
        """The same error with the name of the file it was found in."""
        return CaptureError(self.problem, self.place, file)
