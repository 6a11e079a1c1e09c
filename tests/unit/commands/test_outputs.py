"""What every command that writes keeps to: plain files only, told before the long work."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.evidence.manifest import MANIFEST
from tests.support.gate import written
from tests.support.models import MODELS

TREE = str(MODELS / "pressure-tank")
TO_A_FILE = {
    "verify --json": ["verify", "MODEL", "--json", "OUT"],
    "verify --junit": ["verify", "MODEL", "--junit", "OUT"],
    "verify --sarif": ["verify", "MODEL", "--sarif", "OUT"],
    "advise --json": ["advise", "MODEL", "--json", "OUT"],
    "margins --json": ["margins", "MODEL", "--json", "OUT"],
    "margins --svg": ["margins", "MODEL", "--svg", "OUT"],
    "compare --json": ["compare", "MODEL", "MODEL", "--json", "OUT"],
    "challenge --json": ["challenge", "MODEL", "--json", "OUT"],
    "faults --json": ["faults", "MODEL", "--json", "OUT"],
    "explain --json": ["explain", "FOR", "--json", "OUT"],
    "faults --csv": ["faults", "MODEL", "--csv", "OUT"],
    "export": ["export", "MODEL", "--as", "st", "-o", "OUT"],
    "adopt": ["adopt", "CHART", "-o", "OUT"],
}
# The last part is a file that the command writes into the folder OUT.
INTO_A_FOLDER = {
    "compare": (["compare", "MODEL", "MODEL", "-o", "OUT"], "impact.json"),
    "challenge": (["challenge", "MODEL", "--sample", "1", "-o", "OUT"], "challenge.jsonl"),
    "draw": (
        ["draw", "MODEL", "--only", "machines", "--format", "gv", "-o", "OUT"],
        "machine-gate.gv",
    ),
    "faults": (["faults", TREE, "-o", "OUT"], "fault-tree.gv"),
    "testsheet": (["testsheet", "MODEL", "-o", "OUT"], "testsheet.html"),
}
WHOLE_FOLDER = {
    "verify": ["verify", "MODEL", "--evidence", "OUT"],
    "report": ["report", "MODEL", "--no-pdf", "-o", "OUT"],
}


@pytest.fixture
def places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """What the words MODEL, CHART and OUT in a command stand for."""
    monkeypatch.chdir(tmp_path)
    model, chart = str(written(tmp_path / "gate")), str(tmp_path / "gate.scxml")
    assert run(["export", model, "--as", "scxml", "-o", chart]) == 0
    return {"MODEL": model, "CHART": chart, "OUT": "out"}


def refused(
    command: list[str], places: dict[str, str], capsys: pytest.CaptureFixture[str], file: str
) -> str:
    """Run a command that must refuse to write `file`, and write nothing; what it says."""
    before = sorted(Path().rglob("*"))
    capsys.readouterr()
    code = run([places.get(word, word) for word in command])
    told = capsys.readouterr()
    assert code == 2, told.err
    (line,) = told.err.splitlines()
    assert line.startswith(f"{file}:1:1: ")
    assert sorted(Path().rglob("*")) == before
    return line


@pytest.mark.parametrize("name", TO_A_FILE)
def test_a_pipe_or_a_link_as_output_is_refused_in_one_line(
    name: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path("other").write_text("of somebody else")
    Path("out").symlink_to("other")
    assert "this is a link" in refused(TO_A_FILE[name], places, capsys, "out")
    assert Path("out").is_symlink()
    assert Path("other").read_text() == "of somebody else"
    Path("out").unlink()
    os.mkfifo("out")
    assert "this is a pipe" in refused(TO_A_FILE[name], places, capsys, "out")
    assert Path("out").is_fifo()


@pytest.mark.parametrize("name", TO_A_FILE)
def test_an_output_that_cannot_be_written_is_told_before_the_work(
    name: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path("plain").write_text("")
    # The model is no model: what is wrong with the output is told before anything is read.
    places |= {"MODEL": "nothing", "CHART": "nothing", "OUT": "plain/out"}
    assert "cannot be written" in refused(TO_A_FILE[name], places, capsys, "plain/out")


@pytest.mark.parametrize("name", INTO_A_FOLDER)
def test_a_link_among_the_files_of_a_folder_is_refused_in_one_line(
    name: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    command, file = INTO_A_FOLDER[name]
    link = Path("out", file)
    link.parent.mkdir()
    Path("other").write_text("of somebody else")
    link.symlink_to(Path("other").resolve())
    assert "this is a link" in refused(command, places, capsys, str(link))
    assert link.is_symlink()
    assert Path("other").read_text() == "of somebody else"


@pytest.mark.parametrize("name", WHOLE_FOLDER)
def test_a_link_in_place_of_a_folder_that_is_replaced_whole_is_refused(
    name: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    Path("other").mkdir()
    Path("out").symlink_to("other")
    assert "this is a link" in refused(WHOLE_FOLDER[name], places, capsys, "out")
    assert Path("out").is_symlink()


FOREIGN = {
    "notes beside it": {MANIFEST: None, "notes.txt": "mine"},
    "a manifest of something else": {MANIFEST: '{"name": "my extension"}', "icon.svg": "mine"},
    "no manifest": {"notes.txt": "mine"},
}


@pytest.mark.parametrize("what", FOREIGN)
def test_evidence_replaces_evidence_and_nothing_else(
    what: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["verify", "MODEL", "--faults", "none", "--evidence", "OUT"]
    evidence = [places.get(word, word) for word in command]
    assert run(evidence) == run(evidence) == 0
    if MANIFEST not in FOREIGN[what] or FOREIGN[what][MANIFEST] is not None:
        for file in Path("out").iterdir():
            file.unlink()
    for file, text in FOREIGN[what].items():
        if text is not None:
            Path("out", file).write_text(text)
    assert "something else than evidence" in refused(command, places, capsys, "out")
