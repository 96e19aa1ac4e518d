"""Reads addresses and CVs from the command line."""

from __future__ import annotations

import argparse
import re

from ..error import HalfbitError
from ..instruction import Address

__all__ = ["address_of", "cv_of"]


def address_of(text: str) -> Address:
    """Read an address. A number alone is a short address up to 127, and a long address above.

    :raises argparse.ArgumentTypeError: if the text cannot be read.
    """
    words = " ".join(text.split())
    if words.isascii() and words.isdecimal():
        words = f"{'short' if int(words) <= 127 else 'long'} {words}"
    try:
        return Address.parse(words)
    except HalfbitError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no address: give 7 or 2604, or in words: "
            "short 7, long 44, accessory 9 pair 2, extended accessory 37"
        ) from None


def cv_of(text: str) -> tuple[int, int]:
    """Read a CV and its value, for example ``29=6``.

    :raises argparse.ArgumentTypeError: if the text cannot be read.
    """
    match = re.fullmatch(r"(\d+)=(\d+)", text.strip(), re.ASCII)
    if not match or not 1 <= int(match[1]) <= 1024 or int(match[2]) > 255:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no CV and value: give a number from 1 to 1024 and one to 255, as 29=6"
        )
    return int(match[1]), int(match[2])
