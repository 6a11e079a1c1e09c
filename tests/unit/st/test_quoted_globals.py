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


def loaded(code: str, *more: str) -> Loaded:
    texts = {"pump.st": f"{HEAD}{code}\nEND_FUNCTION_BLOCK\n"}
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


APART = (
    HEAD
    + """\
#q := NOT "Enable" AND #enable;
"q" := #q;
"data"."q" := #q;
#r := 0.0;
END_FUNCTION_BLOCK
"""
)


def test_a_global_is_no_variable_of_the_same_name(tmp_path: Path) -> None:
    (tmp_path / "pump.st").write_text(APART)
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: pump.st\noutputs: {q_: {}}\nrequirements:\n"
        "  R1: {says: only without the global, never: q AND Enable_, judged: after scan}\n"
        "  R2: {says: not of its own input, never: q, judged: after scan}\n"
        "  R3: {says: both outputs, always: q = q_, judged: after scan}\n"
    )
    model = load(tmp_path)
    findings = verify(model, catalogue()["enumerate"]()).findings
    assert [f.verdict.outcome.name for f in findings[:3]] == ["HOLDS", "VIOLATED", "HOLDS"]
    (one,) = model.controllers
    assert one.project is not None
    says = '"Enable" is a global beside the variable #Enable: it is called Enable_ here'
    assert (6, says) in {(note.place.line, note.says) for note in one.project.notes}


def test_a_name_in_quotes_behind_a_sign_is_the_units_own() -> None:
    text = HEAD.replace("enable :", '"on it" :') + '#q := #"on it";\nEND_FUNCTION_BLOCK\n'
    project = load_project({"pump.st": text}, "Pump")
    assert added(project) == set()
    assert "on_it" in {v.name for v in project.program.inputs}


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
