"""From a program and the list of its signals to a model whose first 'verify' works."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS, EXIT_VIOLATED
from interlock.model.load import load
from tests.support.workbooks import packed, parts_of, rows

Capture = pytest.CaptureFixture[str]

PROGRAM = """\
VAR_GLOBAL
  green AT %QX0.1 : BOOL;
END_VAR
PROGRAM Station
VAR_INPUT door, start : BOOL; level : INT; END_VAR
VAR_OUTPUT pump : BOOL; END_VAR
VAR stop AT %IX1.3 : BOOL; inside : BOOL; END_VAR
inside := start AND NOT stop;
pump := inside AND door AND level > 3;
green := pump;
END_PROGRAM
"""
LIST = """\
Tag;Address;Type;Comment;Lamp colour;Module;Channel
door;I0.0;BOOL;Door is shut;;K1;1
start;I0.1;BOOL;Start, held;;K1;2
level;IW4;INT;'=1+1;;K2;1
stop;I1.3;BOOL;it's stop;;K1;9
pump;Q0.0;BOOL;Pump;;K3;1
green;Q0.1;BOOL;Running;grün;K3;2
"""
AGREES = "list and program agree"


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("station.st").write_text(PROGRAM)


def made(text: str | bytes, capsys: Capture, *more: str, file: str = "list.csv") -> list[str]:
    """The lines told when a model is made of PROGRAM and a list, and nothing is wrong with it."""
    Path(file).write_bytes(text if isinstance(text, bytes) else text.encode())
    shutil.rmtree("m", ignore_errors=True)
    assert run(["new", "m", "--program", "station.st", "--signals", file, *more]) == EXIT_HOLDS
    return capsys.readouterr().out.splitlines()


def refused(text: str | bytes, capsys: Capture, *more: str, file: str = "list.csv") -> list[str]:
    """What is told where the list cannot be used, and nothing is written."""
    Path(file).write_bytes(text if isinstance(text, bytes) else text.encode())
    code = run(["new", "m", "--program", "station.st", "--signals", file, *more])
    assert code == EXIT_BAD_INPUT
    assert not Path("m").exists()
    return capsys.readouterr().err.splitlines()


def wired(name: str = "m") -> dict[str, tuple[str, str, str]]:
    """Description, address and terminal of each signal of a model."""
    model = load(name)
    both = (*model.sensors.values(), *model.outputs.values())
    return {s.name: (s.says, s.address, s.terminal) for s in both}


WIRED = {
    "door": ("Door is shut", "%IX0.0", "K1:1"),
    "start": ("Start, held", "%IX0.1", "K1:2"),
    "level": ("=1+1", "%IW4", "K2:1"),
    "stop": ("it's stop", "%IX1.3", "K1:9"),
    "pump": ("Pump", "%QX0.0", "K3:1"),
    "green": ("Running", "%QX0.1", "K3:2"),
}


def test_the_first_verify_works_and_every_input_is_free(capsys: Capture) -> None:
    assert AGREES in made(LIST, capsys)
    model = load("m")
    assert wired() == WIRED
    assert set(model.free_inputs) == {"door", "start", "level", "stop"}
    assert model.outputs["green"].lamp == "green"
    assert run(["verify", "m", "--engine", "reference", "--plain"]) == EXIT_HOLDS
    shown = capsys.readouterr().out
    assert "pump can always be switched off again" in shown
    assert "1 holds" in shown


def test_the_program_is_copied_and_what_lies_in_the_folder_is_named(capsys: Capture) -> None:
    made(LIST, capsys)
    assert Path("m/program/station.st").read_text() == PROGRAM
    assert "controller: 'program'" in Path("m/model.yaml").read_text()
    shutil.rmtree("m")
    Path("m/logic").mkdir(parents=True)
    Path("station.st").rename("m/logic/station.st")
    assert run(["new", "m", "--program", "m/logic", "--signals", "list.csv"]) == EXIT_HOLDS
    assert sorted(p.name for p in Path("m").iterdir()) == [
        "logic",
        "model.schema.json",
        "model.yaml",
    ]
    assert load("m").program.name == "Station"


def test_several_files_may_follow_one_option(capsys: Capture) -> None:
    block = "FUNCTION_BLOCK B\nVAR_INPUT i : BOOL; END_VAR\nVAR_OUTPUT q : BOOL; END_VAR\nq := i;\n"
    Path("b.txt").write_text(f"{block}END_FUNCTION_BLOCK\n")
    assert run(["new", "m", "--program", "station.st", "b.txt", "--root", "station"]) == EXIT_HOLDS
    assert "controller: ['program/station.st', 'program/b.txt']" in Path("m/model.yaml").read_text()
    assert load("m").program.name == "Station"
    assert "every input is free" in capsys.readouterr().out


@pytest.mark.parametrize(
    "heads",
    [
        "Symbol;Adresse;Datentyp;Kommentar;Lampenfarbe;Klemme;Kanal",
        "NAME;E/A-Adresse;Typ;Beschreibung;Farbe;Baugruppe;Kanal",
        "Variable Name;I/O address;Data type;Description;Colour;Card;Ch.",
        "signal;%I/Q Addr;DATATYPE;Function Text;Lamp color;Slot;PIN".replace("%I/Q Addr", "Addr."),
    ],
)
@pytest.mark.parametrize("sign", [";", "\t"])
def test_columns_are_known_by_their_headings(heads: str, sign: str, capsys: Capture) -> None:
    text = LIST.replace(LIST.splitlines()[0], heads).replace(";", sign)
    assert AGREES in made(text.encode("utf-8" if sign == ";" else "latin-1"), capsys)
    assert wired() == WIRED


def test_titles_empty_lines_spares_and_repeated_headings_are_passed_over(capsys: Capture) -> None:
    head, *lines = LIST.splitlines(keepends=True)
    text = "List of signals;;\n\n;;\n" + head + "Cabinet one;;\n" + "".join(lines[:3]) + head
    told = made(text + "Reserve;I3.0;BOOL\n-;I3.1\n;I3.2\n\n" + "".join(lines[3:]), capsys)
    assert AGREES in told
    assert "  the list: passed over, without a signal's name: line 5, 10, 11, 12" in told
    assert wired() == WIRED


@pytest.mark.parametrize(
    ("written", "normal"),
    [
        *((text, "%IX0.0") for text in ("I0.0", "%I0.0", "%IX0.0", "E0.0", "e 0.0", "%IX 0.0")),
        *((text, text) for text in ("X20.1", "192.168.0.1", "K4/3")),
    ],
)
def test_addresses_are_written_as_programs_write_them(
    written: str, normal: str, capsys: Capture
) -> None:
    assert AGREES in made(LIST.replace("I0.0;", f"{written};"), capsys)
    assert wired()["door"][1] == normal


def differences(text: str, capsys: Capture) -> list[str]:
    """What a list is told to differ in from the program."""
    told = made(text, capsys)
    start = next(n for n, line in enumerate(told) if line.startswith("to clear up"))
    end = told.index("next:")
    # The model says the same, and is read nevertheless.
    for line in told[start + 1 : end]:
        assert f"#   {line.strip()}" in Path("m/model.yaml").read_text()
    return [line.strip() for line in told[start + 1 : end]]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "level;IW4;INT",
            "levl;IW4;INT",
            [
                "list.csv:4:1: 'levl' is no input or output of the program; did you mean 'level'?",
                "station.st:5:31: the input 'level' is not in the list; did you mean 'levl'?",
            ],
        ),
        (
            "stop;I1.3",
            "halt;I1.3",
            [
                "list.csv:5:1: 'halt' is no input or output of the program, which has 'stop' at "
                "%IX1.3",
                "station.st:7:5: the input 'stop' is not in the list",
            ],
        ),
        (
            "pump;Q0.0",
            "inside;I7.0;BOOL\npump;Q0.0",
            [
                "list.csv:6:1: 'inside' is no input or output of the program: it is a variable "
                "inside; declare it as VAR_INPUT or VAR_OUTPUT"
            ],
        ),
        (
            "stop;I1.3",
            "stop;I1.4",
            ["list.csv:5:1: 'stop' is at %IX1.4 here and at %IX1.3 in the program, station.st:7"],
        ),
        (
            "level;IW4;INT",
            "level;IW4;BOOL",
            ["list.csv:4:1: 'level' is of type BOOL here and INT in the program, station.st:5"],
        ),
        (
            "level;IW4;INT",
            "level;I4.0;",
            ["list.csv:4:1: 'level' is at %IX4.0, and in the program of type INT, station.st:5"],
        ),
        (
            "pump;Q0.0",
            "pump;I4.0",
            ["list.csv:6:1: 'pump' is an input here and an output in the program, station.st:6"],
        ),
        (
            "door;I0.0",
            "door;E0.1",
            ["list.csv:3:1: 'start' is at %IX0.1, and so is 'door' in line 2"],
        ),
    ],
)
def test_what_list_and_program_say_differently_is_told(
    old: str, new: str, says: list[str], capsys: Capture
) -> None:
    assert old in LIST
    assert differences(LIST.replace(old, new), capsys) == says


def test_what_is_not_seen_in_a_list_is_a_mark_in_the_model(capsys: Capture) -> None:
    hidden = LIST.replace("Door is shut", '"Door \u202eis\nshut: {#}\x07"')
    assert AGREES in made(hidden, capsys)
    assert wired()["door"][0] == "Door <U+202E>is shut: {#}<U+0007>"


def test_what_the_program_knows_by_its_address_alone_is_found_by_that(capsys: Capture) -> None:
    Path("station.st").write_text(PROGRAM.replace("AND door", "AND door AND %IX9.1"))
    assert AGREES in made(LIST + "ready;I9.1;BOOL;From the line;;;\n", capsys)
    (line,) = differences(LIST + "ready;I9.1;INT;From the line;;;\n", capsys)
    assert line.startswith("list.csv:8:1: 'ready' is of type INT here and BOOL in the program")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("Tag;", "What;", "list.csv:1:1: no heading says which column has the names of the"),
        ("Comment", "Symbol", "list.csv:1:18: 'Tag' and 'Symbol' could each be the column of the"),
        ("start;I0.1", "DOOR;I0.1", "list.csv:3:1: 'DOOR' is listed twice; first in line 2"),
        ("grün", "pink", "list.csv:7:25: 'pink' is no colour of a lamp"),
        ("grün", "gren", "list.csv:7:25: 'gren' is no colour of a lamp; did you mean 'gruen'?"),
        ("door;", "Door shut;", "list.csv:2:1: 'Door shut' is not a name that a program could"),
        ("Module", "Direction", "list.csv:2:30: 'K1' is no direction; write I or O, DI or DO"),
    ],
)
def test_what_is_not_clear_is_asked_for_at_its_place(
    old: str, new: str, says: str, capsys: Capture
) -> None:
    assert old in LIST
    assert refused(LIST.replace(old, new), capsys)[0].startswith(says)


def test_a_column_can_be_named(capsys: Capture) -> None:
    unclear = LIST.replace("Comment", "Symbol")
    told = made(unclear, capsys, "--column", "name=Tag", "--column", "says=symbol")
    assert AGREES in told
    assert wired() == WIRED
    unknown = LIST.replace("Tag", "What")
    assert AGREES in made(unknown, capsys, "--column", "name=WHAT")
    assert "  the list: columns passed over: 'Tag'" in made(
        unknown.replace("Comment", "Tag"), capsys, "--column", "name=What"
    )
    shutil.rmtree("m")
    (line,) = refused(LIST, capsys, "--column", "name=Tags")
    assert line == "list.csv:1:1: no column is headed 'Tags'; did you mean 'Tag'?"
    assert "no key 'nam'; did you mean 'name'?" in refused(LIST, capsys, "--column", "nam=x")[-1]


def test_types_may_say_the_direction(capsys: Capture) -> None:
    text = "Tag;Type\ndoor;DI\nstart;DI\nlevel;AI\nstop;DI\npump;DO\ngreen;DI\n"
    (line,) = differences(text, capsys)
    assert line.startswith("list.csv:7:1: 'green' is an input here and an output in the program")


def workbook() -> dict[str, str | bytes]:
    inputs = rows(
        ["Inputs of station 7", "", "", ""],
        ["Tag", "Where", "", "Description"],
        ["", "Address", "Module", ""],
        ["door", "I0.0", "K1", "Door is shut"],
        ["start", "I0.1", "", "=1+1"],
        [],
        ["level", '<c t="str"><f>"IW"&amp;4</f><v>IW4</v></c>', "K2", "5"],
        merged="A1:D1 A2:A3 B2:C2 D2:D3 C4:C5",
    )
    outputs = rows(["Tag", "Address", "Lamp colour"], ["pump", "Q0.0", ""], ["green", "", "rot"])
    sheets = {"In": inputs, "Out": outputs, "Notes": rows(["nothing"]), "Old": rows(["Tag"])}
    return parts_of(sheets, hidden="Old")


def test_a_workbook_with_merged_headings_and_several_sheets_is_read(capsys: Capture) -> None:
    told = made(packed(workbook()), capsys, file="list.xlsx")
    found = wired()
    assert found["door"] == ("Door is shut", "%IX0.0", "K1")
    assert found["start"] == ("=1+1", "%IX0.1", "K1")
    assert found["level"] == ("5", "%IW4", "K2")
    assert load("m").outputs["green"].lamp == "red"
    assert "  sheet 'Notes' has no heading for names and was passed over" in told
    assert "  station.st:7:5: the input 'stop' is not in the list" in told
    assert any("1 cells hold formulas" in line or "1 cell holds a formula" in line for line in told)


def test_a_formula_without_a_result_is_told_at_its_cell(capsys: Capture) -> None:
    parts = workbook()
    parts["xl/s1.xml"] = str(parts["xl/s1.xml"]).replace("<v>IW4</v>", "")
    (line,) = refused(packed(parts), capsys, file="list.xlsx")
    says = "list.xlsx:7:2: cell B7 of 'In': the cell holds a formula without a saved result"
    assert line.startswith(says)


@pytest.mark.parametrize("file", ["model.yaml", "program/station.st", "model.schema.json"])
def test_nothing_that_exists_is_overwritten(file: str, capsys: Capture) -> None:
    target = Path("m", file)
    target.parent.mkdir(parents=True)
    target.write_text("mine")
    assert run(["new", "m", "--program", "station.st"]) == EXIT_BAD_INPUT
    assert capsys.readouterr().err == f"Error: '{target}' exists; nothing was written\n"
    assert [p for p in Path("m").rglob("*") if p.is_file()] == [target]
    assert target.read_text() == "mine"


def test_a_list_without_a_program_or_a_file_that_is_not_there_is_told(capsys: Capture) -> None:
    Path("list.csv").write_text(LIST)
    assert run(["new", "m", "--signals", "list.csv"]) == EXIT_BAD_INPUT
    assert "needs your program: --program FILES" in capsys.readouterr().err
    (line,) = refused(LIST, capsys, "--signals", "lits.csv")
    assert line == "lits.csv:1:1: no such file: lits.csv; did you mean 'list.csv'?"
    assert refused(b"x", capsys, file="list.ods")[0].endswith("save it as .xlsx or .csv")


def test_what_verify_needs_first_is_told(capsys: Capture) -> None:
    wide = PROGRAM.replace("level > 3", "level > 3 AND stop_at > 2")
    Path("station.st").write_text(wide.replace("level : INT", "level, stop_at : INT"))
    Path("m.csv").write_text("cause;pump\nlevel > stop_at;T\nlegend;T;off\n")
    given = ["--program", "station.st", "--matrix", "m.csv"]
    assert run(["new", "m", *given]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err.splitlines()
    assert told[0] == "before the first 'verify', mend this:"
    assert "has no sensor in the model" in told[1]
    assert Path("m/model.yaml").exists()


def test_names_of_the_program_are_written_as_they_are(capsys: Capture) -> None:
    text = (
        "PROGRAM Förderband VAR_INPUT tür : BOOL; END_VAR\n"
        "VAR_OUTPUT lampen : ARRAY [0..1] OF BOOL; END_VAR\n"
        "lampen[0] := NOT tür; lampen[1] := tür; END_PROGRAM"
    )
    Path("station.st").write_bytes(text.encode("cp1252"))
    assert run(["new", "m", "--program", "station.st"]) == EXIT_HOLDS
    assert "  station.st: not UTF-8: read as Windows-1252 (Latin-1)" in capsys.readouterr().out
    assert "not in the list" not in Path("m/model.yaml").read_text()
    model = load("m")
    assert (model.program.name, list(model.outputs)) == ("Förderband", ["lampen[0]", "lampen[1]"])
    # A sensor may have such a name, too, and a requirement may use it.
    edited = Path("m/model.yaml").read_text().replace("NOT lampen[0]", "lampen[0] AND NOT tür")
    Path("m/model.yaml").write_text(edited)
    assert "tür: {}" in edited
    assert run(["verify", "m", "--engine", "reference", "--plain"]) == EXIT_HOLDS


def test_numbers_that_only_people_read_stand_in_a_comment(capsys: Capture) -> None:
    text = """PROGRAM p VAR_INPUT go : BOOL; raw : INT; END_VAR
    VAR_OUTPUT run : BOOL; total : DINT; level : REAL; mean : INT; step : INT; END_VAR
    run := go; step := SEL(go, 1, 4); level := INT_TO_REAL(raw) * 0.5; mean := raw / 2;
    IF go THEN total := total + 1; END_IF; END_PROGRAM"""
    Path("station.st").write_text(text)
    assert run(["new", "m", "--program", "station.st"]) == EXIT_HOLDS
    written = Path("m/model.yaml").read_text()
    assert "# level: {}  # left out: REAL numbers are not judged" in written
    assert "# total: {}  # left out: it may have 4,294,967,296 values, and nothing" in written
    model = load("m")
    assert list(model.outputs) == ["run", "step"]
    told = {note.says for note in model.project.notes}
    assert {"left out: nothing reads 'total'", "left out: nothing reads 'mean'"} <= told
    # Asked for, it stays.
    Path("m/model.yaml").write_text(written.replace("# total: {}", "total: {}"))
    assert "total" in load("m").outputs


def test_a_program_without_outputs_is_asked_for_what_it_has_inside(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("alone.st").write_text(
        "VAR start, stop : BOOL; run, lamp : BOOL; n : INT; END_VAR\n"
        "run := (start OR run) AND NOT stop; lamp := NOT run; n := n + 1;\n"
    )
    assert run(["new", "alone", "--program", "alone.st"]) == EXIT_HOLDS
    text = Path("alone/model.yaml").read_text(encoding="utf-8")
    assert "#   run, lamp\n" in text
    assert "never: run AND lamp, judged: after scan" in text
    capsys.readouterr()
    assert run(["verify", "alone", "--plain"]) == EXIT_HOLDS
    assert "run can always be switched off again" in capsys.readouterr().out
    asked = "requirements:\n  R9: {says: s, never: run AND lamp, judged: after scan}\n"
    Path("alone/model.yaml").write_text(text.partition("requirements:\n")[0] + asked)
    assert run(["verify", "alone", "--plain"]) == EXIT_HOLDS


WIRED_OUTSIDE = """\
PROGRAM Station
VAR stop AT %IX1.3 : BOOL; start, spare : BOOL; pump : BOOL; inside : BOOL; END_VAR
inside := start AND NOT stop;
pump := inside OR spare;
END_PROGRAM
"""


def test_a_list_wires_variables_that_the_program_gives_no_address(capsys: Capture) -> None:
    Path("station.st").write_text(WIRED_OUTSIDE)
    listed = "name;address;comment\nstart;I0.1;Start\nstop;I1.3;Stop\npump;Q0.0;Pump\n"
    told = made(listed, capsys)
    assert "the program has 2 inputs and 1 output; every input is free" in told
    assert "list.csv has 3 signals; 3 are these" in told
    assert AGREES in told
    lines = Path("m/model.yaml").read_text().splitlines()
    assert "  start: {says: 'Start', address: '%IX0.1'}" in lines
    assert "  pump: {says: 'Pump', address: '%QX0.0'}" in lines
    # What the list does not name stays as it is, and may be wired by hand.
    assert lines[lines.index("# it is wired all the same:") + 1] == "#   spare"
    assert run(["verify", "m"]) == EXIT_HOLDS
    Path("m/model.yaml").write_text(
        "\n".join(
            [*lines[:-1], "  R1: {says: stopped, when: stop, never: pump, judged: after scan}"]
        )
    )
    assert run(["verify", "m"]) == EXIT_HOLDS
    text = Path("m/model.yaml").read_text().replace("\nsensors:\n", "\nsensors:\n  spare: {}\n")
    Path("m/model.yaml").write_text(text)
    assert run(["verify", "m"]) == EXIT_VIOLATED


def test_what_a_program_without_outputs_has_inside_may_be_named_as_one(capsys: Capture) -> None:
    Path("station.st").write_text(WIRED_OUTSIDE)
    assert run(["new", "m", "--program", "station.st"]) == EXIT_HOLDS
    lines = Path("m/model.yaml").read_text().splitlines()
    assert lines[lines.index("# it is wired all the same:") + 1] == "#   start, spare"
    assert "#   pump, inside" in lines


def test_what_the_program_writes_is_no_input_though_the_list_says_so(capsys: Capture) -> None:
    Path("station.st").write_text(WIRED_OUTSIDE)
    told = made("name;direction\npump;input\nstart;input\nstop;input\n", capsys)
    says = "'pump' is no input or output of the program: it is a variable inside"
    assert any(says in line for line in told)


def test_a_drawn_program_may_be_given(capsys: Capture) -> None:
    drawn = Path(__file__).parents[4] / "models/ramp-drawn/controller.xml"
    assert run(["new", "m", "--program", str(drawn)]) == EXIT_HOLDS
    assert "the program has 7 inputs and 7 outputs" in capsys.readouterr().out
    assert run(["verify", "m"]) == EXIT_HOLDS
