"""What is computed of several whole numbers that come from inputs: any value in each scan."""

from __future__ import annotations

from itertools import product
from pathlib import Path
from random import Random

import pytest

from interlock.base.errors import InputError
from interlock.judgement.engines import available
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.declined import UNTIMED, decline
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.occurring import subjects
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.types import EnumType

_TEXT = """PROGRAM p
VAR_INPUT a, b : INT; w : WORD; long : DWORD; on : BOOL; END_VAR
VAR_OUTPUT q, r : BOOL; END_VAR
VAR d, e, n : INT; l : DINT; o : WORD; c : CTU; END_VAR
{body}
END_PROGRAM
"""


def _model(folder: Path, body: str, requirement: str = 'never: "q"') -> Model:
    (folder / "c.st").write_text(_TEXT.format(body=body), encoding="utf-8")
    says = f'title: P\ncontroller: c.st\nrequirements:\n  R1: {{says: "x", {requirement}}}\n'
    (folder / "model.yaml").write_text(says, encoding="utf-8")
    return load(folder)


def _outcomes(model: Model) -> dict[str, Outcome]:
    found = verify(model, available()["enumerate"]()).findings
    return {finding.requirement.id: finding.outcome for finding in found}


_BODIES = [
    # Window: a difference of two inputs, compared with constants.
    "d := a - b; q := on AND d > 5; r := on AND d < -5;",
    # Hysteresis around a set point.
    "IF a < b - 2 THEN q := TRUE; ELSIF a > b + 2 THEN q := FALSE; END_IF; r := a >= b;",
    # A ramp that follows its set point.
    "IF d < a THEN d := MIN(d + 10, a); ELSIF d > a THEN d := MAX(d - 10, a); END_IF; "
    "q := on AND d = a; r := d > 3;",
    # What changed since the last scan.
    "d := a - e; e := a; q := d = 0; r := d > 0;",
    # A mean, in a larger type.
    "l := INT_TO_DINT(a) + INT_TO_DINT(b) + 1; e := DINT_TO_INT(l / 2); q := e > 2; r := q AND on;",
    # Bits that have risen.
    "q := (w AND (w XOR o)) <> 0; r := w <> o; o := w;",
    # A counter that is compared with an input.
    "IF on THEN n := n + 1; END_IF; IF n >= a THEN n := 0; q := NOT q; END_IF; r := n = 0;",
    "c(CU := on, R := r, PV := a); q := c.Q; r := c.CV > 2;",
    "q := (a < b) XOR (b > a); r := (a = b) AND (b <> a);",
]


@pytest.mark.parametrize("body", _BODIES)
def test_every_scan_of_the_program_is_one_with_some_value(body: str, tmp_path: Path) -> None:
    model = _model(tmp_path, body)
    program, random = model.program, Random(3)
    assert program.any_values
    assert model.project is not None
    written = DirectController(model.project.files, "p", Settings())
    new = [v for v in program.inputs if v.name in {one.input for one in program.any_values}]
    old = [v for v in program.inputs if v not in new]
    ours = Controller(program, Settings())
    for _ in range(25):
        given = {name: random.randint(-7, 7) for name in "ab"}
        given |= {"on": random.randrange(2), "w": random.randrange(4), "long": 0}
        theirs = written.scan(given).outputs
        before, met = ours.exact_values(), False
        for chosen in product(*(_values_of(v.type) for v in new)):
            ours.remember(before)
            any_ = dict(zip((v.name for v in new), chosen, strict=True))
            found = ours.scan({**{v.name: given[v.name] for v in old}, **any_}).outputs
            met = found == {name: theirs[name] for name in found}
            if met:
                break
        assert met, (given, theirs)


def _values_of(type_: object) -> range:
    assert not isinstance(type_, EnumType)
    return {"BOOL": range(2), "WORD": range(4), "INT (-1..1)": range(-1, 2)}.get(
        str(type_), range(-15, 16)
    )


