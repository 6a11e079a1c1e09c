"""Each kind of fault, in the builder, in the judge's player and in the second opinion.

They are walked through the states of a small model side by side. So are two kinds that are made up
here: what a row says is all that builder and player need of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.player import Moment, Player
from interlock.kernel.evaluate import State
from interlock.kernel.system import Origin, Stepper
from interlock.model.build import SCAN, Built, RunClass, build
from interlock.model.fault import Effect
from interlock.model.fault_kinds import FAULT_KINDS, STUCK_TRUE, FaultKind, Site
from interlock.model.model import Model
from tests.second_opinion import world as second_opinion
from tests.second_opinion.world import Act, Class, Kind, Meaning, World
from tests.support.gate import gate

INVERTED = FaultKind(
    "inverted", key="stuck", says=dict.fromkeys((Site.SIGNAL, Site.OUTPUT), ""), shows=(1, 0)
)
OTHERWISE = replace(INVERTED, name="held otherwise", holds=True)
MADE_UP = {
    INVERTED.name: Meaning(lambda given, seen: 1 - given),
    OTHERWISE.name: Meaning(lambda given, seen: 1 - seen, is_kept=True),
}
ROWS = [(kind, site) for kind in (*FAULT_KINDS, INVERTED, OTHERWISE) for site in kind.says]
NAMES = {Site.SIGNAL: "shut", Site.OUTPUT: "drive", Site.MACHINE: "gate", Site.CONTROLLER: ""}
MOST_STATES = 250


def with_faults(folder: Path, kind: FaultKind, site: Site) -> Model:
    """The gate with one fault of this kind, and one before it that holds what it may hold, too."""
    model = gate(folder)
    stuck = Effect(STUCK_TRUE, Site.OUTPUT if site is Site.OUTPUT else Site.SIGNAL)
    first = Effect(stuck.kind, stuck.site, NAMES[stuck.site])
    states = (1,) if site is Site.MACHINE else ()
    asked = Effect(kind, site, NAMES[site], states)
    plain = replace(model.faults["F1"], effects=(first,))
    faults = {"F1": plain, "F2": replace(plain, id="F2", effects=(asked,), intermittent=True)}
    return replace(model, faults=faults)


class Walk:
    """The states that the built system reaches, each with the same state of the other two."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.built: Built = build(model, RunClass(tuple(model.faults), None))
        self.world = World(model, Class(tuple(model.faults), None))
        self.player = Player(model)
        self.stepper = Stepper(self.built.system)
        self.told: set[str] = set()

    def disagreements(self) -> Iterator[str]:
        """Where one of the three says something else, in words."""
        first = self.built.system.initial
        todo: list[tuple[State, Moment, second_opinion.State]] = [
            (first, self.player.moment(), self.world.first)
        ]
        known = {first}
        for state, moment, other in todo:
            yield from self._differing(state, moment, other)
            truth = self.world.truth(other)
            after = {_name(act): found for act, found in self.world.successors(other, truth)}
            possible = {move.name: new for move, new in self.stepper.successors(state)}
            if after.keys() != possible.keys():
                yield f"{state}: {sorted(after.keys() ^ possible.keys())} by one only"
                continue
            for move in self.built.system.moves:
                self.player.go_back(moment)
                if move.name not in possible:
                    yield from self._refused(move.name)
                    continue
                self.told.add(move.name)
                self.player.play(move.name)
                new = possible[move.name]
                if new not in known and len(known) < MOST_STATES:
                    known.add(new)
                    todo.append((new, self.player.moment(), after[move.name]))

    def _refused(self, name: str) -> Iterator[str]:
        try:
            self.player.play(name)
        except InternalError:
            return
        yield f"the player makes {name}, the system does not"

    def _differing(
        self, state: State, moment: Moment, other: second_opinion.State
    ) -> Iterator[str]:
        self.player.go_back(moment)
        named, played = self.built.system.named(state), self.player.state()
        if any(played[name] != value for name, value in named.items()):
            yield f"the player: {played}, the system: {named}"
        truth = self.world.truth(other)
        if {name: self.player.truth[name.casefold()] for name in truth} != truth:
            yield f"the second opinion: {truth}, the player: {played}"
        if self.world.signals(other, truth) != self.player.signals():
            yield f"signals in {named}"


def _name(act: Act) -> str:
    match act.kind:
        case Kind.SCAN:
            return SCAN
        case Kind.STRIKE:
            return Origin.strike(act.name).move_name
        case Kind.CLEARING:
            return Origin.clearing(act.name).move_name
        case _:
            return act.name


@pytest.mark.parametrize(
    ("kind", "site"), ROWS, ids=[f"{kind.name} at {site.value}" for kind, site in ROWS]
)
def test_a_row_is_all_that_builder_and_player_need(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: FaultKind, site: Site
) -> None:
    for name, meaning in MADE_UP.items():
        monkeypatch.setitem(second_opinion.MEANINGS, name, meaning)
    walk = Walk(with_faults(tmp_path, kind, site))
    assert not list(walk.disagreements())
    assert {"F1 strikes", "F2 strikes", "F2 clears"} <= walk.told


@pytest.mark.parametrize(
    ("kind", "site"), ROWS, ids=[f"{kind.name} at {site.value}" for kind, site in ROWS]
)
def test_a_kind_that_means_something_else_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: FaultKind, site: Site
) -> None:
    monkeypatch.setitem(second_opinion.MEANINGS, kind.name, Meaning())
    assert any(Walk(with_faults(tmp_path, kind, site)).disagreements())
