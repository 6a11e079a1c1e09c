"""What is computed of several REAL inputs, or of one and its own past: any value in each scan."""

from __future__ import annotations

from itertools import product
from pathlib import Path
from random import Random

import pytest

from interlock.base.errors import InputError
from interlock.judgement.engines import available
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.declined import UNTIMED, decline
from interlock.model.load import load
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.reals import GREATEST
from interlock.st.types import EnumType


def _text(body: str, outputs: str = "q", variables: str = "d, e : REAL;") -> str:
    return (
        f"PROGRAM p VAR_INPUT a, b : REAL; on : BOOL; END_VAR VAR_OUTPUT {outputs} : BOOL; END_VAR "
        f"VAR {variables} END_VAR\n{body}\nEND_PROGRAM"
    )


def _verified(folder: Path, text: str, requirement: str) -> Verification:
    (folder / "c.st").write_text(text, encoding="utf-8")
    says = f'title: P\ncontroller: c.st\nrequirements:\n  R1: {{says: "x", {requirement}}}\n'
    (folder / "model.yaml").write_text(says, encoding="utf-8")
    return verify(load(folder), available()["enumerate"]())


def _outcomes(found: Verification) -> dict[str, Outcome]:
    return {finding.requirement.id: finding.outcome for finding in found.findings}


# No two numbers are each more than 1 above the other, so nothing leads to q.
_IMPOSSIBLE = _text("d := a - b; e := b - a; q := d > 1.0 AND e > 1.0;")


def test_that_something_can_still_come_does_not_hold_by_values_that_are_never_computed(
    tmp_path: Path,
) -> None:
    found = _verified(tmp_path, _IMPOSSIBLE, 'can_still: "q"')
    assert _outcomes(found)["R1"] is Outcome.UNDECIDED
    assert "'d.any' was taken as any value" in found.findings[0].why(found.built.model)


def test_a_violation_is_shown_and_what_holds_of_more_holds(tmp_path: Path) -> None:
    # Too strict, and told so: the program itself never sets q.
    found = _verified(tmp_path, _IMPOSSIBLE, 'never: "q"')
    assert _outcomes(found)["R1"] is Outcome.VIOLATED
    assert found.findings[0].run is not None
    requirement = 'always: "on OR NOT q", judged: after scan'
    found = _verified(tmp_path, _text("d := a - b; q := on AND d > 1.0;"), requirement)
    assert _outcomes(found)["R1"] is Outcome.HOLDS


def test_a_product_goes_beyond_what_instruments_give(tmp_path: Path) -> None:
    # 1e9 is the most of an input, 1e18 of a product.
    found = _verified(tmp_path, _text("d := a * b; q := d > 5.0E17;"), 'never: "q"')
    assert _outcomes(found)["R1"] is Outcome.VIOLATED
    found = _verified(tmp_path, _text("d := a - b; q := d > 2.1E9;"), 'never: "q"')
    assert _outcomes(found)["R1"] is Outcome.HOLDS


@pytest.mark.parametrize(
    ("body", "flaw"),
    [
        ("d := a / b; q := d > 1.0;", "the divisor may be 0"),
        ("q := a / b > 1.0;", "the divisor may be 0"),
        ("d := a * b; d := d * a; d := d * b; d := d * a; q := d > 1.0;", "no finite number"),
        ("d := 2.0 * d + a; q := d > 1.0;", "no finite number"),
        # What is only compared with what varies is computed all the same.
        ("d := 1.0 / a; q := d > b;", "the divisor may be 0"),
        ("IF on AND 1.0 / a > 2.0 THEN d := a; END_IF; q := d > b;", "the divisor may be 0"),
        ("q := DINT_TO_REAL(REAL_TO_DINT(a * b)) > a;", "does not fit DINT"),
    ],
)
def test_arithmetic_that_nobody_judged_does_not_hold(tmp_path: Path, body: str, flaw: str) -> None:
    found = _verified(tmp_path, _text(body), 'never: "q AND NOT q"')
    assert _outcomes(found)["ARITHMETIC"] is Outcome.UNDECIDED
    model = found.built.model
    assert flaw in {f.requirement.id: f for f in found.findings}["ARITHMETIC"].why(model)
    assert model.project is not None
    assert any("its arithmetic is not judged" in note.says for note in model.project.notes)


