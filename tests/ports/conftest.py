"""Says which C compilers and sanitizers the port is checked with."""

from __future__ import annotations

from .support_build import system_compiler


def pytest_report_header() -> str:
    """One line at the head of the test run."""
    system = system_compiler()
    if system:
        return f"C port: ziglang (undefined behaviour sanitizer), {system} (undefined behaviour and address sanitizers)"
    return "C port: ziglang (undefined behaviour sanitizer); no system compiler, so NO address sanitizer"
