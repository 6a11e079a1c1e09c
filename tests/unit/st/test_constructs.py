"""Each construct of programs as people write them, and the tree it is read as."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.st import syntax as sx
from interlock.st.load import load_project
from interlock.st.parser import parse_expression, parse_file
from interlock.st.write import write_expression, write_file

MACHINES = Path(__file__).parent / "machine_logic"


def read(name: str) -> sx.SourceFile:
    return parse_file((MACHINES / name).read_bytes().decode("utf-8"), name)


def unit_of(text: str) -> sx.Unit:
    (unit,) = parse_file(text, "some folder/the-file.st").units
    return unit


def statement_of(text: str) -> sx.Statement:
    (statement,) = unit_of(f"PROGRAM p\n{text}\nEND_PROGRAM").body
    return statement


def declaration_of(text: str) -> sx.Declaration:
    (declaration,) = unit_of(f"PROGRAM p VAR {text} END_VAR END_PROGRAM").declarations
    return declaration


def notes_of(text: str) -> list[str]:
    return [f"{n.place.line}: {n.says}" for n in parse_file(text, "file.st").notes]


# Expressions


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("a & b AND_THEN c", "a AND b AND c"),
        ("a OR_ELSE b", "a OR b"),
        ("-a ** b ** c", "-a ** b ** c"),
        ("-(a ** b)", "-(a ** b)"),
        ("a * b ** 2 + 1", "a * b ** 2 + 1"),
        ("a <> b = c", "a <> b = c"),
        ("BYTE#16#FF", "BYTE#255"),
        ("2#1010_1010 OR 16#ff", "170 OR 255"),
        ("real#1.5 + 1.5E-3 + 1E6 + 1_0.2_5", "REAL#1.5 + 1.5E-3 + 1E6 + 10.25"),
        ("LREAL#-2", "LREAL#-2"),
        ("T#1.5s", "T#1500ms"),
        ("t#-5s", "T#-5s"),
        ("T# 30000ms", "T#30s"),
        ("LTIME#1d2h", "LTIME#93600s"),
        ("TIME#1d2h3m4s5ms", "T#93784005ms"),
        ("T#1000us", "T#1ms"),
        ("BOOL#1", "TRUE"),
        ("w.3 OR w.%X3", "w.3 OR w.3"),
        ("a.b.c", "a.b.c"),
        ("a[1].b[i, j + 1].c", "a[1].b[i, j + 1].c"),
        ("p^.x + a[1]^", "p^.x + a[1]^"),
        ("THIS^.x + SUPER^.y", "THIS.x + SUPER.y"),
        ("ns.E#V", "ns.E#V"),
        ("%mx1.0", "%MX1.0"),
        ("AND(a, OR(b, NOT(c)))", "AND(a, OR(b, NOT c))"),
        ("ADD(EN := a, b, ENO => c)", "ADD(b, EN := a, ENO => c)"),
        ("a[1].Do(x := 1, NOT Q => y)", "a[1].Do(x := 1, NOT Q => y)"),
        ("fb.step + class.action", "fb.step + class.action"),
        ("double__under", "double__under"),
        ("DT#2024-02-29-12:00:00 > D#2024-01-01", "DT#2024-02-29-12:00:00 > D#2024-01-01"),
        ("'it$'s $N' = \"wide\"", "'it$'s $N' = \"wide\""),
    ],
)
def test_an_expression_is_read(text: str, written: str) -> None:
    assert write_expression(parse_expression(text)) == written


def test_kinds_of_literals_are_kept_apart() -> None:
    kinds = {"'a'": "STRING", '"a"': "WSTRING", "TOD#1:2:3": "TOD", "DATE#2024-1-1": "DATE"}
    for text, kind in kinds.items():
        tree = parse_expression(text)
        assert isinstance(tree, sx.Opaque)
        assert (tree.text, tree.kind) == (text, kind)
    assert isinstance(parse_expression("T#UP"), sx.Qualified)
    assert isinstance(parse_expression("1E3"), sx.Real)
    assert parse_expression("LT#2s") == sx.Duration(2000, parse_expression("x").place, "LTIME")


# Statements


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Act;", ("", "Act", 0, 0, True)),
        ("THIS^.Act;", ("", "THIS.Act", 0, 0, True)),
        ("t();", ("", "t", 0, 0, False)),
        ("t(a, IN := b, Q => c);", ("", "t", 2, 1, False)),
        ("t(IN := , PT := d, Q => );", ("", "t", 1, 0, False)),
        ("legs[1]();", ("legs[1]", "", 0, 0, False)),
        ("legs[1].Do(x := 1);", ("legs[1]", "Do", 1, 0, False)),
        ("legs[1].knee.Do;", ("legs[1].knee", "Do", 0, 0, True)),
        ("p^();", ("p^", "", 0, 0, False)),
        ("SUPER^();", ("", "SUPER", 0, 0, False)),
    ],
)
def test_a_call_is_read(text: str, expected: tuple[str, str, int, int, bool]) -> None:
    call = statement_of(text)
    assert isinstance(call, sx.Invoke)
    on = write_expression(call.on) if call.on is not None else ""
    found = (on, call.instance.text, len(call.inputs), len(call.outputs), call.bare)
    assert found == expected


@pytest.mark.parametrize(
    ("text", "target"),
    [
        ("t.IN := a;", "t.IN"),
        ("w.%X3 := a;", "w.3"),
        ("a[1].x := b;", "a[1].x"),
        ("p^ := b;", "p^"),
        ("%QX1.0 := b;", "%QX1.0"),
        ("THIS^.x := b;", "THIS.x"),
    ],
)
def test_a_target_is_read(text: str, target: str) -> None:
    assignment = statement_of(text)
    assert isinstance(assignment, sx.Assign)
    assert write_expression(assignment.target) == target


@pytest.mark.parametrize(
    ("text", "says", "kept"),
    [
        ("p ?= q;", "?= is not supported", "p ?= q;"),
        ("JMP out;", "jumps and labels", "JMP out;"),
        ("out:", "jumps and labels", "out:"),
    ],
)
def test_a_statement_without_a_meaning_here_is_kept_refused(
    text: str, says: str, kept: str
) -> None:
    refused = statement_of(text)
    assert isinstance(refused, sx.Refused)
    assert refused.text == kept
    assert says in refused.says


def test_set_and_reset_are_conditions() -> None:
    assert statement_of("a S= b OR c;") == statement_of("IF b OR c THEN a := TRUE; END_IF")
    assert statement_of("a.x R= b;") == statement_of("IF b THEN a.x := FALSE; END_IF")


def test_ends_of_statements_need_no_semicolon() -> None:
    text = "IF a THEN FOR i := 1 TO 2 BY -1 DO ; END_FOR END_IF WHILE a DO EXIT; END_WHILE"
    body = unit_of(f"PROGRAM p {text} REPEAT ; UNTIL a; END_REPEAT END_PROGRAM").body
    assert [type(s) for s in body] == [sx.If, sx.While, sx.Repeat]


def test_labels_of_a_case_take_every_form() -> None:
    text = """CASE n OF
      1: a := 1; b := 2;
      -2, 3..4, LOW, Mode#TOP, Mode.MID, INT#7, N + 1: Act;
      LAST: CASE m OF 1: ; 2: x.y(IN := a); END_CASE
      ELSE ;
    END_CASE"""
    case = statement_of(text)
    assert isinstance(case, sx.Case)
    labels = [
        [write_expression(label.first) + (".." if label.last else "") for label in branch.labels]
        for branch in case.branches
    ]
    assert labels == [
        ["1"],
        ["-2", "3..", "LOW", "Mode#TOP", "Mode.MID", "INT#7", "N + 1"],
        ["LAST"],
    ]
    assert [len(branch.body) for branch in case.branches] == [2, 1, 1]
    assert len(case.otherwise) == 1


# Types and declarations


@pytest.mark.parametrize(
    ("text", "type_", "initial"),
    [
        ("x : INT (0..7) := 3;", "INT (0..7)", "3"),
        ("x : UINT(1..MAX - 1);", "UINT (1..MAX - 1)", None),
        ("x : STRING(80) := 'a';", "STRING[80]", "'a'"),
        ("x : WSTRING[5];", "WSTRING[5]", None),
        ("x : (A, B := 3) := B;", "(A, B := 3)", "B"),
        ("x : INT (A, B := 3);", "INT (A, B := 3)", None),
        ("x : (A, B) INT := A;", "INT (A, B)", "A"),
        (
            "x : ARRAY [0..1, -1..N] OF ARRAY[*] OF T;",
            "ARRAY [0..1, -1..N] OF ARRAY [*] OF T",
            None,
        ),
        ("x : ARRAY[1..4] OF INT := 1, 2(0), 3;", "ARRAY [1..4] OF INT", "[1, 2(0), 3]"),
        ("x : ARRAY[1..4] OF INT := [2(1, 2)];", "ARRAY [1..4] OF INT", "[1, 2, 1, 2]"),
        ("x : ARRAY[1..4] OF INT := 4();", "ARRAY [1..4] OF INT", "[4()]"),
        (
            "x : T := (a := 1, b := [2(0)], c := (d := 1));",
            "T",
            "(a := 1, b := [2(0)], c := (d := 1))",
        ),
        ("x : T := (a := 1, 2, b := 3);", "T", "(a := [1, 2], b := 3)"),
        ("x : POINTER TO REF_TO INT;", "POINTER TO REF_TO INT", None),
        ("x : REFERENCE TO ns.T;", "REF_TO ns.T", None),
        ("x : TON := (PT := T#5s);", "TON", "(PT := T#5s)"),
        ("TON : TON;", "TON", None),
    ],
)
def test_a_declaration_is_read(text: str, type_: str, initial: str | None) -> None:
    written = write_file(parse_file(f"PROGRAM p VAR {text} END_VAR END_PROGRAM", "f.st"))
    line = written.splitlines()[2].strip()
    behind = f" := {initial};" if initial else ";"
    assert line == f"{text.split()[0]} : {type_}{behind}"


def test_addresses_edges_and_words_of_sections_are_read() -> None:
    unit = unit_of(
        """FUNCTION_BLOCK f
        VAR_INPUT a AT %ix0.0 : BOOL; b : BOOL R_EDGE; c : BOOL F_EDGE; AT %I* : INT; END_VAR
        VAR CONSTANT PRIVATE d : INT := 1; END_VAR
        VAR PERSISTENT RETAIN e : INT; END_VAR
        VAR NON_RETAIN g, h : INT; END_VAR
        END_FUNCTION_BLOCK"""
    )
    found = [
        ("".join(n.text for n in d.names), d.address, d.edge, d.constant, d.retain)
        for d in unit.declarations
    ]
    assert found == [
        ("a", "%IX0.0", "", False, False),
        ("b", "", "R_EDGE", False, False),
        ("c", "", "F_EDGE", False, False),
        ("%I*", "%I*", "", False, False),
        ("d", "", "", True, False),
        ("e", "", "", False, True),
        ("gh", "", "", False, False),
    ]
    assert unit.declarations[4].words == ("CONSTANT", "PRIVATE")


def test_types_of_every_kind_may_share_a_block() -> None:
    types = read("conveyor.st").types
    assert [t.name for t in types] == [
        *("BeltMode", "Percent", "Speeds", "BeltData", "WideBelt", "Count")
    ]
    mode, percent, speeds, data, wide, count = types
    assert mode.type.base == "USINT"
    assert [label.value is not None for label in mode.type.labels] == [False, True, False, True]
    assert percent.type.lo is not None
    assert speeds.type.name == "ARRAY"
    assert [d.names[0].text for d in data.type.fields] == [
        *("mode", "jam_after", "speeds", "counts")
    ]
    assert wide.extends == "BeltData"
    assert wide.type.fields[1].type.fields[0].names[1].text == "hi"
    assert count.type.name == "DINT"


def test_a_union_is_read_by_its_name() -> None:
    (union,) = parse_file("TYPE u : UNION a : INT; b : WORD; END_UNION; END_TYPE", "u.st").types
    assert union.type.name == "UNION"
    assert len(union.type.fields) == 2


# Units


def test_units_with_methods_properties_and_actions_are_read() -> None:
    source = read("press.st")
    interface, machine, press, limited, main = source.units
    assert (interface.kind, machine.kind, machine.words) == ("INTERFACE", "CLASS", ("ABSTRACT",))
    assert press.namespace == "Shop.Presses"
    assert (press.extends, press.implements) == ("Machine", ("IPress", "ILamp"))
    assert [(m.kind, m.name, m.words) for m in press.methods] == [
        ("METHOD", "Close", ("PUBLIC",)),
        ("METHOD", "Reset", ("PROTECTED", "OVERRIDE")),
        ("GET", "Closed", ("PUBLIC",)),
        ("SET", "Closed", ("PUBLIC",)),
    ]
    assert press.methods[2].returns is not None
    assert len(press.methods[2].declarations) == 1
    assert [a.name for a in press.actions] == ["Lift"]
    assert [type(s) for s in press.body] == [sx.Invoke, sx.Case]
    assert (limited.kind, limited.namespace) == ("FUNCTION", "")
    assert limited.returns is not None
    assert len(main.body) == 6


def test_a_chart_is_read() -> None:
    (gate,) = read("gate.st").units
    assert gate.chart is not None
    assert [(s.name, s.initial, len(s.actions)) for s in gate.chart.steps] == [
        ("Closed", True, 1),
        ("Opening", False, 2),
        ("Opened", False, 1),
        ("Closing", False, 1),
        ("Warned", False, 0),
    ]
    uses = [use for step in gate.chart.steps for use in step.actions]
    assert [(u.name, u.qualifier, u.duration is not None) for u in uses] == [
        ("Rest", "N", False),
        ("Raise", "N", False),
        ("Blink", "D", True),
        ("Wait", "L", True),
        ("Lower", "N", False),
    ]
    ways = [
        (t.name, [n.text for n in t.sources], [n.text for n in t.targets], t.priority)
        for t in gate.chart.transitions
    ]
    assert ways == [
        ("begin", ["Closed"], ["Opening"], 1),
        ("", ["Opening"], ["Opened"], None),
        ("", ["Opened"], ["Closing", "Warned"], None),
        ("closed", ["Closing", "Warned"], ["Closed"], None),
        ("again", ["Closing"], ["Opening"], None),
    ]
    assert write_expression(gate.chart.transitions[3].condition) == "at_bottom"
    assert [d.names[0].text for d in gate.declarations][-2:] == ["step", "class"]
    assert [a.name for a in gate.actions] == ["Raise", "Lower", "Rest", "Blink", "Wait"]


def test_a_configuration_is_read() -> None:
    source = read("hoist.st")
    assert [(t.name, t.interval_ms) for t in source.tasks] == [
        ("Fast", 10),
        ("Slow", 1000),
        ("Event", None),
    ]
    assert [(i.name, i.task, i.type_name) for i in source.instances] == [
        ("HoistInstance", "Fast", "Hoist"),
        ("Spare", "", "Lib.Spare"),
    ]
    assert [(d.names[0].text, d.constant, d.retain, d.address) for d in source.globals] == [
        ("MAX_LOAD", True, False, ""),
        ("hours", False, True, ""),
        ("e_stop", False, False, "%IX2.0"),
        ("horn", False, False, "%QX2.0"),
    ]


def test_missing_ends_of_units_are_noted() -> None:
    source = read("pump_station.st")
    assert [(u.kind, u.name) for u in source.units] == [
        ("PROGRAM", "PumpStation"),
        ("FUNCTION_BLOCK", "Pump"),
    ]
    assert [m.name for m in source.units[1].methods] == ["Stop", "Drain"]
    assert [a.name for a in source.units[0].actions] == ["Drain"]
    says = [note.says for note in source.notes]
    assert any(says_.startswith("END_FUNCTION_BLOCK of Pump is missing") for says_ in says)
    assert any(says_.startswith("END_METHOD of Stop is missing") for says_ in says)


def test_a_text_without_a_head_is_a_program_named_after_its_file() -> None:
    latch = unit_of("VAR_INPUT a : BOOL; END_VAR\nIF a THEN ; END_IF")
    assert (latch.kind, latch.name, len(latch.declarations)) == ("PROGRAM", "the_file", 1)
    assert len(unit_of("q := a;\nn := n + 1;").body) == 2
    assert read("statements.st").units[0].name == "statements"


# What stands round programs


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("{attribute 'hide'}\nPROGRAM p END_PROGRAM", "1: the pragma {attribute 'hide'}"),
        ("@LINE 5\nPROGRAM p END_PROGRAM", "1: lines of an export were read over"),
        ("PROGRAM p\n======\n; END_PROGRAM", "2: lines of an export were read over"),
        ("A belt (old).\n\nPROGRAM p\nEND_PROGRAM", "1: the text before the first unit"),
        ("PROGRAM p ; END_PROGRAM\nEnd of listing.", "2: the text behind the last unit was read"),
        ("It's a belt\nVAR a : BOOL; END_VAR", "1: the text before the first unit"),
        ("PROGRAM p t(IN := ); END_PROGRAM", "1: nothing is given to IN"),
        ("USING a, b.c; PROGRAM p END_PROGRAM", "1: USING a, b.c was read over"),
        ("(* (* *) PROGRAM p END_PROGRAM", "1: comments were read as ending at the first"),
    ],
)
def test_what_means_nothing_is_noted(text: str, note: str) -> None:
    assert any(found.startswith(note) for found in notes_of(text)), notes_of(text)


def test_comments_nest_and_descriptions_of_exports_are_comments() -> None:
    text = "(* a (* b *) x := 1; *) y := 2; /* /* */ */ z := 3; // (* \n w := 4;"
    assert len(unit_of(text).body) == 3
    described = "(*@KEY@:DESCRIPTION*)\nDon't; x := 1\n(*@KEY@:END_DESCRIPTION*)\ny := 2;"
    assert len(unit_of(described).body) == 1


def test_marks_and_line_ends_of_other_systems_are_white() -> None:
    assert read("lamp.st").units[0].name == "Lamp"
    assert len(unit_of("\ufeffx := 1;\r\n\x0cy := 2;\r// c\rz\xa0:= 3;").body) == 3


@pytest.mark.parametrize(
    "pragma", ["{IF defined(x)}", "{ elsif y }", "{END_IF}", "{define z}", "{attribute 'no_init'}"]
)
def test_a_pragma_that_means_something_is_refused(pragma: str) -> None:
    with pytest.raises(InputError, match=r"f\.st:2:1: the pragma \{.* is not supported"):
        parse_file(f"PROGRAM p\n{pragma}\nEND_PROGRAM", "f.st")


def test_a_file_may_be_empty() -> None:
    assert parse_file(" (* nothing *) ", "f.st").units == ()


def test_what_a_single_instance_begins_with_is_not_passed_over() -> None:
    text = "VAR_CONFIG r.p.n : INT := 3; END_VAR PROGRAM p VAR n : INT; END_VAR ; END_PROGRAM"
    with pytest.raises(InputError, match=r"1:24: what a single instance begins with is not taken"):
        load_project({"p.st": text})


def test_paths_by_which_others_write_are_an_assumption() -> None:
    text = "VAR_ACCESS w : n : INT READ_WRITE; END_VAR PROGRAM p VAR n : INT; END_VAR ; END_PROGRAM"
    says = {note.says for note in load_project({"p.st": text}).notes}
    assert "VAR_ACCESS was read over: assumed: nobody writes by these paths" in says


def test_a_task_that_waits_for_events_is_an_assumption() -> None:
    program = "PROGRAM p VAR n : INT; END_VAR ; END_PROGRAM "
    text = program + (
        "CONFIGURATION c RESOURCE r ON x TASK t(SINGLE := go, PRIORITY := 1); "
        "PROGRAM i WITH t : p; END_RESOURCE END_CONFIGURATION"
    )
    says = [note.says for note in load_project({"p.st": text}).notes]
    assert any("the task t waits for events (SINGLE); assumed: its programs" in one for one in says)
    cyclic = text.replace("SINGLE := go", "INTERVAL := T#10ms")
    says = [note.says for note in load_project({"p.st": cyclic}).notes]
    assert not any("waits for events" in one for one in says)
