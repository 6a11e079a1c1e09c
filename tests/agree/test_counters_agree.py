"""A counter that stays where nothing tells its values apart is the counter that counts on.

The interpreter counts to the greatest INT. The lowering keeps a counter where every reader treats
it like any greater value. Whatever reads it, both must give the same, however far it has counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.commands.compare.behaviour import Likeness, run_in_lockstep
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.evaluate import evaluate
from interlock.kernel.requirement import Outcome
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_program
from interlock.st.lower import lower_program
from tests.support.small_models import write_model

# Both count with nothing but the line that is tried reading them, so no other reader needs more.
_PROGRAM = """PROGRAM counting
VAR_INPUT a, b, r : BOOL; END_VAR
VAR_OUTPUT p : BOOL; n : INT (0..5); END_VAR
VAR c, d : CTU; END_VAR
c(CU := a, R := r, PV := {preset}{taken});
d(CU := b, R := r, PV := 0);
{line}
END_PROGRAM
"""
# No constant of the programs is greater, so nothing differs further on.
_FAR = 9

_ORDERS = ("<", ">", "<=", ">=", "=", "<>")
_LINES = (
    *(f"p := c.CV {order} 3;" for order in _ORDERS),
    *(f"p := 3 {order} c.CV;" for order in _ORDERS),
    *(f"p := c.CV {order} d.CV;" for order in _ORDERS),
    *(f"p := c.CV {order} MIN(d.CV, 3);" for order in _ORDERS),
    *(f"p := c.CV {order} n; n := 4;" for order in _ORDERS),
    "p := MIN(c.CV, 3) = 3;",
    "p := MIN(4, c.CV, d.CV) = 4;",
    "n := MIN(c.CV, MIN(4, d.CV));",
    "p := LIMIT(1, c.CV, 4) = 4;",
    "p := LIMIT(c.CV, 2, 8) = 8;",
    "p := LIMIT(0, 8, c.CV) = 7;",
    "n := c.CV;",
    "IF a THEN n := d.CV; ELSE n := c.CV; END_IF;",
    "CASE c.CV OF 1: p := FALSE; 2..3: p := TRUE; ELSE p := FALSE; END_CASE;",
    "CASE MIN(c.CV, 4) OF 3: p := TRUE; ELSE p := FALSE; END_CASE;",
    "CASE n OF 0: n := 4; 4: p := c.CV = 4; ELSE p := d.CV = 4; END_CASE;",
    "IF c.CV = 4 THEN p := TRUE; ELSIF d.CV = 3 THEN p := FALSE; END_IF;",
    "p := MAX(c.CV, 3) = 6;",
    "p := ABS(c.CV) = 7;",
    "p := -c.CV = -7;",
    "p := c.CV - 3 > 2;",
    "p := c.CV / 2 = 3;",
    "p := c.CV MOD 4 = 3;",
    "p := 8 / (c.CV - d.CV) = 4;",
    "p := SEL(a, c.CV, 3) = 6 XOR SEL(a, 3, c.CV) = 5;",
    "p := SEL(c.CV = 6, d.Q, c.Q);",
    "p := c.Q;",
)


def _grid() -> Iterator[dict[str, int]]:
    """Every pair of counts up to `_FAR`: pressed, then let go; between two rows both are reset."""
    for n_presses in range(_FAR + 1):
        yield {"a": 1, "b": 1, "r": 1}
        yield {"a": 0, "b": 0, "r": 0}
        for name, times in (("b", n_presses), ("a", _FAR)):
            for _ in range(times):
                yield {"a": 0, "b": 0, "r": 0, name: 1}
                yield {"a": 0, "b": 0, "r": 0}


def _agree(text: str) -> None:
    program = load_program(text, "counting.st")
    lowered, controller = lower_program(program, Settings()), Controller(program, Settings())
    values = {v.name: v.initial for v in lowered.variables}
    for inputs in _grid():
        env = {**values, **{f"input.{name}": value for name, value in inputs.items()}}
        flaws = {f"{flaw.place}: {flaw.says}" for flaw in lowered.flaws if evaluate(flaw.when, env)}
        values |= {name: evaluate(e, env) for name, e in lowered.updates.items()}
        result = controller.scan(inputs)
        assert values == controller.values()
        assert flaws == {str(defect) for defect in result.defects}


@pytest.mark.parametrize("line", _LINES)
def test_every_reader_sees_the_same_count(line: str) -> None:
    _agree(_PROGRAM.format(preset=0, taken="", line=line))


@pytest.mark.parametrize("preset", ["4", "n", "MIN(d.CV, 4)", "d.CV"])
def test_every_preset_value_is_reached_at_the_same_count(preset: str) -> None:
    line = "p := c.Q; n := 4;"
    _agree(_PROGRAM.format(preset=preset, taken="", line=line))


def test_a_count_that_does_not_fit_where_it_is_taken_is_told_by_both() -> None:
    _agree(_PROGRAM.format(preset=0, taken=", CV => n", line=""))


def _numbers() -> st.SearchStrategy[str]:
    leaves = st.sampled_from(("c.CV", "d.CV", "n")) | st.integers(-1, 6).map(str)
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.tuples(inner, inner).map(lambda pair: "MIN({}, {})".format(*pair)),
            st.tuples(inner, inner).map(lambda pair: "MAX({}, {})".format(*pair)),
            st.tuples(inner, inner, inner).map(lambda three: "LIMIT({}, {}, {})".format(*three)),
            st.tuples(inner, inner).map(lambda pair: "SEL(a, {}, {})".format(*pair)),
            st.tuples(inner, inner).map(lambda pair: "({} - {})".format(*pair)),
        ),
        max_leaves=4,
    )


@settings(max_examples=60, deadline=None)
@given(_numbers(), st.sampled_from(_ORDERS), _numbers())
def test_whatever_is_made_of_a_count_is_the_same(left: str, order: str, right: str) -> None:
    try:
        _agree(_PROGRAM.format(preset=0, taken="", line=f"p := {left} {order} {right};"))
    except InputError:
        reject()


# In a model: the engine's states must be those of the judge, which counts on.

_MODEL = """title: Pulses
controller: controller.st
plant:
  cam:
    states: [low, high]
    moves:
      - {from: low, to: high, says: lifts}
      - {from: high, to: low, says: drops}
