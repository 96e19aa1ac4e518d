"""The source files of the ports, in C and for MicroPython. ``python -m halfbit.ports FOLDER`` writes them to a folder.

The rest of halfbit does not import this package. The page "Porting to a small board" of the documentation describes the
sources, and has the safety rules for work near track power.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from ..error import HalfbitError

__all__ = ["sources", "write"]

CORE = ("core.py", "core_sum.py", "core_sum_lengths.py")  #: The portable core.


def sources() -> dict[str, bytes]:
    """All files of the ports: path (e.g. ``c/halfbit.c``) to content.

    ``core.py`` and the two files of the decision by sum are halfbit's own. They run on MicroPython without changes.
    """
    found = {f"micropython/{name}": files("halfbit").joinpath(name).read_bytes() for name in CORE}
    endings = (".c", ".h", ".py", ".S", ".ld")
    # The underscore says that the programs for MicroPython are no modules of halfbit: they run on a board only.
    for folder in ("c", "c/boards", "_micropython"):
        for entry in files(__name__).joinpath(folder).iterdir():
            if entry.name.endswith(endings):
                found[f"{folder.removeprefix('_')}/{entry.name}"] = entry.read_bytes()
    return dict(sorted(found.items()))


def write(folder: str | Path) -> list[Path]:
    """Write all files to a folder and return their paths. The folder is created if it does not exist.

    :raises HalfbitError: if a file exists with other content (nothing is written then), or if writing fails.
    """
    contents = {Path(folder, *name.split("/")): content for name, content in sources().items()}
    try:
        for path, content in contents.items():
            if path.exists() and path.read_bytes() != content:
                raise HalfbitError(f"{path} is there already and differs; give another folder")
        for path, content in contents.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
    except OSError as error:
        raise HalfbitError(f"{folder}: cannot be written: {error.strerror or error}") from None
    return list(contents)
