"""Programs without a plant that were judged wrongly once, or could not be replayed as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import ARITHMETIC
from interlock.model.load import load
from interlock.st.load import load_project


def violated(folder: Path, program: str, never: str = "q", root: str = "p") -> set[str]:
    """The requirements that a program violates: R1, that `never` is, and its arithmetic."""
    (folder / "main.st").write_text(program)
    (folder / "model.yaml").write_text(
        f"title: A program alone\ncontroller: main.st\nroot: {root}\nrequirements:\n"
        f"  R1: {{says: 'what is asked', never: '{never}', judged: after scan}}\n"
    )
    found = verify(load(folder), catalogue()["enumerate"]()).findings
    return {f.requirement.id for f in found if f.verdict.outcome.name == "VIOLATED"}


def program(inputs: str, body: str, inside: str = "", before: str = "") -> str:
    """A program with an output `q`."""
    return (
        f"{before}\nPROGRAM p VAR_INPUT {inputs} END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        f"VAR {inside} spare : BOOL; END_VAR\n{body}\nEND_PROGRAM\n"
    )


@pytest.mark.parametrize("value", ["x", "x * 2.0", "ABS(x)"])
def test_a_real_input_converted_to_a_truth_value_may_be_true(tmp_path: Path, value: str) -> None:
    assert violated(tmp_path, program("x : REAL;", f"q := REAL_TO_BOOL({value});")) == {"R1"}


def test_a_number_without_its_sign_may_be_zero(tmp_path: Path) -> None:
    assert violated(tmp_path, program("x : REAL;", "q := ABS(3.0 - x) = 0.0;")) == {"R1"}


def test_a_root_of_a_negative_input_is_a_flaw(tmp_path: Path) -> None:
    text = program("x : REAL;", "q := SQRT(x) > 3.0;")
    assert violated(tmp_path, text) == {"R1", ARITHMETIC}


def test_an_input_that_is_too_large_at_both_ends_is_a_flaw(tmp_path: Path) -> None:
    text = program("x : REAL;", "q := LIMIT(-1.0, x * 1.0E32, 1.0) > 2.0;")
    assert violated(tmp_path, text) == {ARITHMETIC}


@pytest.mark.parametrize("value", ["x", "5.0 + y"])
def test_crossed_limits_of_reals_give_the_upper_one(tmp_path: Path, value: str) -> None:
    # IEC 61131-3: LIMIT(MN, IN, MX) is MIN(MAX(IN, MN), MX), from memory.
    text = program("x : REAL;", f"q := LIMIT(5.0, {value}, 1.0) = 1.0;", "y : REAL;")
    assert violated(tmp_path, text) == {"R1"}


_BLOCK = """FUNCTION_BLOCK Last
VAR_INPUT a : REAL; END_VAR VAR_OUTPUT b : REAL; END_VAR VAR c : REAL; END_VAR
b := c; c := a;
END_FUNCTION_BLOCK
"""


@pytest.mark.parametrize(
    "text",
    [
        program("x : ARRAY [0..1] OF REAL;", "q := x[0] > 5.0 AND x[1] < 1.0;"),
        program("x : REAL;", "f(a := x); q := f.b > 4.0 AND x < 3.9;", "f : Last;", _BLOCK),
        program(
            "n : INT;",
            "f(a := INT_TO_REAL(n)); q := f.c > 7000.0 AND n < 9000;",
            "f : Last;",
            _BLOCK,
        ),
    ],
)
def test_a_run_over_real_inputs_is_replayed_as_written(tmp_path: Path, text: str) -> None:
    assert violated(tmp_path, text) == {"R1"}


_COUNTS = "VAR_STAT k : INT (0..9); END_VAR IF k < 9 THEN k := k + 1; END_IF Up := k;"


@pytest.mark.parametrize(
    ("before", "body", "inside"),
    [
        (f"FUNCTION Up : INT {_COUNTS} END_FUNCTION", "n := Up(); q := Up() = 6;", "n : INT;"),
        (
            f"FUNCTION_BLOCK F METHOD Up : INT {_COUNTS} END_METHOD END_FUNCTION_BLOCK",
            "n := a.Up(); q := b.Up() = 6;",
            "n : INT; a, b : F;",
        ),
    ],
)
def test_what_a_function_keeps_is_replayed_as_written(
    tmp_path: Path, before: str, body: str, inside: str
) -> None:
    assert violated(tmp_path, program("c : BOOL;", body, inside, before)) == {"R1"}


@pytest.mark.parametrize(
    ("declared", "body"),
    [
        ("lamp AT %QX0.0 : BOOL; other AT %QX0.0 : BOOL;", "other := a; q := lamp;"),
        ("lamp AT %QX0.0 : BOOL;", "lamp := FALSE; %Q0.0 := a; q := lamp;"),
        ("one AT %MX0.0 : BOOL; other AT %M0.0 : BOOL;", "one := a; q := other;"),
        ("b : At; one AT %MX0.0 : BOOL;", "one := a; b(); q := b.out;"),
        ("b : At; c : At;", "b.in := a; c(); q := c.out;"),
    ],
)
def test_variables_at_one_address_are_one_in_a_replay(
    tmp_path: Path, declared: str, body: str
) -> None:
    block = (
        "FUNCTION_BLOCK At VAR in AT %MX0.0 : BOOL; END_VAR VAR_OUTPUT out : BOOL; END_VAR\n"
        "out := in; END_FUNCTION_BLOCK"
    )
    assert violated(tmp_path, program("a : BOOL;", body, declared, block)) == {"R1"}


def test_variables_at_addresses_of_their_own_in_two_instances_are_two(tmp_path: Path) -> None:
    block = (
        "FUNCTION_BLOCK At VAR in AT %I* : BOOL; END_VAR VAR_OUTPUT out : BOOL; END_VAR\n"
        "out := in; END_FUNCTION_BLOCK"
    )
    text = program("a : BOOL;", "b(); c(); q := b.out <> c.out;", "b, c : At;", block)
    assert violated(tmp_path, text) == {"R1"}


_GLOBAL = "VAR_GLOBAL go : BOOL; END_VAR\n"


@pytest.mark.parametrize(
    ("before", "body", "inside"),
    [
        (
            "FUNCTION_BLOCK B VAR go : BOOL; END_VAR go := TRUE; END_FUNCTION_BLOCK",
            "b(); q := go;",
            "b : B;",
        ),
        (
            "TYPE S : STRUCT go : BOOL; END_STRUCT; END_TYPE",
            "s.go := TRUE; q := go;",
            "s : S;",
        ),
        (
            "FUNCTION F : BOOL VAR_INPUT x : BOOL; END_VAR F := x; END_FUNCTION",
            "spare := F(go); q := go;",
            "",
        ),
        ("", "t(IN := go, PT := T#1s); q := go;", "t : TON;"),
    ],
)
def test_a_global_that_is_only_read_is_an_input(
    tmp_path: Path, before: str, body: str, inside: str
) -> None:
    assert violated(tmp_path, program("c : BOOL;", body, inside, _GLOBAL + before)) == {"R1"}


def test_a_global_that_another_program_sets_is_replayed(tmp_path: Path) -> None:
    text = (
        f"{_GLOBAL} PROGRAM p VAR_OUTPUT q : BOOL; END_VAR q := go; END_PROGRAM\n"
        "PROGRAM other go := TRUE; END_PROGRAM"
    )
    assert violated(tmp_path, text, root="p") == {"R1"}


_SETS = (
    "FUNCTION_BLOCK Sets VAR_INPUT on : BOOL := TRUE; END_VAR VAR_IN_OUT it : BOOL; END_VAR "
    "VAR_OUTPUT was : BOOL; END_VAR VAR n : INT; END_VAR\n"
    "was := it; it := on; n := n + 1; IF n > 1 THEN it := FALSE; END_IF END_FUNCTION_BLOCK\n"
)


@pytest.mark.parametrize(
    ("before", "body", "inside"),
    [
        (
            "FUNCTION F : BOOL VAR_IN_OUT x : BOOL; END_VAR VAR s : Sets; END_VAR s(it := x); "
            "END_FUNCTION",
            "b := FALSE; spare := F(b); q := b;",
            "b : BOOL;",
        ),
        (
            "FUNCTION F : BOOL VAR s : Sets; b : BOOL; END_VAR s(it := b); F := b; END_FUNCTION",
            "spare := F(); q := F();",
            "",
        ),
        (
            "FUNCTION_BLOCK O METHOD M : BOOL VAR s : Sets := (on := FALSE); b : BOOL := TRUE; "
            "END_VAR s(it := b); M := s.was AND NOT b; END_METHOD END_FUNCTION_BLOCK",
            "q := o.M();",
            "o : O;",
        ),
    ],
)
def test_an_instance_in_a_function_begins_anew_and_writes_what_it_is_given(
    tmp_path: Path, before: str, body: str, inside: str
) -> None:
    text = program("c : BOOL;", body, inside, _SETS + before)
    assert violated(tmp_path, text) == {"R1"}


@pytest.mark.parametrize(
    ("body", "inside"),
    [
        ("spare := Copy(ADR(b), ADR(c)) = 0; q := b;", "b : BOOL;"),
        (
            "s := CONCAT(EN := c, IN1 := 'a', IN2 := 'b', ENO => b); q := b;",
            "b : BOOL; s : STRING;",
        ),
    ],
)
def test_what_unknown_code_may_write_is_not_known(tmp_path: Path, body: str, inside: str) -> None:
    with pytest.raises(InputError, match="output 'q' depends on"):
        violated(tmp_path, program("c : BOOL;", body, inside))


def test_a_block_not_given_may_change_what_it_is_given(tmp_path: Path) -> None:
    text = program("c : BOOL;", "x(c, b); q := b;", "b : BOOL; x : Tally;")
    assert violated(tmp_path, text) == {"R1"}
    says = [note.says for note in load_project({"main.st": text}).notes]
    assert any("what it is given, and each global, may have any value" in one for one in says)


def test_a_property_read_in_what_is_left_out_does_what_it_does(tmp_path: Path) -> None:
    block = (
        "FUNCTION_BLOCK F VAR_OUTPUT on : BOOL; END_VAR PROPERTY Now : INT GET on := TRUE; "
        "Now := 1; END_GET END_PROPERTY END_FUNCTION_BLOCK"
    )
    text = program(
        "c : BOOL;", "s := INT_TO_STRING(f.Now); q := f.on;", "f : F; s : STRING;", block
    )
    assert violated(tmp_path, text) == {"R1"}


def test_a_block_may_have_a_name_of_one_letter(tmp_path: Path) -> None:
    block = "FUNCTION_BLOCK D VAR_IN_OUT it : BOOL; END_VAR it := TRUE; END_FUNCTION_BLOCK"
    text = program("c : BOOL;", "x(it := b); q := b;", "x : D; b : BOOL;", block)
    assert violated(tmp_path, text) == {"R1"}


SHARING = (
    "title: Bits\ncontroller: main.st\nroot: p\nrequirements:\n  R1: {says: on, can_still: q}\n"
)
PLANT = (
    "controls: {button: {}}\nsensors:\n  a: {reads: button}\n  b: {reads: 'SEL(button, 0, 1)'}\n"
)


@pytest.mark.parametrize(
    ("inputs", "more", "outcome"),
    [
        # The byte is 0 only where its first bit is FALSE: there is no way to q.
        ("a AT %IX0.0 : BOOL; b AT %IB0 : BYTE;", "", Outcome.UNDECIDED),
        ("a AT %IX0.0 : BOOL; b AT %IB0 : BYTE;", PLANT, Outcome.VIOLATED),
        ("a AT %IX0.0 : BOOL; b AT %IB1 : BYTE;", "", Outcome.HOLDS),
    ],
    ids=["free", "of a plant", "apart"],
)
def test_what_needs_inputs_that_share_bits_to_differ_is_not_said_to_be_possible(
    tmp_path: Path, inputs: str, more: str, outcome: Outcome
) -> None:
    (tmp_path / "main.st").write_text(program(inputs, "q := a AND b = 0;"))
    (tmp_path / "model.yaml").write_text(more + SHARING)
    (found,) = (
        f
        for f in verify(load(tmp_path), catalogue()["enumerate"]()).findings
        if f.requirement.id == "R1"
    )
    assert found.outcome is outcome


@pytest.mark.parametrize("block", ["TON", "TOF", "TP"])
@pytest.mark.parametrize(
    "taken", ["t(IN := a, PT := T#1s, ET => e);", "t(IN := a, PT := T#1s); e := t.ET;"]
)
def test_a_time_that_is_taken_from_a_call_is_the_time_that_is_read(
    tmp_path: Path, block: str, taken: str
) -> None:
    text = program("a : BOOL;", f"{taken} q := e > T#500ms;", f"t : {block}; e : TIME;")
    assert violated(tmp_path, text) == {"R1"}
    text = program("a : BOOL;", f"{taken} q := e > T#1s;", f"t : {block}; e : TIME;")
    assert violated(tmp_path, text) == set()