def test_arithmetic_without_flaws_asks_for_nothing(tmp_path: Path) -> None:
    body = "d := LIMIT(-100.0, d + 0.5 * (a - b), 100.0); q := d > 99.0;"
    assert set(_outcomes(_verified(tmp_path, _text(body), 'never: "q AND NOT q"'))) == {"R1"}


def test_the_same_expression_at_two_places_has_two_values(tmp_path: Path) -> None:
    body = "d := a; q := d > b; d := d - 1.0E6; r := d > b;"
    found = _verified(tmp_path, _text(body, "q, r"), 'never: "q AND NOT r"')
    assert _outcomes(found)["R1"] is Outcome.VIOLATED


def test_who_shows_runs_of_the_program_refuses_it(tmp_path: Path) -> None:
    found = _verified(tmp_path, _IMPOSSIBLE, 'never: "q"')
    with pytest.raises(InputError, match=r"c.st:2:6: 'compare' cannot take .* any value"):
        decline("'compare'", found.built.model, *UNTIMED)


def test_nothing_is_taken_as_any_value_where_classes_are_known() -> None:
    text = _text("d := 2.0 * a - 1.0; q := d > 3.0 OR b < 1.0;")
    assert load_project({"c.st": text}).program.any_values == ()


_BODIES = [
    "d := a - b; q := on AND (d > 0.5 OR (q AND d > -0.5)); r := d < -2.0;",
    "d := d + 0.25 * (a - d); q := d > 1.0; r := d > 2.0 AND NOT q;",
    "e := a - b; IF on THEN d := 0.0; ELSE d := LIMIT(-5.0, d + e, 5.0); END_IF; "
    "q := ABS(2.0 * e + d) >= 4.0; r := d > 4.0;",
    "IF a > b THEN d := a - b; q := FALSE; ELSIF a < -b THEN d := a + b; q := r; "
    "ELSE d := 0.0; q := TRUE; END_IF; r := d > 1.0;",
    "d := 0.0; d := d + a; d := d + b; d := d + a; q := d / 3.0 > 1.0; r := q AND MIN(a, b) > 0.0;",
    # Each value of an input matters.
    "q := on AND REAL_TO_INT(a * 100.0) MOD 3 = 0; r := REAL_TO_INT(a * 100.0) MOD 2 = 0;",
    "q := REAL_TO_INT(a - b) > 2; r := a * b > 1.0 OR SEL(on, a, b) > 2.0;",
]


@pytest.mark.parametrize("body", _BODIES)
def test_every_scan_of_the_program_is_one_with_some_value(body: str) -> None:
    text = _text(body, "q, r")
    loaded = load_project({"c.st": text})
    program, random = loaded.program, Random(3)
    assert program.any_values
    written = DirectController(loaded.files, loaded.root, Settings())
    new = [v for v in program.inputs if v.name in {one.input for one in program.any_values}]
    old = [v for v in program.inputs if v not in new]
    ours = Controller(program, Settings())
    for _ in range(60):
        given = {name: random.choice((-3.0, -0.75, 0.0, 0.5, 1.25, 2.5, 4.0)) for name in "ab"}
        given["on"] = random.randrange(2)
        theirs = written.scan(given).outputs
        known = {v.name: _class_of(v.type, given[v.name]) for v in old}
        before, met = ours.exact_values(), False
        values = [_values_of(v.type) for v in new]
        for chosen in product(*values):
            ours.remember(before)
            names = (v.name for v in new)
            found = ours.scan({**known, **dict(zip(names, chosen, strict=True))}).outputs
            met = found == {name: theirs[name] for name in found}
            if met:
                break
        assert met, (given, theirs)


