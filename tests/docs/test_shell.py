"""Every shell command on the pages runs, word for word, and prints what the page shows."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from .support_shell import DOCS, ROOT, Command, File, differs, matches, pages, run, steps


@pytest.mark.parametrize("page", pages(), ids=lambda page: str(page.relative_to(DOCS)))
def test_a_page_can_be_followed_word_for_word(page: Path, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=shutil.ignore_patterns("__pycache__"))
    for step in steps(page.read_text("utf-8")):
        if isinstance(step, File):
            (tmp_path / step.name).write_text(step.text, "utf-8")
            continue
        printed, status = run(step.words, tmp_path)
        assert status == 0, (step.words, printed)
        different = differs(step.printed, printed)
        assert different is None, f"$ {step.words}\nthe page shows {different!r}; printed was\n" + "\n".join(printed[-40:])


def test_the_tutorial_and_the_how_to_pages_have_commands() -> None:
    kinds = [page.parent.name for page in pages()]
    assert kinds.count("tutorial") >= 5 and kinds.count("howto") >= 5


PAGE = """\
.. code-block:: python
   :caption: one.py

   print(1)

   print(2)

.. code-block:: console

   $ python one.py
   1
   2
   $ true

Words.
"""


def test_what_a_page_has_its_reader_do_is_found() -> None:
    assert list(steps(PAGE)) == [
        File("one.py", "print(1)\n\nprint(2)\n"),
        Command("python one.py", ["1", "2"]),
        Command("true", []),
    ]


@pytest.mark.parametrize(
    ("shown", "printed", "agree"),
    [
        (["1", "2"], ["1", "2"], True),
        (["1"], ["1", "2"], False),
        (["1", "2"], ["1"], False),
        (["...", "2"], ["1", "2"], True),
        (["1", "..."], ["1", "2", "3"], True),
        (["...", "2", "..."], ["1", "3"], False),
        (["...", "3", "1"], ["1", "2", "3"], False),
        (["a...c"], ["abc"], True),
        ([], ["1"], False),
    ],
)
def test_what_is_printed_is_compared(shown: list[str], printed: list[str], agree: bool) -> None:
    assert matches(shown, printed) is agree
