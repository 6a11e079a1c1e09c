"""Random models: plant, controls, sensors, a program, faults and requirements, as files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hypothesis import strategies as st

from interlock.model.build import FAULT_FREE, RunClass
from tests.support.choices import Choices

MACHINES = {"m0": ("A", "B"), "m1": ("A", "B", "C")}
OUTPUTS = ("q0", "q1")
INPUTS = ("s0", "s1", "p")
ASSUMED = ("one in all", "one in all", "two in all", "each once", "any number")
"""Between two scans. A model that says nothing assumes one of them, too."""
RUNS = ("", *(f"run: {{between_scans: {between}}}" for between in ASSUMED))
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


_ATOMS = [f"{m} = {s}" for m, states in MACHINES.items() for s in states] + [*OUTPUTS, "c0"]


@st.composite
def truths(draw: st.DrawFn) -> str:
    """A condition over the truth."""
    return _joined(Choices(draw), _ATOMS)


def _joined(by: Choices, atoms: Sequence[str]) -> str:
    parts = [by.pick(["", "", "NOT "]) + f"({by.pick(atoms)})" for _ in range(by.between(1, 3))]
    return f" {by.pick(['AND', 'OR', 'XOR'])} ".join(parts)


def _program(by: Choices) -> str:
    atoms = (*INPUTS, *OUTPUTS, "l0", "t.Q", "e.Q")
    lines = [f"{name} := {_joined(by, atoms)};" for name in by.shuffled(["q0", "q1", "l0"])]
    lines.insert(by.below(4), f"t(IN := {_joined(by, atoms)}, PT := T#1s);")
    lines.insert(by.below(4), f"e(CLK := {_joined(by, atoms)});")
    if by.maybe():
        branch = f"IF {_joined(by, atoms)} THEN l0 := NOT l0; ELSIF s1 THEN q0 := FALSE; END_IF;"
        lines.append(branch)
    variables = "VAR l0 : BOOL; t : TON; e : R_TRIG; END_VAR"
    return (
        "PROGRAM Random\nVAR_INPUT s0, s1, p : BOOL; END_VAR\n"
        f"VAR_OUTPUT q0, q1 : BOOL; END_VAR\n{variables}\n" + "\n".join(lines) + "\nEND_PROGRAM\n"
    )


def _moves(by: Choices, states: tuple[str, ...]) -> str:
    lines = []
    for source in states:
        target = by.pick([s for s in states if s != source])
        who = by.pick(["", "", ", by: operator"])
        lines.append(
            f"      - {{from: {source}, to: {target}, when: '{_joined(by, _ATOMS)}'{who}}}"
        )
    return "\n".join(lines)


@st.composite
def random_models(draw: st.DrawFn, with_faults: bool | None = None) -> RandomModel:
    """A model; with faults that may strike, without, or either where that is None."""
    by = Choices(draw)
    if with_faults is None:
        with_faults = by.maybe()
    plant = "\n".join(
        f"  {name}:\n    states: [{', '.join(states)}]\n    moves:\n{_moves(by, states)}"
        for name, states in MACHINES.items()
    )
    faults = "\n".join(f"  {id_}: {text}" for id_, text in FAULTS.items())
    judged = by.pick(["", ", judged: after scan"])
    a, b = _joined(by, _ATOMS), _joined(by, _ATOMS)
    asked = by.pick([f"can_still: '{a}'", f"event: '{a}', only_after: '{b}'", f"exists: '{a}'"])
    yaml = f"""title: Random
controller: controller.st
{by.pick(RUNS)}
plant:
{plant}
controls:
  c0: {{says: a button}}
sensors:
  s0: {{reads: '{_joined(by, _ATOMS)}'}}
  s1: {{reads: 'm1 = B'}}
  p: {{reads: c0}}
faults:
{faults}
requirements:
  R1: {{says: a, never: '{_joined(by, _ATOMS)}'{judged}}}
  R2: {{says: b, whenever: '{_joined(by, _ATOMS)}', leads_to: '{_joined(by, _ATOMS)}'}}
  R3: {{says: c, {asked}}}
"""
    run_class = FAULT_FREE
    if with_faults:
        ids = by.some(sorted(FAULTS), most=3, least=1)
        run_class = RunClass(tuple(sorted(ids)), by.pick([1, 2, None]))
    return RandomModel(yaml, _program(by), run_class)
