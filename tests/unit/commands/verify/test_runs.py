"""``interlock verify --runs``: the run of each violation as pictures and as files for tools."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.independent_judge.run_file import read_run, replay_file
from interlock.model.load import load

MODELS = Path(__file__).parents[4] / "models"
BROKEN = MODELS / "ramp-broken" / "pin-alone"


def test_each_violation_gets_a_folder_with_its_pictures_and_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "runs"
    assert run(["verify", str(BROKEN), "--only", "R1", "--only", "R7", "--runs", str(folder)]) == 1
    assert [path.name for path in folder.iterdir()] == ["R1"]
    files = {path.name for path in (folder / "R1").iterdir()}
    assert {"steps.svg", "timing.svg", "run.csv", "run.vcd", "run.json"} <= files
    assert {"step-00.svg", "step-13.svg"} <= files
    assert str(folder / "R1") in capsys.readouterr().out.replace("\n", "")


def test_the_run_file_replays_to_the_violation(tmp_path: Path) -> None:
    run(["verify", str(BROKEN), "--only", "R1", "--runs", str(tmp_path)])
    played = replay_file(load(BROKEN), read_run(tmp_path / "R1" / "run.json"))
    assert "R1" in played.violates


def test_the_same_verification_writes_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        run(["verify", str(BROKEN), "--only", "R1", "--runs", str(tmp_path / name)])
    for file in (tmp_path / "a" / "R1").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / "R1" / file.name).read_bytes()


def test_every_signal_can_be_timed(tmp_path: Path) -> None:
    arguments = ["verify", str(BROKEN), "--only", "R1", "--runs", str(tmp_path)]
    run(arguments)
    few = (tmp_path / "R1" / "timing.svg").read_text("utf-8")
    run([*arguments, "--every-signal"])
    assert ">raise_valve<" not in few
    assert ">raise_valve<" in (tmp_path / "R1" / "timing.svg").read_text("utf-8")


def test_without_a_violation_nothing_is_written_and_that_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "runs"
    assert run(["verify", str(MODELS / "ramp"), "--only", "R7", "--runs", str(folder)]) == 0
    assert not folder.exists()
    assert "no violation, none written" in capsys.readouterr().out


def test_without_pyvcd_all_else_is_written_and_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "vcd", None)
    assert run(["verify", str(BROKEN), "--only", "R1", "--runs", str(tmp_path)]) == 1
    assert "pip install 'interlock[report]'" in capsys.readouterr().out
    files = {path.name for path in (tmp_path / "R1").iterdir()}
    assert "run.vcd" not in files
    assert {"run.csv", "run.json", "timing.svg"} <= files
