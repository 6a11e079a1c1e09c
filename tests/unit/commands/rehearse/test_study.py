"""Each step surely ends or stands for a reason; each deviation is in its class."""

from __future__ import annotations

from pathlib import Path

from interlock.commands.rehearse.results import Class, Rehearsal
from interlock.kernel.requirement import Outcome
from tests.support.hatch import BY_BUTTON, BY_HAND, found, hatch, rehearsed
from tests.support.models import MODELS


def ends(rehearsal: Rehearsal) -> list[bool | None]:
    return [step.inevitable for step in rehearsal.rehearsed[0].steps]


def test_a_procedure_whose_steps_surely_end_is_shown_to_end(tmp_path: Path) -> None:
    rehearsal = rehearsed(hatch(tmp_path / "hatch"))
    assert ends(rehearsal) == [True, True]
    assert rehearsal.rehearsed[0].ends
    assert all(step.executable for step in rehearsal.rehearsed[0].steps)


def test_a_step_that_the_program_refuses_stands_with_the_permissive_and_its_line(
    tmp_path: Path,
) -> None:
    changed = ("may_open := bolt_out;", "may_open := bolt_out AND NOT pressed;")
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_BUTTON, changed))
    assert ends(rehearsal) == [True, False]
    assert rehearsal.outcome is Outcome.VIOLATED
    stand = rehearsal.rehearsed[0].steps[1].stand
    assert stand is not None
    assert stand.reason is not None
    links = [(r.text, r.place.line) for r in stand.reason.chain() if r.permissive]
    assert links == [("open_valve is FALSE", 6), ("may_open is FALSE", 5)]


def test_a_step_that_may_or_may_not_end_is_not_inevitable(tmp_path: Path) -> None:
    # The bolt may fall in again before anybody sees that it was out.
    falls = "      - {from: OUT, to: IN, when: hatch = SHUT, by: plant, says: the bolt falls in}\n"
    changed = ("      - {from: IN, to: OUT", falls + "      - {from: IN, to: OUT")
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_BUTTON, changed))
    first = rehearsal.rehearsed[0].steps[0]
    assert (first.executable, first.inevitable) == (True, False)
    assert not rehearsal.rehearsed[0].singles


def test_what_ends_elsewhere_is_not_shown_to_end(tmp_path: Path) -> None:
    changed = ("ends: bolt = OUT", "ends: hatch = OPEN")  # the hatch falls shut when let go
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_BUTTON, changed))
    assert ends(rehearsal) == [True, True]
    assert not rehearsal.rehearsed[0].ends
    assert rehearsal.outcome is Outcome.VIOLATED


def test_an_omitted_step_is_blocked_by_the_permissive_it_supplies(tmp_path: Path) -> None:
    (omitted,) = found(rehearsed(hatch(tmp_path / "hatch")), "omitted", "draw")
    assert omitted.outcome is Class.BLOCKED
    assert omitted.stand is not None
    assert omitted.stand.step == "open"
    assert omitted.stand.reason is not None
    missing = {end.text for end in omitted.stand.reason.ends}
    assert missing == {"bolt = OUT is FALSE: bolt is IN"}
    assert "may_open is FALSE" in [link.text for link in omitted.stand.reason.chain()]


def test_a_repeated_step_of_actions_is_seen_to_be_done_and_harmless(tmp_path: Path) -> None:
    (repeated,) = found(rehearsed(hatch(tmp_path / "hatch")), "repeated", "draw")
    assert repeated.outcome is Class.HARMLESS


def test_an_early_release_does_not_matter_where_the_end_does_not_need_it(tmp_path: Path) -> None:
    (early,) = found(rehearsed(hatch(tmp_path / "hatch")), "released early", "open")
    assert early.outcome is Class.HARMLESS


def test_a_human_error_that_leaves_no_way_back_is_stuck(tmp_path: Path) -> None:
    (omitted,) = found(rehearsed(hatch(tmp_path / "hatch", BY_HAND)), "omitted", "draw")
    assert omitted.outcome is Class.STUCK
    assert omitted.way is None
    (in_order,) = found(rehearsed(tmp_path / "hatch"), "repeated", "draw")
    assert in_order.outcome is Class.HARMLESS


def test_a_violation_is_shown_with_a_replayed_run(tmp_path: Path) -> None:
    changed = ("AND lamp AND", "AND")
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_HAND, changed))
    (omitted,) = found(rehearsal, "omitted", "draw")
    assert (omitted.outcome, omitted.requirement) == (Class.VIOLATING, "R1")
    assert omitted.run is not None
    assert omitted.run.happenings[-1].says == "forces the hatch"
    assert rehearsal.outcome is Outcome.VIOLATED


def test_a_violated_response_is_shown_with_its_loop(tmp_path: Path) -> None:
    response = "R2: {says: a drawn bolt is shot, whenever: bolt = OUT, leads_to: bolt = IN}"
    changed = ("requirements:\n", f"requirements:\n  {response}\n")
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_BUTTON, changed))
    assert rehearsal.rehearsed[0].requirement == "R2"
    run = rehearsal.rehearsed[0].run
    assert run is not None
    assert run.loop_start is not None


def test_a_violation_as_written_is_told() -> None:
    rehearsal = rehearsed(MODELS / "ramp-broken" / "pin-alone")
    assert rehearsal.rehearsed[0].requirement == "R2"
    assert rehearsal.rehearsed[0].run is not None


def test_two_people_at_once_find_the_lost_bracket_of_the_ramp() -> None:
    rehearsal = rehearsed(MODELS / "ramp-broken" / "lost-bracket")
    violating = [
        (result.deviations[0].kind.value, result.requirement)
        for procedure in rehearsal.rehearsed
        for result in procedure.singles
        if result.outcome is Class.VIOLATING
    ]
    assert violating == [("two people at once", "R1")]


def test_the_kept_ramp_has_no_violating_deviation_and_every_stand_has_a_reason() -> None:
    rehearsal = rehearsed(MODELS / "ramp")
    assert rehearsal.outcome is Outcome.HOLDS
    results = [result for r in rehearsal.rehearsed for result in r.singles]
    assert {r.outcome for r in results} == {Class.HARMLESS, Class.BLOCKED, Class.RECOVERABLE}
    for result in results:
        assert (result.stand is None) == (result.outcome is Class.HARMLESS)
        if result.stand is not None:
            assert result.stand.reason is not None
            assert result.way is not None
            assert result.way.found


def test_pairs_are_about_different_steps(tmp_path: Path) -> None:
    rehearsal = rehearsed(hatch(tmp_path / "hatch"), pairs=True)
    results = rehearsal.rehearsed[0].pairs
    assert results
    for result in results:
        one, two = result.deviations
        assert one.last < two.first


def test_omissions_carry_their_anchor_and_its_source(tmp_path: Path) -> None:
    # NUREG/CR-1278 Table 20-7: 0.003 for a list of at most 10 items without check-off; 0.001
    # with check-off (the latter from memory).
    (omitted,) = found(rehearsed(hatch(tmp_path / "hatch")), "omitted", "draw")
    (anchor,) = omitted.anchors
    assert anchor.probability == 0.003
    assert "Table 20-7" in anchor.source
    ticked = ("    ends: bolt = OUT", "    check_off: true\n    ends: bolt = OUT")
    rehearsal = rehearsed(hatch(tmp_path / "ticked", BY_BUTTON, ticked))
    assert found(rehearsal, "omitted", "draw")[0].anchors[0].probability == 0.001
    (repeated,) = found(rehearsal, "repeated", "draw")
    assert repeated.anchors[0].probability is None
