"""Random models: plant, controls, sensors, a program, faults and requirements, as files."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from interlock.model.build import FAULT_FREE, RunClass

MACHINES = {"m0": ("A", "B"), "m1": ("A", "B", "C")}
OUTPUTS = ("q0", "q1")
INPUTS = ("s0", "s1", "p")
BETWEEN_SCANS = ("one in all", "one in all", "two in all", "each once", "any number")
FAULTS = {
    "F1": "{says: s0 stuck, sensor: s0, stuck: 'TRUE'}",
    "F2": "{says: q0 stuck, output: q0, stuck: 'FALSE'}",
    "F3": "{says: m1 jams, machine: m1, jams_in: [B]}",
    "F4": "{says: s1 frozen, sensor: s1, stuck: frozen, intermittent: true}",
    "F5": "{says: restart, restart: true}",
}


@dataclass(frozen=True)
class RandomModel:
    """The files of a model and the run class to explore it in."""

    yaml: str
    st: str
    run_class: RunClass


@st.composite
def truths(draw: st.DrawFn) -> str:
    """A condition over the truth."""
    atoms = [f"{m} = {s}" for m, states in MACHINES.items() for s in states] + [*OUTPUTS, "c0"]
    return _joined(draw, atoms)


def _joined(draw: st.DrawFn, atoms: list[str] | tuple[str, ...]) -> str:
    parts = [
        draw(st.sampled_from(["", "", "NOT "])) + f"({draw(st.sampled_from(atoms))})"
        for _ in range(draw(st.integers(1, 3)))
    ]
    return f" {draw(st.sampled_from(['AND', 'OR', 'XOR']))} ".join(parts)


@st.composite
def _program(draw: st.DrawFn) -> str:
    atoms = (*INPUTS, *OUTPUTS, "l0", "t.Q", "e.Q")
    lines = [
        f"{name} := {_joined(draw, atoms)};" for name in draw(st.permutations(["q0", "q1", "l0"]))
    ]
    lines.insert(draw(st.integers(0, 3)), f"t(IN := {_joined(draw, atoms)}, PT := T#1s);")
    lines.insert(draw(st.integers(0, 3)), f"e(CLK := {_joined(draw, atoms)});")
    if draw(st.booleans()):
        branch = f"IF {_joined(draw, atoms)} THEN l0 := NOT l0; ELSIF s1 THEN q0 := FALSE; END_IF;"
        lines.append(branch)
    variables = "VAR l0 : BOOL; t : TON; e : R_TRIG; END_VAR"
    return (
        "PROGRAM Random\nVAR_INPUT s0, s1, p : BOOL; END_VAR\n"
        f"VAR_OUTPUT q0, q1 : BOOL; END_VAR\n{variables}\n" + "\n".join(lines) + "\nEND_PROGRAM\n"
    )


@st.composite
def _moves(draw: st.DrawFn, states: tuple[str, ...]) -> str:
    lines = []
    for source in states:
        target = draw(st.sampled_from([s for s in states if s != source]))
        who = draw(st.sampled_from(["", "", ", by: operator"]))
        lines.append(f"      - {{from: {source}, to: {target}, when: '{draw(truths())}'{who}}}")
    return "\n".join(lines)


@st.composite
def random_models(draw: st.DrawFn, with_faults: bool | None = None) -> RandomModel:
    """A model; with faults that may strike, without, or either where that is None."""
    if with_faults is None:
        with_faults = draw(st.booleans())
    plant = "\n".join(
        f"  {name}:\n    states: [{', '.join(states)}]\n    moves:\n{draw(_moves(states))}"
        for name, states in MACHINES.items()
    )
    faults = "\n".join(f"  {id_}: {text}" for id_, text in FAULTS.items())
    judged = draw(st.sampled_from(["", ", judged: after scan"]))
    asked = draw(
        st.sampled_from(
            [
                f"R3: {{says: c, can_still: '{draw(truths())}'}}",
                f"R3: {{says: c, event: '{draw(truths())}', only_after: '{draw(truths())}'}}",
                f"R3: {{says: c, exists: '{draw(truths())}'}}",
            ]
        )
    )
    yaml = f"""title: Random
controller: controller.st
run: {{between_scans: {draw(st.sampled_from(BETWEEN_SCANS))}}}
plant:
{plant}
controls:
  c0: {{says: a button}}
sensors:
  s0: {{reads: '{draw(truths())}'}}
  s1: {{reads: 'm1 = B'}}
  p: {{reads: c0}}
faults:
{faults}
requirements:
  R1: {{says: a, never: '{draw(truths())}'{judged}}}
  R2: {{says: b, whenever: '{draw(truths())}', leads_to: '{draw(truths())}'}}
  {asked}
"""
    run_class = FAULT_FREE
    if with_faults:
        ids = draw(st.lists(st.sampled_from(sorted(FAULTS)), min_size=1, max_size=3, unique=True))
        run_class = RunClass(tuple(sorted(ids)), draw(st.sampled_from([1, 2, None])))
    return RandomModel(yaml, draw(_program()), run_class)
