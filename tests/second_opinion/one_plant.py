"""Two models side by side: both controllers on one plant, and each on its own with the same moves.

Written from what a comparison says of itself: on one plant the controller whose plant it is drives,
the other one scans beside it what its own sensors read there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from interlock.model.model import Model
from interlock.st import typed
from tests.second_opinion.timed_world import TICK, TimedWorld, world_of
from tests.second_opinion.world import SCAN, Act, Class, Kind, State, World


class NotTogetherError(Exception):
    """The guest cannot scan the host's plant."""


class Joint(NamedTuple):
    """A state of the host with the memory of the guest, and which timers started together.

    In time also for how long each timer of the guest has run.
    """

    host: State
    memory: tuple[int, ...]
    together: frozenset[tuple[str, str]]
    ages: tuple[tuple[str, int], ...] = ()


class OnePlant:
    """Both controllers on the plant of `host`."""

    def __init__(self, host: Model, guest: Model) -> None:
        self._host, self._guest = host, guest
        self._world, self._other = world_of(host, Class()), World(guest, Class())
        time = world_of(guest, Class())
        self._time = time if isinstance(time, TimedWorld) else None
        self.common = [n for n in host.outputs if _type(host, n) == _type(guest, n)]
        self._pairs = timer_pairs(host, guest)
        self._missing = {
            name for name, m in guest.machines.items() if not _states(m) >= _states_of(host, name)
        }

    def first_differences(self, driving: set[str]) -> dict[str, int]:
        """The fewest steps after which each output differs; no step where one in `driving` does.

        Raises
        ------
        NotTogetherError
        """
        first = Joint(self._world.first, self._other.first.memory, frozenset())
        depth = {first: 0}
        found: dict[str, int] = {}
        todo = deque([first])
        while todo:
            joint = todo.popleft()
            differing = set(self._differing(joint))
            for name in differing:
                found.setdefault(name, depth[joint])
            for after in () if differing & driving else self._successors(joint):
                if after not in depth:
                    depth[after] = depth[joint] + 1
                    todo.append(after)
        return found

    def _differing(self, joint: Joint) -> Iterator[str]:
        mine = self._world.truth(joint.host)
        theirs = self._other.truth(self._aside(joint.memory))
        yield from (name for name in self.common if mine[name] != theirs[name])

    def _aside(self, memory: tuple[int, ...]) -> State:
        return self._other.first._replace(memory=memory)

    def _seen(self, joint: Joint, truth: Mapping[str, int]) -> dict[str, int]:
        """What the guest's names stand for on the host's plant."""
        values = self._other.truth(self._aside(joint.memory))
        for name, machine in self._guest.machines.items():
            if name in self._missing:
                values.pop(name)
                continue
            label = self._host.machines[name].states[truth[name]]
            values[name] = machine.states.index(label)
        values |= {name: truth[name] for name in self.common}
        return values

    def _successors(self, joint: Joint) -> Iterator[Joint]:
        host, truth = joint.host, self._world.truth(joint.host)
        beside = self._aside(joint.memory)
        for act, after in self._world.successors(host, truth):
            if act == SCAN:
                try:
                    scanned = self._other.scanned(beside, self._seen(joint, truth))
                except KeyError as name:
                    raise NotTogetherError(str(name)) from None
                yield self._aged(joint, self._scanned(joint, after, scanned.memory))
            elif act == TICK:
                if self._guest_may_tick(joint):
                    yield self._aged(joint, joint._replace(host=after), ticks=1)
            elif act.kind is Kind.MOVE or not self._partner_is_due(joint, act.name, mine=True):
                yield joint._replace(host=after)
        aside = host.moves or self._world.due + 1
        for act, after in self._other.successors(beside, self._other.truth(beside)):
            if act.kind is Kind.TIMER and self._is_ripe(joint, act.name):
                alone = joint._replace(host=host._replace(moves=aside), memory=after.memory)
                alone = self._aged(joint, alone)
                if not self._partner_is_due(joint, act.name, mine=False):
                    yield alone
                for mine, theirs in self._pairs:
                    if theirs == act.name and mine in self._due(self._world, host):
                        yield from self._with(alone, mine, after.memory)

    def _with(self, alone: Joint, mine: str, memory: tuple[int, ...]) -> Iterator[Joint]:
        """The end of the host's timer in the same moment."""
        world = self._world
        for act, after in world.successors(alone.host, world.truth(alone.host)):
            if act == Act(Kind.TIMER, mine):
                yield alone._replace(host=after, memory=memory)

    # Time of the guest's timers

    def _is_ripe(self, joint: Joint, timer: str) -> bool:
        if self._time is None:
            return True
        return dict(joint.ages)[timer] >= self._time.ripe_from(Act(Kind.TIMER, timer))

    def _guest_may_tick(self, joint: Joint) -> bool:
        assert self._time is not None
        lasts = [(age, self._time.lasts_until(Act(Kind.TIMER, t))) for t, age in joint.ages]
        return all(last is None or age < last for age, last in lasts)

    def _aged(self, before: Joint, after: Joint, ticks: int = 0) -> Joint:
        """What `before` led to, with the ages of the guest's timers that run in it."""
        if self._time is None:
            return after
        ages, found = dict(before.ages), []
        for timer in self._due(self._other, self._aside(after.memory)):
            act = Act(Kind.TIMER, timer)
            age = ages[timer] + ticks if timer in ages else 0
            # Older than it can matter it need not be told.
            last = self._time.lasts_until(act)
            found.append((timer, min(age, self._time.ripe_from(act) if last is None else last)))
        return after._replace(ages=tuple(sorted(found)))

    def _partner_is_due(self, joint: Joint, timer: str, mine: bool) -> bool:
        """Whether a timer that started in the same scan is to come, too: they come together."""
        dues = self._due(self._world, joint.host), self._due(self._other, self._aside(joint.memory))
        for pair in joint.together:
            here, there = pair if mine else pair[::-1]
            if here == timer and there in dues[1 if mine else 0]:
                return True
        return False

    @staticmethod
    def _due(world: World, state: State) -> set[str]:
        return {act.name for act in world.owes(state, world.truth(state)) if act.kind is Kind.TIMER}

    def _scanned(self, joint: Joint, host: State, memory: tuple[int, ...]) -> Joint:
        together = set()
        for mine, theirs in self._pairs:
            before = (
                self._runs(self._world, joint.host, mine),
                self._runs(self._other, self._aside(joint.memory), theirs),
            )
            now = (
                self._runs(self._world, host, mine),
                self._runs(self._other, self._aside(memory), theirs),
            )
            if all(now) and (not any(before) or (mine, theirs) in joint.together):
                together.add((mine, theirs))
        return joint._replace(host=host, memory=memory, together=frozenset(together))

    @staticmethod
    def _runs(world: World, state: State, timer: str) -> bool:
        return bool(world.remembered(state, f"{timer}.runs"))


