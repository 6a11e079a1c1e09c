"""Random model folders from a seed: everything a model file can say, in small.

Each is drawn anew until at most `MOST` states can be reached in its class, and at least `FEWEST`
under two of its faults, so what a seed gives depends on the seed alone.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing_asks import draw_requirements
from tests.second_opinion.drawing_st import draw_program
from tests.second_opinion.names import Names
from tests.second_opinion.reached import TooManyError, reach
from tests.second_opinion.world import Class, World

FEWEST, MOST = 10, 2000
# What a program drawn at random may say and nobody would: it is refused, and another is drawn.
_SENSELESS = ("division by zero", "this label is never met", "the value is")


@dataclass(frozen=True)
class Drawn:
    """The files of a model and the class to judge it in."""

    yaml: str
    program: str
    run_class: Class

    def write(self, folder: Path) -> None:
        """Write the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "model.yaml").write_text(self.yaml, encoding="utf-8")
        (folder / "controller.st").write_text(self.program, encoding="utf-8")


def draw(seed: int, folder: Path, most: int = MOST) -> tuple[Drawn, Model]:
    """The model of `seed`, written to `folder` and read.

    Parameters
    ----------
    seed : int
    folder : Path
    most : int
        The most states that can be reached in its class.
    """
    for attempt in range(200):
        drawn = _Drawing(random.Random(f"{seed}.{attempt}")).done()
        try:
            model = read(drawn, folder)
            if model is None:
                continue
            # The sets of faults are asked under two of them, so that has to be small as well.
            for bound in (drawn.run_class.at_most, 2):
                run_class = Class(drawn.run_class.faults, bound, drawn.run_class.human)
                n_states = len(reach(World(model, run_class), most).states)
        except TooManyError:
            continue
        if n_states >= FEWEST:
            return drawn, model
    raise AssertionError(f"seed {seed} gives no model of a fitting size")


def read(drawn: Drawn, folder: Path) -> Model | None:
    """The model, written to `folder` and read; None where its program makes no sense."""
    drawn.write(folder)
    try:
        return load(folder)
    except InputError as error:
        if not all(mistake.says.startswith(_SENSELESS) for mistake in error.mistakes):
            raise
        return None


def draw_any(seed: int, folder: Path) -> tuple[Drawn, Model]:
    """The model of `seed`, however many states it has."""
    for attempt in range(200):
        drawn = _Drawing(random.Random(f"{seed}.{attempt}")).done()
        model = read(drawn, folder)
        if model is not None:
            return drawn, model
    raise AssertionError(f"seed {seed} gives no model")