controls:
  clear: {says: the button}
sensors:
  pulse: {reads: cam = high}
  cleared: {reads: clear}
outputs:
  warn: {says: the lamp}
  shown: {says: the display}
terms:
  many: shown > 3
requirements:
  R1: {says: The lamp stays off, never: warn}
  R2: {says: The display stays low, never: many}
  R3: {says: The display goes back, can_still: shown = 0}
"""
_COUNTS = """PROGRAM Counts
VAR_INPUT pulse, cleared : BOOL; END_VAR
VAR_OUTPUT warn : BOOL; shown : INT (0..9); END_VAR
VAR n : CTU; END_VAR
n(CU := pulse, R := cleared, PV := 3);
warn := WARN;
shown := SHOWN;
END_PROGRAM
"""


def _counts(folder: Path, warn: str, shown: str) -> Model:
    program = _COUNTS.replace("WARN", warn).replace("SHOWN", shown)
    return load(write_model(folder, _MODEL, program))


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
@pytest.mark.parametrize(
    ("warn", "shown", "rises"),
    [
        ("n.CV > 3", "0", {"R1": 4}),
        ("n.Q", "0", {"R1": 3}),
        ("n.CV = 6 AND n.Q", "MIN(n.CV, 4)", {"R1": 6, "R2": 4}),
        ("FALSE", "LIMIT(1, n.CV, 3)", {"R3": 0}),
    ],
)
def test_a_count_past_the_preset_value_is_found_and_replayed(
    tmp_path: Path, engine: str, warn: str, shown: str, rises: dict[str, int]
) -> None:
    result = verify(_counts(tmp_path, warn, shown), catalogue()[engine]())
    found = {
        finding.requirement.id: [h.says for h in finding.run.happenings].count("lifts")
        for finding in result.findings
        if finding.run is not None
    }
    assert found == rises
    assert all(f.verdict.outcome is not Outcome.UNDECIDED for f in result.findings)


def test_a_counter_of_which_only_q_is_read_has_no_more_states_than_its_preset_value(
    tmp_path: Path,
) -> None:
    def greatest(warn: str, shown: str) -> int:
        system = build(_counts(tmp_path, warn, shown)).system
        return system.variables[system.index["plc.n.CV"]].domain.hi

    assert greatest("n.Q", "0") == 3
    assert greatest("n.CV > 5", "0") == 6
    assert greatest("n.Q", "MIN(n.CV, 4)") == 4
    assert greatest("n.CV MOD 2 = 1", "0") == 32767


def test_controllers_that_count_differently_far_are_compared_exactly(tmp_path: Path) -> None:
    def likeness(new: Model) -> Likeness:
        found = run_in_lockstep(build(one), build(new), catalogue()["reference"]())
        return next(output.likeness for output in found.outputs if output.output == "warn")

    one = _counts(tmp_path / "one", "n.CV > 3 AND n.CV < 5", "0")
    other = _counts(tmp_path / "other", "n.CV > 3", "0")
    same = _counts(tmp_path / "same", "n.CV >= 4 AND NOT (n.CV > 4)", "0")
    assert likeness(same) is Likeness.EQUAL
    assert likeness(other) is Likeness.DIFFERS
