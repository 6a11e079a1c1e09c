"""Runs with inputs that stand for classes of values, replayed on the text of a project."""

from __future__ import annotations

from pathlib import Path

from interlock.engines import catalogue
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load

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
