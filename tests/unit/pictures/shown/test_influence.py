"""The influence of signals on outputs, against trying everything out in every reachable state."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines import catalogue
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.expr import var
from interlock.kernel.system import Stepper
from interlock.model.build import Built, build
from interlock.model.load import load
from interlock.pictures.shown.influence import Effect, Influence, InfluenceStudy
from interlock.st.lower import lower_program
from tests.support.small_models import write_model

MODEL = """\
title: Random
controller: controller.st
plant:
  arm:
    states: [low, mid, top]
    moves:
      - {from: low, to: mid, when: x}
      - {from: mid, to: top, when: x AND NOT y}
      - {from: [mid, top], to: low, when: y OR m = 2}
controls:
  p: {says: p}
  q: {says: q}
sensors:
  a: {reads: arm = low}
  b: {reads: p}
  c: {reads: q AND arm <> top}
  n: {reads: 'SEL(p, SEL(q, 0, 1), 2)'}
requirements:
  R1: {says: The arm is never broken, never: 'FALSE'}
"""
ATOMS = ("a", "b", "c", "x", "y", "k", "n = 1", "m = 2", "TRUE")
TRUTHS = st.recursive(
    st.sampled_from(ATOMS),
    lambda inner: (
        st.builds("NOT ({})".format, inner)
        | st.builds("({} {} {})".format, inner, st.sampled_from(("AND", "OR", "XOR")), inner)
    ),
    max_leaves=5,
)
STATEMENTS = st.builds("{} := {};".format, st.sampled_from("xyk"), TRUTHS) | st.builds(
    "m := SEL({}, {}, {});".format, TRUTHS, st.sampled_from("0123n"), st.sampled_from("02m")
)


def program_of(statements: list[str]) -> str:
    head = (
        "PROGRAM r VAR_INPUT a, b, c : BOOL; n : INT (0..2); END_VAR "
        "VAR_OUTPUT x, y : BOOL; m : INT (0..3); END_VAR VAR k : BOOL; END_VAR\n"
    )
    return head + "\n".join(statements) + "\nEND_PROGRAM\n"


def reachable(built: Built) -> set[State]:
    stepper = Stepper(built.system)
    seen, todo = {built.system.initial}, [built.system.initial]
    while todo:
        for _, state in stepper.successors(todo.pop()):
            if state not in seen:
                seen.add(state)
                todo.append(state)
    return seen


def tried_out(built: Built, study: InfluenceStudy) -> dict[tuple[str, str], Effect]:
    """The slow twin: force every value of every cause in every reachable state."""
    program = built.model.program
    updates = lower_program(program, built.model.settings).updates
    cells = {}
    states = reachable(built)
    initial = {v.name: v.initial for v in built.system.variables}
    for cause in study.causes:
        for name in study.effects:
            output, _, value = name.partition(" = ")
            wanted = int(value) if value else 1
            pairs = set()
            for state in states:
                values = {**initial, **built.system.named(state)}
                for variable in study.lowered.variables:
                    values.setdefault(variable.name, variable.initial)
                for declared in program.inputs:
                    signal = built.signals[declared.name.casefold()]
                    values[f"input.{declared.name}"] = evaluate(signal, values)

                update = updates.get(output, var(output))
                on = {
                    forced: evaluate(update, {**values, cause.variable: forced}) == wanted
                    for forced in (cause.value, *cause.others)
                }
                pairs |= {(on[cause.value], on[other]) for other in cause.others}
            permits, blocks = (True, False) in pairs, (False, True) in pairs
            if permits and blocks:
                cells[cause.name, name] = Effect.BOTH
            elif permits:
                always = not any(without for _, without in pairs)
                cells[cause.name, name] = Effect.PERMITS_ALWAYS if always else Effect.PERMITS
            elif blocks:
                always = not any(with_it for with_it, _ in pairs)
                cells[cause.name, name] = Effect.BLOCKS_ALWAYS if always else Effect.BLOCKS
    return cells


def studied(statements: list[str], engine: str) -> tuple[Built, InfluenceStudy, Influence]:
    with tempfile.TemporaryDirectory() as folder:
        built = build(load(write_model(Path(folder) / "m", MODEL, program_of(statements))))
    study = InfluenceStudy(built)
    explored = catalogue()[engine]().explore(built.system, study.queries)
    return built, study, study.result(explored.answers)


@settings(max_examples=20, deadline=None)
@given(st.lists(STATEMENTS, min_size=1, max_size=5), st.sampled_from(["reference", "symbolic"]))
def test_the_influence_is_what_trying_everything_out_gives(
    statements: list[str], engine: str
) -> None:
    built, study, found = studied(statements, engine)
    assert found.complete
    assert dict(found.cells) == tried_out(built, study)


def test_each_letter_has_its_example() -> None:
    statements = ["x := a AND (b OR c);", "y := NOT a AND (NOT b OR NOT c);", "k := b XOR y;"]
    _, _, found = studied([*statements, "m := SEL(k, 0, 2);"], "reference")
    assert found.cells["a", "x"] is Effect.PERMITS_ALWAYS
    assert found.cells["b", "x"] is Effect.PERMITS
    assert found.cells["a", "y"] is Effect.BLOCKS_ALWAYS
    assert found.cells["b", "y"] is Effect.BLOCKS
    assert found.cells["b", "m = 2"] is Effect.BOTH
    assert ("n = 1", "x") not in found.cells


def test_gates_name_the_outputs_that_moves_need() -> None:
    _, _, found = studied(["x := b;", "y := c AND b;"], "reference")
    needs = {(gate.output, gate.move): (gate.needs_on, gate.needs_off) for gate in found.gates}
    assert needs["x", "arm: low to mid"] == (True, False)
    assert needs["y", "arm: mid to top"] == (False, True)
    assert needs["y", "arm: mid to low"] == (True, False)


def test_a_limit_makes_the_influence_incomplete() -> None:
    from interlock.kernel.query import Limits

    with tempfile.TemporaryDirectory() as folder:
        built = build(load(write_model(Path(folder) / "m", MODEL, program_of(["x := b;"]))))
    study = InfluenceStudy(built)
    explored = catalogue()["reference"]().explore(built.system, study.queries, Limits(max_states=2))
    assert not study.result(explored.answers).complete
