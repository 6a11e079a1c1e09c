"""What each action at the terminals shows in a situation: tried in the simulation, and kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set

from interlock.commands.testsheet.goals import Force, Goal, Kind, force_of, lamps_seen
from interlock.commands.testsheet.simulation import Simulation
from interlock.kernel.evaluate import State

Changed = dict[str, int]
"""Outputs that are otherwise under an action, with their values."""


class TerminalActions:
    """Every action at the terminals, and what it shows where.

    Attributes
    ----------
    lamps : list of str
        Lamps that goals are about.
    depends : bool
        What some action leads to depends on the moment, or is too long to tell.

    Parameters
    ----------
    simulation : Simulation
    goals : sequence of Goal
    """

    def __init__(self, simulation: Simulation, goals: Sequence[Goal]) -> None:
        self._simulation = simulation
        self.lamps = list(dict.fromkeys(g.subject for g in goals if g.kind is Kind.LAMP))
        self.depends = False
        # What each input decides alone, and which faults each action is.
        self._decided: dict[str, list[Goal]] = {}
        self._faults: dict[Force, list[str]] = {}
        for goal in goals:
            if goal.kind is Kind.TERM:
                self._decided.setdefault(goal.other, []).append(goal)
            elif goal.kind is Kind.FAULT:
                force = force_of(simulation.built.model.faults[goal.subject])
                self._faults.setdefault(force, []).append(goal.id)
        self._turned = {(n, v): Force(((n, v),)) for n in self._decided for v in (0, 1)}
        self._ids = {f: {g.id for g in self._decided[n]} for (n, _), f in self._turned.items()}
        for force, ids in self._faults.items():
            self._ids[force] = self._ids.get(force, set()) | set(ids)
        self._known: dict[State, dict[Force, tuple[str, ...]]] = {}
        # Tried ahead: the actions that are possible, and what some of them change.
        self._ahead: dict[State, tuple[dict[Force, None], dict[Force, Changed | None]]] = {}

    def shown(
        self, situation: State, wanted: Set[str] | None = None
    ) -> Iterator[tuple[Force, str]]:
        """Every action that shows something in `situation`, with the id of each goal it shows.

        Parameters
        ----------
        situation : State
        wanted : set of str, optional
            Only actions that could show one of these are tried.
        """
        known = self._known.setdefault(situation, {})
        if situation not in self._ahead:
            self._ahead[situation] = self._possible(situation), {}
        possible, ahead = self._ahead.pop(situation)
        new = self._new(situation, possible, self._useful(wanted))
        late = [force for force in new if force not in ahead]
        changed = self._simulation.differing_each([(situation, force) for force in late])
        ahead |= zip(late, changed, strict=True)
        for force in new:
            known[force] = tuple(self._shown_by(force, ahead[force]))
        for force in possible:
            for goal in known.get(force, ()):
                yield force, goal

    def look_ahead(self, situations: Sequence[State], wanted: Set[str]) -> None:
        """Try at once what `shown` will soon be asked for in each of `situations`.

        It changes nothing but the time that takes: what is never asked for was tried in vain.
        """
        pairs: list[tuple[State, Force]] = []
        useful = self._useful(wanted)
        for situation in situations:
            possible = self._possible(situation)
            self._ahead[situation] = possible, {}
            pairs += [(situation, force) for force in self._new(situation, possible, useful)]
        found = self._simulation.differing_each(pairs)
        for (situation, force), changed in zip(pairs, found, strict=True):
            self._ahead[situation][1][force] = changed

    def _useful(self, wanted: Set[str] | None) -> Set[Force]:
        """The actions that could show something that is wanted."""
        ids = self._ids.items()
        return {force for force, own in ids if wanted is None or not own.isdisjoint(wanted)}

    def _new(self, situation: State, possible: Iterable[Force], useful: Set[Force]) -> list[Force]:
        """Those that were not tried there yet."""
        known = self._known.get(situation, {})
        return [force for force in possible if force in useful and force not in known]

    def looked_at(self) -> Iterator[tuple[State, Force, tuple[str, ...]]]:
        """Everything that was seen to be shown: where, by what, and the goals' ids."""
        for situation, known in self._known.items():
            for force, goals in known.items():
                if goals:
                    yield situation, force, goals

    def shown_together(self, terms: Sequence[Goal]) -> list[tuple[int, ...]]:
        """Which of the terms of one signal one action shows, in all situations looked at."""
        found = set()
        for known in self._known.values():
            for force, shown in known.items():
                if force.single == terms[0].other and shown:
                    found.add(tuple(int(goal.id in shown) for goal in terms))
        return sorted(found)

    def _shown_by(self, force: Force, changed: Mapping[str, int] | None) -> Iterator[str]:
        """The goals that an action shows by what it changes; None where that depends."""
        self.depends |= changed is None
        if changed:
            if force.single is not None:
                for goal in self._decided.get(force.single, ()):
                    if goal.subject in changed:
                        yield goal.id
            yield from self._faults.get(force, ())
            yield from sorted(lamps_seen(changed, [n for n in self.lamps if n in changed]))

    def _possible(self, situation: State) -> dict[Force, None]:
        """Each input at its other value, and every fault."""
        simulation = self._simulation
        names = [name.removeprefix("input.") for name in simulation.inputs]
        # One that keeps changing can be held at either value.
        read = [simulation.signals(state) for state in simulation.states(situation)]
        turned = [
            self._turned[name, 1 - value]
            for values in read
            for name, value in zip(names, values, strict=True)
            if name in self._decided
        ]
        return dict.fromkeys([*turned, *self._faults])
