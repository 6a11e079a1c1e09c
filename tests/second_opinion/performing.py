"""Rehearsals once more: what comes of deviations is judged move by move, against everything asked.

Each run that a rehearsal calls harmless is followed by plain search: the acts of its script are
performed in every way that the model allows. No state on it may violate what is asked, and
whatever can always still be done can be done in each. Each way back is played, and judged alike;
where there is said to be none, a plain search must find none.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from interlock.base.errors import InputError
from interlock.commands.rehearse.acts import Act, ActKind, Script, script_of
from interlock.commands.rehearse.deviations import performed
from interlock.commands.rehearse.recovery import Recovery
from interlock.commands.rehearse.results import Class, DeviationResult, Rehearsed
from interlock.commands.rehearse.study import Rehearser
from interlock.engines import catalogue
from interlock.kernel.requirement import Pattern
from interlock.model.build import ARITHMETIC
from interlock.model.load import load
from interlock.model.model import Formula, Model
from interlock.model.procedures import load_procedures
from tests.second_opinion.drawing import draw
from tests.second_opinion.timed import given_time
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import SCAN, TICK, Kind, State
from tests.second_opinion.world import Act as Event
from tests.second_opinion.world import Class as RunClass

MOST = 4_000
"""Nodes of one performance; larger ones are not compared."""

# Requirements that a state alone keeps or violates: the others are held to formulas elsewhere.
BY_STATE = (Pattern.NEVER, Pattern.ALWAYS)


@dataclass(frozen=True)
class Node:
    """A state, the next act, and the next act of the second person."""

    state: State
    act: int
    other: int


class Yard:
    """A model with human errors, and everything that a single state can violate."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.world = world_of(model, RunClass(human=True))
        self._ordinary = world_of(model, RunClass(human=False))
        self._can: dict[tuple[State, str], bool] = {}

    def holds(self, formula: Formula | None, state: State) -> bool:
        return bool(self.world.function(formula)(self.world.truth(state)))

    def violates(self, state: State) -> list[str]:
        found = []
        for id_, asked in self.model.statements.items():
            judged = not asked.after_scan or state.moves == 0
            if asked.pattern not in BY_STATE or not judged:
                continue
            p = self.holds(asked.p, state)
            bad = p if asked.pattern is Pattern.NEVER else not p
            if bad and self.holds(asked.when, state):
                found.append(id_)
        return found

    def lost(self, state: State) -> list[str]:
        """What can always still be done, and cannot be done from here."""
        return [
            id_
            for id_, asked in self.model.statements.items()
            if asked.pattern is Pattern.CAN_STILL and not self._can_still(state, id_)
        ]

    def _can_still(self, state: State, id_: str) -> bool:
        if (state, id_) not in self._can:
            asked = self.model.statements[id_]
            self._can[state, id_] = any(
                (not asked.after_scan or s.moves == 0) and self.holds(asked.p, s)
                for s in self._onward(state)
            )
        return self._can[state, id_]

    def _onward(self, state: State) -> Iterator[State]:
        seen = {state}
        todo = deque(seen)
        while todo:
            here = todo.popleft()
            yield here
            for _, after in self.world.successors(here, self.world.truth(here)):
                if after not in seen:
                    seen.add(after)
                    todo.append(after)

    def step(self, state: State, name: str) -> State | None:
        """The state after a scan, a timer's end or a move by its name."""
        for event, after in self.world.successors(state, self.world.truth(state)):
            if _name(event) == name:
                return after
        return None

    def safe_way(self, state: State, goal: Formula) -> bool:
        """Whether plain search finds a way on which nothing is violated, nobody erring."""
        already = set(self.violates(state))
        seen = {state}
        todo = deque(seen)
        while todo:
            here = todo.popleft()
            if self.holds(goal, here) and not self.lost(here):
                return True
            for _, after in self._ordinary.successors(here, self._ordinary.truth(here)):
                if after not in seen and already.issuperset(self.violates(after)):
                    seen.add(after)
                    todo.append(after)
        return False


def _name(event: Event) -> str:
    if event == SCAN:
        return "scan"
    if event == TICK:
        return "tick"
    if event.kind is Kind.LATE:
        return f"{event.name} is late"
    return f"{event.name} elapses" if event.kind is Kind.TIMER else event.name


