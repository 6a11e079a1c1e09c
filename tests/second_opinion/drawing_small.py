"""Small random models in which nearly everything matters to everything, to be revised.

Two machines, a button, three signals, a drive and a lamp, a memory and a timer. They read fast and
reach few states; what a change leads to is mostly seen.
"""

from __future__ import annotations

import random

from tests.second_opinion.drawing_asks import draw_requirements
from tests.second_opinion.names import Names, joined

N_REQUIREMENTS = 5
_SIGNALS = ["s0", "s1", "s2"]


def draw_small(by: random.Random) -> tuple[str, str]:
    """The texts of a model file and of its program."""
    names = Names(
        machines={"m0": ["A", "B", "C"], "m1": ["IN", "OUT"]},
        controls={"c0": []},
        inputs=dict.fromkeys(_SIGNALS, "BOOL"),
        outputs={"q0": "BOOL", "q1": "BOOL"},
        n_terms=1,
        faults=["F0", "F1", "F2", "F3"],
        counted=False,
    )
    lines = ["title: Drawn small", "controller: controller.st"]
    between = by.choice(["between_scans: one in all, ", "between_scans: two in all, ", ""])
    lines.append(f"run: {{{between}scan_ms: 100}}")
    lines.append("plant:")
    for name, states in names.machines.items():
        lines += [f"  {name}:", f"    states: [{', '.join(states)}]", "    moves:"]
        for _ in range(by.choice([2, 3])):
            source, target = by.sample(states, 2)
            lines.append(f"      - {_move(by, name, source, target)}")
    lines += ["controls:", "  c0: {}", "terms:"]
    lines += [f"  {name}: {names.truth(by, 2)}" for name in names.written_terms()]
    lines += ["sensors:", f"  s0: {{reads: '(m0 = {by.choice('ABC')})'}}"]
    lines += ["  s1: {reads: '(m1 = OUT)'}"]
    lines += [f"  s2: {{reads: '{by.choice(['(c0)', '(q0)', '(q1)', '(t0)'])}'}}"]
    lines += ["faults:", f"  F0: {{says: f, sensors: {{s0: {_stuck(by)}}}}}"]
    lines += [f"  F1: {{says: f, sensors: {{{by.choice(_SIGNALS)}: {_stuck(by)}}}}}"]
    lines += [by.choice(["  F2: {says: f, machine: m0}", "  F2: {says: f, restart: true}"])]
    lines += [f"  F3: {{says: f, outputs: {{q0: {_stuck(by)}}}}}", "requirements:"]
    lines += draw_requirements(by, names)[:N_REQUIREMENTS]
    return "\n".join(lines) + "\n", _program(by)


def _stuck(by: random.Random) -> str:
    return by.choice(["'TRUE'", "'FALSE'", "frozen"])


def _move(by: random.Random, machine: str, source: str, target: str) -> str:
    other, states = ("m1", ["IN", "OUT"]) if machine == "m0" else ("m0", ["A", "B", "C"])
    place = f"{other} = {by.choice(states)}"
    when = by.choice(["", "(q0)", "(q0)", "NOT (q0)", "(c0)", f"({place})"])
    parts = [f"from: [{source}]", f"to: {target}"]
    parts += [f"when: '{when}'"] if when else []
    parts += [f"by: {by.choice(['operator', 'driver', 'human'])}"] if by.random() < 0.3 else []
    parts += [f"also: {{{other}: '{by.choice(states)}'}}"] if by.random() < 0.2 else []
    return f"{{{', '.join(parts)}}}"


def _program(by: random.Random) -> str:
    atoms = [*_SIGNALS, *_SIGNALS, "l0", "b0.Q", "q0", "q1"]

    def value() -> str:
        return joined(by, lambda: by.choice(atoms), 2)

    statements = [f"{name} := {value()};" for name in ("q0", "q1", "l0")]
    if by.random() < 0.4:
        statements.append(f"b0(IN := {value()}, PT := T#100ms);")
    by.shuffle(statements)
    head = [
        "PROGRAM Drawn",
        "VAR_INPUT",
        *(f"  {name} : BOOL;" for name in _SIGNALS),
        "END_VAR",
        "VAR_OUTPUT q0, q1 : BOOL; END_VAR",
        f"VAR{by.choice(['', ' RETAIN'])} l0 : BOOL; END_VAR",
        "VAR b0 : TON; END_VAR",
    ]
    return "\n".join([*head, *statements, "END_PROGRAM", ""])
