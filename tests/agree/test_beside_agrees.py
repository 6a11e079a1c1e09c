"""What is first seen of a fault beside a run without it, against the second opinion."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from interlock.judgement.beside import Beside, seen_beside
from interlock.model.model import Model
from tests.agree.test_announced_agrees import probed, with_lamps
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import Act, Class, Kind, State, World

# Some of these carry machines that a fault has carried elsewhere.
SEEDS = (*range(340, 348), 361, 362, 364, 397, 414)
MET = {"nothing": 5, "on": 8, "off": 10, "elsewhere": 3, "enables": 10, "prevents": 10}


def by_pairs(model: Model, fault: str) -> dict[str, set[str]]:
    """The first differences of any two runs that do the same, the strike apart."""
    world = world_of(model, Class((fault,), 1))
    seen: dict[str, set[str]] = {what: set() for what in MET if what != "nothing"}
    known, todo = {(world.first, world.first)}, [(world.first, world.first)]
    while todo:
        one, other = todo.pop()
        differences = list(differing(world, model, one, other)) if one != other else []
        for what, name in differences:
            seen[what].add(name)
        if differences:
            continue
        here, there = following(world, one), following(world, other)
        for act in here.keys() | there.keys():
            if act.kind is Kind.STRIKE:
                new = [(here[act], other)] if act in here else []
            else:
                new = [(here.get(act, one), there.get(act, other))]
            todo += [pair for pair in new if pair not in known]
            known.update(new)
    return seen


def following(world: World, state: State) -> dict[Act, State]:
    return dict(world.successors(state, world.truth(state)))


def differing(world: World, model: Model, one: State, other: State) -> list[tuple[str, str]]:
    a, b = world.truth(one), world.truth(other)
    found = [("on" if a[n] > b[n] else "off", n) for n in model.outputs if a[n] != b[n]]
    found += [("elsewhere", n) for n in model.machines if a[n] != b[n]]
    here, there = (
        {act.name for act in following(world, state) if act.kind is Kind.MOVE}
        for state in (one, other)
    )
    found += [("enables", name) for name in here - there]
    return found + [("prevents", name) for name in there - here]


def test_what_is_seen_first_is_what_the_second_opinion_sees(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    models = [with_lamps(seed, tmp_path / f"d{seed}") for seed in SEEDS]
    models += [probed(seed, tmp_path / f"p{seed}") for seed in range(4)]
    for model in models:
        for fault in model.live_faults:
            theirs = seen_beside(model, fault.id)
            ours = by_pairs(model, fault.id)
            assert not theirs.undecided
            assert {what: set(getattr(theirs, what)) for what in ours} == ours, (
                model.folder,
                fault.id,
            )
            counts.update(what for what, names in ours.items() if names)
            counts["nothing"] += theirs == Beside()
    assert all(counts[what] >= least for what, least in MET.items()), counts
