"""What models with two controllers mean, said a second time: slow, explicit, from the document.

Nothing of the product is used. A state is spelled out whole, with all that every late signal gave;
verdicts are looked for in the plain graph of all states.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import Any, NamedTuple

from tests.second_opinion.cycles import components
from tests.second_opinion.several_drawn import Expression, Spec

IN_ALL = {"one in all": 1, "two in all": 2}


class TooManyError(Exception):
    """There are more states than anybody wants to wait for."""


class State(NamedTuple):
    """Everything there is.

    Attributes
    ----------
    places : tuple of (str, int)
        Machines and controls.
    memory : tuple of (str, int)
        Of both controllers, behind their names; of a timer ``on``, ``up`` and ``Q``.
    moved : tuple of str
        Who has moved since the last scan, so far as that limits anything.
    is_scanned : bool
        Whether there was a scan at all.
    by : str
        Whose scan led here; empty where anything else did.
    given : tuple
        For each late signal: what it gave since each of the last scans of who reads it.
    late : frozenset of str
    struck, ever : frozenset of str
    held : tuple of (str, int)
        What is frozen, by fault and name.
    ages : tuple
        With time, what is under way and for how long: see `several_timed`.
    """

    places: tuple[tuple[str, int], ...]
    memory: tuple[tuple[str, int], ...]
    moved: tuple[str, ...]
    is_scanned: bool
    by: str
    given: tuple[tuple[str, tuple[frozenset[int], ...]], ...]
    late: frozenset[str]
    struck: frozenset[str]
    ever: frozenset[str]
    held: tuple[tuple[str, int], ...]
    ages: tuple[tuple[str, int, bool], ...] = ()


Values = dict[str, int]


def value(f: Expression, values: Values) -> int:
    """The value of a formula."""
    if isinstance(f, str):
        return values[f]
    if f in (0, 1):
        return int(f)
    if f[0] == "not":
        return 1 - value(f[1], values)
    if f[0] == "and":
        return value(f[1], values) & value(f[2], values)
    if f[0] == "or":
        return value(f[1], values) | value(f[2], values)
    return int(values[f[0]] == f[2])


class World:
    """A model with at most so many of its faults; None for any number."""

    def __init__(self, spec: Spec, n_faults: int | None) -> None:
        self.spec = spec
        self.n_faults = n_faults
        self.readers = {
            name: [one for one, program in spec.programs.items() if name in program.inputs]
            for name in spec.sensors
        }
        self.ages = {name: self._age(name) for name in spec.sensors}

    def _is_late(self, name: str) -> bool:
        """Whether a scan may read of a signal what it gives no longer."""
        return bool(self.ages[name])

    def _age(self, name: str) -> int:
        reads, age = self.spec.sensors[name]
        if age is not None:
            return age
        written = {"a": {"x", "a.w"}, "b": {"y", "b.w"}}
        (first, *_) = self.readers[name]
        others = set().union(*(names for one, names in written.items() if one != first))
        return int(bool(names_in(reads) & others))

    # What is so in a state

    def truth(self, s: State) -> Values:
        """Everything that requirements may name."""
        values = dict(s.places) | {fault.name: 0 for fault in self.spec.faults}
        values |= dict.fromkeys(s.struck, 1)
        memory = dict(s.memory)
        for one, program in self.spec.programs.items():
            values[f"{one}.l"] = memory[f"{one}.l"]
            for output in program.outputs:
                called = f"{one}.w" if output == "w" else output
                values[called] = self._through(memory[f"{one}.{output}"], called, s, "outputs")
        if self.spec.either:
            both = values["a.w"], values["b.w"]
            values["w"] = max(both) if self.spec.either == "or" else min(both)
        return values

    def _through(self, given: int, name: str, s: State, where: str) -> int:
        """What faults let through; of two on one signal the one declared last decides."""
        for fault in self.spec.faults:
            how = getattr(fault, where).get(name)
            if fault.name in s.struck and how is not None:
                given = dict(s.held)[f"{fault.name} {name}"] if how == "frozen" else how
        return given

    def signals(self, s: State) -> Values:
        """What every sensor gives."""
        truth = self.truth(s)
        return {
            name: self._through(value(reads, truth), name, s, "sensors")
            for name, (reads, _) in self.spec.sensors.items()
        }

    def scanning(self, s: State) -> list[str]:
        """The controllers that scan at all."""
        truth = self.truth(s)
        programs = self.spec.programs.items()
        return [n for n, p in programs if p.scans_while is None or value(p.scans_while, truth)]

    # What may happen

    def first(self) -> State:
        """Power-up."""
        places = [(machine, 0) for machine in self.spec.machines] + [("key", 0)]
        memory = []
        for one, program in self.spec.programs.items():
            names = [*program.outputs, "l", *(["on", "up", "Q"] if program.has_timer else [])]
            memory += [(f"{one}.{name}", 0) for name in names]
            places += [(name, 0) for name in program.inputs if name.startswith("free")]
        held = [
            (f"{fault.name} {name}", 0)
            for fault in self.spec.faults
            for name, how in {**fault.sensors, **fault.outputs}.items()
            if how == "frozen"
        ]
        nothing = frozenset[str]()
        bare = State(
            tuple(places), tuple(memory), (), False, "", (), nothing, nothing, nothing, tuple(held)
        )
        now = self.signals(bare)
        given = tuple((n, (frozenset([now[n]]),)) for n in self.spec.sensors if self._is_late(n))
        return bare._replace(given=given)

    def ways(self, s: State) -> Iterator[tuple[str, State, str]]:
        """Everything that may happen: its name, where it leads, and what sort it is."""
        for one in self.scanning(s):
            yield f"scan of {one}", self._noted(self._scanned(s, one)), "scan"
        if not self.scanning(s):
            yield "nothing happens", s._replace(by=""), "move"
        yield from self._moves(s)
        for position in (0, 1):
            if dict(s.places)["key"] != position and self._has_turn(s, "key"):
                yield f"key {position}", self._noted(self._moved(s, "key", position)), "move"
        for name, position in s.places:
            if name.startswith("free"):
                changed = self._put(s, name, 1 - position)._replace(by="")
                yield f"{name} {1 - position}", self._noted(changed), "move"
        for one in self._running(s):
            memory = tuple((n, 1 if n == f"{one}.up" else v) for n, v in s.memory)
            yield f"timer of {one}", self._noted(s._replace(memory=memory, by="")), "timer"
        for name, given in s.given:
            young = frozenset[int]().union(*given)
            if name not in s.late and young != {self.signals(s)[name]}:
                late = s._replace(late=s.late | {name}, by="")
                yield f"{name} is late", self._noted(late), "chance"
        yield from self._faults(s)

    def _moves(self, s: State) -> Iterator[tuple[str, State, str]]:
        for number, move in enumerate(self.spec.moves):
            is_timed = move.takes is not None
            if self._is_possible(s, number) and (is_timed or self._has_turn(s, move.machine)):
                kind = "chance" if move.may else "move"
                moved = self._moved(s, move.machine, move.target)
                if is_timed:  # What takes its time takes no turn.
                    moved = moved._replace(moved=s.moved)
                yield f"move {number}", self._noted(moved), kind

    def _faults(self, s: State) -> Iterator[tuple[str, State, str]]:
        for fault in self.spec.faults if self.n_faults != 0 else ():
            if fault.name in s.struck:
                if fault.clears:
                    after = s._replace(struck=s.struck - {fault.name}, by="")
                    yield f"{fault.name} clears", self._noted(after), "fault"
                continue
            # One that has struck before may strike again; others need room.
            others = s.ever - {fault.name}
            if self.n_faults is not None and len(others) >= self.n_faults:
                continue
            seen = {**self.truth(s), **self.signals(s)}
            now = {f"{fault.name} {n}": seen[n] for n in (*fault.sensors, *fault.outputs)}
            held = tuple((key, now.get(key, kept)) for key, kept in s.held)
            memory = tuple(
                (n, kept if n.partition(".")[0] not in fault.restarts or self._is_kept(n) else 0)
                for n, kept in s.memory
            )
            after = s._replace(
                struck=s.struck | {fault.name}, ever=s.ever | {fault.name},
                held=held, memory=memory, by="",
            )  # fmt: skip
            yield f"{fault.name} strikes", self._noted(after), "fault"

    def _is_kept(self, name: str) -> bool:
        one, _, inner = name.partition(".")
        return inner == "l" and self.spec.programs[one].kept

    def _has_turn(self, s: State, machine: str) -> bool:
        """Whether a machine may move before the next scan; where nobody scans nobody waits."""
        if not self.scanning(s):
            return True
        if not s.is_scanned:
            return False
        n = IN_ALL.get(self.spec.between)
        if n is not None:
            return len(s.moved) < n
        return self.spec.between == "any number" or machine not in s.moved

    def _moved(self, s: State, machine: str, target: int) -> State:
        moved: tuple[str, ...] = ()
        n = IN_ALL.get(self.spec.between)
        if n is not None:
            moved = ("",) * min(n, len(s.moved) + 1)
        elif self.spec.between == "each once":
            moved = tuple(sorted({*s.moved, machine}))
        return self._put(s, machine, target)._replace(moved=moved, by="")

    def _put(self, s: State, name: str, position: int) -> State:
        places = tuple((n, position if n == name else at) for n, at in s.places)
        return s._replace(places=places)

    def _is_possible(self, s: State, number: int) -> bool:
        move = self.spec.moves[number]
        at = dict(s.places)[move.machine]
        return at == move.source and bool(value(move.when, self.truth(s)))

    def _running(self, s: State) -> list[str]:
        memory = dict(s.memory)
        timed = [one for one, program in self.spec.programs.items() if program.has_timer]
        return [one for one in timed if memory[f"{one}.on"] and not memory[f"{one}.up"]]

    def _scanned(self, s: State, one: str) -> State:
        program, memory, gives = self.spec.programs[one], dict(s.memory), self.signals(s)
        values: Values = {}
        for name in program.inputs:
            if name.startswith("free"):
                values[name] = dict(s.places)[name]
            else:
                values[name] = 1 - gives[name] if name in s.late else gives[name]
        for name in [*program.outputs, "l"]:
            values[name] = memory[f"{one}.{name}"]
        if program.has_timer:
            on, up, q = (memory[f"{one}.{part}"] for part in ("on", "up", "Q"))
            if not value(program.starts, values):
                on, up, q = 0, 0, 0
            elif on and up:
                on, up, q = 0, 0, 1
            elif not q:
                on = 1
            memory |= {f"{one}.on": on, f"{one}.up": up, f"{one}.Q": q}
            values["t.Q"] = q
        for target, given in program.body:
            values[target] = value(given, values)
        memory |= {f"{one}.{name}": values[name] for name in [*program.outputs, "l"]}
        since = tuple(
            (n, (frozenset([gives[n]]), *old)[: self.ages[n]])
            if one in self.readers[n] and self.ages[n]
            else (n, old)
            for n, old in s.given
        )
        late = frozenset(n for n in s.late if one not in self.readers[n])
        return s._replace(
            memory=tuple(memory.items()), moved=(), is_scanned=True, by=one, given=since, late=late
        )

    def _noted(self, s: State) -> State:
        now = self.signals(s) if s.given else {}
        given = tuple((n, (latest | {now[n]}, *old)) for n, (latest, *old) in s.given)
        return s._replace(given=given)

    def owed(self, s: State) -> set[str]:
        """What must happen in the end if it stays possible, turns apart."""
        found = {f"scan of {one}" for one in self.scanning(s)}
        found |= {f"timer of {one}" for one in self._running(s)}
        for number, move in enumerate(self.spec.moves):
            if move.by == "plant" and not move.may and self._is_possible(s, number):
                found.add(f"move {number}")
        return found


def names_in(f: Expression) -> set[str]:
    """The names that a formula reads."""
    if isinstance(f, str):
        return {f}
    if f in (0, 1):
        return set()
    if f[0] in ("not", "and", "or"):
        return set().union(*map(names_in, f[1:]))
    return {f[0]}


class Graph:
    """Every state that can be reached, and what leads where."""

    def __init__(self, world: World, most: int) -> None:
        self.world = world
        first = world.first()
        self.depth = {first: 0}
        self.ways: dict[State, list[tuple[str, State, str]]] = {}
        waiting = deque([first])
        while waiting:
            s = waiting.popleft()
            self.ways[s] = list(world.ways(s))
            for _, after, _ in self.ways[s]:
                if after not in self.depth:
                    self.depth[after] = self.depth[s] + 1
                    waiting.append(after)
            if len(self.depth) > most:
                raise TooManyError
        self.first = first
        self.truth = {s: world.truth(s) for s in self.depth}

    def is_judged(self, s: State, judged: str) -> bool:
        """Whether a state follows a scan that counts."""
        return not judged or (bool(s.by) and judged in ("any", s.by))

    def violated(self, asked: dict[str, Any]) -> tuple[bool, int | None]:
        """Whether a requirement is violated; the fewest steps to it where states decide."""
        p = {s: bool(value(asked["p"], v)) for s, v in self.truth.items()}
        judged = {s: self.is_judged(s, asked["judged"]) for s in self.truth}
        match asked["pattern"]:
            case "never" | "always":
                wrong = asked["pattern"] == "never"
                bad = [self.depth[s] for s in self.truth if judged[s] and p[s] is wrong]
                return bool(bad), min(bad, default=None)
            case "exists":
                without = {s for s in self.truth if not (judged[s] and p[s])}
                return self._stays(without, {self.first} & without), None
            case "leads_to" if "ms" in asked:
                comes = {s for s, v in self.truth.items() if value(asked["s"], v)}
                n_ticks = asked["ms"] // self.world.spec.unit_ms + 1
                return self.is_late({s for s in p if p[s]}, comes, n_ticks), None
            case "leads_to":
                comes = {s: bool(value(asked["s"], v)) for s, v in self.truth.items()}
                without = {s for s in self.truth if not (judged[s] and comes[s])}
                return self._stays(without, {s for s in without if judged[s] and p[s]}), None
        goal = {s for s in self.truth if judged[s] and p[s]}
        able = self._back(goal)
        # Of several controllers it is asked everywhere: the scan that counts need not come.
        return any(s not in able for s in self.truth), None

    def _back(self, goal: set[State]) -> set[State]:
        """From where the goal can be reached, without what nobody can count on."""
        before: dict[State, list[State]] = {}
        for s, ways in self.ways.items():
            for _, after, kind in ways:
                if kind not in ("fault", "chance"):
                    before.setdefault(after, []).append(s)
        able, waiting = set(goal), list(goal)
        while waiting:
            for s in before.get(waiting.pop(), ()):
                if s not in able:
                    able.add(s)
                    waiting.append(s)
        return able

    def is_late(self, p: set[State], s: set[State], n_ticks: int) -> bool:
        """Whether so much time may pass between them; only a world with time knows."""
        raise NotImplementedError

    def _stays(self, inside: set[State], starts: set[State]) -> bool:
        """Whether some fair endless run from a start stays inside."""
        seen, waiting = set(starts), list(starts)
        while waiting:
            for _, after, _ in self.ways[waiting.pop()]:
                if after in inside and after not in seen:
                    seen.add(after)
                    waiting.append(after)
        numbers = {s: n for n, s in enumerate(seen)}
        called = list(numbers)
        edges = [
            [(name, numbers[after]) for name, after, _ in self.ways[s] if after in numbers]
            for s in called
        ]
        parts = components([True] * len(called), edges)
        return any(self._is_fair({called[n] for n in part}) for part in parts)

    def _is_fair(self, part: set[State]) -> bool:
        taken = {name for s in part for name, after, _ in self.ways[s] if after in part}
        owed = set.intersection(*(self.world.owed(s) for s in part))
        return owed <= taken
