"""Names in quotes that no file declares: globals of a list that lies elsewhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.engines import catalogue
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.judgement.verify import verify
from interlock.model.load import load
from interlock.st.load import Loaded, load_project

HEAD = """\
FUNCTION_BLOCK "Pump"
VAR_INPUT enable : BOOL; n : DINT; w : WORD; END_VAR
VAR_OUTPUT q : BOOL; m : INT; END_VAR
VAR t : TON; r : REAL; END_VAR
BEGIN
"""
TYPES = """\
TYPE Lvl : INT (0..5); END_TYPE
TYPE Sort : (Run, Stop); END_TYPE
"""


def loaded(code: str, *more: str) -> Loaded:
    head = HEAD.replace("r : REAL;", "r : REAL; level : Lvl; part : INT (0..5); e : Sort;")
    texts = {"types.st": TYPES, "pump.st": f"{head}{code}\nEND_FUNCTION_BLOCK\n"}
    texts |= {f"more{number}.st": text for number, text in enumerate(more)}
    return load_project(texts, "Pump")


def added(project: Loaded) -> set[str]:
    return {name for file in project.files for name in file.undeclared}


@pytest.mark.parametrize(
    ("code", "type_"),
    [
        ('#q := #enable AND "x";', "BOOL"),
        ('#q := NOT "x";', "BOOL"),
        ('IF "x" THEN #q := TRUE; END_IF;', "BOOL"),
        ('"x" := #enable;', "BOOL"),
        ('"x" := #n > 3;', "BOOL"),
        ('#q := "x" > 3;', "INT"),
        ('#q := 3 = "x";', "INT"),
        ('#q := #n <= "x";', "DINT"),
        ('#q := ("x" AND #w) = 16#1;', "WORD"),
        ('#q := "x" = UINT#3;', "UINT"),
        ('"x" := #m + 1;', "INT"),
        ('"x" := INT_TO_DINT(#m); #n := "x";', "DINT"),
        ('#t(IN := #enable, PT := "x"); #q := #t.Q;', "TIME"),
        ('#t(IN := "x", PT := T#1s); #q := #t.Q;', "BOOL"),
        ('#q := "x" > T#1s;', "TIME"),
        ('CASE "x" OF 1: #q := TRUE; END_CASE;', "INT"),
        ('#q := "x" > 40000;', "DINT"),
        ('#q := "x" > 32767;', "DINT"),
        ('#q := "x" < -32767;', "INT"),
        ('#q := "x" < -32768;', "DINT"),
        ('#level := "x";', "INT"),
        ('#part := "x";', "INT"),
        ('"x" := #q OR "x";', "BOOL"),
        ('#q := "x" > 16#7FFF_FFFF_FFFF;', "LINT"),
        ('#q := "x" > -3;', "INT"),
        ('#q := "x" > 3 AND "x" < 3.5;', "REAL"),
        ('#q := "x" > 3 AND "x" < #n;', "DINT"),
        ('#r := INT_TO_REAL("x");', "INT"),
        ('#q := "x";\n#q := "x" = TRUE;', "BOOL"),
    ],
)
def test_the_type_is_read_off_what_stands_beside_the_name(code: str, type_: str) -> None:
    project = loaded(code)
    assert added(project) == {"x"}
    told = [note.says for note in project.notes if "not declared" in note.says]
    assumed = "; assumed: nobody else writes it" if '"x" :=' in code else ""
    assert told == [f"'x' is not declared: taken for a global {type_} of a file not given{assumed}"]


def test_what_some_file_declares_is_no_such_global() -> None:
    assert added(loaded('#q := "x" > 3;', "VAR_GLOBAL x : INT; END_VAR")) == set()
    with pytest.raises(InputError, match="'Pump' is not declared"):
        loaded('"Pump" := #enable;')


def test_a_member_or_a_call_shows_no_type() -> None:
    # What is read of a structure that is not given is any value, see the names with a dot.
    assert added(loaded('#q := "x".level > 3 AND #enable;')) == set()
    assert added(loaded('"x"(IN := #enable); #q := #enable;')) == set()


def test_a_name_without_quotes_is_a_mistake_as_ever() -> None:
    with pytest.raises(InputError, match="'other' is not declared"):
        loaded('#q := "x" AND other;')


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ('#q := "x" > #n AND "x" < #m;', "DINT as well as INT stands beside it"),
        ('#m := INT#3 + "x"; #q := "x" > 40000;', "INT as well as a larger number stands beside"),
        ('#q := "x" > #n AND "x" < 0.5;', "DINT as well as a fraction stands beside it"),
        ('#q := "x" = "y";', "nothing beside it shows its type"),
        ('#q := TO_INT("x") > 3;', "nothing beside it shows its type"),
        ('#q := #e = "x";', "Sort stands beside it, which it need not be"),
    ],
)
def test_what_shows_two_types_is_refused(code: str, says: str) -> None:
    with pytest.raises(InputError, match=f"the global 'x' is not declared, and {says}"):
        loaded(code)


def test_an_argument_is_of_the_type_that_its_own_block_declares() -> None:
    blocks = (
        'FUNCTION_BLOCK "A" VAR_INPUT v : BOOL; END_VAR\nBEGIN\nRETURN;\nEND_FUNCTION_BLOCK\n'
        'FUNCTION_BLOCK "B" VAR_INPUT v : DINT; END_VAR\nBEGIN\nRETURN;\nEND_FUNCTION_BLOCK\n'
    )
    root = HEAD.replace("t : TON;", 'a : "A"; b : "B"; t : TON;')
    text = f'{blocks}{root}#a(v := "x"); #b(v := "y"); #q := #enable;\nEND_FUNCTION_BLOCK\n'
    told = [note.says for note in load_project({"p.st": text}, "Pump").notes]
    for name, type_ in (("x", "BOOL"), ("y", "DINT")):
        says = f"'{name}' is not declared: taken for a global {type_} of a file not given"
        assert says in told


def verdicts(folder: Path, requirements: str, **files: str) -> list[str]:
    for name, text in files.items():
        (folder / f"{name}.st").write_text(text)
    (folder / "model.yaml").write_text(
        f"title: T\ncontroller: [{', '.join(f'{name}.st' for name in files)}]\nroot: Pump\n"
        f"requirements:\n{requirements}"
    )
    model = load(folder)
    (one,) = model.controllers
    assert one.project is not None
    # What is one unit of scalars is executed as checked.
    assert one.project.is_plain or is_executed_as_written(model)
    findings = verify(model, catalogue()["enumerate"]()).findings
    return [f.verdict.outcome.name for f in findings if f.requirement.id.startswith("R")]


APART = (
    HEAD
    + """\
