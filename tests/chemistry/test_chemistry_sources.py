"""Every number carries its source, every function its worked number, and nothing is clamped."""

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import ModuleType
from typing import get_args

import pytest

import afterfill.chemistry
from afterfill.chemistry import constants, constants_fish, limits, neutraliser_agents, standards
from afterfill.chemistry.constants import Coefficients, Constant, Status

NAMES = sorted(m.name for m in pkgutil.iter_modules(afterfill.chemistry.__path__))
MODULES = {name: importlib.import_module(f"afterfill.chemistry.{name}") for name in NAMES}
SOURCED = (constants, constants_fish, standards, neutraliser_agents, limits)


def _records(value: object) -> Iterator[object]:
    if is_dataclass(value):
        yield value
        for field in fields(value):
            yield from _records(getattr(value, field.name))
    elif isinstance(value, dict):
        for item in value.values():
            yield from _records(item)
    elif isinstance(value, tuple):
        for item in value:
            yield from _records(item)


def _sourced() -> list[object]:
    return [
        record
        for module in SOURCED
        for value in vars(module).values()
        if not isinstance(value, type)
        for record in _records(value)
        if hasattr(record, "source")
    ]


def _public_functions() -> list[Callable[..., object]]:
    return [
        function
        for module in MODULES.values()
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and not name.startswith("_")
    ]


def _bare_numbers(module: ModuleType) -> list[str]:
    """Module-level names that are plain numbers, other than the few named here with a comment."""
    tree = ast.parse(inspect.getsource(module))
    return [
        target.id
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name) and isinstance(node.value.value, float)
    ]


def test_there_are_many_sourced_numbers() -> None:
    assert len(_sourced()) > 80


@pytest.mark.parametrize("record", _sourced(), ids=lambda r: type(r).__name__)
def test_every_number_names_its_source_and_how_far_it_is_confirmed(record: object) -> None:
    source = getattr(record, "source", "")
    assert len(source) >= 8
    status = getattr(record, "status", None)
    said_in_words = any(word in source for word in (*get_args(Status), "no source"))
    assert status in get_args(Status) or (status is None and said_in_words)


@pytest.mark.parametrize("module", [constants, constants_fish], ids=lambda m: m.__name__)
def test_no_constant_is_a_bare_number(module: ModuleType) -> None:
    assert [name for name in _bare_numbers(module) if name != "KELVIN"] == []


def test_constants_are_found_by_the_source_test() -> None:
    found = _sourced()
    for module in (constants, constants_fish):
        for value in vars(module).values():
            if isinstance(value, (Constant, Coefficients)):
                assert value in found


def test_what_is_from_memory_does_not_claim_to_be_read() -> None:
    memory = [r for r in _sourced() if "from memory" in getattr(r, "source", "")]
    assert memory
    for record in memory:
        source, status = getattr(record, "source", ""), getattr(record, "status", None)
        assert status != "read" or "authors from memory" in source


@pytest.mark.parametrize("name", NAMES)
def test_worked_numbers_hold(name: str) -> None:
    result = doctest.testmod(MODULES[name])
    assert result.failed == 0


@pytest.mark.parametrize("function", _public_functions(), ids=lambda f: f.__qualname__)
def test_every_public_function_has_a_worked_number(function: Callable[..., object]) -> None:
    assert ">>>" in (function.__doc__ or ""), f"{function.__module__}.{function.__qualname__}"


@pytest.mark.parametrize("name", NAMES)
def test_names_that_a_text_refers_to_exist(name: str) -> None:
    text = inspect.getsource(MODULES[name])
    for module, constant in re.findall(
        r"\b(constants(?:_fish)?|\w+_agents)\.([A-Z][A-Z0-9_]+)", text
    ):
        assert hasattr(MODULES[module], constant), f"{module}.{constant}"


def test_the_chemistry_imports_only_numpy_errors_and_arithmetic() -> None:
    allowed = {
        "numpy", "afterfill", "math", "dataclasses", "typing", "collections", "functools", "re",
    }  # fmt: skip
    for path in Path(str(afterfill.chemistry.__path__[0])).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom):
                assert node.module is not None
                assert node.module.split(".")[0] in allowed, path.name
                if node.module.startswith("afterfill"):
                    assert node.module.startswith(("afterfill.chemistry", "afterfill.errors"))
            elif isinstance(node, ast.Import):
                assert {alias.name.split(".")[0] for alias in node.names} <= allowed