def test_how_two_inputs_compare_is_the_same_at_every_place_of_a_scan(tmp_path: Path) -> None:
    body = "q := a < b; r := b <= a;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND r"'))["R1"] is Outcome.HOLDS
    body = "q := a < b; r := a = b;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND r"'))["R1"] is Outcome.HOLDS
    assert _outcomes(_model(tmp_path, body, 'never: "q"'))["R1"] is Outcome.VIOLATED
    assert _outcomes(_model(tmp_path, body, 'never: "r"'))["R1"] is Outcome.VIOLATED


def test_the_same_sum_of_inputs_is_the_same_at_every_place_of_a_scan(tmp_path: Path) -> None:
    body = "q := a + b > 5; r := a + b < 3;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND r"'))["R1"] is Outcome.HOLDS
    body = "q := a + b > 5; r := a + b < 7;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND r"'))["R1"] is Outcome.VIOLATED


def test_what_a_variable_is_compared_with_may_have_changed_between_two_places(
    tmp_path: Path,
) -> None:
    body = "d := a; q := d > b; d := -7; r := d > b;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND NOT r"'))["R1"] is Outcome.VIOLATED


def test_arithmetic_that_nobody_judged_does_not_hold(tmp_path: Path) -> None:
    assert _outcomes(_model(tmp_path, "q := a - b > 3;"))["ARITHMETIC"] is Outcome.UNDECIDED
    body = "q := INT_TO_DINT(a) - INT_TO_DINT(b) > 3;"
    assert "ARITHMETIC" not in _outcomes(_model(tmp_path, body))
    assert _outcomes(_model(tmp_path, "q := a / b > 3;"))["ARITHMETIC"] is Outcome.UNDECIDED


@pytest.mark.parametrize(
    ("sum_", "is_judged"),
    [
        ("l := 0; l := l + a; l := l + b;", True),
        ("l := 70000; q := l > 3; l := a; l := l + b;", True),
        ("IF FALSE THEN l := 70000; END_IF l := a; l := l + b;", True),
        ("l := a; IF on THEN l := 70000; END_IF l := l + b;", False),
        ("l := l + b; IF on THEN l := a; END_IF", False),
        ("l := a; l := l + b; l := l * 70000; l := l / 70000;", False),
    ],
)
def test_a_sum_goes_as_far_as_what_it_is_made_of_where_it_is_made(
    sum_: str, is_judged: bool, tmp_path: Path
) -> None:
    body = f"{sum_} e := DINT_TO_INT(l / 2); q := e > 2;"
    found = _outcomes(_model(tmp_path, body)).get("ARITHMETIC", Outcome.HOLDS)
    assert (found is Outcome.HOLDS) is is_judged


def test_that_something_can_still_come_does_not_hold_by_values_that_are_never_computed(
    tmp_path: Path,
) -> None:
    model = _model(tmp_path, "q := a - b > 3 AND b - a > 3;", 'can_still: "q"')
    assert _outcomes(model)["R1"] is Outcome.UNDECIDED
    with pytest.raises(InputError, match=r"c.st:5:6: 'compare' cannot take .* any value"):
        decline("'compare'", model, *UNTIMED)


def test_bits_of_a_long_word_are_free_each_by_itself(tmp_path: Path) -> None:
    body = "q := long.3; r := NOT long.3 AND long.20;"
    assert _outcomes(_model(tmp_path, body, 'never: "q AND r"'))["R1"] is Outcome.HOLDS
    assert _outcomes(_model(tmp_path, body, 'never: "r"'))["R1"] is Outcome.VIOLATED


def test_an_input_of_which_all_values_are_alike_is_nothing_to_look_at(tmp_path: Path) -> None:
    model = _model(tmp_path, "q := a - b > 3;", 'always: "q OR NOT q"')
    assert len(model.machines["a (free)"].states) == 1
    asked = subjects(model)
    assert not [name for name in asked if "a becomes" in name or name == "sensor a"]
    assert "sensor on" in asked
