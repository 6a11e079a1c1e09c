"""What can be seen in a yard: every situation at rest, and every single action at the terminals.

People are slower than scans and timers. A situation is the set of states that repeat for ever
while nobody does anything: one state where nothing changes. Scans take no time; running timers end
in the order of what is left of them, those with the same left together. What depends on the moment
of an action is noted, and followed no further.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from interlock.commands.testsheet.goals import Force, force_of, is_injectable
from interlock.commands.testsheet.study import IN_PASSING, make_sheet
from interlock.engines import catalogue
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing import draw
from tests.second_opinion.world import Class, Kind, State, World

MOST_SCANS, MOST_ENDS = 600, 150
Situation = frozenset[State]


class Hands(World):
    """The model without faults, with hands at the controller's terminals."""

    def __init__(self, model: Model) -> None:
        self.held = Force(())
        super().__init__(model, Class())
        self.presets = {i.name: i.preset_ms for i in model.program.instances}
        self.timers = [t for t in self._controller.free_timers if self.presets[t]]

    def truth(self, state: State) -> dict[str, int]:
        return {**super().truth(state), **dict(self.held.outputs)}

    def signals(self, state: State, truth: dict[str, int]) -> dict[str, int]:
        return {**super().signals(state, truth), **dict(self.held.signals)}

    def scan(self, state: State) -> State:
        memory = self.scanned(state, self.truth(state)).memory
        return state._replace(memory=memory, moves=0)

    def running(self, state: State) -> list[str]:
        return [t for t in self.timers if self._controller.is_running(state.memory, t)]

    def end(self, state: State, timers: Iterable[str]) -> State:
        for timer in timers:
            state = state._replace(memory=self._controller.ended(state.memory, timer))
        return state

    def restarted(self, state: State) -> State:
        return state._replace(memory=self._controller.restarted(state.memory))


def rest(world: Hands, states: Iterable[State]) -> Situation | None:
    """The one situation that all of `states` come to; None where there are several, or none."""
    found = {_rest(world, state) for state in states}
    return found.pop() if len(found) == 1 else None


def _rest(world: Hands, state: State) -> Situation | None:
    left: dict[str, int] = {}
    now = [world.scan(state)]
    past: list[tuple[Situation, dict[str, int]]] = []
    while len(past) < MOST_ENDS:
        rounds = [_repeating(world, state, left) for state in now]
        if None in rounds or any(one != rounds[0] for one in rounds):
            return None
        assert rounds[0] is not None
        repeating, left = rounds[0]
        if not left:
            return repeating
        if (repeating, left) in past:
            since = past.index((repeating, left))
            return frozenset(state for states, _ in past[since:] for state in states)
        past.append((repeating, left))
        passed = min(left.values())
        ended = [timer for timer in left if left[timer] == passed]
        left = {timer: ms - passed for timer, ms in left.items() if timer not in ended}
        now = [world.scan(world.end(state, ended)) for state in repeating]
    return None


def _repeating(
    world: Hands, state: State, left: dict[str, int]
) -> tuple[Situation, dict[str, int]] | None:
    seen: list[State] = []
    while state not in seen:
        if len(seen) > MOST_SCANS:
            return None
        seen.append(state)
        left = {timer: left.get(timer, world.presets[timer]) for timer in world.running(state)}
        state = world.scan(state)
    repeating = seen[seen.index(state) :]
    always = set.intersection(*(set(world.running(state)) for state in repeating))
    started_over = {timer for timer in left if timer not in always}
    return frozenset(repeating), {t: ms for t, ms in left.items() if t not in started_over}


@dataclass
class Seen:
    """What can be seen in a yard.

    Attributes
    ----------
    goals : set of str
        By the ids that a sheet has for them.
    depends : bool
        Something depended on the moment, or never came to rest.
    n_situations : int
    """

    goals: set[str] = field(default_factory=set)
    depends: bool = False
    n_situations: int = 0


