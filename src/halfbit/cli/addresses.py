"""Addresses and CVs on the command line."""

from __future__ import annotations

import argparse
import re

from ..error import HalfbitError
from ..instruction import AccessoryAddress, Address, ExtendedAccessoryAddress, LongAddress, ShortAddress

__all__ = ["address_of", "cv_of"]

_FORMS = (
    (r"(?:short )?(\d+)", ShortAddress),
    (r"long (\d+)", LongAddress),
    (r"extended accessory (\d+)", ExtendedAccessoryAddress),
    (r"accessory (\d+)(?: pair (\d+))?", AccessoryAddress),
)
_HELP = "give 7 or 2604, or in words: short 7, long 44, accessory 9 pair 2, extended accessory 37"


def address_of(text: str) -> Address:
    """An address as a person writes it. A bare number is a short address up to 127, and a long one above.

    :raises argparse.ArgumentTypeError: if it is none.
    """
    words = " ".join(text.split())
    if words.isascii() and words.isdecimal() and int(words) > 127:
        words = f"long {words}"
    for form, kind in _FORMS:
        match = re.fullmatch(form, words, re.ASCII)
        if match:
            try:
                return kind(*(int(number) for number in match.groups() if number is not None))
            except HalfbitError as error:
                raise argparse.ArgumentTypeError(str(error)) from None
    raise argparse.ArgumentTypeError(f"{text!r} is no address: {_HELP}")


def cv_of(text: str) -> tuple[int, int]:
    """A CV and its value, as in ``29=6``.

    :raises argparse.ArgumentTypeError: if it is none.
    """
    match = re.fullmatch(r"(\d+)=(\d+)", text.strip(), re.ASCII)
    if not match or not 1 <= int(match[1]) <= 1024 or int(match[2]) > 255:
        raise argparse.ArgumentTypeError(f"{text!r} is no CV and value: give a number from 1 to 1024 and one to 255, as 29=6")
    return int(match[1]), int(match[2])
