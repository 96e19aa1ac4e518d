"""No public thing is without words: classes, functions, methods, properties, and the members of enumerations."""

from __future__ import annotations

import ast
import enum
import importlib
import inspect
from collections.abc import Iterator
from functools import cache

import pytest
from sphinx.pycode import ModuleAnalyzer

import halfbit
from halfbit import core

from .test_site import PUBLIC


@cache
def _comments(module: str) -> dict[tuple[str, str], list[str]]:
    """The ``#:`` comments of a module, by class and name."""
    return ModuleAnalyzer.for_module(module).find_attr_docs()


def _lacking(cls: type) -> Iterator[str]:
    """Public members of a class without words, those that it inherits aside."""
    if not (cls.__doc__ or "").strip():
        yield cls.__name__
    for name, member in vars(cls).items():
        if name.startswith("_"):
            continue
        if inspect.isfunction(member) or isinstance(member, (property, classmethod, staticmethod)):
            words = inspect.getdoc(getattr(cls, name) if not isinstance(member, property) else member)
            inherited = any(inspect.getdoc(getattr(base, name, None)) for base in cls.__mro__[1:-1])
            if not words and not inherited:
                yield f"{cls.__name__}.{name}"
        elif isinstance(member, cls) and issubclass(cls, enum.Enum) and (cls.__name__, name) not in _comments(cls.__module__):
            yield f"{cls.__name__}.{name}"


@pytest.mark.parametrize("package", PUBLIC)
def test_every_public_thing_says_what_it_is(package: str) -> None:
    module = importlib.import_module(package)
    lacking = []
    for name in module.__all__:
        value = getattr(module, name)
        if inspect.isclass(value) and value.__module__.startswith("halfbit"):
            lacking += list(_lacking(value))
        elif inspect.isroutine(value) and not inspect.getdoc(value):
            lacking.append(name)
    assert lacking == []


def test_every_class_and_method_of_the_core_says_what_it_is() -> None:
    tree = ast.parse(inspect.getsource(core))
    for node in ast.walk(tree):
        if isinstance(node, (ast.ClassDef, ast.FunctionDef)) and node.name != "__init__":
            assert ast.get_docstring(node), node.name


def test_what_lacks_words_is_found() -> None:
    class Silent:
        """Words."""

        def spoken(self) -> None:
            """Words."""

        def silent(self) -> None: ...

    assert list(_lacking(Silent)) == ["Silent.silent"]
    assert list(_lacking(halfbit.FaultKind)) == []