class Performance:
    """Everything that can happen while a script is performed."""

    def __init__(self, yard: Yard, script: Script) -> None:
        self._yard, self._script = yard, script
        self._machines = list(yard.model.machines)
        self._kinds = {move.name: move.kind.value for move in yard.model.moves}

    def states(self, start: State) -> set[State] | None:
        """Every state that can come up; None where there are too many nodes."""
        seen = {Node(start, 0, 0)}
        todo = deque(seen)
        while todo:
            if len(seen) > MOST:
                return None
            for after in self._following(todo.popleft()):
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
        return {node.state for node in seen}

    def _following(self, node: Node) -> Iterator[Node]:
        world, script = self._yard.world, self._script
        events = list(world.successors(node.state, world.truth(node.state)))
        for event, after in events:
            if event.kind is not Kind.MOVE or self._kinds[event.name] == "plant":
                yield Node(after, node.act, node.other)
        waits = script.window and node.act == script.window[-1]
        if node.act < len(script.acts) and not (waits and node.other < len(script.beside)):
            act = script.acts[node.act]
            for after, is_done in self._performed(node.state, act, events):
                skips = act.skips if is_done and node.act not in script.window else 0
                yield Node(after, node.act + 1 + skips, node.other)
        if node.act in script.window and node.other < len(script.beside):
            for after, _ in self._performed(node.state, script.beside[node.other], events):
                yield Node(after, node.act, node.other + 1)

    def _performed(
        self, state: State, act: Act, events: list[tuple[Event, State]]
    ) -> Iterator[tuple[State, bool]]:
        yard = self._yard
        if act.kind is ActKind.BEGIN and state.moves == 0:
            yield state, yard.holds(act.done, state)
        if act.kind is ActKind.UNTIL and state.moves == 0 and yard.holds(act.done, state):
            yield state, False
        if act.kind is ActKind.LINGER:
            yield state, False
        if act.kind is ActKind.DO:
            if state.places[self._machines.index(act.machine)] in act.passed:
                yield state, False
                return
            by_name = {event.name: after for event, after in events if event.kind is Kind.MOVE}
            meant = [by_name[name] for name in act.moves if name in by_name]
            errors = [by_name[name] for name in act.errors if name in by_name]
            for after in meant or errors:
                yield after, False


def _procedure(model: Model, by: Random) -> str | None:
    """A file of procedures of two or three steps; None where people can do nothing."""
    people = [m for m in model.moves if m.kind.value in ("operator", "driver")]
    if not people:
        return None
    plant = [m for m in model.machines.values() if not m.is_control]

    def place() -> str:
        machine = by.choice(plant)
        return f"{machine.name} = {by.choice(machine.states)}"

    lines = [f"goal: {place()}", "procedures:", "  p:", "    says: drawn", "    starts: 'TRUE'"]
    lines += [f"    ends: {by.choice([place(), 'TRUE', 'TRUE'])}", "    steps:"]
    springs = {n: m for n, m in model.machines.items() if m.is_control and m.released is not None}
    for number in range(by.choice([1, 2, 3])):
        parts = [f"id: s{number}", "says: drawn", "who: operator", "observer: anybody"]
        done = by.choice([place(), "TRUE", "TRUE"])
        if springs and by.random() < 0.5:
            held = by.sample(list(springs), by.choice([1, len(springs)]))
            wanted = [
                f"{n}: '{springs[n].states[1 if springs[n].released == 0 else 0]}'" for n in held
            ]
            parts.append(f"hold: {{{', '.join(wanted)}}}")
        else:
            move = by.choice(people)
            target = model.machines[move.machine].states[move.target]
            done = by.choice([f"{move.machine} = {target}", "TRUE", done])
            parts.append(f"do: ['{move.name}']")
        parts.append(f"done: '{done}'")
        lines.append(f"      - {{{', '.join(parts)}, seconds: [1, 2], assumed: true}}")
    return "\n".join(lines) + "\n"


def _asked(model: Model, by: Random) -> str:
    """Requirements of which a procedure may well keep all."""
    plant = [m for m in model.machines.values() if not m.is_control]

    def place() -> str:
        machine = by.choice(plant)
        return f"{machine.name} = {by.choice(machine.states)}"

    outputs = [name for name in model.outputs if name.startswith("q")]
    lines = []
    for number in range(by.choice([1, 1, 2])):
        said = f"{place()} AND {by.choice(['', 'NOT '])}{by.choice(outputs)}"
        if len(plant) > 1 and by.random() < 0.5:
            said = f"{place()} AND {place()}"
        lines.append(f"  N{number}: {{says: asked, never: '{said}'}}")
    if by.random() < 0.6:
        lines.append(f"  C0: {{says: asked, can_still: '{place()}'}}")
    return "\n".join(lines) + "\n"


