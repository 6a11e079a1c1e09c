"""Commands on a model in time whose signals and outputs are delayed: what they tell, and refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.commands.rehearse.recovery import calm
from interlock.kernel.evaluate import python_function
from interlock.kernel.system import Stepper
from interlock.model.build import build
from tests.support.timed_gate import timed_gate, timed_gate_folder
from tests.support.vessel import vessel_folder
from tests.unit.commands.test_late_signals import said

SHUT = "is_shut: {reads: gate = shut}", "is_shut: {reads: gate = shut, DELAY}"
DRIVE = "drive: {}", "drive: {DELAY}"
IN_TIME = "leads_to: gate = shut", "leads_to: gate = shut OR NOT drive, within: 9 s"


def delayed(what: tuple[str, str], ms: int) -> tuple[str, str]:
    return what[0], what[1].replace("DELAY", f"delay_ms: {ms}, delay_assumed: true")


@pytest.fixture
def gate(tmp_path: Path) -> Path:
    changes = [IN_TIME, delayed(SHUT, 150), delayed(DRIVE, 200)]
    return timed_gate_folder(tmp_path / "gate", *changes)


def test_results_name_the_delays_and_runs_what_was_ordered_when(
    gate: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    files = ["--json", tmp_path / "found.json", "--evidence", tmp_path / "evidence"]
    told = said(capsys, 1, "verify", gate, *files)
    assert "signals may be late: is_shut up to 150 ms (counted as 200 ms)" in told
    assert (
        "outputs take effect later, each on its own: drive up to 200 ms; what changes again" in told
    )
    assert "before that may take effect late, more than once or not at all" in told
    found = json.loads((tmp_path / "found.json").read_text(encoding="utf-8"))
    assert found["delays_in_ms"] == {"is_shut": 150.0, "drive": 200.0}
    assert "ages_in_scans" not in found
    # The alarm comes with nothing jammed: all that is late adds up beyond the watch.
    story = json.dumps(found["requirements"])
    assert "drive on, ordered" in story
    assert "what drive orders is done" in story
    assert "2 confirmed" in said(capsys, 1, "recheck", tmp_path / "evidence")


def test_a_record_of_a_delayed_output_is_refused_at_its_column(
    gate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log.csv"
    log.write_text("step,gate,drive\n0,open,FALSE\n", encoding="utf-8")
    refused = "log.csv:1:11: 'drive' may be late, so its values are of no known moment"
    assert refused in said(capsys, 2, "replay", gate, log)


@pytest.mark.parametrize(
    ("moves", "refused"),
    [
        (["drive takes effect"], "it has done so"),
        (["drive lags behind"], "all that it was has taken effect, or never will"),
        (["tick", "scan", "drive takes effect"], ""),
        (["tick", "scan", "drive takes effect", "drive lags behind"], "or never will"),
        (["tick", "scan", *["tick", "scan"] * 2, "tick"], ""),
    ],
)
def test_a_run_file_is_replayed_and_says_why_an_output_cannot_take_effect(
    moves: list[str], refused: str, gate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "run.json"
    moves = ["scan", "button to TRUE", *moves]
    data = {"interlock_run": 1, "model": "gate", "moves": moves, "violates": []}
    file.write_text(json.dumps(data), encoding="utf-8")
    waits = moves[-2:] == ["scan", "tick"]
    told = said(capsys, 2 if refused or waits else 0, "replay", gate, file)
    assert (refused or ("'drive' must take effect first" if waits else "")) in told


def test_margins_tell_how_late_may_be(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # 0.1 s to start, 0.7 s to shut and a scan: the watch of 900 ms never waits in vain. A signal
    # that is late by one unit more, or a drive, and it does.
    watch = ("T#900ms", "T#1100ms")
    model = timed_gate_folder(
        tmp_path / "m", IN_TIME, watch, delayed(SHUT, 100), delayed(DRIVE, 50)
    )
    told = said(
        capsys, 0, "margins", "--plain", model, "--time", "is_shut: delay", "--time", "drive: delay"
    )
    assert "is_shut: delay 0.1 s 0 s 0.1 s no time at all at 0.2 s R1 violated" in told
    assert "drive: delay 0.05 s 0.05 s 0.05 s no time at all at 0.15 s R1 violated" in told


def test_programs_beside_a_late_signal_are_run_in_one_time_and_beside_a_late_drive_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    late = [IN_TIME, delayed(SHUT, 150)]
    old = timed_gate_folder(tmp_path / "old", *late)
    later = timed_gate_folder(tmp_path / "later", IN_TIME, delayed(SHUT, 250))
    other = ("alarm := watchdog.Q;", "alarm := watchdog.Q OR (drive AND is_shut AND FALSE);")
    same = timed_gate_folder(tmp_path / "same", *late, other)
    assert "not run in lockstep" not in said(capsys, 0, "compare", old, same)
    told = said(capsys, 0, "compare", old, later)
    assert "(signal is_shut may be late by another age)" in told
    slow = [*late, delayed(DRIVE, 100)]
    slow_old = timed_gate_folder(tmp_path / "slow", *slow)
    slow_new = timed_gate_folder(tmp_path / "slow_new", *slow, other)
    told = said(capsys, 0, "compare", slow_old, slow_new)
    assert "(output drive takes effect after a delay in time)" in told


def test_a_rehearsal_refuses_what_it_could_be_wrong_about(
    gate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = said(capsys, 2, "rehearse", gate)
    assert "'rehearse' cannot take the delay of an output with time" in told
    vessel = vessel_folder(tmp_path / "vessel")
    for name in ("rehearse", "challenge"):
        told = said(capsys, 2, name, vessel)
        assert f"'{name}' cannot take quantities with time" in told


def test_nothing_is_calm_while_something_is_under_way(tmp_path: Path) -> None:
    # The gate moves for half a second at least, and nobody holds anything.
    built = build(timed_gate(tmp_path))
    stepper, is_calm = Stepper(built.system), python_function([calm(built)], built.system.index)
    moves = ["scan", "button to TRUE", "tick", "scan", "button to FALSE", "tick"]
    moves += ["scan", "gate: open to moving", "tick", "scan"]
    state, found = built.system.initial, []
    for name in moves + ["tick", "scan"] * 5:
        state = stepper.after(state, built.system.move(name))
        found.append(is_calm(state)[0])
    assert not any(found[3:])
    state = stepper.after(state, built.system.move("gate: moving to shut"))
    for name in ("tick", "scan"):
        state = stepper.after(state, built.system.move(name))
    assert is_calm(state)[0]


def test_a_program_is_exported_as_it_is_and_a_chart_says_that_it_has_no_time(
    gate: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "T#900ms" in said(capsys, 0, "export", gate, "--as", "st")
    told = said(capsys, 0, "export", gate, "--as", "scxml")
    assert "not carried: time: how long moves, timers and delays take" in told
