"""``interlock report`` as a user meets it: files, exit codes, mistakes."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.models import MODELS

RAMP = str(MODELS / "ramp")
QUICK = ["--no-pdf", "--leave-out", "diagrams,matrix", "--leave-out", "program"]


@pytest.mark.parametrize(
    ("name", "further", "code"),
    [
        ("ramp", [], 0),
        ("ramp-broken/pin-alone", [], 1),
        ("ramp", ["--max-states", "50"], 3),
    ],
)
def test_the_exit_code_is_that_of_verify(
    name: str, further: list[str], code: int, tmp_path: Path
) -> None:
    folder = tmp_path / "report"
    assert run(["verify", str(MODELS / name), *further]) == code
    assert run(["report", str(MODELS / name), "-o", str(folder), *QUICK, *further]) == code
    assert sorted(file.name for file in folder.iterdir()) == ["report.html", "signals.xlsx"]


def test_page_and_print_are_written_together_and_replaced_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("weasyprint")
    gate = str(written(tmp_path / "gate"))
    folder = tmp_path / "there" / "report"
    command = ["report", gate, "-o", str(folder), "--leave-out", "diagrams,faults"]
    assert run(command) in (0, 1)
    said = capsys.readouterr().out.splitlines()
    assert said[:2] == [str(folder / "report.html"), str(folder / "report.pdf")]
    assert said[2] == str(folder / "signals.xlsx")
    assert said[3].startswith("4 requirements: ")
    first = {file.name: file.read_bytes() for file in folder.iterdir()}
    run(command)
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == first
    run([*command, "--no-pdf"])
    # A print that does not fit the page beside it would be worse than none.
    assert sorted(file.name for file in folder.iterdir()) == ["report.html", "signals.xlsx"]


def test_a_folder_with_anything_else_in_it_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letters.txt").write_text("dear", encoding="utf-8")
    assert run(["report", RAMP, "-o", str(tmp_path)]) == 2
    assert run(["report", RAMP, "-o", str(tmp_path / "letters.txt")]) == 2
    told = capsys.readouterr().err.splitlines()
    assert "holds something else than a report; nothing was written" in told[0]
    assert "this is a file, not a folder; nothing was written" in told[1]
    assert [file.name for file in tmp_path.iterdir()] == ["letters.txt"]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--leave-out", "fault"], "no part 'fault' to leave out; did you mean 'faults'?"),
        (["--engine", "symbolc"], "no engine 'symbolc'; did you mean 'symbolic'?"),
        (["--order", "zero"], "--order: expected a whole number from 1, or 'all'; found 'zero'"),
    ],
)
def test_mistakes_are_told_with_the_nearest_known_name(
    given: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["report", RAMP, "-o", str(tmp_path / "report"), *given]) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "report").exists()


def test_a_mistake_in_the_procedures_is_told_before_the_long_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "gate")
    step = "{id: wait, says: Wait, who: operator, done: gate = SHUT, observer: operator}"
    text = (
        "goal: gate = SHU\nprocedures:\n  shut:\n    says: Shut it\n    starts: gate = OPEN\n"
        f"    ends: gate = SHUT\n    steps: [{step}]\n"
    )
    (folder / "procedures.yaml").write_text(text, encoding="utf-8")
    assert run(["report", str(folder), "-o", str(tmp_path / "report")]) == 2
    told = capsys.readouterr().err
    assert "procedures.yaml:1:" in told
    assert "did you mean 'SHUT'?" in told


RATING = (
    "title: Claims\nfunctions:\n  SF1:\n    says: The lamp tells the truth\n"
    "    requirements: [R1]\n"
    "    hazard: H1\n    category: '3'\n    level: d\n    ccf: 70\n    channels:\n"
    "      - [{says: switch, mttfd: 123.4, dc: 0.9, assumed: true}]\n"
    "      - [{says: controller, mttfd: 150, dc: 0.9, source: a data sheet}]\n"
)


def test_claimed_safety_functions_are_held_against_the_faults(tmp_path: Path) -> None:
    gate = written(tmp_path / "gate")
    (gate / "rating.yaml").write_text(RATING, encoding="utf-8")
    folder = tmp_path / "report"
    run(["report", str(gate), "-o", str(folder), *QUICK, "-j", "1"])
    page = (folder / "report.html").read_text(encoding="utf-8")
    section = page[page.index('id="rating"') : page.index('id="inputs"')]
    assert "Claimed: category 3, level d" in section
    assert ">120</td>" in section  # two digits of 123.4
    assert "<bdi>assumed</bdi>" in section
    # One switch stuck breaks R1, so a single fault loses the function.
    assert "inserted faults contradict it" in section
    assert "rating.yaml" in page[page.index('id="inputs"') :]


def test_a_rating_that_names_what_the_model_has_not_is_told_before_the_long_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    gate = written(tmp_path / "gate")
    text = RATING.replace("hazard: H1", "hazard: H7")
    (gate / "rating.yaml").write_text(text, encoding="utf-8")
    monkeypatch.setattr("interlock.commands.report.dossier.gather", pytest.fail)
    assert run(["report", str(gate), "-o", str(tmp_path / "report")]) == 2
    assert "'H7' is not a hazard of the model; known: H1" in capsys.readouterr().err


def test_without_the_library_nothing_is_begun_and_one_line_names_the_extra(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    monkeypatch.setattr("interlock.commands.report.dossier.gather", pytest.fail)
    assert run(["report", RAMP, "-o", str(tmp_path / "report")]) == 2
    told = [line for line in capsys.readouterr().err.splitlines() if line.startswith("Error")]
    assert len(told) == 1
    assert "pip install 'interlock[report]'; --no-pdf writes the page alone" in told[0]


def test_a_full_disk_leaves_the_earlier_report_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "report"
    gate = str(written(tmp_path / "gate", GATE_YAML, GATE_ST))
    command = ["report", gate, "-o", str(folder), "--no-pdf", "--leave-out", "diagrams,faults"]
    run(command)
    before = (folder / "report.html").read_bytes()

    def full(self: Path, content: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    assert run([*command, "--leave-out", "program"]) == 2
    assert "cannot be written: No space left on device" in capsys.readouterr().err
    monkeypatch.undo()
    assert (folder / "report.html").read_bytes() == before
    assert sorted(file.name for file in tmp_path.iterdir()) == ["gate", "report"]