#q := NOT "Enable" AND #enable;
"q" := #q;
#r := 0.0;
END_FUNCTION_BLOCK
"""
)


def test_a_global_is_no_variable_of_the_same_name(tmp_path: Path) -> None:
    asked = (
        "  R1: {says: only without the global, never: q AND Enable_, judged: after scan}\n"
        "  R2: {says: not of its own input, never: q, judged: after scan}\n"
        "  R3: {says: both outputs, always: q = Pump.q_, judged: after scan}\n"
    )
    assert verdicts(tmp_path, asked, pump=APART) == ["HOLDS", "VIOLATED", "HOLDS"]
    (one,) = load(tmp_path).controllers
    assert one.project is not None
    says = '"Enable" is a global beside another Enable: it is called Enable_ here'
    assert (6, says) in {(note.place.line, note.says) for note in one.project.notes}


ALARM = """\
FUNCTION_BLOCK "Bell"
VAR_OUTPUT o : BOOL; END_VAR
VAR {own} : BOOL; END_VAR
BEGIN
#o := "alarm";
"alarm" := FALSE;
END_FUNCTION_BLOCK
"""


@pytest.mark.parametrize(("own", "other"), [("alarm", "spare"), ("spare", "alarm")])
def test_a_global_is_one_in_all_files(tmp_path: Path, own: str, other: str) -> None:
    # Wherever a variable of a unit has its name.
    root = HEAD.replace("t : TON;", f'{own} : BOOL; a : "Bell"; t : TON;')
    code = f'"alarm" := #enable;\n#{own} := FALSE;\n#a();\n#q := #a.o;\nEND_FUNCTION_BLOCK\n'
    asked = "  R1: {says: x, never: q}\n  R2: {says: x, always: q = enable, judged: after scan}\n"
    files = {"pump": root + code, "alarm": ALARM.format(own=other)}
    assert verdicts(tmp_path, asked, **files) == ["VIOLATED", "HOLDS"]


def test_a_declared_global_and_a_variable_of_one_name_are_refused() -> None:
    with pytest.raises(InputError, match="6:1: 'q' in quotes is a global, and a variable of the"):
        loaded('"q" := #enable;', "VAR_GLOBAL q : BOOL; END_VAR")


FUNCTION = """\
FUNCTION "calc" : BOOL
VAR_INPUT i : BOOL; END_VAR
BEGIN
#calc := NOT #i;
END_FUNCTION
"""
MORE = """\
VAR_GLOBAL CONSTANT RUN : INT := 1; END_VAR
TYPE Udt : STRUCT a : BOOL; END_STRUCT; END_TYPE
"""


@pytest.mark.parametrize(
    ("declared", "code", "before"),
    [
        ("", '#q := "calc"(i := #enable);', FUNCTION),
        ("calc : BOOL;", '#calc := "calc"(i := #enable); #q := #calc;', FUNCTION),
        ("", 'CASE #m OF "RUN": #q := "RUN" = 2; ELSE #q := NOT #enable; END_CASE;', ""),
        ('udt : "Udt";', "#udt.a := NOT #enable; #q := #udt.a;", ""),
        ('Pump : "Udt";', "#Pump.a := NOT #enable; #q := #Pump.a;", ""),
    ],
)
def test_units_types_and_constants_in_quotes_are_what_they_are(
    tmp_path: Path, declared: str, code: str, before: str
) -> None:
    head = HEAD.replace("t : TON;", f"{declared} t : TON;")
    text = f"{before}{head}{code}\nEND_FUNCTION_BLOCK\n"
    asked = "  R1: {says: x, always: q = NOT enable, judged: after scan}\n"
    assert verdicts(tmp_path, asked, pump=text, more=MORE) == ["HOLDS"]


def test_a_name_in_quotes_behind_a_sign_is_the_units_own() -> None:
    text = HEAD.replace("enable :", '"on it" :') + '#q := #"on it";\nEND_FUNCTION_BLOCK\n'
    project = load_project({"pump.st": text}, "Pump")
    assert added(project) == set()
    assert "on_it_20" in {v.name for v in project.program.inputs}


def test_names_that_only_signs_tell_apart_are_apart_in_all_files(tmp_path: Path) -> None:
    # Whichever of them stands first in its file.
    root = HEAD.replace("t : TON;", 'a : "Bell"; t : TON;')
    pump = f'{root}"Motor-1" := #enable;\n"Motor 1" := FALSE;\n#a();\n#q := #a.o;\n'
    bell = ALARM.format(own="spare").replace('#o := "alarm"', '#o := "Motor 1" OR "Motor_1"')
    bell = bell.replace('"alarm" := FALSE', '"Motor_1" := "Motor-1"')
    asked = "  R1: {says: x, never: q AND NOT Pump.Motor_1}\n  R2: {says: x, never: Pump.Motor_1}\n"
    files = {"pump": f"{pump}END_FUNCTION_BLOCK\n", "bell": bell}
    assert verdicts(tmp_path, asked, **files) == ["VIOLATED", "VIOLATED"]
    told = {v.name for v in load(tmp_path).controllers[0].program.variables}
    assert {"Motor_1_2d", "Motor_1_20", "Motor_1"} <= told


@pytest.mark.parametrize("other", ["TYPE Sort : (x_, Stop); END_TYPE", "TYPE x_ : INT; END_TYPE"])
def test_a_global_beside_another_takes_no_name_that_is_taken(other: str) -> None:
    text = HEAD.replace("t : TON;", "x : BOOL; t : TON;") + '"x" := #x;\nEND_FUNCTION_BLOCK\n'
    project = load_project({"p.st": text, "more.st": other}, "Pump")
    assert added(project) == {"x__"}


def test_a_label_is_no_global_in_quotes() -> None:
    text = HEAD.replace("t : TON;", "e : Sort; t : TON;")
    text += '#e := Run; #q := "Run" = 7;\nEND_FUNCTION_BLOCK\n'
    assert added(load_project({"p.st": text, "more.st": TYPES}, "Pump")) == {"Run_"}


def test_a_word_of_the_language_in_quotes_is_called_otherwise() -> None:
    assert added(loaded('#q := "IF" AND "true";')) == {"IF_", "true_"}


PROGRAM = HEAD + (
    '#q := "start" OR "held";\n"held" := #q AND NOT "stop";\nEND_FUNCTION_BLOCK\n'
    'FUNCTION_BLOCK "Other"\nVAR v : BOOL; END_VAR\nBEGIN\n"start" := TRUE;\nEND_FUNCTION_BLOCK\n'
)
MODEL = """\
title: Globals that are declared elsewhere
controller: pump.st
root: Pump
sensors: {stop: {}, start: {}}
outputs: {held: {}}
requirements:
  R1: {says: it is never held without start, never: held}
  R2: {says: stop is stronger, when: stop, never: held, judged: after scan}
  R3: {says: held until stop, when: held AND NOT stop, always: q, judged: after scan}
