"""Chemistry is here to be used: what no program reaches goes. Tests and bench are no programs.

``python tests/chemistry/test_chemistry_reached.py`` prints what is unreached.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parents[2]
CHEMISTRY = ROOT / "daemon" / "afterfill" / "chemistry"
PACKAGE = "afterfill.chemistry"
MODULES = sorted(path.stem for path in CHEMISTRY.glob("*.py") if path.stem != "__init__")


class Name(NamedTuple):
    """A name at the top of a module of chemistry."""

    module: str
    name: str


def unreached() -> list[Name]:
    """Public names of chemistry that no program uses, directly or through what it uses."""
    defined = {name: parts for module in MODULES for name, parts in _defined(module).items()}
    reached: set[Name] = set()
    ahead = [name for name in _asked_for() if name in defined]
    while ahead:
        name = ahead.pop()
        if name not in reached:
            reached.add(name)
            ahead += [used for part in defined[name] for used in _used(name.module, part, defined)]
    return sorted(n for n in defined if n not in reached and not n.name.startswith("_"))


def _asked_for() -> Iterator[Name]:
    """What the programs import from chemistry."""
    for folder in ("daemon", "drivers"):
        for path in (ROOT / folder).rglob("*.py"):
            if CHEMISTRY not in path.parents:
                tree = ast.parse(path.read_text(encoding="utf-8"))
                names, modules = _imports(tree)
                yield from names.values()
                yield from _attributes(tree, modules)


def _imports(tree: ast.AST) -> tuple[dict[str, Name], dict[str, str]]:
    """Names imported from modules of chemistry, and modules imported whole."""
    names, modules = {}, {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module is not None:
            for alias in node.names:
                local = alias.asname or alias.name
                if node.module == PACKAGE:
                    modules[local] = alias.name
                elif node.module.startswith(PACKAGE + "."):
                    names[local] = Name(node.module.removeprefix(PACKAGE + "."), alias.name)
    return names, modules


def _attributes(tree: ast.AST, modules: dict[str, str]) -> Iterator[Name]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            base = node.value
            if isinstance(base, ast.Name) and base.id in modules:
                yield Name(modules[base.id], node.attr)


@cache
def _tree(module: str) -> ast.Module:
    return ast.parse((CHEMISTRY / f"{module}.py").read_text(encoding="utf-8"))


def _defined(module: str) -> dict[Name, list[ast.stmt]]:
    """Each name at the top of a module, with the statements that make it."""
    found: dict[Name, list[ast.stmt]] = {}
    for statement in _tree(module).body:
        for name in _made_by(statement):
            found.setdefault(Name(module, name), []).append(statement)
    return found


def _made_by(statement: ast.stmt) -> Iterator[str]:
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        yield statement.name
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    if isinstance(statement, ast.AnnAssign):
        targets = [statement.target]
    for target in targets:
        yield from (node.id for node in ast.walk(target) if isinstance(node, ast.Name))


def _used(module: str, part: ast.AST, defined: dict[Name, list[ast.stmt]]) -> Iterator[Name]:
    names, modules = _imports(_tree(module))
    for node in ast.walk(part):
        if isinstance(node, ast.Name):
            name = names.get(node.id, Name(module, node.id))
            if name in defined:
                yield name
    yield from (name for name in _attributes(part, modules) if name in defined)


@pytest.fixture(scope="module")
def left_over() -> list[Name]:
    return unreached()


@pytest.mark.parametrize("module", MODULES)
def test_every_public_name_is_reached_by_a_program(module: str, left_over: list[Name]) -> None:
    assert [name.name for name in left_over if name.module == module] == []


if __name__ == "__main__":
    for each in unreached():
        print(f"{each.module}.{each.name}")
