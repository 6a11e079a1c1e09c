"""What is said to occur nowhere, against walking through all that faults and people can do.

The walk is plain Python over the system with every fault and every human error, and knows nothing
of the questions by which the study spares itself that exploration.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from interlock.engines import catalogue
from interlock.kernel.evaluate import python_function
from interlock.kernel.query import Limits
from interlock.kernel.system import Stepper
from interlock.model.build import Built, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.declared import false_guards
from interlock.oversights.found import Kind
from interlock.oversights.free_names import FreeNames
from interlock.oversights.occurring import build_with_everything, subjects
from interlock.oversights.study import look, questions_for
from tests.support.random_models import RandomModel, random_models

MOST_STATES = 6_000


@st.composite
def models(draw: st.DrawFn) -> RandomModel:
    """A model whose guards and sensors may read faults, and some of whose moves are errors."""
    found = draw(random_models(with_faults=False))
    lines = found.yaml.splitlines()
    machine = ""
    for number, line in enumerate(lines):
        machine = line.strip() if line.startswith("  m") else machine
        is_formula = "{from:" in line or "reads: '" in line
        if is_formula and draw(st.booleans()):
            fault = draw(st.sampled_from(["F1", "F2", "F3", "F5"]))
            lines[number] = line.replace("when: '", f"when: '{fault} AND ", 1).replace(
                "reads: '", f"reads: '{fault} AND ", 1
            )
        if "{from:" in line and "by:" not in line and draw(st.integers(0, 4)) == 0:
            lines[number] = lines[number].replace("}", ", by: human}")
        if "{from:" in line and machine == "m0:" and draw(st.booleans()):
            state = draw(st.sampled_from(["A", "B", "C", "SEL(q0, B, C)"]))
            lines[number] = lines[number].replace("}", f", also: {{m1: '{state}'}}}}")
    kept = draw(st.sets(st.sampled_from(["F1", "F2", "F3", "F4", "F5"]), max_size=3))
    text = "\n".join(lines)
    gone = [
        line
        for line in lines
        if line.startswith("  F") and line[2:4] not in kept and text.count(line[2:4]) == 1
    ]
    yaml = "\n".join(line for line in lines if line not in gone).replace("faults:\nreq", "req")
    return replace(found, yaml=yaml + "\n")


def occurring(model: Model, built: Built) -> set[str] | None:
    """The subjects that occur, found by walking; None where there are too many states."""
    system = built.system
    stepper = Stepper(system)
    reads = python_function([built.lower(s.reads) for s in model.sensors.values()], system.index)
    at_first = reads(system.initial)
    seen, waiting = {system.initial}, [system.initial]
    found: set[str] = set()
    while waiting:
        state = waiting.pop()
        for machine in model.machines.values():
            found.add(f"state {machine.name} {state[system.index[machine.name]]}")
        told = zip(model.sensors, reads(state), at_first, strict=True)
        found |= {f"sensor {name}" for name, now, first in told if now != first}
        for move, after in stepper.successors(state):
            found.add(f"move {move.name}")
            if after not in seen:
                seen.add(after)
                waiting.append(after)
        if len(seen) > MOST_STATES:
            return None
    return found


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(given_model=models())
def test_what_never_occurs_is_told_and_nothing_else(
    given_model: RandomModel, tmp_path_factory: object
) -> None:
    folder = Path(str(tmp_path_factory.mktemp("model")))  # type: ignore[attr-defined]
    (folder / "model.yaml").write_text(given_model.yaml, encoding="utf-8")
    (folder / "controller.st").write_text(given_model.st, encoding="utf-8")
    model = load(folder)
    occurs = occurring(model, build_with_everything(model))
    assume(occurs is not None)
    assert occurs is not None
    engine = catalogue()["enumerate"]()
    explored = engine.explore(build(model).system, questions_for(model).queries, Limits())
    looked = look(model, explored.answers, None, engine)
    assert looked.undecided == ()
    told = {(one.kind, one.place, one.says.partition(",")[0]) for one in looked.oversights}
    falsely_guarded = {f"move {name}" for name in false_guards(FreeNames(model))}
    for name, subject in subjects(model).items():
        # What is told of its cause is not told again.
        has_cause = name in falsely_guarded or any(need not in occurs for need in subject.needs)
        if not has_cause:
            is_told = (subject.kind, subject.place, subject.says) in told
            assert is_told == (name not in occurs), name
        elif subject.kind is Kind.MOVE_NEVER:
            assert name not in occurs
