"""Reaction times: where the time between an event and its effect goes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.judgement.engines import available
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.support.engines import ENGINES

MODEL = """\
title: A horn
controller: controller.st
run: {scan_ms: 100}
plant:
  flap:
    states: [SHUT, OPEN]
    by: operator
    moves:
      - {from: SHUT, to: OPEN}
      - {from: OPEN, to: SHUT}
controls:
  lever: {says: a lever that has no say}
sensors:
  open_a: {reads: flap = OPEN, delay_ms: 20, delay_source: data sheet}
  open_b: {reads: flap = OPEN}
  pulled: {reads: lever, delay_ms: 900, delay_assumed: true}
outputs:
  horn: {sounds: true, delay_ms: 30, delay_assumed: true}
requirements:
  R1: {says: The open flap is heard, whenever: flap = OPEN, leads_to: horn OR flap = SHUT,
       within: BOUND}
"""
# Three scans from the open flap to the horn.
PROGRAM = """\
PROGRAM Horn
VAR_INPUT open_a, open_b, pulled : BOOL; END_VAR
VAR_OUTPUT horn, lit : BOOL; END_VAR
VAR once, twice : BOOL; END_VAR
horn := open_a AND open_b AND twice;
twice := open_a AND once;
once := open_a;
lit := pulled;
END_PROGRAM
"""


def horn(folder: Path, bound: str) -> Path:
    (folder / "model.yaml").write_text(MODEL.replace("BOUND", bound), encoding="utf-8")
    (folder / "controller.st").write_text(PROGRAM, encoding="utf-8")
    return folder


def judged(folder: Path, bound: str, engine: str = "auto") -> Verification:
    return verify(load(horn(folder, bound)), available()[engine]())


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize(
    ("bound", "outcome"),
    [
        ("3 scans", Outcome.HOLDS),
        ("2 scans", Outcome.VIOLATED),
        ("399 ms", Outcome.HOLDS),  # three whole scans of 100 ms
        ("299 ms", Outcome.VIOLATED),
        ("0.3 s", Outcome.HOLDS),
    ],
)
def test_a_response_is_judged_in_whole_scans(
    bound: str, outcome: Outcome, engine: str, tmp_path: Path
) -> None:
    (finding,) = judged(tmp_path, bound, engine).findings
    assert finding.verdict.outcome is outcome
    if outcome is Outcome.HOLDS:
        assert finding.verdict.scans == 3
    else:
        assert finding.run is not None
        # Power-up, the flap, and one scan more than the bound would allow to pass unheard.
        moves = [happening.move for happening in finding.run.happenings]
        assert moves == ["scan", "flap: SHUT to OPEN", "scan", "scan"]


@pytest.mark.parametrize(
    ("bound", "scan_ms", "scans"),
    [("2.01 s", 10, 201), ("2.019 s", 10, 201), ("16.1 s", 100, 161), ("0.3 ms", 1, None)],
)
def test_a_bound_in_time_loses_no_scan_to_rounding(
    bound: str, scan_ms: int, scans: int | None, tmp_path: Path
) -> None:
    file = horn(tmp_path, bound) / "model.yaml"
    told = file.read_text("utf-8").replace("scan_ms: 100", f"scan_ms: {scan_ms}")
    file.write_text(told, encoding="utf-8")
    if scans is None:
        with pytest.raises(InputError, match=r"'0\.3 ms' is 0 scans"):
            load(tmp_path)
        return
    within = load(tmp_path).statements["R1"].within
    assert within is not None
    assert within.scans == scans


def test_the_time_is_filter_wait_scans_and_effect(tmp_path: Path) -> None:
    (found,) = judged(tmp_path, "450 ms").reaction_times
    assert (found.filter.name, found.filter.ms) == ("open_a", 20)
    assert found.filter.unknown == ("open_b",)  # the lever has no say in the horn
    assert (found.effect.name, found.effect.ms, found.effect.assumed) == ("horn", 30, True)
    assert found.scans == 3
    assert found.total_ms == 20 + 100 + 3 * 100 + 30
    assert not found.exceeds


def test_a_bound_in_scans_is_exceeded_by_no_time(tmp_path: Path) -> None:
    (found,) = judged(tmp_path, "3 scans").reaction_times
    assert found.bound.ms is None
    assert not found.exceeds


def test_what_is_violated_has_no_time(tmp_path: Path) -> None:
    assert judged(tmp_path, "2 scans").reaction_times == ()


def test_a_time_that_is_too_long_is_told_and_is_no_success(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = horn(tmp_path, "449 ms"), tmp_path / "out.json"
    assert run(["verify", str(folder), "--plain", "--json", str(out)]) == 1
    said = capsys.readouterr().out
    assert "too long" in said
    assert "open_a 20 ms: data sheet" in said
    assert "no delay given, counted as 0: open_b" in said
    (told,) = json.loads(out.read_text("utf-8"))["reaction_times"]
    assert told["exceeds"]
    assert told["total_ms"] == 450
    assert told["filter"] == {
        "ms": 20,
        "of": "open_a",
        "source": "data sheet",
        "assumed": False,
        "without_delay": ["open_b"],
    }


def test_a_time_that_suffices_is_success(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(horn(tmp_path, "450 ms")), "--plain"]) == 0
    assert "450 ms" in capsys.readouterr().out


# The first scan comes within 0.1 s, the third 0.2 s later, and 20 and 30 ms of delays on top.
@pytest.mark.parametrize(
    ("bound", "expected"), [("349 ms", Outcome.VIOLATED), ("350 ms", Outcome.HOLDS)]
)
def test_with_time_delays_may_be_added_to_what_is_counted(
    tmp_path: Path, bound: str, expected: Outcome
) -> None:
    folder = horn(tmp_path, bound)
    file = folder / "model.yaml"
    timed = "scan_ms: 100, time: {unit: 50 ms, delays: added}"
    file.write_text(file.read_text("utf-8").replace("scan_ms: 100", timed), "utf-8")
    model = load(folder)
    assert not model.late_sensors
    assert not model.delayed_outputs
    (finding,) = (
        f for f in verify(model, available()["auto"]()).findings if f.requirement.id == "R1"
    )
    assert finding.reaction is not None
    assert (finding.reaction.total_ms, finding.outcome) == (350, expected)
    assert finding.is_too_late is (expected is Outcome.VIOLATED)