def own_differences(old: Model, new: Model, most: int) -> set[str]:
    """Outputs that differ somewhere where each model is on its own and both did the same moves.

    A move counts as the same by its name. At most `most` pairs of states are looked at.
    """
    worlds = world_of(old, Class()), world_of(new, Class())
    common = [n for n in old.outputs if _type(old, n) == _type(new, n)]
    first = (worlds[0].first, worlds[1].first)
    seen, todo = {first}, deque([first])
    found: set[str] = set()
    while todo and len(seen) < most:
        pair = todo.popleft()
        truths = [w.truth(s) for w, s in zip(worlds, pair, strict=True)]
        found |= {name for name in common if truths[0][name] != truths[1][name]}
        after = [
            dict(w.successors(s, truth)) for w, s, truth in zip(worlds, pair, truths, strict=True)
        ]
        for act in after[0].keys() & after[1].keys():
            both = (after[0][act], after[1][act])
            if both not in seen:
                seen.add(both)
                todo.append(both)
    return found


def timer_pairs(host: Model, guest: Model) -> list[tuple[str, str]]:
    """Timers of one preset, namesakes first, each called at most once in a scan."""
    mine, theirs = _timers(host), _timers(guest)
    found = []
    for namesakes in (True, False):
        for other, preset in list(theirs.items()):
            for name in list(mine):
                if mine[name] == preset and (name == other or not namesakes):
                    found.append((name, other))
                    del mine[name], theirs[other]
                    break
    return found


def _timers(model: Model) -> dict[str, int]:
    timers = {i.name: i.preset_ms for i in model.program.instances if i.preset_ms}
    return {n: preset for n, preset in timers.items() if _n_calls(model.program.body, n) < 2}


def _n_calls(body: tuple[typed.Statement, ...], name: str) -> int:
    return sum(_n_calls_of(statement, name) for statement in body)


def _n_calls_of(statement: typed.Statement, name: str) -> int:
    if isinstance(statement, typed.Invoke):
        return int(statement.instance == name)
    if isinstance(statement, (typed.If, typed.Case)):
        inner = sum(_n_calls(branch.body, name) for branch in statement.branches)
        return inner + _n_calls(statement.otherwise, name)
    return 0


def _type(model: Model, output: str) -> str | None:
    kinds = {v.name: str(v.type) for v in model.program.variables}
    return kinds.get(output)


def _states(machine: object) -> set[str]:
    return set(getattr(machine, "states", ()))


def _states_of(model: Model, name: str) -> set[str]:
    """The states of a machine; of none, something that no machine has."""
    return _states(model.machines[name]) if name in model.machines else {"no such machine"}