"""


def test_what_other_code_alone_writes_has_any_value_and_the_judge_executes_the_text(
    tmp_path: Path,
) -> None:
    (tmp_path / "pump.st").write_text(PROGRAM)
    (tmp_path / "model.yaml").write_text(MODEL)
    model = load(tmp_path)
    assert is_executed_as_written(model)
    findings = verify(model, catalogue()["enumerate"]()).findings
    violated = {f.requirement.id for f in findings if f.verdict.outcome.name == "VIOLATED"}
    assert violated == {"R1"}


def test_a_new_model_has_them_among_its_inputs_and_outputs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("pump.st").write_text(PROGRAM)
    assert run(["new", "m", "--program", "pump.st", "--root", "Pump"]) == 0
    text = Path("m/model.yaml").read_text()
    assert "sensors:\n  enable: {}\n  n: {}\n  w: {}\n  start: {}\n  stop: {}\n" in text
    assert "\noutputs:\n  q: {}\n  m: {}\n  held: {}\n" in text
    assert run(["verify", "m"]) == 0


def test_they_are_declared_in_an_export(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "pump.st").write_text(PROGRAM)
    (tmp_path / "model.yaml").write_text(MODEL)
    assert run(["export", str(tmp_path), "--as", "st"]) == 0
    written = capsys.readouterr().out
    assert "VAR_GLOBAL" in written
    texts = {"written.st": written}
    assert {v.name for v in load_project(texts, "Pump").program.variables} >= {"start", "held"}


def test_an_export_of_what_calls_code_of_other_files_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "pump.st").write_text(
        f'{HEAD}"other"(a := #enable, o => #q);\nEND_FUNCTION_BLOCK\n'
    )
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: pump.st\nrequirements: {R1: {says: x, never: q}}\n"
    )
    assert run(["export", str(tmp_path), "--as", "st"]) == 2
    assert "the program calls code that is not in its files" in capsys.readouterr().err