class _Drawing:
    """One attempt at a model."""

    def __init__(self, by: random.Random) -> None:
        self._by = by
        self._names = Names.draw(by)

    def done(self) -> Drawn:
        by, names = self._by, self._names
        lines = ["title: Drawn at random", "controller: controller.st", self._run(), "plant:"]
        for machine in names.machines:
            lines += self._machine(machine)
        if names.controls:
            lines.append("controls:")
            lines += [f"  {name}: {self._control(name)}" for name in names.controls]
        lines += ["terms:"] if names.n_terms else []
        lines += [f"  {name}: {names.truth(by, 2, names.faults)}" for name in names.written_terms()]
        lines.append("sensors:")
        lines += [f"  {name}: {{reads: '{self._reads(name)}'}}" for name in names.inputs]
        if names.faults:
            lines.append("faults:")
            lines += [f"  {name}: {self._fault(name)}" for name in names.faults]
        lines.append("requirements:")
        lines += draw_requirements(by, names)
        return Drawn("\n".join(lines) + "\n", draw_program(by, names), self._class())

    def _run(self) -> str:
        others = ["one in all", "any number", "two in all", "each once", "three in all"]
        between = self._by.choice(["", *(f"between_scans: {other}, " for other in others)])
        timers = "counted" if self._names.counted else "free"
        edition = self._by.choice(["first", "second"])
        edges = f"edges: {edition} edition"
        return f"run: {{{between}scan_ms: 100, timers: {timers}, {edges}}}"

    def _machine(self, name: str) -> list[str]:
        by, states = self._by, self._names.machines[name]
        lines = [f"  {name}:", f"    states: [{', '.join(states)}]"]
        if by.random() < 0.3:
            lines.append(f"    initial: {by.choice(states)}")
        if by.random() < 0.15:
            lines.append(f"    by: {by.choice(['operator', 'driver'])}")
        # Only what the plant does by itself need not happen.
        may = "false" if any("    by: " in line for line in lines) else "true"
        lines.append("    moves:")
        for source in states:
            n_moves = by.choice([1, 1, 1, 2])
            moves = [self._move(name, source) for _ in range(n_moves)]
            lines += [f"      - {move.replace('MAY', may)}" for move in moves]
        return lines

    def _move(self, name: str, source: str) -> str:
        by, names = self._by, self._names
        states = names.machines[name]
        # A move to where the machine is already makes sense with what moves beside it.
        others = [state for state in states if state != source] or [source]
        target = source if by.random() < 0.05 else by.choice(others)
        sources = [source]
        if by.random() < 0.2:
            sources += [by.choice([state for state in states if state != source])]
        parts = [f"from: [{', '.join(sources)}]", f"to: {target}"]
        if by.random() < 0.8:
            parts.append(f"when: '{names.truth(by, 2, names.faults)}'")
        if by.random() < 0.25:
            parts.append(f"by: {by.choice(['operator', 'driver', 'human', 'human'])}")
        if len(names.machines) > 1 and by.random() < 0.25:
            other = by.choice([machine for machine in names.machines if machine != name])
            parts.append(f"also: {{{other}: '{self._place(other)}'}}")
        # Few moves are so quick that they may come again in one scan of 100 ms.
        least = random.Random(str(parts)).choice([None] * 8 + [9.0, 0.1, 0.05, 0.03, 0.001])
        if least is not None:
            parts.append(f"seconds: [{least}, 10], assumed: true")
        elif random.Random(f"may {parts}").random() < 0.2 and "by: " not in str(parts):
            parts.append("may: MAY")
        return f"{{{', '.join(parts)}}}"

    def _place(self, machine: str) -> str:
        by, states = self._by, self._names.machines[machine]
        if by.random() < 0.5:
            return by.choice(states)
        condition = self._names.truth(by, 1, self._names.faults)
        return f"SEL({condition}, {machine}, {by.choice(states)})"

    def _control(self, name: str) -> str:
        by, positions = self._by, self._names.controls[name]
        parts = [f"positions: [{', '.join(positions)}]"] if positions else []
        if by.random() < 0.2:
            parts.append(f"initial: {by.choice(positions) if positions else 'TRUE'}")
        if by.random() < 0.3:
            parts.append(f"when: '{self._names.truth(by, 1, self._names.faults)}'")
        if by.random() < 0.2:
            parts.append("by: driver")
        if random.Random(f"bounces {parts}").random() < 0.2:
            parts.append("bounces: true")
        return f"{{{', '.join(parts)}}}"

    def _reads(self, name: str) -> str:
        by, names = self._by, self._names
        if name == "place":
            return "m0"
        if name == "level":
            return f"SEL({names.truth(by, 1)}, {by.randint(0, 3)}, {by.randint(0, 3)})"
        return names.truth(by, 1, names.faults if by.random() < 0.2 else [])

    def _fault(self, name: str) -> str:
        by = self._by
        parts = [f"says: {name} happens"]
        kinds = ["sensor", "sensor", "output", "output", "machine", "restart", "plain", "several"]
        chosen = {by.choice(kinds)} | ({by.choice(kinds)} if by.random() < 0.2 else set())
        effects: dict[str, str] = {}
        for kind in sorted(chosen):
            effects |= self._effect(kind)
        parts += [f"{key}: {value}" for key, value in effects.items()]
        if by.random() < 0.4:
            parts.append("intermittent: true")
        if by.random() < 0.15:
            parts.append("common_cause: true")
        if by.random() < 0.05:
            parts.append("excluded: it cannot be")
        return f"{{{', '.join(parts)}}}"

    def _effect(self, kind: str) -> dict[str, str]:
        """What a fault does: keys of the model file with their values."""
        by, names = self._by, self._names
        stuck = ["'TRUE'", "'FALSE'", "frozen", "frozen"]
        match kind:
            case "sensor" | "output":
                known = names.bool_inputs if kind == "sensor" else names.bool_outputs
                return {f"{kind}s": f"{{{by.choice(known)}: {by.choice(stuck)}}}"}
            case "several":
                key = by.choice(["sensors", "outputs"])
                known = names.bool_inputs if key == "sensors" else names.bool_outputs
                lost = [f"{name}: {by.choice(stuck)}" for name in known]
                return {key: f"{{{', '.join(lost)}}}"}
            case "machine":
                machine = by.choice(list(names.machines))
                states = by.sample(names.machines[machine], by.choice([0, 1, 1]))
                jams = {"jams_in": f"[{', '.join(states)}]"} if states else {}
                return {"machine": machine, **jams}
            case "restart":
                return {"restart": "true"}
        return {}

    def _class(self) -> Class:
        by, faults = self._by, self._names.faults
        human = by.random() < 0.4
        if not faults or by.random() < 0.15:
            return Class((), 0, human)
        chosen = tuple(name for name in faults if by.random() < 0.85)
        return Class(chosen, by.choice([1, 1, 2, 2, None]) if chosen else 0, human)
