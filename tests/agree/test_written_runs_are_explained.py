"""What ``verify --runs`` writes for other tools is what ``replay`` reads as a record."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.models import MODELS

BROKEN = MODELS / "ramp-broken" / "pin-alone"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    written = tmp_path_factory.mktemp("runs")
    assert run(["verify", str(BROKEN), "--only", "R1", "--runs", str(written)]) == 1
    return written / "R1"


@pytest.mark.parametrize("name", ["run.csv", "run.vcd"])
def test_a_written_run_is_a_record_that_the_model_explains(name: str, folder: Path) -> None:
    assert run(["replay", str(BROKEN), str(folder / name)]) == 0


def test_a_run_with_a_value_changed_is_not_explained(folder: Path, tmp_path: Path) -> None:
    rows = list(csv.reader((folder / "run.csv").read_text("utf-8").splitlines()))
    column = rows[0].index("ramp")
    rows[2][column] = "lowered"  # nothing brings it there at once, with the pump off
    changed = tmp_path / "run.csv"
    with changed.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    assert run(["replay", str(BROKEN), str(changed)]) == 1


@pytest.mark.parametrize("name", ["run.csv", "run.vcd"])
def test_a_written_run_with_free_inputs_is_explained(name: str, tmp_path: Path) -> None:
    (tmp_path / "c.st").write_text(
        """PROGRAM p VAR_INPUT level : INT; on : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
q := on AND level > 80; END_PROGRAM""",
        encoding="utf-8",
    )
    (tmp_path / "model.yaml").write_text(
        "title: P\ncontroller: c.st\nrequirements:\n  R1: {says: x, never: q}\n", encoding="utf-8"
    )
    assert run(["verify", str(tmp_path), "--runs", str(tmp_path / "runs")]) == 1
    assert run(["replay", str(tmp_path), str(tmp_path / "runs" / "R1" / name)]) == 0
