"""The benchmark of the decisions runs on short signals. The figures mean nothing there."""

from __future__ import annotations

import pytest

from .decision_cost import WAYS, main


def test_every_way_is_measured(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(2_000, 1) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[:52].rstrip() for line in lines] == list(WAYS)
    assert all(float(line.split()[-4]) > 0 for line in lines)
