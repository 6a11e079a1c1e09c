"""The list of signals and the matrix come back from verify, draw and report, to be read again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.exits import EXIT_HOLDS, EXIT_VIOLATED
from interlock.model.load import load
from interlock.sheets.read_xlsx import read_xlsx

Capture = pytest.CaptureFixture[str]

PROGRAM = """\
PROGRAM Press
VAR_INPUT guard_shut AT %IX0.0 : BOOL; estop_ok : BOOL; END_VAR
VAR_OUTPUT motor, red : BOOL; END_VAR
motor := guard_shut AND estop_ok;
red := NOT guard_shut OR motor;
END_PROGRAM
"""
MODEL = """\
title: press
controller: controller.st
matrix: {file: m.csv}
sensors:
  guard_shut: {says: '=1+1', address: '%IX0.0', terminal: 'K1:2'}
outputs: {red: {lamp: red, says: Not ready, address: '%QX0.1'}}
"""
MATRIX = """\
;;Motor off;
cause;description;NOT motor;red
NOT estop_ok;Emergency stop;X;X
NOT guard_shut;;X;
"""


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("x").mkdir()
    Path("x/controller.st").write_text(PROGRAM)
    Path("x/model.yaml").write_text(MODEL)
    Path("x/m.csv").write_text(MATRIX)


def sheets(file: str) -> dict[str, list[list[str]]]:
    tables = read_xlsx(Path(file).read_bytes(), file)
    return {t.sheet: [[c.text for c in row.cells.values()] for row in t.rows] for t in tables}


def test_verify_tells_each_cell_in_words(capsys: Capture) -> None:
    assert run(["verify", "x", "--engine", "reference", "--plain"]) == EXIT_VIOLATED
    shown = capsys.readouterr().out
    start = shown.index("Causes and effects, m.csv: 2 holds, 1 violated")
    lines = [line.split() for line in shown[start:].splitlines()[1:4]]
    assert lines[0] == ["NOT", "motor", "red"]
    assert lines[1] == ["Emergency", "stop", "X", "holds", "X", "violated"]
    assert lines[2] == ["NOT", "guard_shut", "X", "holds"]


def test_a_narrow_terminal_gets_the_effects_one_below_the_other(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert run(["verify", "x", "--engine", "reference"]) == EXIT_VIOLATED
    shown = capsys.readouterr().out.split("Causes and effects")[1]
    assert shown.index("NOT motor") < shown.index("X holds") < shown.index("X violated")


def test_the_json_has_each_cell() -> None:
    assert run(["verify", "x", "--engine", "reference", "--json", "x.json"]) == EXIT_VIOLATED
    matrix = json.loads(Path("x.json").read_text())["matrix"]
    assert matrix["counts"] == {"holds": 2, "violated": 1}
    assert matrix["cells"][1] == {
        "cause": "NOT estop_ok",
        "effect": "red",
        "sign": "X",
        "means": "on",
        "requirement": "M_NOT_estop_ok_red",
        "outcome": "violated",
    }


def test_draw_gives_the_matrix_back_as_it_was_and_as_judged(capsys: Capture) -> None:
    arguments = ["draw", "x", "--only", "demands", "--engine", "reference", "-o", "d"]
    assert run([*arguments, "--format", "gv"]) == EXIT_VIOLATED
    assert sorted(p.name for p in Path("d").iterdir()) == ["cause-effect.gv", "cause-effect.xlsx"]
    found = sheets("d/cause-effect.xlsx")
    assert list(found) == ["Matrix", "Verdicts", "Requirements"]
    assert found["Verdicts"][2] == [
        *["NOT_estop_ok", "NOT estop_ok", "Emergency stop", "X holds", "X violated"]
    ]
    # The program lights red by the open guard; the matrix does not ask for it.
    assert found["Verdicts"][3] == ["NOT_guard_shut", "NOT guard_shut", "X holds", "(acts)"]
    assert "violated" in Path("d/cause-effect.gv").read_text()
    before = load("x")
    Path("d/cause-effect.xlsx").rename("x/m.xlsx")
    Path("x/model.yaml").write_text(MODEL.replace("m.csv", "m.xlsx"))
    after = load("x")
    assert before.matrix is not None
    assert after.matrix is not None
    assert list(after.statements) == list(before.statements)
    texts = [
        [(s.says, s.p.text, None if s.when is None else s.when.text) for s in m.statements.values()]
        for m in (before, after)
    ]
    assert texts[0] == texts[1]


def test_draw_gives_the_signals_back_and_new_reads_them(capsys: Capture) -> None:
    assert run(["draw", "x", "--only", "signals", "-o", "d"]) == EXIT_HOLDS
    (rows,) = sheets("d/signals.xlsx").values()
    assert rows[1] == ["guard_shut", "input", "BOOL", "%IX0.0", "K1:2", "=1+1", "free: any value"]
    assert "'=1+1" in Path("d/signals.csv").read_text()
    for file in ("d/signals.xlsx", "d/signals.csv"):
        name = f"of-{file[-4:].strip('.')}"
        assert run(["new", name, "--program", "x/controller.st", "--signals", file]) == EXIT_HOLDS
        assert "list and program agree" in capsys.readouterr().out
        model = load(name)
        for old, new in (
            (load("x").sensors["guard_shut"], model.sensors["guard_shut"]),
            (load("x").outputs["red"], model.outputs["red"]),
        ):
            assert (old.says, old.address, old.terminal) == (new.says, new.address, new.terminal)
        assert model.outputs["red"].lamp == "red"


def test_the_same_model_gives_the_same_workbooks() -> None:
    for folder in ("d", "e"):
        run(["draw", "x", "--only", "signals", "--only", "demands", "--format", "gv", "-o", folder])
    for file in Path("d").iterdir():
        assert file.read_bytes() == (Path("e") / file.name).read_bytes()


def test_the_report_has_both_on_its_page_and_beside_it() -> None:
    quick = [
        "--no-pdf",
        "--leave-out",
        "diagrams",
        "--leave-out",
        "program",
        "--engine",
        "reference",
    ]
    assert run(["report", "x", "-o", "r", *quick]) == EXIT_VIOLATED
    names = ["cause-effect.xlsx", "report.html", "signals.xlsx"]
    assert sorted(p.name for p in Path("r").iterdir()) == names
    page = Path("r/report.html").read_text()
    assert "Causes and effects as demanded" in page
    assert '<a href="#requirement-M_NOT_estop_ok_red"><b><bdi>X</bdi></b></a>' in page
    assert "(acts)" in page
    assert "%IX0.0, K1:2" in page
    assert run(["report", "x", "-o", "r", *quick]) == EXIT_VIOLATED
    assert "X violated" in str(sheets("r/cause-effect.xlsx")["Verdicts"])
