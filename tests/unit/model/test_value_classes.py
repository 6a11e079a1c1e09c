"""Which values of an input without a sensor are tried."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load

_PROGRAM = """PROGRAM m
VAR_INPUT x : INT ({}); y : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR last : INT; END_VAR
q := x > last; last := x;
END_PROGRAM
"""
_MODEL = """title: One input
controller: p.st
requirements:
  R1: {says: never on, never: q}
"""


def _write(folder: Path, limits: str) -> Path:
    (folder / "p.st").write_text(_PROGRAM.format(limits))
    (folder / "model.yaml").write_text(_MODEL)
    return folder


def test_few_values_are_each_tried_where_every_one_may_matter(tmp_path: Path) -> None:
    machine = load(_write(tmp_path, "0..40")).machines["x (free)"]
    assert machine.states == tuple(str(value) for value in range(41))


def test_what_needs_more_values_than_can_be_surveyed_is_taken_as_any_value(tmp_path: Path) -> None:
    model = load(_write(tmp_path, "0..256"))
    assert model.machines["x (free)"].states == ("0 of 0..256",)
    assert model.machines["x.any (free)"].states == ("FALSE", "TRUE")


def test_a_requirement_that_needs_more_values_than_can_be_surveyed_is_told(tmp_path: Path) -> None:
    folder = _write(tmp_path, "0..256")
    (folder / "model.yaml").write_text(_MODEL + "  R2: {says: s, never: x > m.last}\n")
    with pytest.raises(InputError, match="more than 256 values of it matter"):
        load(folder)


def _tried(folder: Path, variables: str, body: str) -> tuple[str, ...]:
    (folder / "p.st").write_text(
        "PROGRAM m VAR_INPUT x : DINT; y : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"VAR {variables} END_VAR {body} END_PROGRAM"
    )
    (folder / "model.yaml").write_text(_MODEL)
    return load(folder).machines["x (free)"].states


def test_values_beyond_all_of_what_they_are_compared_with_are_alike(tmp_path: Path) -> None:
    body = "IF y AND n < 2 THEN n := n + 1; END_IF; q := n < x;"
    found = _tried(tmp_path, "n : INT (0..2);", body)
    assert found == ("-1 of -2147483648..-1", "0", "1", "2", "3 of 3..2147483647")


def test_of_values_that_are_only_equal_or_not_a_few_are_enough(tmp_path: Path) -> None:
    found = _tried(tmp_path, "last, older : DINT;", "q := x = last; last := x;")
    assert len(found) == 3
    body = "q := x = older AND x > 9; older := last; last := x;"
    assert len(_tried(tmp_path, "last, older : DINT;", body)) == 7


def test_a_wide_input_is_compared_where_it_was_kept(tmp_path: Path) -> None:
    found = _tried(tmp_path, "kept : DINT;", "IF y THEN kept := x; END_IF; q := kept > 7;")
    assert found == ("0 of -2147483648..7", "8 of 8..2147483647")


def test_what_is_equal_to_something_else_too_would_need_every_value(tmp_path: Path) -> None:
    body = "q := x = last; last := x; IF y THEN last := n; n := n + 1; END_IF;"
    assert len(_tried(tmp_path, "last, n : DINT;", body)) == 1
    assert "x.any (free)" in load(tmp_path).machines


def test_a_preset_time_of_a_free_timer_matters_only_as_none_or_some(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(
        "PROGRAM m VAR_INPUT t1, t2 : TIME; y : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        "VAR t : TON; END_VAR t(IN := y, PT := SEL(y, t1, t2)); q := t.Q; END_PROGRAM"
    )
    (tmp_path / "model.yaml").write_text(_MODEL)
    assert len(load(tmp_path).machines["t1 (free)"].states) == 2
