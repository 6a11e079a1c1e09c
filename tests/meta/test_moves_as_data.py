"""A move carries what it comes from; nobody reads it off the move's name."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from interlock.kernel.system import Event

ROOT = Path(__file__).parents[2]
SOURCES = [*(ROOT / "interlock").rglob("*.py"), *(ROOT / "tests" / "support").rglob("*.py")]
ENDINGS = {f" {event.value}" for event in Event}


def endings_in(source: str) -> set[int]:
    """The lines where an ending of a move's name stands by itself or closes a formatted text."""
    found = (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Constant))
    return {node.lineno for node in found if node.value in ENDINGS}


@pytest.mark.parametrize(
    "line",
    [
        'fault = name.removesuffix(" strikes")',
        'name.endswith((" clears", " elapses"))',
        'name = f"{fault} strikes"',
    ],
)
def test_such_a_line_is_found(line: str) -> None:
    assert endings_in(line) == {1}


def test_no_source_makes_or_takes_apart_the_names_of_events() -> None:
    found = {
        f"{file.relative_to(ROOT)}:{line}"
        for file in SOURCES
        for line in endings_in(file.read_text(encoding="utf-8"))
    }
    assert found == set()
