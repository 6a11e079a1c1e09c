"""Runs in time: told in spans, drawn over an axis in seconds, frames for what is seen alone."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.engines.reference import ReferenceEngine
from interlock.independent_judge.moments import moments_of
from interlock.independent_judge.story import tell, tell_to_the_end
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.model.model import Model
from interlock.pictures.frames import frames_of_run
from interlock.pictures.timing import draw_timing
from tests.support.timed_gate import timed_gate, timed_gate_folder

SOONER = ("T#900ms", "T#600ms")


def broken(folder: Path) -> tuple[Model, Finding]:
    """The gate whose watchdog is up before the gate is shut."""
    model = timed_gate(folder, SOONER)
    finding = next(f for f in verify(model, ReferenceEngine()).findings if f.requirement.id == "R1")
    assert finding.run is not None
    return model, finding


def test_units_that_pass_one_after_the_other_are_told_as_one_span(tmp_path: Path) -> None:
    model, finding = broken(tmp_path)
    assert finding.run is not None
    for lines in (tell(model, finding.run), tell_to_the_end(model, finding.run)):
        spans = [(n, line) for n, line in enumerate(lines) if line.who == "time"]
        assert not any(b == a + 1 for (a, _), (b, _) in pairwise(spans))
        said = [line.says.split(" ") for _, line in spans]
        told_s = sum(float(span) / (1000 if unit == "ms" else 1) for span, unit, _ in said)
        assert told_s == pytest.approx(sum(h.move == "tick" for h in finding.run.happenings) / 10)
    # Data that a run can be played from has every step.
    steps = tell(model, finding.run, quiet_scans=True)
    assert len(steps) == len(finding.run.happenings)


def test_each_state_has_its_number_and_the_units_that_passed_before_it(tmp_path: Path) -> None:
    model, finding = broken(tmp_path)
    assert finding.run is not None
    moves = [h.move for h in finding.run.happenings]
    moments = moments_of(model, moves)
    assert [moment.number for moment in moments] == list(range(len(moves) + 1))
    # The unit is 100 ms.
    passed = [100 * moves[:n].count("tick") for n in range(len(moves) + 1)]
    assert [moment.ms for moment in moments] == passed
    assert 0 < passed[-1] < 100 * len(moves)


def test_a_timing_diagram_has_an_axis_in_seconds(tmp_path: Path) -> None:
    model, finding = broken(tmp_path)
    assert finding.run is not None
    drawn = draw_timing(model, finding.run, "The alarm", "R1")
    moments = moments_of(model, [h.move for h in finding.run.happenings])
    marks = [float(s) for s in re.findall(r">([0-9.]+) s</text>", drawn)]
    assert marks == sorted(marks)
    assert marks[-1] == moments[-1].ms / 1000
    # No column is of the passing of time itself; where it passes the column is wider in proportion.
    assert ">t</text>" not in drawn
    places = [
        float(x) for x, _ in re.findall(r'<text x="([0-9.]+)"[^>]*>([0-9.]+) s</text>', drawn)
    ]
    assert places == sorted(places)


def test_frames_are_of_what_is_seen_and_not_of_time_alone(tmp_path: Path) -> None:
    model, finding = broken(tmp_path)
    assert finding.run is not None
    frames = frames_of_run(model, finding.run)
    n_seen = sum(bool(h.changes) or h.kind.value == "timer" for h in finding.run.happenings)
    assert len(frames) <= n_seen + 2


def test_a_model_with_time_is_drawn_but_for_what_needs_an_exploration_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    model = timed_gate_folder(tmp_path / "gate", SOONER)
    assert run(["verify", str(model), "--runs", "runs", "--engine", "reference"]) == 1
    capsys.readouterr()
    saved = ["draw", str(model), "--run", "runs/R1/run.json", "-o", "out"]
    assert run(saved) == 0
    assert run(["draw", str(model), "--engine", "reference", "--format", "gv", "-o", "all"]) == 1
    told = capsys.readouterr()
    assert "not drawn of a model with time: conversions, permissives, matrix" in told.err
    assert (tmp_path / "all" / "machine-gate.gv").is_file()
    both = [
        (tmp_path / at).read_text("utf-8") for at in ("out/timing-run.svg", "all/timing-R1.svg")
    ]
    assert all(re.search(r">[0-9.]+ s</text>", drawn) for drawn in both)
