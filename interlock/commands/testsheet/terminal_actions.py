"""What each action at the terminals shows in a situation: tried in the simulation, and kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.commands.testsheet.goals import Force, Goal, Kind, force_of, lamps_seen
from interlock.commands.testsheet.simulation import Simulation
from interlock.kernel.evaluate import State


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
        self._known: dict[State, list[tuple[Force, str]]] = {}

    def shown(self, situation: State) -> list[tuple[Force, str]]:
        """Every action that shows something in `situation`, with the id of each goal it shows."""
        known = self._known.get(situation)
        if known is None:
            known = list(self._tried(situation))
            self._known[situation] = known
        return known

    def looked_at(self) -> Iterable[tuple[State, list[tuple[Force, str]]]]:
        """Every situation that was looked at, with what is shown there."""
        return self._known.items()

    def shown_together(self, terms: Sequence[Goal]) -> list[tuple[int, ...]]:
        """Which of the terms of one signal one action shows, in all situations looked at."""
        found = set()
        for known in self._known.values():
            by_force: dict[Force, set[str]] = {}
            for force, goal in known:
                by_force.setdefault(force, set()).add(goal)
            for force, shown in by_force.items():
                if force.single == terms[0].other:
                    found.add(tuple(int(goal.id in shown) for goal in terms))
        return sorted(found)

    def _tried(self, situation: State) -> Iterable[tuple[Force, str]]:
        simulation = self._simulation
        before = simulation.outputs(situation)
        for force in self._possible(situation):
            held = simulation.held(situation, force)
            if held is None:
                self.depends = True
                continue
            seen = simulation.outputs(held, force)
            changed = {name for name in seen if seen[name] != before[name]}
            if not changed:
                continue
            if force.single is not None:
                for goal in self._decided.get(force.single, ()):
                    if goal.subject in changed:
                        yield force, goal.id
            for id_ in self._faults.get(force, ()):
                yield force, id_
            for id_ in sorted(lamps_seen(seen, [n for n in self.lamps if n in changed])):
                yield force, id_

    def _possible(self, situation: State) -> dict[Force, None]:
        """Each input at its other value, and every fault."""
        simulation = self._simulation
        names = [name.removeprefix("input.") for name in simulation.inputs]
        # One that keeps changing can be held at either value.
        read = [simulation.signals(state) for state in simulation.states(situation)]
        turned = [
            Force(((name, 1 - value),))
            for values in read
            for name, value in zip(names, values, strict=True)
            if name in self._decided
        ]
        return dict.fromkeys([*turned, *self._faults])
