"""The product of two controllers against its slow twin: two players fed the same moves.

The twin knows nothing of shared variables, of substitution or of the kernel: each model is played
on its own plant, and the two are looked at side by side.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.commands.compare.behaviour import Likeness, run_in_lockstep
from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import GATE_YAML, written
from tests.support.random_gate import Source, changed, sources

# Only the drive moves the gate; nothing reads the lamp.
OUTPUTS, DRIVING = ("drive", "lamp"), "drive"
# What the timers may do: both, the old one alone, the new one alone.
ELAPSE = (("t", "t"), ("t", None), (None, "t"))

Act = str | tuple[str | None, str | None]


@dataclass
class Twins:
    """Two models on two plants, and whether their timers started in the same scan."""

    old: Player
    new: Player
    together: bool = False

    def running(self) -> tuple[bool, bool]:
        players = (self.old, self.new)
        return tuple(bool(p.state()["plc.t.running"]) for p in players)  # type: ignore[return-value]

    def due(self) -> tuple[bool, bool]:
        players = (self.old, self.new)
        return tuple(bool(p.controller.running_timers()) for p in players)  # type: ignore[return-value]

    def possible(self, act: Act) -> bool:
        if act == "scan":
            return True
        if isinstance(act, str):
            assert self.old.enabled(act) == self.new.enabled(act)
            return self.old.enabled(act)
        due = self.due()
        wanted = (act[0] is not None, act[1] is not None)
        if any(wants and not is_due for wants, is_due in zip(wanted, due, strict=True)):
            return False
        return not (self.together and all(due) and not all(wanted))

    def play(self, act: Act) -> None:
        before = self.running()
        if isinstance(act, str):
            self.old.play(act)
            self.new.play(act)
        else:
            for player, timer in zip((self.old, self.new), act, strict=True):
                if timer is None:
                    player.pass_event()
                else:
                    player.play(f"{timer} elapses")
        if act == "scan":
            started = not any(before)
            self.together = all(self.running()) and (started or self.together)

    def differing(self) -> set[str]:
        ours, theirs = self.old.outputs(), self.new.outputs()
        return {name for name in OUTPUTS if ours[name] != theirs[name]}

    def key(self) -> tuple[object, ...]:
        states = (sorted(p.state().items()) for p in (self.old, self.new))
        return (*(tuple(state) for state in states), self.together)


def first_differences(old: Model, new: Model) -> dict[str, int]:
    """The fewest moves after which each output differs; breadth first, from scratch each time."""
    acts: list[Act] = ["scan", *(move.name for move in old.moves), *ELAPSE]
    found: dict[str, int] = {}
    seen: set[tuple[object, ...]] = set()
    level: list[tuple[Act, ...]] = [()]
    while level:
        following = []
        for run in level:
            twins = played(old, new, run)
            if twins.key() in seen:
                continue
            seen.add(twins.key())
            for name in twins.differing():
                found.setdefault(name, len(run))
            if DRIVING not in twins.differing():
                following += [(*run, act) for act in acts if twins.possible(act)]
        level = following
    return found


def played(old: Model, new: Model, run: tuple[Act, ...]) -> Twins:
    twins = Twins(Player(old), Player(new))
    for act in run:
        twins.play(act)
    return twins


def models(folder: Path, old: Source, new: Source) -> tuple[Model, Model]:
    return (
        load(written(folder / "old", GATE_YAML, old.text())),
        load(written(folder / "new", GATE_YAML, new.text())),
    )


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_lockstep_finds_what_two_players_find_and_as_soon(data: st.DataObject) -> None:
    source = data.draw(sources())
    other = data.draw(changed(source))
    with tempfile.TemporaryDirectory() as folder:
        old, new = models(Path(folder), source, other)
    expected = first_differences(old, new)
    found = run_in_lockstep(build(old), build(new), catalogue()["reference"]())
    for compared in found.outputs:
        if compared.output in expected:
            assert compared.likeness is Likeness.DIFFERS
            assert compared.run is not None
            assert len(compared.run.happenings) == expected[compared.output]
        elif DRIVING in expected:
            assert compared.likeness in (Likeness.ALIKE, Likeness.SAME_LOGIC)
        else:
            assert compared.likeness is Likeness.EQUAL
    assert found.is_equal == (not expected)
