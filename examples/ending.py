"""How the examples end if nobody reads on (``| head``), or with Ctrl-C: without a traceback."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quietly() -> Iterator[None]:
    """End as a shell expects it."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # for the interpreter's last flush
        raise SystemExit(141) from None  # 128 + SIGPIPE
    except KeyboardInterrupt:
        raise SystemExit(130) from None  # 128 + SIGINT
