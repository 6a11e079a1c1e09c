"""What code and types that are not in the files given may do is never taken for undone."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project


def _violates(folder: Path, text: str, never: str) -> bool:
    asked = f"{{says: s, never: {never}, judged: after scan}}"
    model = f"title: T\ncontroller: p.st\nrequirements:\n  R: {asked}\n"
    (folder / "model.yaml").write_text(model)
    (folder / "p.st").write_text(text)
    findings = verify(load(folder), catalogue()["enumerate"]()).findings
    return any(f.verdict.outcome is Outcome.VIOLATED for f in findings)


_HEAD = "PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR "


@pytest.mark.parametrize(
    "text",
    [
        _HEAD + "x : BOOL; f : Far; END_VAR f(io := x); q := x; END_PROGRAM",
        _HEAD + "x : BOOL; f : Far; END_VAR f(x); q := x; END_PROGRAM",
        _HEAD + "x : BOOL; f : Far; END_VAR f.Do(x); q := x; END_PROGRAM",
        _HEAD + "x : BOOL; f : Far; END_VAR f(o => x); q := x; END_PROGRAM",
        _HEAD + "x : BOOL; END_VAR Far(x); q := x; END_PROGRAM",
        _HEAD + "x, y : BOOL; END_VAR y := Far(x); q := x; END_PROGRAM",
        # Named like conversions and functions of texts, these are nobody's but the project's.
        _HEAD + "x, y : BOOL; END_VAR y := Latch_TO_On(x); q := x; END_PROGRAM",
        _HEAD + "x, y : BOOL; END_VAR y := Far_String_Set(x); q := x; END_PROGRAM",
        _HEAD + "x, y : BOOL; END_VAR y := CONCATENATED(x); q := x; END_PROGRAM",
        # An action of the program may stand in another file.
        _HEAD + "x : BOOL; END_VAR Far(); q := x; END_PROGRAM",
        _HEAD + "x : ARRAY [0..1] OF BOOL; i : INT(0..1); f : Far; END_VAR i := SEL(a, 0, 1); "
        "f(io := x[i]); q := x[1]; END_PROGRAM",
        _HEAD + "x : WORD; f : Far; END_VAR f(io := x.3); q := x.3; END_PROGRAM",
        "VAR_GLOBAL x : BOOL := FALSE; END_VAR " + _HEAD + "f : Far; END_VAR "
        "x := FALSE; f(); q := x; END_PROGRAM",
        "VAR_GLOBAL x : BOOL; END_VAR " + _HEAD + "y : BOOL; END_VAR "
        "y := x; Far(); q := x <> y; END_PROGRAM",
        "FUNCTION_BLOCK B VAR_IN_OUT io : BOOL; END_VAR VAR f : Far; END_VAR f(io := io); "
        "END_FUNCTION_BLOCK " + _HEAD + "x : BOOL; b : B; END_VAR b(io := x); q := x; END_PROGRAM",
    ],
)
def test_a_variable_that_unknown_code_may_write_has_any_value(text: str, tmp_path: Path) -> None:
    assert _violates(tmp_path, text, "q")
    assert _violates(tmp_path, text.replace("q := x", "q := NOT x"), "q")


@pytest.mark.parametrize(
    "text",
    [
        _HEAD + "f : Far; END_VAR f(i := a); q := f.o; END_PROGRAM",
        _HEAD + "f : Far; END_VAR IF f.o THEN q := TRUE; END_IF; END_PROGRAM",
        _HEAD + "f : Far; END_VAR q := f.n > 7; END_PROGRAM",
        _HEAD + "f : Far; END_VAR q := f.mode.n = INT#3; END_PROGRAM",
        _HEAD + "f : ARRAY [0..1] OF Far; END_VAR q := f[0].o AND NOT f[1].o; END_PROGRAM",
        _HEAD + "f, g : Far; END_VAR f := g; q := f.o; END_PROGRAM",
        _HEAD + "END_VAR q := Far(a); END_PROGRAM",
        _HEAD + "END_VAR q := a AND Far(3) > 5.5; END_PROGRAM",
        _HEAD + "f : Far; END_VAR q := f.Do(); END_PROGRAM",
        _HEAD + "f : Far; x : BOOL; END_VAR x := f.o; f(); q := x <> f.o; END_PROGRAM",
    ],
)
def test_what_is_read_of_unknown_code_has_any_value(text: str, tmp_path: Path) -> None:
    assert _violates(tmp_path, text, "q")
    assert _violates(tmp_path, text, "NOT q AND a")


def test_what_is_written_into_a_variable_of_an_unknown_type_stays(tmp_path: Path) -> None:
    text = _HEAD + "d : Data; END_VAR d.step := 4; q := d.step <> 4; END_PROGRAM"
    assert not _violates(tmp_path, text, "q")


@pytest.mark.parametrize(
    "head",
    [
        "PROGRAM m VAR_INPUT d : Data; END_VAR ",
        "PROGRAM m VAR_IN_OUT d : Data; END_VAR ",
        "PROGRAM m VAR d AT %ID4 : Data; END_VAR ",
        "PROGRAM m VAR_EXTERNAL d : Data; END_VAR ",
        "PROGRAM m VAR_INPUT d : ARRAY [0..1] OF Data; END_VAR ",
    ],
)
def test_what_is_given_from_outside_may_change_in_each_scan(head: str, tmp_path: Path) -> None:
    part = "d[1].on" if "ARRAY" in head else "d.on"
    text = f"{head} VAR_OUTPUT q : BOOL; END_VAR VAR last, twice : BOOL; END_VAR "
    text += f"q := twice AND {part} <> last; last := {part}; twice := TRUE; END_PROGRAM"
    assert _violates(tmp_path, text, "q")


def test_inputs_are_not_written_by_what_they_are_given_to(tmp_path: Path) -> None:
    text = _HEAD + "f : Far; END_VAR f(i := a); q := a; END_PROGRAM"
    assert not _violates(tmp_path, text, "q AND NOT a")


def test_code_that_is_not_there_is_told_alike_in_small_and_large_projects() -> None:
    small = _HEAD + "END_VAR Far(3); q := a; END_PROGRAM"
    large = "FUNCTION F : INT F := 1; END_FUNCTION\n" + small
    says = [[n.says for n in load_project({"p.st": text}).notes] for text in (small, large)]
    assert says[0] == says[1]
    assert "the function Far, which is not in the files given" in says[0][0]


def test_a_slip_in_a_name_is_refused() -> None:
    with pytest.raises(InputError, match="no function 'LIMTI'; did you mean 'LIMIT'"):
        load_project({"p.st": _HEAD + "n : INT; END_VAR n := LIMTI(1, 2, 3); END_PROGRAM"})


@pytest.mark.parametrize(
    "text",
    [
        "VAR_INPUT a : BOOLNOT; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR q := a; r := TRUE;",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOLNOT; r : BOOL; END_VAR q := a; r := a;",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR VAR n : BOOLNOT; END_VAR\n"
        "q := a AND n; r := n OR a;",
    ],
)
def test_an_unknown_type_that_a_model_needs_is_told_once_at_its_place(
    text: str, tmp_path: Path
) -> None:
    sensors = "plant:\n  p: {states: [x, y], initial: x}\nsensors:\n  a: {reads: p = x}\n"
    asked = "  R: {says: s, never: q AND r}\n  S: {says: s, never: q}\n"
    model = f"title: T\ncontroller: p.st\n{sensors}requirements:\n{asked}"
    (tmp_path / "model.yaml").write_text(model)
    (tmp_path / "p.st").write_text(f"PROGRAM m\n{text}\nEND_PROGRAM")
    with pytest.raises(InputError) as caught:
        load(tmp_path)
    (mistake,) = caught.value.mistakes
    at = text.partition("\n")[0].index("BOOLNOT") + 1
    assert (mistake.place.file_name, mistake.place.line, mistake.place.column) == ("p.st", 2, at)
    assert "the type BOOLNOT is not in the files given; did you mean 'BOOL'?" in mistake.says


@pytest.mark.parametrize(
    ("call", "name"), [("TON(IN := a, PT := T#5s)", "TON"), ("Lamp(a)", "Lamp")]
)
def test_the_type_of_a_block_is_no_code_of_other_files(call: str, name: str) -> None:
    block = "FUNCTION_BLOCK Lamp VAR_INPUT a : BOOL; END_VAR ; END_FUNCTION_BLOCK\n"
    with pytest.raises(
        InputError, match=f"3:1: '{name}' is a type of blocks; declare an instance of it in VAR"
    ):
        load_project({"p.st": f"{block}{_HEAD}x : BOOL; END_VAR\n{call}; q := a; END_PROGRAM"})


_FAR = """FUNCTION_BLOCK Look VAR_INPUT i : BOOL; END_VAR VAR_OUTPUT o : BOOL; END_VAR
o := Far.ready AND i; END_FUNCTION_BLOCK
PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR VAR f : Look; END_VAR
{} END_PROGRAM"""


@pytest.mark.parametrize(
    ("body", "never", "outcome"),
    [
        ("q := Far.ready; r := Far.ready;", "q <> r", Outcome.HOLDS),
        ("q := Far.ready AND NOT a;", "q AND a", Outcome.HOLDS),
        ("q := Far.ready;", "q", Outcome.VIOLATED),
        ("IF a THEN Far.ready := FALSE; END_IF q := Far.ready;", "q AND a", Outcome.HOLDS),
        ("IF a THEN Far.ready := FALSE; END_IF q := Far.ready;", "q", Outcome.VIOLATED),
        # What was written in an earlier scan, others may have changed.
        ("q := Far.ready; Far.ready := FALSE;", "q", Outcome.VIOLATED),
        ("f(i := a); q := f.o; r := Far.ready;", "q AND NOT r", Outcome.HOLDS),
        ("q := Far.ready; Do(); r := Far.ready;", "q <> r", Outcome.VIOLATED),
        ("q := Far.level > 5; r := Far.level < 3;", "q AND r", Outcome.HOLDS),
        ("q := Far.level > 5; r := Far.level < 8;", "q AND r", Outcome.VIOLATED),
        ("q := Far.mode = Mode.RUN; r := a;", "q AND NOT r", Outcome.VIOLATED),
        ("Far.lamp := a; q := a;", "q AND NOT a", Outcome.HOLDS),
    ],
)
def test_a_list_of_globals_that_is_not_given_has_any_value_in_each_scan(
    body: str, never: str, outcome: Outcome, tmp_path: Path
) -> None:
    (tmp_path / "p.st").write_text(_FAR.format(body))
    asked = f"  R: {{says: s, never: {never}, judged: after scan}}\n"
    (tmp_path / "model.yaml").write_text(f"title: T\ncontroller: p.st\nrequirements:\n{asked}")
    model = load(tmp_path)
    assert model.project is not None
    assert any(
        note.says == "'Far' is not declared: taken for globals of a file not given"
        for note in model.project.notes
    )
    found = {
        f.requirement.id: f.verdict.outcome
        for f in verify(model, catalogue()["enumerate"]()).findings
    }
    assert found["R"] is outcome


@pytest.mark.parametrize("body", ["q := Lok.ready;", "q := far;", "q := f1.o;"])
def test_a_slip_is_no_list_of_globals_that_is_not_given(body: str) -> None:
    with pytest.raises(InputError, match="is not declared"):
        load_project({"p.st": _FAR.format(body)})


@pytest.mark.parametrize(
    ("body", "outcome"),
    [
        ("q := Near.run; r := Far.run;", Outcome.VIOLATED),
        ("q := Far.run; r := Far.run;", Outcome.HOLDS),
        ("q := run; r := Far.run;", Outcome.HOLDS),
    ],
)
def test_a_list_that_is_called_by_its_own_name_is_no_other(
    body: str, outcome: Outcome, tmp_path: Path
) -> None:
    (tmp_path / "Near.st").write_text("VAR_GLOBAL run : BOOL; END_VAR")
    (tmp_path / "p.st").write_text(f"PROGRAM m VAR_OUTPUT q, r : BOOL; END_VAR {body} END_PROGRAM")
    asked = "  R: {says: s, never: q <> r, judged: after scan}\n"
    head = "title: T\ncontroller: [Near.st, p.st]\nrequirements:\n"
    (tmp_path / "model.yaml").write_text(head + asked)
    found = verify(load(tmp_path), catalogue()["enumerate"]()).findings
    assert found[0].verdict.outcome is outcome


def test_digits_of_a_word_that_the_standard_does_not_convert_have_any_value(
    tmp_path: Path,
) -> None:
    text = _HEAD + "n : INT; w : WORD; END_VAR n := BCD_TO_INT(w); q := n > 12; END_PROGRAM"
    assert _violates(tmp_path, text, "q")
    assert _violates(tmp_path, text.replace("n > 12", "n <= 12"), "q")


def test_a_slip_in_the_name_of_a_conversion_is_refused() -> None:
    text = _HEAD + "n : INT; END_VAR n := BOL_TO_INT(a); q := n > 0; END_PROGRAM"
    with pytest.raises(InputError, match="did you mean 'BOOL_TO_INT'"):
        load_project({"p.st": text})


def test_an_enumeration_is_converted_by_its_own_name() -> None:
    text = (
        "TYPE Mode : (idle, run := 5, stop); END_TYPE " + _HEAD + "m : Mode; END_VAR "
        "m := run; q := MODE_TO_INT(m) = 5 AND Mode_TO_DINT(Mode#stop) = 6; END_PROGRAM"
    )
    program = load_project({"p.st": text}).program
    assert Controller(program, Settings()).scan({"a": 0}).outputs["q"] == 1
