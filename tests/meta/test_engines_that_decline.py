"""The list of engines that decline speaks of tests that exist and of no skipping."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.support.engines import ENGINES, EXPECTED_TO_DECLINE, Declines

TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("entry", EXPECTED_TO_DECLINE, ids=lambda entry: entry.test)
def test_an_engine_is_expected_to_decline_a_test_that_exists(entry: Declines) -> None:
    file, _, name = entry.test.partition("::")
    tree = ast.parse((TESTS.parent / file).read_text("utf-8"))
    assert entry.engine in ENGINES
    assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_no_test_under_given_skips_and_none_skips_where_an_engine_declines() -> None:
    assert not [str(file) for file in TESTS.rglob("*.py") if _skips(ast.parse(file.read_text()))]


def _skips(tree: ast.AST) -> bool:
    """Whether a drawn example, or the handler of a declining engine, would skip its test."""
    places = [
        node
        for node in ast.walk(tree)
        if (isinstance(node, ast.FunctionDef) and "given(" in _text(node.decorator_list))
        or (isinstance(node, ast.ExceptHandler) and "Declined" in _text([node.type]))
    ]
    return "pytest.skip(" in _text(places)


def _text(nodes: list[ast.AST | None]) -> str:
    return "\n".join(ast.unparse(node) for node in nodes if node is not None)
