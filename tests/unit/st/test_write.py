"""What is written of a syntax tree reads again as the same tree."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings

from interlock.st import syntax as sx
from interlock.st.parser import parse_expression, parse_file
from interlock.st.write import write_expression, write_file
from tests.support.random_source import expressions, source_files

TEXTS = sorted((Path(__file__).parent / "machine_logic").glob("*.st"))


@settings(max_examples=100, deadline=None)
@given(expressions)
def test_any_expression_reads_back(tree: sx.Expression) -> None:
    assert parse_expression(write_expression(tree)) == tree


@settings(max_examples=60, deadline=None)
@given(source_files)
def test_any_file_reads_back(tree: sx.SourceFile) -> None:
    assert parse_file(write_file(tree), "random.st") == tree


@pytest.mark.parametrize("kind", ["GET", "SET"])
@pytest.mark.parametrize("body", [";", ";\nGET;", "GET();\n;", "SET := 1;\n;"])
def test_a_property_reads_back_whatever_its_code_begins_with(kind: str, body: str) -> None:
    head = "FUNCTION_BLOCK f VAR GET : TON; SET : INT; END_VAR\nPROPERTY q : INT\n"
    tree = parse_file(f"{head}{kind}\n{body}\nEND_{kind} END_PROPERTY\nEND_FUNCTION_BLOCK", "r.st")
    (accessor,) = tree.units[0].methods
    assert any(isinstance(s, sx.Empty) for s in accessor.body)
    assert parse_file(write_file(tree), "r.st") == tree


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.stem)
def test_machine_logic_reads_back(path: Path) -> None:
    tree = parse_file(path.read_bytes().decode("utf-8"), path.name)
    written = write_file(tree)
    assert parse_file(written, path.name) == tree
    assert write_file(parse_file(written, path.name)) == written
