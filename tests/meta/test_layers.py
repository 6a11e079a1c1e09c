"""Imports run strictly downward, and each third-party library has one door."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "interlock"

# A package may import those below it (a greater number); two of the same number never each other.
HEIGHT = {
    "cli": 10,
    "testing": 10,
    "operate": 9,
    "report": 9,
    "pictures": 8,
    "studies": 7,
    "recheck": 6,
    "replay": 5,
    "model": 4,
    "st": 3,
    "engines": 2,
    "reliability": 2,
    "kernel": 1,
    "base": 0,
}
# Engines know nothing of models and Structured Text, nor these of engines.
FORBIDDEN = {("model", "engines"), ("st", "engines"), ("replay", "engines"), ("recheck", "engines")}
DOORS = {
    "transitions": "interlock/replay/machines.py",
    "graphviz": "interlock/pictures/",
    "llvmlite": "interlock/engines/enumerate/",
    "oxidd": "interlock/engines/symbolic/",
    "lark": "interlock/st/parser.py",
    "distributed": "interlock/studies/challenge/cluster.py",
    "z3": "interlock/recheck/solve.py",
    "ruamel": "interlock/model/yaml.py",
    "vcd": "interlock/report/vcd.py",
    "starlette": "interlock/operate/server.py",
    "uvicorn": "interlock/operate/serve.py",
    "weasyprint": "interlock/report/pdf.py",
    "pytest": "interlock/testing/plugin.py",
    "hypothesis": "interlock/testing/machine.py",
}

FILES = sorted(PACKAGE.rglob("*.py"))


def imported(file: Path) -> list[str]:
    """Every module that `file` imports, wherever in it."""
    found = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            found.append(node.module or "")
    return found


def layer_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "interlock" and len(parts) > 1 else None


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_imports_run_downward(file: Path) -> None:
    parts = file.relative_to(PACKAGE).parts
    if len(parts) == 1:
        return  # the package itself and python -m interlock
    own = parts[0]
    assert own in HEIGHT, f"{own} has no place in the order of layers"
    for module in imported(file):
        other = layer_of(module)
        if other is None or other == own:
            continue
        assert HEIGHT[other] < HEIGHT[own], f"{own} imports {module}, which is not below it"
        assert (own, other) not in FORBIDDEN, f"{own} must not know {other}"


def test_engines_do_not_import_each_other() -> None:
    engines = PACKAGE / "engines"
    for file in engines.rglob("*.py"):
        own = file.relative_to(engines).parts[0].removesuffix(".py")
        for module in imported(file):
            if module.startswith("interlock.engines."):
                other = module.split(".")[2]
                shared = not (engines / other).is_dir() and other != "reference"
                assert other == own or shared, f"{file.name} imports {module}"


@pytest.mark.parametrize("library", DOORS)
def test_each_library_has_one_door(library: str) -> None:
    users = [
        str(file.relative_to(PACKAGE.parent))
        for file in FILES
        if any(module.split(".")[0] == library for module in imported(file))
    ]
    doors = {user for user in users if not user.startswith(DOORS[library])}
    assert not doors, f"{library} is imported by {sorted(doors)}"
    assert len(users) <= 1, f"{library} has several doors: {users}"