def compare(
    seed: int, folder: Path, most: int, with_time: bool = False
) -> tuple[list[str], dict[str, int]]:
    """What a rehearsal on a random model says falsely, and how much was compared."""
    drawn, model = draw(seed, folder, most)
    by = Random(f"procedure {seed}")
    counts = {
        "models": 1,
        "models with time": 0,
        "harmless": 0,
        "ways back": 0,
        "no way back": 0,
        "violating": 0,
    }
    false: list[str] = []
    for _ in range(3):
        head = drawn.yaml.split("requirements:\n")[0]
        text = f"{head}requirements:\n{_asked(model, by)}"
        (folder / "model.yaml").write_text(text, encoding="utf-8")
        model = load(folder)
        if with_time and not model.program.elapsed_reads:
            model = replace(given_time(model, by), statements=model.statements)
            counts["models with time"] += 1
        text = _procedure(model, by)
        if text is None:
            break
        (folder / "procedures.yaml").write_text(text, encoding="utf-8")
        try:
            procedures = load_procedures(model)
        except InputError:
            continue
        rehearser = Rehearser(model, procedures, catalogue()["reference"]())
        yard = Yard(model)
        ways = _ways(yard, rehearser.recovery, procedures.goal, by, counts)
        false += [f"seed {seed}: {said}" for said in ways]
        (rehearsed,) = rehearser.rehearse().rehearsed
        start = yard.world.first
        for name in rehearsed.start or ():
            after = yard.step(start, name)
            assert after is not None, f"seed {seed}: {name} is not possible"
            start = after
        for result in rehearsed.singles:
            counts["violating"] += result.outcome is Class.VIOLATING
            found = _judged(yard, rehearsed, result, start, counts)
            says = result.deviations[0].says
            false += [f"seed {seed}: {says}: {said}" for said in found]
    return false, counts


def _judged(
    yard: Yard,
    rehearsed: Rehearsed,
    result: DeviationResult,
    start: State,
    counts: dict[str, int],
) -> Iterator[str]:
    script = script_of(performed(rehearsed.procedure, result.deviations))
    states = Performance(yard, script).states(start)
    if states is None:
        return
    violated = sorted({id_ for state in states for id_ in yard.violates(state)})
    lost = sorted({id_ for state in states for id_ in yard.lost(state)})
    if result.outcome is not Class.VIOLATING and (violated or lost):
        yield f"{result.outcome.value}, and violates {violated}, loses {lost}"
    counts["harmless"] += result.outcome is Class.HARMLESS


def _ways(
    yard: Yard, recovery: Recovery, goal: Formula, by: Random, counts: dict[str, int]
) -> Iterator[str]:
    """Ways back from where random runs lead, some of them behind violations."""
    world = recovery.world
    for length in (3, 8, 15, 25):
        run: list[str] = []
        here, states = yard.world.first, world.play(())
        for _ in range(length):
            events = list(yard.world.successors(here, yard.world.truth(here)))
            event, here = by.choice(events)
            run.append(_name(event))
        states = world.play(run)
        way = recovery.way(states[-1])
        is_kept = yard.safe_way(here, goal)
        counts["ways back"] += bool(way.found)
        counts["no way back"] += way.violates is not None
        if way.violates == ARITHMETIC:
            continue  # what the program computes wrongly is held to the interpreter elsewhere
        if way.found is not None and way.found is not is_kept:
            by_whom = f"violates {way.violates}"
            yield f"a way back is {way.found} ({by_whom}), by plain search {is_kept}, behind {run}"
        if way.found:
            yield from _way_is_kept(yard, here, way.moves, goal)


def _way_is_kept(yard: Yard, state: State, moves: tuple[str, ...], goal: Formula) -> Iterator[str]:
    already = set(yard.violates(state))
    for name in moves:
        after = yard.step(state, name)
        if after is None:
            yield f"{name} is not possible on the way back"
            return
        state = after
        new = set(yard.violates(state)) - already
        if new:
            yield f"the way back violates {sorted(new)} by {name}"
    if not yard.holds(goal, state):
        yield "the way back does not lead to the goal"
    if yard.lost(state):
        yield f"the way back loses {yard.lost(state)}"
