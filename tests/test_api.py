"""The stable API: what ``halfbit.__all__`` names, against the listing that is checked in.

After a wanted change: ``python -m tests.test_api`` writes the listing anew; its difference is the change.
"""

from __future__ import annotations

import ast
import builtins
import enum
import importlib
import inspect
import re
import sys
import types
import typing
from collections.abc import Callable, Iterator
from pathlib import Path

import attrs

import halfbit
from tests.docs.test_site import PUBLIC

LISTING = Path(__file__).with_name("api.txt")


def listing() -> str:
    """Every public name, with its signature, fields, members and methods, a line each."""
    lines: list[str] = []
    for name in sorted(halfbit.__all__):
        lines += _lines(name, getattr(halfbit, name))
    return "\n".join(lines) + "\n"


def _lines(name: str, value: object) -> Iterator[str]:
    if isinstance(value, type) and issubclass(value, enum.Enum):
        yield f"enum {name}({_bases(value)})"
        yield from (f"    {member.name} = {member.value!r}" for member in value)
    elif isinstance(value, type):
        yield f"class {name}({_bases(value)})"
        yield from (f"    {line}" for line in _members(value))
    elif isinstance(value, types.FunctionType):
        yield f"def {name}{_signature(value)}"
    elif typing.get_origin(value) is not None:
        yield f"alias {name} = {' | '.join(one.__name__ for one in typing.get_args(value))}"
    else:
        yield f"constant {name}: {type(value).__name__}"


class _Named:
    """A default shown by the constant's name."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __repr__(self) -> str:
        return self._name


#: Constants that stand as defaults.
CONSTANTS = {id(getattr(halfbit, name)): _Named(name) for name in ("RECEIVE", "STANDARD")}


def _signature(function: Callable[..., object]) -> str:
    signature = inspect.signature(function)
    parameters = [
        parameter.replace(
            annotation=_Named(str(parameter.annotation))
            if isinstance(parameter.annotation, str)
            else parameter.annotation,
            default=CONSTANTS.get(id(parameter.default), parameter.default),
        )
        for parameter in signature.parameters.values()
    ]
    returns = _Named(str(signature.return_annotation))
    return str(signature.replace(parameters=parameters, return_annotation=returns))


def _bases(cls: type) -> str:
    return ", ".join(base.__name__ for base in cls.__bases__ if base is not object)


def _members(cls: type) -> Iterator[str]:
    if attrs.has(cls):
        for field in attrs.fields(cls):
            optional = "" if field.default is attrs.NOTHING else " = ..."
            only = " (by name)" if field.kw_only else ""
            if not field.name.startswith("_"):
                yield f"{field.name}: {field.type}{optional}{only}"
    elif "__init__" in vars(cls):
        yield f"__init__{_signature(vars(cls)['__init__'])}"
    for name, member in sorted(vars(cls).items()):
        shown = name in ("__iter__",) or not name.startswith("_")
        if not shown or attrs.has(cls) and name in {field.name for field in attrs.fields(cls)}:
            continue
        if isinstance(member, property):
            yield f"{name}: property"
        elif isinstance(member, (classmethod, staticmethod)):
            kind = type(member).__name__
            yield f"{kind} {name}{_signature(member.__func__)}"
        elif inspect.isfunction(member):
            yield f"def {name}{_signature(member)}"
        else:
            yield f"{name}: {type(member).__name__}"


def test_the_api_is_as_listed() -> None:
    assert listing().splitlines() == LISTING.read_text(encoding="utf-8").splitlines(), (
        "the public API changed; if that is wanted: python -m tests.test_api, and a line in the change log"
    )


def test_all_is_sorted_complete_and_without_private_names() -> None:
    names = halfbit.__all__
    assert len(set(names)) == len(names)
    assert not any(name.startswith("_") for name in names)
    tree = ast.parse(inspect.getsource(halfbit))
    (imports,) = [node for node in tree.body if isinstance(node, ast.If)]  # if TYPE_CHECKING
    for_types = {
        str(node.module): {alias.name for alias in node.names}
        for node in imports.body
        if isinstance(node, ast.ImportFrom) and node.level
    }
    assert {module: set(each.split()) for module, each in vars(halfbit)["_NAMES"].items()} == for_types
    assert sorted(name for each in for_types.values() for name in each) == sorted(names)


def test_every_public_thing_says_what_it_is() -> None:
    for name in halfbit.__all__:
        value = getattr(halfbit, name)
        if isinstance(value, (type, types.FunctionType)):
            assert inspect.getdoc(value), name
        if isinstance(value, type):
            for attribute, member in vars(value).items():
                if inspect.isfunction(member) and not attribute.startswith("_"):
                    assert inspect.getdoc(member), f"{name}.{attribute}"


def test_value_types_are_frozen_and_slotted() -> None:
    for name in halfbit.__all__:
        value = getattr(halfbit, name)
        if isinstance(value, type) and attrs.has(value):
            assert value.__setattr__ is not object.__setattr__, name
            assert "__slots__" in vars(value), name


def _derived(cls: type) -> Iterator[type[object]]:
    subclasses: list[type] = cls.__subclasses__()
    for kind in subclasses:
        yield kind
        yield from _derived(kind)


def test_instructions_and_addresses_without_attrs_of_their_own_have_no_fields() -> None:
    """They are written without attrs, so a field in them would only be an attribute of the class."""
    kinds = {*_derived(halfbit.Instruction), *_derived(halfbit.Address)}
    plain = {kind for kind in kinds if vars(kind).get("__slots__") == () and "__attrs_attrs__" not in vars(kind)}
    assert {"Idle", "CvWriteByte", "Broadcast"} <= {kind.__name__ for kind in plain}
    for kind in plain:
        fields = [name for name, type_ in inspect.get_annotations(kind).items() if "ClassVar" not in str(type_)]
        assert fields == [], kind


def _annotations(cls: type) -> Iterator[object]:
    """The annotations of a class's public fields, methods and properties."""
    for name, annotation in vars(cls).get("__annotations__", {}).items():
        if not name.startswith("_"):
            yield annotation
    for name, member in vars(cls).items():
        function = member.fget if isinstance(member, property) else getattr(member, "__func__", member)
        if inspect.isfunction(function) and (not name.startswith("_") or name == "__init__" and not attrs.has(cls)):
            yield from function.__annotations__.values()


