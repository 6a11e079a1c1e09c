"""Wren's procedures surely end; what the crew may do wrong is in the class it is known to be."""

from __future__ import annotations

import pytest

from interlock.commands.rehearse.card import make_card
from interlock.commands.rehearse.results import Class, DeviationResult, Rehearsal
from interlock.commands.rehearse.study import Rehearser
from interlock.judgement.engines import AUTOMATIC, available
from interlock.model.procedures import load_procedures
from tests.support.models import shipped


@pytest.fixture(scope="module")
def rehearser() -> Rehearser:
    model = shipped("wren")
    return Rehearser(model, load_procedures(model), available()[AUTOMATIC]())


@pytest.fixture(scope="module")
def rehearsal(rehearser: Rehearser) -> Rehearsal:
    return rehearser.rehearse()


def one(rehearsal: Rehearsal, procedure: str, kind: str, step: str) -> DeviationResult:
    (found,) = [r for r in rehearsal.rehearsed if r.procedure.id == procedure]
    return next(
        result
        for result in found.singles
        if result.deviations[0].kind.value == kind and result.deviations[0].steps[0] == step
    )


@pytest.mark.slow
def test_every_step_of_every_procedure_surely_ends_and_leads_where_it_should(
    rehearsal: Rehearsal,
) -> None:
    for rehearsed in rehearsal.rehearsed:
        assert all(step.inevitable for step in rehearsed.steps), rehearsed.procedure.id
        assert rehearsed.ends
        assert rehearsed.requirement is None


@pytest.mark.slow
def test_only_the_nose_drop_violates_a_requirement_and_nothing_is_stuck(
    rehearsal: Rehearsal,
) -> None:
    results = [result for r in rehearsal.rehearsed for result in r.singles]
    violating = {
        (result.deviations[0].steps, result.requirement)
        for result in results
        if result.outcome is Class.VIOLATING
    }
    # The lever can be pulled with the legs not down, and the legs wound up before the fifth wheel
    # has locked: training alone prevents it.
    assert violating == {
        (("legs_down",), "R25"),
        (("back_under",), "R25b"),
        (("back_under", "legs_up"), "R25b"),
    }
    assert not {Class.STUCK, Class.UNDECIDED} & {result.outcome for result in results}


@pytest.mark.slow
def test_known_errors_are_in_their_classes(rehearsal: Rehearsal) -> None:
    left_hanging = one(rehearsal, "to_rigid", "broken off", "stow")
    assert left_hanging.outcome is Class.BLOCKED
    assert left_hanging.stand is not None
    assert left_hanging.stand.step == "look"
    # Lowered again before drawing clear: the body must first go up once more.
    assert one(rehearsal, "to_rigid", "omitted", "draw_clear").outcome is Class.RECOVERABLE
    # LIFT short of the transfer station: the station's permissive refuses.
    short = one(rehearsal, "to_rigid", "released early", "slide_out")
    assert short.outcome is Class.BLOCKED
    assert short.stand is not None
    assert short.stand.reason is not None
    assert any(link.text == "at_xfer is FALSE" for link in short.stand.reason.chain())
    second = one(rehearsal, "to_rigid", "two people at once", "raise")
    assert second.stand is not None
    assert second.stand.reason is not None
    assert any(link.text == "armed is FALSE" for link in second.stand.reason.chain())


@pytest.mark.slow
def test_the_card_leads_to_road_fit_from_every_configuration(rehearser: Rehearser) -> None:
    card = make_card(rehearser.recovery)
    assert card.limit is None
    assert card.machines == ("slide", "lift", "rel", "guard")
    assert {row.states[0] for row in card.rows} == set(rehearser.model.machines["slide"].states)
    for row in card.rows:
        assert row.way.found
        assert row.is_calm
        assert row.is_goal or row.instructions
