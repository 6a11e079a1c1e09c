"""The loading ramp, kept and with each classic mistake."""

from __future__ import annotations

import difflib

import pytest

from interlock.kernel.expr import and_
from interlock.kernel.query import Reach
from interlock.model.build import build
from interlock.model.model import Model
from tests.support.engines import explore_with
from tests.support.models import folders, shipped, undecided, vacuous, verified, violated

BROKEN = folders("ramp-broken")


def test_the_kept_ramp_holds_and_nothing_of_it_holds_for_want_of_a_premise() -> None:
    verification = verified(shipped("ramp"))
    assert not violated(verification) | undecided(verification) | vacuous(verification)
    assert verification.exploration.n_states == 2_153


def test_the_kept_ramp_can_be_used_and_driven() -> None:
    built = build(shipped("ramp"))
    truth = {f.id: f for f in built.requirements.values()}
    # R8 and R9 name the ends of legitimate travel; one run may even come from one to the other.
    lowered, driving = truth["R8"].p, truth["R9"].p
    found = explore_with("reference", built.system, [Reach(lowered), Reach(driving)])
    assert [answer.found for answer in found.answers] == [True, True]
    apart = explore_with("reference", built.system, [Reach(and_(lowered, driving))])
    assert apart.answers[0].found is False


def test_every_classic_mistake_is_there() -> None:
    assert set(BROKEN) == {
        "lamp-from-command",
        "pin-alone",
        "normally-open-stop",
        "seal-in-survives-stop",
        "lost-bracket",
        "dead-requirement",
    }


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_ramp_does_exactly_the_harm_that_it_declares(name: str) -> None:
    model = shipped(f"ramp-broken/{name}")
    verification = verified(model)
    assert violated(verification) == set(model.expected_violated)
    assert vacuous(verification) == set(model.expected_vacuous)
    assert not undecided(verification)
    assert model.expected_violated or model.expected_vacuous


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_ramp_is_broken_minimally_and_says_what_to_look_for(name: str) -> None:
    model = shipped(f"ramp-broken/{name}")
    assert model.changes
    assert model.says != shipped("ramp").says
    changed = changed_lines(program(shipped("ramp")), program(model))
    # The normally open contact needs its declaration and its use.
    assert changed <= (4 if name in ("normally-open-stop", "lamp-from-command") else 2)


def test_the_trap_of_the_pin_that_is_in_but_not_seated_ends_with_the_ramp_off_home() -> None:
    verification = verified(shipped("ramp-broken/pin-alone"), only=["R1"])
    (finding,) = verification.findings
    assert finding.run is not None
    moves = [happening.move for happening in finding.run.happenings]
    out = moves.index("ramp: stowed to between")
    assert moves.index("pin: out to in") > out
    assert moves[-1] == "vehicle: parked to driving"


def program(model: Model) -> str:
    return model.sources[model.program.place.file]


def changed_lines(before: str, after: str) -> int:
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return sum(line[:1] in "+-" and line[:3] not in ("+++", "---") for line in lines)
