"""Random models with two controllers, as plain data and as the files that say the same.

A formula is a name, 0 or 1, ``(machine, "=", number of a state)``, ``("not", f)``,
``("and", f, g)`` or ``("or", f, g)``.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

Expression = Any
CONTROLLERS = ("a", "b")


@dataclass
class Program:
    """The program of one controller.

    Attributes
    ----------
    inputs, outputs : list of str
        As the program calls them.
    kept : bool
        Whether its variable ``l`` is RETAIN.
    has_timer : bool
        Whether it calls a TON ``t`` before its other statements, on `starts`.
    body : list of (str, formula)
    scans_while : formula or None
    scan : (int, int)
        With time: least and greatest milliseconds from scan to scan.
    preset_ms : int
        Of the timer.
    """

    inputs: list[str]
    outputs: list[str]
    kept: bool
    has_timer: bool
    starts: Expression
    body: list[tuple[str, Expression]]
    scans_while: Expression = None
    scan: tuple[int, int] = (0, 0)
    preset_ms: int = 1000


@dataclass
class Move:
    """A move of a machine; `takes` are its least and greatest milliseconds, if any."""

    machine: str
    source: int
    target: int
    when: Expression
    by: str
    may: bool
    takes: tuple[int, int] | None = None


@dataclass
class Fault:
    """A fault: what it restarts, and what is stuck, and how (0, 1 or ``frozen``)."""

    name: str
    restarts: list[str] = field(default_factory=list)
    sensors: dict[str, Any] = field(default_factory=dict)
    outputs: dict[str, Any] = field(default_factory=dict)
    clears: bool = False


@dataclass
class Spec:
    """A model.

    Attributes
    ----------
    machines : dict of str to int
        How many states each has, the first being the initial one.
    controls : list of str
    programs : dict of str to Program
    sensors : dict of str to (formula, int or None)
        What each reads, and its age where one is given.
    either : str
        How a term ``w`` makes one of both controllers' outputs ``w``; empty without.
    unit_ms : int
        The unit of time; 0 without.
    delays : dict of str to int
        Of sensors, in milliseconds.
    """

    between: str
    machines: dict[str, int]
    controls: list[str]
    programs: dict[str, Program]
    sensors: dict[str, tuple[Expression, int | None]]
    moves: list[Move]
    faults: list[Fault]
    either: str
    requirements: list[dict[str, Any]]
    unit_ms: int = 0
    delays: dict[str, int] = field(default_factory=dict)


def formula(rng: random.Random, atoms: Sequence[Expression], depth: int = 2) -> Expression:
    """A random formula over `atoms`."""
    kind = rng.randrange(8) if depth else 7
    if kind < 2:
        return ("not", formula(rng, atoms, depth - 1))
    if kind < 5:
        word = "and" if kind < 4 else "or"
        return (word, formula(rng, atoms, depth - 1), formula(rng, atoms, depth - 1))
    return rng.choice(atoms)


def _program(rng: random.Random, name: str, outputs: list[str]) -> Program:
    inputs = ["k", f"from_{'b' if name == 'a' else 'a'}"]
    inputs += [f"see_{name}"] if rng.random() < 0.6 else []
    inputs += [f"free_{name}"] if rng.random() < 0.15 else []
    has_timer = rng.random() < 0.35
    atoms: list[Expression] = [*inputs, "l", *outputs, *(["t.Q"] if has_timer else [])]
    body = [(target, formula(rng, atoms)) for target in [*outputs, "l"]]
    rng.shuffle(body)
    starts = formula(rng, [*inputs, *outputs], 1)
    return Program(inputs, outputs, rng.random() < 0.3, has_timer, starts, body)


def drawn(seed: int) -> Spec:
    """A random model."""
    rng = random.Random(seed)
    machines = {"m": rng.choice((2, 2, 3))} | ({"n": 2} if rng.random() < 0.4 else {})
    has_both = rng.random() < 0.4
    programs = {
        one: _program(rng, one, [out, *(["w"] if has_both else [])])
        for one, out in zip(CONTROLLERS, ("x", "y"), strict=True)
    }
    at = [(m, "=", s) for m, n in machines.items() for s in range(n)]
    outputs: list[Expression] = ["x", "y", *(["a.w", "b.w", "w"] if has_both else [])]
    faults = _faults(rng, programs, has_both)
    flags = [fault.name for fault in faults]
    sensors: dict[str, tuple[Expression, int | None]] = {
        "k": ("key", None),
        "from_a": (_message(rng, "x", at), rng.choice((None, None, 0, 1, 2))),
        "from_b": (_message(rng, "y", at), rng.choice((None, None, 0, 1, 2))),
        "see_a": (formula(rng, at, 1), None),
        "see_b": (formula(rng, [*at, *flags], 1), rng.choice((None, None, 1))),
    }
    read = {name for program in programs.values() for name in program.inputs}
    sensors = {name: given for name, given in sensors.items() if name in read}
    for program in programs.values():
        if faults and rng.random() < 0.35:
            program.scans_while = formula(rng, [("not", f) for f in flags] + at, 1)
    moves = []
    for machine, n in machines.items():
        for source in range(n):
            target = (source + 1) % n
            by = rng.choice(("plant", "plant", "operator"))
            may = by == "plant" and rng.random() < 0.15
            when = formula(rng, [*outputs, "key", *flags], 1)
            moves.append(Move(machine, source, target, when, by, may))
    between = rng.choice(("each once", "each once", "one in all", "two in all", "any number"))
    either = rng.choice(("or", "and")) if has_both else ""
    asked = [*outputs, "key", *at, "a.l", "b.l"]
    return Spec(
        between, machines, ["key"], programs, sensors, moves, faults, either,
        [_requirement(rng, asked) for _ in range(6)],
    )  # fmt: skip


def _message(rng: random.Random, output: str, at: list[Expression]) -> Expression:
    return output if rng.random() < 0.7 else ("or", output, rng.choice(at))


def _faults(rng: random.Random, programs: dict[str, Program], has_both: bool) -> list[Fault]:
    found = []
    outputs = ["x", "y", *(["a.w", "b.w"] if has_both else [])]
    read = {name for program in programs.values() for name in program.inputs}
    sensors = sorted(name for name in read if not name.startswith("free"))
    for number in range(rng.choice((0, 1, 2))):
        fault = Fault(f"f{number}", clears=rng.random() < 0.3)
        kind = rng.randrange(4)
        how = rng.choice((0, 1, "frozen"))
        if kind == 0:
            fault.restarts = rng.choice((["a"], ["b"], ["a", "b"]))
        elif kind == 1:
            fault.outputs = {rng.choice(outputs): how}
        elif kind == 2:
            fault.sensors = {rng.choice(sensors): how}
        found.append(fault)
    return found


def _requirement(rng: random.Random, atoms: list[Expression]) -> dict[str, Any]:
    pattern = rng.choice(("never", "never", "always", "leads_to", "exists", "can_still"))
    judged = rng.choice(("", "", "any", "a", "b")) if pattern != "exists" else ""
    p = formula(rng, atoms)
    if pattern == "never":
        p = ("and", p, formula(rng, atoms, 1))
    return {"pattern": pattern, "judged": judged, "p": p, "s": formula(rng, atoms)}


# In milliseconds; few are whole units, and some have no room between least and greatest.
SPANS = [(0, 100), (100, 100), (150, 250), (40, 60), (200, 300), (0, 350)]
SCANS = [(100, 100), (50, 50), (80, 120), (30, 170), (150, 150), (250, 250), (10, 40)]


def given_time(spec: Spec, seed: int) -> Spec:
    """The model with time: periods, durations, preset times, delays, and bounds in time."""
    rng = random.Random(f"time of {seed}")
    programs = {
        name: replace(program, scan=rng.choice(SCANS), preset_ms=rng.choice((40, 100, 250)))
        for name, program in spec.programs.items()
    }
    moves = [
        # What need not happen takes no duration.
        replace(m, takes=None if m.may or rng.random() < 0.3 else rng.choice(SPANS))
        for m in spec.moves
    ]
    delays = {}
    for name, (_, age) in spec.sensors.items():
        is_late = age or (age is None and not name.startswith("see"))
        if not is_late and rng.random() < 0.4:
            delays[name] = rng.choice((40, 100, 150))
    asked = [dict(one) for one in spec.requirements]
    for one in asked:
        if one["pattern"] == "leads_to" and rng.random() < 0.7:
            one |= {"ms": rng.choice((0, 50, 100, 150, 300, 500)), "judged": ""}
    unit_ms = rng.choice((100, 100, 70, 50, 250))
    return replace(
        spec, programs=programs, moves=moves, requirements=asked, unit_ms=unit_ms, delays=delays
    )


# Writing


def text(f: Expression) -> str:
    """A formula in Structured Text."""
    if isinstance(f, str):
        return f
    if f in (0, 1):
        return "TRUE" if f else "FALSE"
    if f[0] == "not":
        return f"NOT ({text(f[1])})"
    if f[0] in ("and", "or"):
        return f"(({text(f[1])}) {f[0].upper()} ({text(f[2])}))"
    return f"({f[0]} = {f[0]}{f[2]})"


def written(spec: Spec, folder: Path) -> Path:
    """Write the model's files into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, program in spec.programs.items():
        (folder / f"{name}.st").write_text(_source(name, program), encoding="utf-8")
    time = f", time: {{unit: {spec.unit_ms} ms}}" if spec.unit_ms else ""
    lines = ["title: drawn", f"run: {{between_scans: {spec.between}{time}}}", "controllers:"]
    for name, program in spec.programs.items():
        waits = f", scans_while: '{text(program.scans_while)}'" if program.scans_while else ""
        if spec.unit_ms:
            waits += ", scan: [{} ms, {} ms]".format(*program.scan)
        lines.append(f"  {name}: {{program: {name}.st{waits}}}")
    lines.append("plant:")
    for machine, n in spec.machines.items():
        states = ", ".join(f"{machine}{s}" for s in range(n))
        lines += [f"  {machine}:", f"    states: [{states}]", "    moves:"]
        for m in spec.moves:
            if m.machine == machine:
                ends = f"from: {machine}{m.source}, to: {machine}{m.target}"
                does = f"when: '{text(m.when)}', by: {m.by}, may: {str(m.may).lower()}"
                if m.takes is not None:
                    least, greatest = (ms / 1000 for ms in m.takes)
                    does += f", seconds: [{least}, {greatest}], assumed: true"
                lines.append(f"      - {{{ends}, {does}}}")
    lines += ["controls: {key: {}}", "sensors:"]
    for sensor, (reads, age) in spec.sensors.items():
        aged = "" if age is None else f", age: {age} scans"
        if sensor in spec.delays:
            aged += f", delay_ms: {spec.delays[sensor]}, delay_assumed: true"
        lines.append(f"  {sensor}: {{reads: '{text(reads)}'{aged}}}")
    if spec.either:
        lines.append(f"terms: {{w: a.w {spec.either.upper()} b.w}}")
    lines += ["requirements:", *map(_asked, range(len(spec.requirements)), spec.requirements)]
    lines += ["faults:"] if spec.faults else []
    lines += [f"  {fault.name}: {{{_does(fault)}}}" for fault in spec.faults]
    (folder / "model.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def _source(name: str, program: Program) -> str:
    lines = [f"PROGRAM P_{name}", f"VAR_INPUT {', '.join(program.inputs)} : BOOL; END_VAR"]
    lines.append(f"VAR_OUTPUT {', '.join(program.outputs)} : BOOL; END_VAR")
    lines.append(f"VAR {'RETAIN ' if program.kept else ''}l : BOOL; END_VAR")
    if program.has_timer:
        lines += [
            "VAR t : TON; END_VAR",
            f"t(IN := {text(program.starts)}, PT := T#{program.preset_ms}ms);",
        ]
    lines += [f"{target} := {text(value)};" for target, value in program.body]
    return "\n".join([*lines, "END_PROGRAM", ""])


def _asked(number: int, asked: dict[str, Any]) -> str:
    words = {"": "every state", "any": "after scan"}
    judged = words.get(asked["judged"], f"after scan of {asked['judged']}")
    pattern, p = asked["pattern"], text(asked["p"])
    says = f"{pattern}: '{p}'"
    if pattern == "leads_to":
        says = f"whenever: '{p}', leads_to: '{text(asked['s'])}'"
        says += f", within: {asked['ms']} ms" if "ms" in asked else ""
    return f"  R{number}: {{says: drawn, {says}, judged: {judged}}}"


def _does(fault: Fault) -> str:
    words = {0: "'FALSE'", 1: "'TRUE'", "frozen": "frozen"}
    parts = ["says: drawn", f"intermittent: {str(fault.clears).lower()}"]
    if fault.restarts:
        parts.append(f"restart: true, controllers: [{', '.join(fault.restarts)}]")
    for key, stuck in (("sensors", fault.sensors), ("outputs", fault.outputs)):
        if stuck:
            parts.append(
                f"{key}: {{{', '.join(f'{n}: {words[how]}' for n, how in stuck.items())}}}"
            )
    return ", ".join(parts)
