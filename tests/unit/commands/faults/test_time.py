"""Faults in time: a watchdog sees a switch that is gone, and a bound is judged as it is."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.timed_gate import timed_gate_folder

LAST = "leads_to: gate = shut}\n"
FAULTS = """leads_to: gate = shut}
  R3: {says: It is not driven for long, lasts: drive, at_most: 1100 ms, survives: 1}
faults:
  F1: {says: the switch is gone, sensor: is_shut, stuck: FALSE}
  F2: {says: the button is stuck, sensor: pressed, stuck: TRUE}
  F3: {says: the gate jams, machine: gate}
"""


def test_faults_strike_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    # Driven off once it is shut, or once the watchdog is up.
    drive = (
        "drive := pressed OR drive;",
        "drive := (pressed OR drive) AND NOT is_shut AND NOT alarm;",
    )
    model = timed_gate_folder(tmp_path / "gate", drive, (LAST, FAULTS))
    data = tmp_path / "found.json"
    assert run(["faults", str(model), "--json", str(data), "--plain", "--no-sensors"]) == 0
    found = json.loads(data.read_text("utf-8"))
    told = capsys.readouterr().out
    assert "whole scans" not in told
    assert found["judged_in_whole_scans"] == []
    sets = {one["id"]: one["sets"] for one in found["requirements"]}
    # The alarm is for a gate that jams or cannot be seen to be shut.
    alone = [one["faults"] for one in sets["R1"]]
    assert alone == [["F1"], ["F3"]]
    assert sets["R3"] == []