def everything_seen(model: Model) -> Seen:
    """Search every situation for everything that is seen in it and by each action."""
    world = Hands(model)
    seen = Seen()
    first = rest(world, [world.first])
    known: set[Situation] = set() if first is None else {first}
    seen.depends = first is None
    todo = list(known)
    for situation in todo:
        for act, after in _moves(world, situation):
            new = rest(world, after)
            if new is None:
                seen.depends = True
                continue
            seen.goals.add(f"move {act}")
            if new not in known:
                known.add(new)
                todo.append(new)
        _look(world, model, situation, seen)
    seen.n_situations = len(known)
    return seen


def _moves(world: Hands, situation: Situation) -> Iterator[tuple[str, list[State]]]:
    found: dict[str, list[State]] = {}
    for state in situation:
        for act, after in world.successors(state, world.truth(state)):
            if act.kind is Kind.MOVE:
                found.setdefault(act.name, []).append(after)
    yield from found.items()


def _outputs(world: Hands, model: Model, situation: Situation) -> dict[str, frozenset[int]]:
    truths = [world.truth(state) for state in situation]
    return {name: frozenset(truth[name] for truth in truths) for name in model.outputs}


def _lamps(model: Model, values: dict[str, frozenset[int]]) -> Iterator[str]:
    words = {frozenset({0}): "off", frozenset({1}): "on"}
    for name, output in model.outputs.items():
        if output.lamp is not None:
            yield f"lamp {name} {words.get(values[name], 'flashing')}"


def _look(world: Hands, model: Model, situation: Situation, seen: Seen) -> None:
    before = _outputs(world, model, situation)
    seen.goals.update(_lamps(model, before))
    faults = {i: force_of(f) for i, f in model.faults.items() if is_injectable(f)}
    inputs = [v.name for v in model.program.inputs if str(v.type) == "BOOL"]
    single = [Force(((name, value),)) for name in inputs for value in (0, 1)]
    read = [world.signals(state, world.truth(state)) for state in situation]
    turned = [f for f in single if any(s[f.signals[0][0]] != f.signals[0][1] for s in read)]
    for force in dict.fromkeys([*turned, *faults.values()]):
        begun = [world.restarted(s) for s in situation] if force.restart else list(situation)
        world.held = force
        held = rest(world, begun)
        if held is not None:
            after = _outputs(world, model, held)
            changed = {name for name in after if after[name] != before[name]}
            if changed:
                seen.goals.update(f"fault {i}" for i, f in faults.items() if f == force)
                seen.goals.update(_lamps(model, after))
            if force.single is not None and any(
                signals[force.single] != force.signals[0][1] for signals in read
            ):
                seen.goals.update(f"term {name} {force.single}" for name in changed)
        world.held = Force(())
        seen.depends |= held is None or rest(world, held) is None


def compare(seed: int, folder: Path, most: int) -> tuple[list[str], dict[str, int]]:
    """What the sheet of a random model says falsely, and how much was compared."""
    drawn, _ = draw(seed, folder, most)
    outputs = "".join(f"  q{n}: {{lamp: red}}\n" for n in range(2) if f"q{n} :" in drawn.program)
    text = drawn.yaml.replace("requirements:\n", f"outputs:\n{outputs}requirements:\n")
    (folder / "model.yaml").write_text(text, encoding="utf-8")
    model = load(folder)
    sheet = make_sheet(model, catalogue()["reference"]())
    seen = everything_seen(model)
    goals = {goal.id for goal in sheet.goals}
    shown = seen.goals & goals
    false = [f"seed {seed}: '{g}' is impossible, and was seen" for g in shown & sheet.impossible]
    false += [
        f"seed {seed}: '{g}' is said to show {why}, and was seen at rest"
        for g, why in sheet.open.items()
        if g in shown and (why == IN_PASSING or not seen.depends)
    ]
    counts = {
        "models": 1,
        "goals": len(goals),
        "goals that were seen": len(shown),
        "goals that are impossible": len(sheet.impossible),
        "goals shown at rest only": len(sheet.impossible & seen.goals),
        "lamps seen flashing": sum(g.endswith("flashing") for g in sheet.covered),
        "situations": seen.n_situations,
        "models in which something depends on the moment": int(seen.depends),
    }
    return false, counts
