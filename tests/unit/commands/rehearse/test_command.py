"""``interlock rehearse`` as a user meets it: exit codes, messages, files."""

from __future__ import annotations

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.hatch import BY_BUTTON, BY_HAND, hatch

REFUSING = ("may_open := bolt_out;", "may_open := bolt_out AND NOT pressed;")


def test_what_surely_ends_and_violates_nothing_is_exit_0(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rehearse", str(hatch(tmp_path / "hatch")), "--plain"]) == 0
    said = capsys.readouterr().out
    assert "takes 4 s to 7 s (assumed)" in said
    assert "deviations: " in said
    assert "may_open (controller.st:5)" in said
    assert "mind your fingers" in said


def test_a_step_that_does_not_end_is_exit_1_and_told_with_its_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rehearse", str(hatch(tmp_path / "hatch", BY_BUTTON, REFUSING)), "--plain"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "never: open_valve (controller.st:6)" in said
    assert "does not surely end" in said


def test_a_violating_deviation_is_exit_1_with_its_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = hatch(tmp_path / "hatch", BY_HAND, ("AND lamp AND", "AND"))
    assert run(["rehearse", str(folder), "--plain"]) == 1
    said = capsys.readouterr().out
    assert "R1 violated where 'Draw the bolt' is left out" in said
    assert "forces the hatch" in said


def test_what_is_assumed_between_two_scans_is_told_and_may_be_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(hatch(tmp_path / "hatch"))
    for options, said in (
        ([], "every machine and every control moves at most once between two scans"),
        (["--assume", "one in all"], "at most one move in all between two scans, assumed in place"),
    ):
        assert run(["rehearse", folder, "--plain", "-o", str(tmp_path / "card"), *options]) == 0
        assert said in " ".join(capsys.readouterr().out.split())
        assert said in (tmp_path / "card" / "card.html").read_text("utf-8")
    told = json.loads((tmp_path / "card" / "rehearsal.json").read_text("utf-8"))
    assert told["between_scans"] == "one in all"
    assert told["between_scans_of_the_model"] == "each once"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--procedure", "by_butten"], "no procedure 'by_butten'; did you mean 'by_button'?"),
        (["--engine", "enumerat"], "did you mean 'enumerate'?"),
    ],
)
def test_mistakes_are_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    assert run(["rehearse", str(hatch(tmp_path / "hatch")), *arguments]) == 2
    out, err = capsys.readouterr()
    assert said in err
    assert out == ""


def test_a_mistake_in_the_procedures_is_exit_2_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = hatch(tmp_path / "hatch", BY_BUTTON, ("bolt: IN to OUT", "bolt: IN to OT"))
    assert run(["rehearse", str(folder)]) == 2
    assert "procedures.yaml:9:61: " in capsys.readouterr().err


def test_a_limit_is_exit_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = hatch(tmp_path / "hatch")
    assert run(["rehearse", str(folder), "--max-states", "2", "--plain"]) == 3
    assert "undecided: states 2" in capsys.readouterr().out


class Tags(HTMLParser):
    """The tags of a page that are opened and never closed."""

    VOID = frozenset({"meta", "br", "img"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_card_is_complete_in_itself_escaped_and_without_scripts(tmp_path: Path) -> None:
    hostile = ("Hold the button until", "<script>alert(1)</script> until")
    folder = hatch(tmp_path / "hatch", BY_BUTTON, hostile)
    assert run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"]) == 0
    page = (tmp_path / "out" / "card.html").read_text()
    tags = Tags()
    tags.feed(page)
    assert not tags.open
    assert not tags.seen & {"script", "link", "img", "iframe", "base"}
    assert "&lt;script&gt;alert(1)" in page
    assert "Hatch &lt;b&gt;" in page
    assert "@page { size: A4" in page
    assert not re.search(r"https?:|url\(|@import", page)


def test_the_card_tells_a_next_action_for_every_configuration(tmp_path: Path) -> None:
    folder = hatch(tmp_path / "hatch")
    run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"])
    page = (tmp_path / "out" / "card.html").read_text()
    page = re.sub(r"</?bdi>", "", page)
    rows = re.findall(r"<tr>(<th[^>]*>(?:IN|OUT)</th>.*?)</tr>", page, re.DOTALL)
    cells = [tuple(re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row)) for row in rows]
    assert {row[:3] for row in cells} == {
        ("IN", "SHUT", "SOUND"),
        ("OUT", "SHUT", "SOUND"),
        ("OUT", "OPEN", "SOUND"),
    }
    assert ("IN", "SHUT", "SOUND", "at the goal", "0") in cells


def test_files_are_the_same_bytes_twice_and_agree(tmp_path: Path) -> None:
    folder = hatch(tmp_path / "hatch")
    names = ("card.html", "rehearsal.json", "rehearsal.csv")
    written = []
    for out in ("first", "second"):
        target = tmp_path / out
        assert run(["rehearse", str(folder), "--pairs", "-o", str(target), "--plain"]) == 0
        written.append([(target / name).read_bytes() for name in names])
    assert written[0] == written[1]
    data = json.loads(written[0][1])
    (procedure,) = data["procedures"]
    takes = procedure["takes"]
    assert (takes["least_seconds"], takes["greatest_seconds"]) == (4, 7)
    assert takes["assumed"] is True
    rows = list(csv.DictReader(written[0][2].decode().splitlines()))
    assert len(rows) == len(procedure["deviations"]) + len(procedure["pairs"])
    first = procedure["deviations"][0]
    assert (first["kinds"], first["outcome"]) == (["omitted"], rows[0]["outcome"])
    assert first["probability"] == [0.003]
    assert first["missing"][0]["place"].startswith(("controller.st:", "model.yaml:"))
    assert set(data["inputs"]) == {"model.yaml", "controller.st", "procedures.yaml"}


def test_no_cell_of_the_table_is_a_formula(tmp_path: Path) -> None:
    formula = ("says: Draw the bolt", "says: '=cmd'")
    button = ("button: {says: the button}", "button: {says: '@SUM(1)'}")
    folder = hatch(tmp_path / "hatch", BY_BUTTON, formula, button)
    run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"])
    rows = list(csv.reader((tmp_path / "out" / "rehearsal.csv").read_text().splitlines()))
    assert any("@SUM" in cell for row in rows for cell in row)
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@"))]
