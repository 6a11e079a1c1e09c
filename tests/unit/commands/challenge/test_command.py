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
    assert "gap: controller.st:5:18 lamp: drop NOT of drive" in said
    assert "now lamp is FALSE instead of TRUE" in said
    assert "the lamp tells the truth" in said
    (heads,) = (line for line in said.splitlines() if line.startswith("seeded in"))
    assert "undecided" in heads


def test_no_gap_is_exit_0_and_undecided_is_exit_3(folder: Path) -> None:
    common = ["challenge", str(folder), "-j", "1", "--plain", "--engine", "reference"]
    # The draw is of 'TRUE for pressed', which R4 notices: the gate can never be shut again.
    assert run([*common, "--sample", "1", "--seed", "31"]) == 0
    assert run([*common, "--max-states", "2"]) == 3


COMMON = ["-j", "1", "--plain", "--engine", "reference"]


def gaps_of(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, str]]:
    """The gaps of the gate, found by a challenge."""
    assert run(["challenge", str(folder), *COMMON, "--json", "-"]) == 1
    defects = json.loads(capsys.readouterr().out)["defects"]
    return [defect for defect in defects if defect["outcome"] == "gap"]


def accept(folder: Path, *gaps: tuple[str, str]) -> None:
    entries = [f"  - {{because: Told., gaps: {{'{at}': ['{says}']}}}}\n" for at, says in gaps]
    (folder / "gaps.yaml").write_text("accepted:\n" + "".join(entries), encoding="utf-8")


def test_with_every_gap_accepted_the_exit_is_0_and_the_reason_is_told(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gaps = [(gap["at"], gap["says"]) for gap in gaps_of(folder, capsys)]
    accept(folder, *gaps[1:])
    assert run(["challenge", str(folder), *COMMON]) == 1
    said = capsys.readouterr().out
    assert f"{gaps[0][0]}: {gaps[0][1]}" in said.split("Gaps that are accepted")[1].split("gap:")[1]
    accept(folder, *gaps)
    # Lines may move: gaps are named by what is changed.
    program = folder / "controller.st"
    program.write_text("(* moved *)\n" + program.read_text(encoding="utf-8"), encoding="utf-8")
    assert run(["challenge", str(folder), *COMMON]) == 0
    said = capsys.readouterr().out
    assert "Told." in said
    assert "gap: " not in said
    assert f"({len(gaps)} of the gaps accepted)" in said
    run(["challenge", str(folder), *COMMON, "--json", "-"])
    data = json.loads(capsys.readouterr().out)
    assert data["accepted_gaps"] == data["counts"]["gap"] == len(gaps)
    assert {d["accepted"] for d in data["defects"] if d["outcome"] == "gap"} == {"Told."}


def test_an_accepted_gap_that_a_requirement_notices_is_told_as_needless(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    accept(folder, ("shut", "negate signal shut"))
    assert run(["challenge", str(folder), *COMMON]) == 1
    told = " ".join(capsys.readouterr().out.split("no gap (any more)")[1].split())
    assert "gaps.yaml:2:38: model.yaml:" in told
    assert " shut: negate signal shut, caught by R" in told


@pytest.mark.parametrize(
    ("gaps", "says"),
    [
        ([("lamb", "x")], "gaps.yaml:2:29: nothing called 'lamb' is seeded with defects; did you"),
        (
            [("lamp", "drop NOT of drives")],
            "gaps.yaml:2:38: 'lamp' has no defect 'drop NOT of drives'; did you mean 'drop NOT of",
        ),
        (
            [("lamp", "drop NOT of drive")] * 2,
            "gaps.yaml:3:38: 'drop NOT of drive' of 'lamp' was accepted before",
        ),
    ],
)
def test_a_gap_that_there_is_not_is_refused_before_anything_is_tried(
    folder: Path, capsys: pytest.CaptureFixture[str], gaps: list[tuple[str, str]], says: str
) -> None:
    accept(folder, *gaps)
    assert run(["challenge", str(folder), *COMMON]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.splitlines()
    assert says in line


def test_a_gap_without_a_reason_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "accepted:\n  - {gaps: {lamp: [drop NOT of drive]}}\n"
    (folder / "gaps.yaml").write_text(text, encoding="utf-8")
    assert run(["challenge", str(folder), *COMMON]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "gaps.yaml:2:5: 'because' is missing" in line


def test_a_revision_inherits_the_gaps_of_what_it_revises(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gaps = [(gap["at"], gap["says"]) for gap in gaps_of(folder, capsys)]
    accept(folder, *gaps)
    revision = tmp_path / "revision"
    revision.mkdir()
    text = "title: Gate, changed\nrevises: ../gate\ncontroller: controller.st\nchanges: [x]\n"
    (revision / "model.yaml").write_text(text, encoding="utf-8")
    changed = GATE_ST.replace("lamp := shut AND NOT drive", "lamp := shut AND NOT pressed")
    (revision / "controller.st").write_text(changed, encoding="utf-8")
    # Of the old program's gaps those in what was changed are gone, and no mistake.
    run(["challenge", str(revision), *COMMON, "--json", "-"])
    data = json.loads(capsys.readouterr().out)
    assert 0 < data["accepted_gaps"] < data["counts"]["gap"]


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
