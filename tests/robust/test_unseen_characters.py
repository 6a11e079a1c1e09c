"""Characters that nobody sees, or that turn a line round, are marks wherever a model is shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.visible import is_unseen
from interlock.cli.main import run
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.render import page
from interlock.model.load import load
from tests.support.gate import written

# Marks of direction, zero widths, a soft hyphen, a word joiner, a filler, a tag, a line separator.
HIDDEN = "\u200e\u200f\u061c\u200b\u200d\u00ad\u2060\ufeff\u3164\U000e0061\u2028"
# A program may hold those too that turn a line round.
TURNING = "\u202e\u2066" + HIDDEN
ESCAPED = "".join(f"\\U{ord(character):08X}" for character in HIDDEN)


def hiding(folder: Path, held: bool = False) -> Path:
    """A model that hides characters in every text of its file and of its program."""
    says = f'says: "shown{ESCAPED}hidden"'
    never = "q AND NOT q" if held else "q"
    return written(
        folder,
        f'title: "Gate{ESCAPED}"\n{says}\ncontroller: controller.st\n'
        f'assumptions: ["air{ESCAPED}"]\ncautions: ["care{ESCAPED}"]\n'
        f"plant:\n  bolt:\n    {says}\n    states: [out, in]\n    moves:\n"
        f"      - {{from: out, to: in, when: q, {says}}}\n"
        f"      - {{from: in, to: out, when: NOT q, {says}}}\n"
        f"controls:\n  b: {{{says}}}\n"
        f"sensors:\n  p: {{reads: b, {says}}}\n"
        f"outputs:\n  q: {{lamp: red, {says}}}\n"
        f"hazards:\n  H: {{{says}}}\n"
        f"requirements:\n  R: {{{says}, never: {never}, hazards: [H]}}\n"
        f"faults:\n  F: {{{says}, sensor: p, stuck: TRUE}}\n",
        "PROGRAM c VAR_INPUT p : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        f"(* {TURNING} *)\nq := p; (* {TURNING} *)\nEND_PROGRAM\n",
    )


def unseen(text: str) -> set[str]:
    return {f"U+{ord(c):04X}" for c in text if is_unseen(c) and c not in "\n\t"}


COMMANDS = ["verify", "faults", "compare", "challenge", "advise", "testsheet"]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_terminal_shows_marks(
    command: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Some of them write files where they are.
    monkeypatch.chdir(tmp_path)
    model = str(hiding(tmp_path / "new"))
    old = [str(hiding(tmp_path / "old", held=True))] if command == "compare" else []
    assert run([command, *old, model]) in (0, 1)
    told = capsys.readouterr()
    assert unseen(told.out + told.err) == set()
    assert "<U+200E>" in told.out


def test_a_run_that_is_replayed_shows_marks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    model = str(hiding(tmp_path / "gate"))
    assert run(["verify", model, "--runs", str(tmp_path / "runs")]) == 1
    capsys.readouterr()
    (file,) = (tmp_path / "runs").rglob("*.json")
    assert run(["replay", model, str(file)]) == 1
    told = capsys.readouterr().out
    assert unseen(told) == set()
    assert told.count("<U+200E>") == 2


@pytest.mark.parametrize(
    ("command", "file"),
    [("faults", "fmea.html"), ("compare", "impact.html"), ("compare", "impact.md")],
)
def test_a_document_shows_marks(command: str, file: str, tmp_path: Path) -> None:
    models = [str(hiding(tmp_path / "old", held=True))] if command == "compare" else []
    written_to = tmp_path / "out"
    assert run([command, *models, str(hiding(tmp_path / "new")), "-o", str(written_to)]) in (0, 1)
    text = (written_to / file).read_text("utf-8")
    assert unseen(text) == set()
    assert ("lt;U+200E" if file.endswith("html") else "\\<U+200E") in text


def test_the_report_shows_marks_and_counts_lines_as_everybody_does(tmp_path: Path) -> None:
    assert (
        run(["report", str(hiding(tmp_path / "gate")), "-o", str(tmp_path / "out"), "--no-pdf"])
        == 1
    )
    (file,) = (tmp_path / "out").glob("*.html")
    text = file.read_text("utf-8")
    assert unseen(text) == set()
    # Two lines of the program, and the one that decided beside the timing diagram.
    assert text.count("&lt;U+202E&gt;") == 3
    # A line separator ends no line of a program.
    assert text.count('<tr id="line-') == 4


def test_the_bench_shows_marks(tmp_path: Path) -> None:
    jobs = Jobs()
    desk = Desk(ServedModel(load(hiding(tmp_path / "gate")), jobs))
    shown = page(desk, "token")
    assert unseen(shown) == set()
    assert shown.count("&lt;U+202E&gt;") == 2
    desk.editing = True
    assert unseen(page(desk, "token")) == set()
    jobs.end()
