"""``interlock challenge`` as a user meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import GATE_ST, GATE_YAML, written


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return written(tmp_path / "gate")


def test_gaps_are_exit_1_and_told_with_their_runs(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["challenge", str(folder), "-j", "1", "--plain", "--engine", "reference"]) == 1
    said = capsys.readouterr().out
    assert "gap: controller.st:5:18 drop NOT of drive" in said
    assert "now lamp is FALSE instead of TRUE" in said
    assert "the lamp tells the truth" in said
    assert "undecided" in said.splitlines()[3]


def test_no_gap_is_exit_0_and_undecided_is_exit_3(folder: Path) -> None:
    common = ["challenge", str(folder), "-j", "1", "--plain", "--engine", "reference"]
    # The draw is of 'TRUE for pressed', which R4 notices: the gate can never be shut again.
    assert run([*common, "--sample", "1", "--seed", "31"]) == 0
    assert run([*common, "--max-states", "2"]) == 3


def test_json_names_every_defect_and_its_outcome(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["-j", "1", "--json", "-", "--engine", "reference", "--sample", "6"]
    run(["challenge", str(folder), *arguments])
    data = json.loads(capsys.readouterr().out)
    assert len(data["defects"]) == sum(data["counts"].values()) == 6
    assert all(defect["outcome"] in data["counts"] for defect in data["defects"])


def test_a_journal_of_another_model_is_one_clear_line_and_exit_2(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    common = ["-j", "1", "-o", str(tmp_path / "j"), "--engine", "reference", "--sample", "1"]
    run(["challenge", str(folder), *common])
    other = written(tmp_path / "other", GATE_YAML, GATE_ST.replace("AND NOT drive", ""))
    capsys.readouterr()
    assert run(["challenge", str(other), *common]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "this journal is of another model" in line


def test_an_unknown_engine_is_exit_2(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["challenge", str(folder), "--engine", "enumerat"]) == 2
    assert "did you mean 'enumerate'?" in capsys.readouterr().err
