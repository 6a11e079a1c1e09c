"""A run that cannot be replayed in time is no verdict."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.independent_judge import judge
from interlock.judgement.verify import verify
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.load import load

_PROGRAM = """PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR n : INT (0..40); END_VAR
IF n < 40 THEN n := n + 1; END_IF; q := n = 40; END_PROGRAM"""


def test_a_run_that_is_not_replayed_in_time_is_undecided(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "p.st").write_text(_PROGRAM)
    text = "title: T\ncontroller: p.st\nrequirements:\n  R: {says: s, never: q}\n"
    (tmp_path / "model.yaml").write_text(text)
    limits = Limits(max_seconds=60).from_now()
    (found, *_) = verify(load(tmp_path), catalogue()["enumerate"](), limits=limits).findings
    assert found.verdict.outcome is Outcome.VIOLATED
    # The clock is looked at in each step, and it is later than that at once.
    monkeypatch.setattr(judge, "_TIMED", 1)
    monkeypatch.setattr(judge, "monotonic", lambda: float("inf"))
    (found, *_) = verify(load(tmp_path), catalogue()["enumerate"](), limits=limits).findings
    assert found.verdict.outcome is Outcome.UNDECIDED
    assert found.verdict.limit == "seconds 60"
    assert found.run is None


_TURNING = """PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR n : INT (0..40); END_VAR
IF n < 40 THEN n := n + 1; ELSE n := 3; END_IF; q := n = 1; END_PROGRAM"""


@pytest.mark.parametrize("asked", ["whenever: q, leads_to: a", "can_still: a AND q"])
def test_what_lies_behind_a_run_is_not_looked_at_beyond_the_time(
    asked: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The run itself is in time: only its loop, or the search for a way out, is not."""
    (tmp_path / "p.st").write_text(_TURNING)
    text = (
        "title: T\ncontroller: p.st\ncontrols: {b: {says: b, by: operator, when: q}}\n"
        f"sensors: {{a: {{reads: b}}}}\nrequirements:\n  R: {{says: s, {asked}, about: signals}}\n"
    )
    (tmp_path / "model.yaml").write_text(text)
    model, engine = load(tmp_path), catalogue()["enumerate"]()
    (found, *_) = verify(model, engine, limits=Limits(max_seconds=60).from_now()).findings
    assert found.run is not None
    in_time = [0.0] * len(found.run.happenings)
    monkeypatch.setattr(judge, "_TIMED", 1)
    monkeypatch.setattr(judge, "monotonic", lambda: in_time.pop() if in_time else float("inf"))
    (found, *_) = verify(model, engine, limits=Limits(max_seconds=60).from_now()).findings
    assert found.verdict.outcome is Outcome.UNDECIDED
