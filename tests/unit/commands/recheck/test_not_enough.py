"""What nothing violates does not hold for that alone: it was put to the test, and comes in time."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from interlock.commands.recheck.results import Status
from interlock.evidence.manifest import Manifest, to_text
from tests.support.gate import written

# The lamp answers in one scan: a filter of 10 ms, a scan that just began and one of the program.
YAML = """\
title: A lamp with an input filter
controller: controller.st
run: {scan_ms: 100}
plant: {door: {states: [shut, open], by: operator,
  moves: [{from: shut, to: open}, {from: open, to: shut}]}}
sensors: {door_open: {reads: door = open, delay_ms: 10, delay_source: the data sheet}}
outputs: {lamp: {lamp: red}}
requirements:
  T1: {says: told, whenever: door = open, leads_to: lamp OR door = shut, within: 300 ms}
  T2: {says: told, never: door = open AND NOT lamp, scope: {after: door = open AND lamp},
    judged: after scan}
"""
ST = """\
PROGRAM Lamp
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := door_open;
END_PROGRAM
"""


def evidence(folder: Path, ends_with: int, *changes: tuple[str, str]) -> Path:
    """Evidence of the lamp with texts of its model replaced, in the folder called so."""
    yaml = YAML
    for old, new in changes:
        assert old in yaml
        yaml = yaml.replace(old, new)
    model = written(folder / "model", yaml, ST)
    code = run(["verify", str(model), "--evidence", str(folder / "evidence")])
    assert code == ends_with
    return folder / "evidence"


def exit_code(folder: Path) -> int:
    return run(["recheck", str(folder), "-j", "1"])


def statuses(folder: Path) -> dict[str, Status]:
    return {r.requirement: r.status for r in recheck(folder).results}


def test_what_was_put_to_the_test_and_comes_in_time_is_confirmed(tmp_path: Path) -> None:
    folder = evidence(tmp_path, 0)
    assert exit_code(folder) == 0
    data = json.loads((folder / "manifest.json").read_text())
    assert data["systems"]["system-1-watched"]["within"] == {"T1": 1}
    # Each ends where the door is open; that of the scope goes through a scan to the lamp.
    assert [run[-1] for run in data["verdicts"]["T1"]["met"]] == ["door: shut to open"]
    assert ["scan", "door: shut to open", "scan"] in data["verdicts"]["T2"]["met"]


def test_what_was_never_put_to_the_test_is_not_confirmed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = evidence(
        tmp_path,
        3,
        ("{after: door = open AND lamp}", "{after: door = shut AND lamp AND door = open}"),
    )
    assert exit_code(folder) == 3
    said = capsys.readouterr().out
    assert "T2  undecided  UNDECIDED: there is no verdict: its premise never occurs" in said


def test_what_comes_too_late_in_milliseconds_is_not_confirmed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = evidence(tmp_path, 1, ("delay_ms: 10,", "delay_ms: 150,"))
    assert exit_code(folder) == 3
    said = capsys.readouterr().out
    assert (
        "T1  violated   not re-checkable: no run shows that it is too late: filter 150 ms" in said
    )


def forged(folder: Path, change: Callable[[dict], None]) -> Path:  # type: ignore[type-arg]
    file = folder / "manifest.json"
    data = json.loads(file.read_text())
    del data["seal"]
    change(data)
    file.write_text(to_text(Manifest.model_validate(data)))
    return folder


def test_without_a_run_to_its_premise_a_requirement_is_left_open(tmp_path: Path) -> None:
    def change(data: dict) -> None:  # type: ignore[type-arg]
        data["verdicts"]["T2"]["met"].pop()

    folder = forged(evidence(tmp_path, 0), change)
    assert statuses(folder) == {"T1": Status.CONFIRMED, "T2": Status.OPEN}
    assert exit_code(folder) == 3


@pytest.mark.parametrize("moves", [[], ["scan"], ["scan", "door: open to shut"], ["magic"]])
def test_a_run_that_does_not_lead_to_the_premise_is_refused(
    moves: list[str], tmp_path: Path
) -> None:
    def change(data: dict) -> None:  # type: ignore[type-arg]
        data["verdicts"]["T1"]["met"] = [moves]

    folder = forged(evidence(tmp_path, 0), change)
    with pytest.raises(InputError, match="T1: what shows that it was put to the test: "):
        recheck(folder)


def test_a_bound_of_the_evidence_is_no_other_than_what_the_milliseconds_leave(
    tmp_path: Path,
) -> None:
    sound = evidence(tmp_path, 0)

    def more(data: dict) -> None:  # type: ignore[type-arg]
        data["systems"]["system-1-watched"]["within"] = {"T1": 4}

    with pytest.raises(InputError, match="T1 within 4 scans is not what the model allows"):
        recheck(forged(sound, more))

    def none(data: dict) -> None:  # type: ignore[type-arg]
        data["systems"]["system-1-watched"]["within"] = {}

    with pytest.raises(InputError, match="this line is not what the model gives"):
        recheck(forged(sound, none))
