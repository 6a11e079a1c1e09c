"""What a challenge says of a defect, against a slow search over both models side by side."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings

from interlock.commands.challenge import from_kept_states
from interlock.commands.challenge.decide import (
    BUT_FOR_WHAT_IS_OWED,
    IN_LOCKSTEP,
    DefectDecider,
    Stage,
)
from interlock.commands.challenge.defects import defects_of
from interlock.commands.challenge.results import DefectOutcome
from interlock.commands.challenge.study import Challenge, Choice, challenge
from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.build import FAULT_FREE, Built, RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.challenged import challenged, draw_timed_challenge, thought_otherwise
from tests.support.gate import gate, written
from tests.support.models import shipped
from tests.support.random_models import RandomModel, random_models

ENGINE = catalogue()["enumerate"]


def first_difference(original: Built, changed: Built) -> int | None:
    """Moves to the nearest difference that can be seen, by playing both models move by move.

    Every run is played from power-up on the source-level models; no system, no product.
    """
    names = [move.name for move in original.system.moves]
    seen = set()
    level: list[tuple[str, ...]] = [()]
    while level:
        following = []
        for run in level:
            one, other = played(original.model, run), played(changed.model, run)
            if sight(one, names, original) != sight(other, names, original):
                return len(run)
            states = (tuple(one.state().items()), tuple(other.state().items()))
            if states in seen:
                continue
            seen.add(states)
            following += [(*run, name) for name in names if may_play(one, name)]
        level = following
    return None


def played(model: Model, run: tuple[str, ...]) -> Player:
    player = Player(model)
    for name in run:
        player.play(name)
    return player


def may_play(player: Player, name: str) -> bool:
    return name == "scan" or player.enabled(name)


def sight(player: Player, names: list[str], built: Built) -> tuple[object, ...]:
    plant = [n for n in names if built.system.move(n).kind is not MoveKind.SCAN]
    return (*player.outputs().items(), *(player.enabled(name) for name in plant))


def test_equivalence_and_gaps_agree_with_playing_every_run(tmp_path: Path) -> None:
    model = gate(tmp_path, ("shut AND NOT drive", "shut AND NOT drive AND NOT pressed"))
    found = challenge(model, catalogue()["reference"]())
    original = build(model)
    n_compared = 0
    for defect in found.defects:
        result = found.results[defect.id]
        if result.outcome is not DefectOutcome.CAUGHT:
            n_compared += 1
            nearest = first_difference(original, build(defect.applied_to(model)))
            assert (nearest is None) == (result.outcome is DefectOutcome.EQUIVALENT), defect.id
            assert nearest is None or nearest == result.n_steps, defect.id
            assert nearest is None or result.story[-1].number == nearest, defect.id
    assert n_compared


def test_a_caught_defect_is_violated_for_the_reference_engine_too() -> None:
    model = shipped("ramp")
    found = challenge(model, ENGINE(), Choice(sample=8, seed=7))
    for defect, result in found.with_outcome(DefectOutcome.CAUGHT):
        reference = catalogue()["reference"]()
        verified = verify(defect.applied_to(model), reference)
        lengths = {
            f.requirement.id: len(f.verdict.witness)
            for f in verified.findings
            if f.verdict.outcome is Outcome.VIOLATED and f.verdict.witness is not None
        }
        nearest = lengths[result.requirement]
        assert result.n_steps >= nearest, defect.id
        assert result.n_steps == nearest or not result.is_shortest, defect.id
    for defect, _ in found.with_outcome(DefectOutcome.GAP):
        verified = verify(defect.applied_to(model), catalogue()["reference"]())
        assert verified.outcome is Outcome.HOLDS, defect.id


def by_outcome(
    found: Challenge, but: Challenge | None = None
) -> dict[str, tuple[DefectOutcome, int]]:
    """What became of each defect, and how far away a difference is that nobody notices.

    Lengths are left out where `but` has a run that need not be a shortest one.
    """
    open_ = {id_ for id_, result in (but or found).results.items() if not result.is_shortest}
    return {
        id_: (
            result.outcome,
            result.n_steps if result.outcome is DefectOutcome.GAP and id_ not in open_ else 0,
        )
        for id_, result in found.results.items()
    }


@pytest.mark.parametrize(
    ("name", "n_defects", "first_look"),
    [("ramp", 8, 100_000), ("ramp", 12, 5), ("landing-gear-untimed", 5, 5)],
)
def test_what_the_original_reaches_tells_what_every_exploration_tells(
    name: str, n_defects: int, first_look: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The reference engine keeps nothing of the original and explores every defect by itself. A
    # first look at a few states leaves nearly everything to what lies beside the kept ones.
    monkeypatch.setattr(from_kept_states, "FIRST_LOOK", first_look)
    model = shipped(name)
    choice = Choice(sample=n_defects, seed=1)
    slow = challenge(model, catalogue()["reference"](), choice)
    assert by_outcome(challenge(model, ENGINE(), choice)) == by_outcome(slow)
    # And by diagrams, which know the original's states as a set.
    as_set = challenge(model, catalogue()["symbolic"](), choice)
    assert by_outcome(as_set) == by_outcome(slow, but=as_set)


@pytest.mark.parametrize("run_class", [FAULT_FREE, RunClass(("F1", "F2", "F4", "F5"), 1)])
def test_what_is_alike_move_by_move_is_alike_in_lockstep(
    tmp_path: Path, run_class: RunClass
) -> None:
    # Two ways to the same answer that share no expression: one compares moves, one runs both.
    model = gate(tmp_path, ("shut AND NOT drive", "shut AND NOT drive AND NOT pressed"))
    decider = DefectDecider(model, catalogue()["reference"]())
    stage = Stage(run_class, ())
    defects = defects_of(model)
    equivalent = decider.find_equivalent(defects, stage)
    n_alike = 0
    for defect, result in zip(defects, equivalent, strict=True):
        if result.outcome is DefectOutcome.EQUIVALENT:
            n_alike += 1
            assert decider.compare_in_lockstep(defect, stage).outcome is DefectOutcome.EQUIVALENT, (
                defect.id
            )
    assert 0 < n_alike < len(defects)


@pytest.mark.parametrize("engine", ["enumerate", "symbolic"])
def test_the_engines_agree_about_the_gate(tmp_path: Path, engine: str) -> None:
    model = gate(tmp_path)
    choice = Choice(sample=12, seed=2)
    expected = challenge(model, catalogue()["reference"](), choice)
    found = challenge(model, catalogue()[engine](), choice)
    for id_, result in expected.results.items():
        assert found.results[id_].outcome is result.outcome, id_


def challenged_at_random(engine: str, n_models: int) -> Counter[str]:
    """What was met in challenges of random models; each held to two worlds side by side."""
    counts: Counter[str] = Counter()
    wrong: list[str] = []

    @settings(max_examples=n_models, deadline=None, derandomize=True, phases=[Phase.generate])
    @given(random_models(with_faults=False))
    def compare(drawn: RandomModel) -> None:
        with tempfile.TemporaryDirectory() as folder:
            model = load(written(Path(folder), drawn.yaml, drawn.st))
        wrong.extend(challenged(model, counts, engine))

    compare()
    assert not wrong, "\n".join(wrong)
    return counts


def test_nothing_else_is_equivalent_and_no_gap_is_nearer_on_models_with_timers() -> None:
    counts = challenged_at_random("reference", 50)
    # What was never met agrees with anything.
    assert counts["models with free timers"] == counts["models"] >= 50
    for outcome in ("equivalent", "gap"):
        assert counts[outcome] >= 40
        assert counts[f"in lockstep: {outcome}"] >= 40
    assert counts[f"equivalent, {IN_LOCKSTEP}"] >= 5


def test_what_is_known_as_a_set_tells_no_gap_that_is_none_on_models_with_timers() -> None:
    counts = challenged_at_random("symbolic", 14)
    assert counts["gap"] >= 10
    assert counts["equivalent"] >= 10
    assert counts["a run that need not be shortest"] >= 1


# Without b in t, what shows nearest shows only of the original's k, which the change keeps FALSE.
_APART = """PROGRAM m
VAR_INPUT a, b, d, e : BOOL; END_VAR
VAR_OUTPUT q : BOOL; END_VAR
VAR t, k : BOOL; END_VAR
t := a AND b;
k := k OR a AND NOT t OR d AND e;
q := t AND k;
END_PROGRAM
"""


def test_a_gap_is_shown_by_a_run_that_both_go_alike(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(_APART)
    asked = "requirements:\n  R: {says: s, never: q AND NOT a, judged: after scan}\n"
    (tmp_path / "model.yaml").write_text(f"title: T\ncontroller: p.st\n{asked}")
    model = load(tmp_path)
    found = challenge(model, catalogue()["symbolic"]())
    slow = challenge(model, catalogue()["reference"]())
    assert by_outcome(found) == by_outcome(slow, but=found)
    farther = [id_ for id_, result in found.results.items() if not result.is_shortest]
    lengths = [(slow.results[id_].n_steps, found.results[id_].n_steps) for id_ in farther]
    assert lengths
    assert all(shortest <= length for shortest, length in lengths)


def test_nothing_else_is_equivalent_and_no_gap_is_nearer_in_time(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    for seed in (1, 2, 3, 5, 7, 8):
        model = draw_timed_challenge(seed, tmp_path / str(seed))
        engine = ["reference", "enumerate", "symbolic"][seed % 3]
        wrong += challenged(model, counts, engine, seed)
        wrong += thought_otherwise(model, counts, seed)
    assert not wrong, "\n".join(wrong)
    assert counts["models with time"] == 6
    assert counts["models with delayed outputs"] >= 1
    assert counts["models with free timers"] >= 2
    for outcome in ("equivalent", "gap", "in lockstep: equivalent", "in lockstep: gap"):
        assert counts[outcome] >= 2, outcome
    assert counts["verdicts of what makes no difference"] >= 10


def test_a_move_owed_in_one_model_only_is_told_beside_equivalent(tmp_path: Path) -> None:
    # The drive stops in the scan that sees the button released, so the term matters to no move
    # that can be made, nor does the drive where the button has just been pressed; but in between
    # only the changed one owes the gate a move.
    guard = ("to: BETWEEN, when: drive,", "to: BETWEEN, when: drive AND button,")
    one_in_all = ("plant:\n", "run: {between_scans: one in all}\nplant:\n")
    model = gate(tmp_path, guard, one_in_all)
    counts: Counter[str] = Counter()
    assert not list(challenged(model, counts, "reference", n_defects=None))
    assert counts[f"equivalent, {BUT_FOR_WHAT_IS_OWED}"] == 2