#: Names in public signatures that are not public, with the reason.
NOT_PUBLIC = {
    "core": "its classes are on the page of the core",
    "core_sum": "its classes are on the page of the core",
    "Batch": "CaptureEdges are made by open_capture alone",
}


def test_every_type_in_a_public_signature_is_public() -> None:
    modules = [importlib.import_module(package) for package in PUBLIC]
    public = {name for module in modules for name in module.__all__}
    assert {"Packet", "JsonValue", "Stretch"} <= public
    wrong: set[str] = set()
    met: set[str] = set()
    for value in (getattr(module, name) for module in modules for name in module.__all__):
        if not getattr(value, "__module__", "").startswith("halfbit"):
            continue
        home = vars(sys.modules[value.__module__])
        annotations = _annotations(value) if inspect.isclass(value) else getattr(value, "__annotations__", {}).values()
        for name in re.findall(r"(?<![\w.])[A-Za-z_]\w*", " ".join(map(str, annotations))):
            meaning = home.get(name, getattr(builtins, name, None))
            origin = meaning.__name__ if inspect.ismodule(meaning) else getattr(meaning, "__module__", "halfbit")
            # An alias of ours has the module of typing, but an origin.
            ours = str(origin).startswith("halfbit") or typing.get_origin(meaning) is not None
            if name in public or name == "None" or isinstance(meaning, typing.TypeVar) or not ours:
                continue
            (met if name in NOT_PUBLIC else wrong).add(name)
    assert wrong == set()
    assert met == set(NOT_PUBLIC)


if __name__ == "__main__":
    LISTING.write_text(listing(), encoding="utf-8")
