"""What of the original is kept, and what is told where that is too much."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.commands.challenge.kept_original import (
    KeptOriginal,
    NeedsFullSearchError,
    RequirementBundle,
)
from interlock.kernel.query import Limits
from interlock.kernel.system import System
from interlock.model.build import build
from tests.support.models import shipped
from tests.support.timed_gate import timed_gate


def test_observers_that_together_reach_too_much_are_kept_apart() -> None:
    built = build(shipped("ramp"))
    roomy = KeptOriginal(built, list(built.requirements), Limits())
    most = max(bundle.kept_states.n_states for bundle in roomy.bundles)
    tight = KeptOriginal(built, list(built.requirements), Limits(max_states=most - 1))
    assert len(tight.bundles) == len(roomy.bundles) + 1
    assert all(bundle.is_kept for bundle in tight.bundles)
    asked = [[r.id for b in kept.bundles for r in b.requirements] for kept in (roomy, tight)]
    assert asked[0] == asked[1]


def test_what_cannot_be_kept_is_explored_once() -> None:
    built = build(shipped("ramp"))
    bundle = RequirementBundle(built.system, [built.requirements["R5"]], Limits(max_states=2))
    reasons = []
    for _ in range(2):
        with pytest.raises(NeedsFullSearchError, match="more than") as raised:
            _ = bundle.kept_states
        reasons.append(raised.value)
    assert reasons[0] is reasons[1]


def test_what_counts_units_of_time_still_does_so_in_a_changed_model(tmp_path: Path) -> None:
    bounded = ("leads_to: gate = shut}", "leads_to: gate = shut, within: 2 s}")
    built = build(timed_gate(tmp_path, bounded))
    requirements = [built.requirements["R2"]]
    bundle = RequirementBundle(built.system, requirements, Limits())
    # Moves that are other objects and say the same, as a defect's do.
    moves = tuple(replace(move) for move in built.system.moves)
    _, changed = bundle.of(replace(built.system, moves=moves), requirements)

    def watched(system: System) -> dict[str, object]:
        return {move.name: move.updates.get("watch.R2") for move in system.moves}

    assert watched(changed) == watched(bundle.system)
    assert len(set(map(id, watched(changed).values()))) > 1
