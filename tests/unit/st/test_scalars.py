"""Declarations and statements over scalars of every type, one scan at a time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.base.errors import InputError, Place
from interlock.kernel.evaluate import evaluate
from interlock.st import syntax as sx
from interlock.st.check import check_program
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.lower import lower_program
from interlock.st.parser import parse_program

_AT = Place("p.st", 9, 1)
_ENUM = "TYPE E : (LOW := 3, MID, TOP := -1); END_TYPE\n"


def _parsed(declared: str, body: str, types: str = "") -> sx.Program:
    return parse_program(f"{types}PROGRAM p\n{declared}\n{body}\nEND_PROGRAM", "p.st")


def _run(program: sx.Program, *scans: dict[str, int], counted: bool = False) -> list[list[int]]:
    """The outputs after each scan; both readings must agree on the memory and the flaws."""
    checked = check_program(program)
    chosen = Settings(Timers.COUNTED if counted else Timers.FREE, scan_ms=100)
    lowered, controller = lower_program(checked, chosen), Controller(checked, chosen)
    values = {v.name: v.initial for v in lowered.variables}
    found = []
    for inputs in scans:
        env = values | {f"input.{name}": value for name, value in inputs.items()}
        flaws = {f"{f.place}: {f.says}" for f in lowered.flaws if evaluate(f.when, env)}
        result = controller.scan(inputs)
        values |= {name: evaluate(update, env) for name, update in lowered.updates.items()}
        assert values == controller.values()
        assert flaws == {str(defect) for defect in result.defects}
        found.append([*result.outputs.values(), len(flaws)])
    return found


def test_an_input_has_its_initial_value_before_the_first_scan() -> None:
    program = check_program(_parsed("VAR_INPUT n : INT (0..9) := 4; m : INT; END_VAR", ""))
    assert [v.initial for v in lay_out(program, Settings()).inputs] == [4, 0]


def test_a_temporary_starts_anew_in_every_scan_and_is_no_memory() -> None:
    program = _parsed(
        "VAR_OUTPUT r : INT; END_VAR VAR_TEMP t : INT := 5; END_VAR VAR n : INT; END_VAR",
        "t := t + 1; n := (n + 1) MOD 4; r := t * 10 + n;",
    )
    assert _run(program, {}, {}, {}) == [[61, 0], [62, 0], [63, 0]]
    layout = lay_out(check_program(program), Settings())
    assert [v.name for v in layout.variables] == ["r", "plc.n"]


def test_a_constant_is_folded_limits_ranges_and_is_not_assigned() -> None:
    declared = (
        "VAR CONSTANT K : INT := 3; END_VAR VAR_OUTPUT r : INT; END_VAR VAR n : INT (0..K); END_VAR"
    )
    assert _run(_parsed(declared, "n := K; CASE n OF K: r := K + 1; END_CASE;"), {}) == [[4, 0]]
    with pytest.raises(InputError, match="'K' is a constant and cannot be assigned"):
        check_program(_parsed(declared, "K := 2;"))


@pytest.mark.parametrize(
    ("edge", "seen"), [("R_EDGE", [0, 1, 0, 0, 1]), ("F_EDGE", [1, 0, 0, 1, 0])]
)
def test_an_input_with_an_edge_is_read_as_the_edge(edge: str, seen: list[int]) -> None:
    # Source: IEC 61131-3: R_EDGE and F_EDGE mean R_TRIG and F_TRIG; F_TRIG of the 2nd edition.
    program = _parsed("VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR", "q := a;")
    first, *others = program.declarations
    program = replace(program, declarations=(replace(first, edge=edge), *others))
    scans = [{"a": value} for value in (0, 1, 1, 0, 1)]
    assert [row[0] for row in _run(program, *scans)] == seen


def test_an_enumerations_value_is_its_number_where_an_integer_is_wanted() -> None:
    declared = "VAR_INPUT v : E; END_VAR VAR_OUTPUT r : INT; s : BOOL; END_VAR"
    program = _parsed(declared, "r := v; s := v = 4 OR v > 3;", _ENUM)
    scans = [{"v": value} for value in range(3)]
    assert _run(program, *scans) == [[3, 0, 0], [4, 1, 0], [-1, 0, 0]]


def test_case_takes_the_numbers_of_an_enumeration() -> None:
    declared = "VAR_INPUT v : E; END_VAR VAR_OUTPUT r : INT; END_VAR"
    program = _parsed(declared, "CASE v OF 4: r := 1; TOP: r := 2; ELSE r := 0; END_CASE;", _ENUM)
    assert [row[0] for row in _run(program, *({"v": value} for value in range(3)))] == [0, 1, 2]
    with pytest.raises(InputError, match="no value of E has the number 5"):
        check_program(_parsed(declared, "CASE v OF 5: r := 1; END_CASE;", _ENUM))


def test_bits_are_read_and_assigned_one_by_one() -> None:
    program = _parsed(
        "VAR_INPUT w : WORD; a : BOOL; END_VAR VAR_OUTPUT r : BYTE; n : SINT; q : BOOL; END_VAR",
        "q := w.15; r.3 := a; r.0 := NOT w.1; n.7 := a;",
    )
    scans = [{"w": 0x8002, "a": 1}, {"w": 0, "a": 0}]
    assert _run(program, *scans) == [[8, -128, 1, 0], [1, 0, 0, 0]]
    with pytest.raises(InputError, match="has no bit 8"):
        check_program(_parsed("VAR b : BYTE; q : BOOL; END_VAR", "q := b.8;"))


def test_an_output_of_a_block_goes_to_a_bit_and_may_be_negated() -> None:
    program = _parsed(
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT r : BYTE; q : BOOL; END_VAR "
        "VAR t : R_TRIG; END_VAR",
        "t(CLK := a, Q => r.2); q := NOT t.Q;",
    )
    assert _run(program, {"a": 1}, {"a": 1}) == [[4, 0, 0], [0, 1, 0]]


def test_a_computed_choice_gives_the_nearest_and_a_flaw_outside() -> None:
    program = _parsed("VAR_INPUT n : INT; END_VAR VAR_OUTPUT r : INT; END_VAR", "r := 0;")
    values = tuple(sx.Number(value, _AT) for value in (10, 20, 30))
    choice = sx.Choice(sx.Name("n", _AT), 1, values, _AT)
    program = replace(program, body=(sx.Assign(sx.Name("r", _AT), choice, _AT),))
    scans = [{"n": value} for value in (0, 1, 2, 3, 9)]
    assert _run(program, *scans) == [[10, 1], [10, 0], [20, 0], [30, 0], [30, 1]]


def test_to_come_to_a_defect_statement_is_a_flaw() -> None:
    program = _parsed("VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT r : INT; END_VAR", "r := 1;")
    branch = sx.Branch(sx.Name("a", _AT), (sx.Defect("too often", _AT),), _AT)
    program = replace(program, body=(sx.If((branch,), (), _AT),))
    assert _run(program, {"a": 0}, {"a": 1}) == [[0, 0], [0, 1]]


def test_a_preset_time_may_differ_from_call_to_call_and_shows_in_et() -> None:
    program = _parsed(
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; e : TIME; END_VAR VAR t : TON; END_VAR",
        "IF a THEN t(IN := TRUE, PT := T#150ms); ELSE t(IN := TRUE, PT := T#1s); END_IF;"
        "q := t.Q; e := t.ET;",
    )
    scans = [{"a": value} for value in (0, 0, 1, 1, 0)]
    rows = _run(program, *scans, counted=True)
    assert [row[:2] for row in rows] == [[0, 0], [0, 100], [1, 150], [1, 150], [0, 400]]


def test_a_preset_time_of_nothing_or_less_has_run_out_at_once() -> None:
    program = _parsed(
        "VAR_INPUT p : TIME; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR t : TON; END_VAR",
        "t(IN := TRUE, PT := p); q := t.Q;",
    )
    assert _run(program, {"p": -5}, {"p": 0}, {"p": 1}) == [[1, 0], [1, 0], [0, 0]]


def test_bits_and_truth_values_do_not_mix() -> None:
    with pytest.raises(InputError, match="w is of type WORD; expected BOOL"):
        check_program(_parsed("VAR w : WORD; a, q : BOOL; END_VAR", "q := a AND w;"))