def _values_of(type_: object) -> range:
    if isinstance(type_, EnumType):
        return range(len(type_.labels))
    return range(2) if str(type_) == "BOOL" else range(-8, 9)


def _class_of(type_: object, value: float) -> int:
    """Which class of an input a number lies in; of a BOOL itself."""
    if not isinstance(type_, EnumType):
        return int(value)
    assert type_.classes is not None
    spans = type_.classes.spans
    return next(n for n, (lo, hi) in enumerate(spans) if lo <= value <= hi)


def test_a_number_without_bound_goes_to_the_greatest_of_its_type() -> None:
    text = _text("d := d + a; q := d > 1.0;")
    (one,) = [v for v in load_project({"c.st": text}).program.inputs if v.name == "d.any"]
    assert isinstance(one.type, EnumType)
    assert one.type.classes is not None
    greatest = GREATEST["REAL"]
    assert (one.type.classes.spans[0][0], one.type.classes.spans[-1][1]) == (-greatest, greatest)


_VALVE = """PROGRAM p VAR_INPUT a : REAL; on : BOOL; END_VAR VAR_OUTPUT q : BOOL; n : INT; END_VAR
n := REAL_TO_INT(a * 276.48); q := on AND a > 50.0;
END_PROGRAM
"""


def test_a_number_of_which_every_value_matters_is_left_out_where_nothing_asks_for_it(
    tmp_path: Path,
) -> None:
    found = _verified(tmp_path, _VALVE, "never: q AND a <= 50, judged: after scan")
    assert _outcomes(found) == {"R1": Outcome.HOLDS}
    assert found.built.model.project is not None
    notes = [note.says for note in found.built.model.project.notes]
    assert any("output 'n' is left out: more than 64 values of the input 'a'" in n for n in notes)


def test_a_number_of_which_every_value_matters_is_any_value_where_it_is_asked_for(
    tmp_path: Path,
) -> None:
    found = _verified(tmp_path, _VALVE, "never: q AND n > 5, judged: after scan")
    # 1e9 is no INT, and so nothing is said of the arithmetic.
    assert _outcomes(found) == {"R1": Outcome.VIOLATED, "ARITHMETIC": Outcome.UNDECIDED}
    found = _verified(tmp_path, _VALVE, "never: q AND NOT on AND n > 5, judged: after scan")
    assert _outcomes(found)["R1"] is Outcome.HOLDS


# The usual scaling of an analogue input, whose input the function limits by assigning it.
_SCALED = """FUNCTION Scale : REAL
VAR_INPUT raw : INT; END_VAR
IF raw < 0 THEN raw := 0; END_IF
IF raw > 27648 THEN raw := 27648; END_IF
Scale := INT_TO_REAL(raw) * 10.0 / 27648.0;
END_FUNCTION
PROGRAM p VAR_INPUT a : INT; on : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR
VAR x : REAL; END_VAR
x := Scale(a); q := on AND x > 8.0; r := x < 2.0;
END_PROGRAM
"""


def test_a_whole_number_that_is_limited_and_scaled_is_any_value_in_its_span() -> None:
    loaded = load_project({"c.st": _SCALED})
    program = loaded.program
    assert program.any_values
    (new,) = [v for v in program.inputs if v.name.endswith(".any")]
    written = DirectController(loaded.files, "p", Settings())
    ours = Controller(program, Settings())
    for a in (-32768, -1, 0, 5529, 5530, 22118, 22119, 27648, 32767):
        for on in (0, 1):
            theirs = written.scan({"a": a, "on": on}).outputs
            found = [
                ours.scan({"a": 0, "on": on, new.name: n}).outputs for n in _values_of(new.type)
            ]
            assert theirs in found
            # Both at once no number leads to.
            assert {"q": 1, "r": 1} not in found
