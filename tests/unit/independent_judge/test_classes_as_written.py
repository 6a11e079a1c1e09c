"""Runs with inputs that stand for classes of values, replayed on the text of a project."""

from __future__ import annotations

from pathlib import Path

from interlock.engines import catalogue
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.support.gate import gate

_TEXT = (Path(__file__).parents[2] / "programs" / "scaled.st").read_text("utf-8")


def test_the_text_is_given_the_value_that_stands_for_the_class(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(_TEXT)
    asked = "{says: s, never: qPump AND Analog.xHH, judged: after scan}"
    (tmp_path / "model.yaml").write_text(
        f"title: T\ncontroller: p.st\nrequirements:\n  R: {asked}\n"
    )
    model = load(tmp_path)
    assert is_executed_as_written(model)
    (found, *_) = verify(model, catalogue()["enumerate"]()).findings
    assert found.verdict.outcome is Outcome.VIOLATED
    assert found.run is not None


def test_a_text_that_calls_what_is_taken_as_any_value_is_not_executed_as_written(
    tmp_path: Path,
) -> None:
    # The angle of (1, 1) is pi/4, which only the interpreter of the text can tell.
    (tmp_path / "p.st").write_text(
        "PROGRAM m VAR_OUTPUT q : BOOL; END_VAR VAR r : REAL; END_VAR "
        "r := ATAN2(1.0, 1.0); q := r > 0.5; END_PROGRAM"
    )
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: p.st\nrequirements:\n  R: {says: q, always: q, judged: after scan}\n"
    )
    model = load(tmp_path)
    assert not is_executed_as_written(model)
    (found, *_) = verify(model, catalogue()["enumerate"]()).findings
    assert found.verdict.outcome is Outcome.VIOLATED
    assert found.run is not None


def test_a_plain_program_is_interpreted_from_what_was_checked(tmp_path: Path) -> None:
    assert not is_executed_as_written(gate(tmp_path))
