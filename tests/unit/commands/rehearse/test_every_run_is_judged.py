"""Ways back, what can still be done, and who is blamed: no run of a rehearsal is left unjudged."""

from __future__ import annotations

from pathlib import Path

from interlock.cli.main import run
from interlock.commands.rehearse.results import Class
from interlock.kernel.requirement import Outcome
from tests.support.hatch import BY_BUTTON, BY_HAND, found, hatch, rehearsed

TRAILER = """\
title: A trailer with a pin
controller: controller.st
plant:
  pin:
    by: operator
    states: [OUT, HALF, IN]
    moves:
      - {from: OUT, to: HALF, says: sets the pin}
      - {from: HALF, to: IN, says: drives the pin home}
  place:
    by: driver
    states: [YARD, ROAD, HOME]
    moves:
      - {from: YARD, to: ROAD, when: pin <> OUT, says: drives off}
      - {from: ROAD, to: HOME, says: comes home}
sensors:
  pin_in: {reads: pin = IN}
requirements:
  R1: {says: never on the road with the pin half in, never: place = ROAD AND pin = HALF}
"""
PROGRAM = """\
PROGRAM Trailer
VAR_INPUT pin_in : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := pin_in;
END_PROGRAM
"""
PROCEDURE = """\
goal: place = HOME
procedures:
  go:
    says: Go home
    starts: place = YARD AND pin = OUT
    ends: place = HOME
    steps:
      - {id: pin, says: Set the pin, who: operator, do: [pin to HALF, pin to IN], done: pin = IN,
         observer: operator, seconds: [1, 2], assumed: true}
      - {id: drive, says: Drive home, who: driver, do: [place to ROAD, place to HOME],
         done: place = HOME, observer: driver, seconds: [1, 2], assumed: true}
"""


def trailer(folder: Path, *changes: tuple[str, str]) -> Path:
    files = {"model.yaml": TRAILER, "controller.st": PROGRAM, "procedures.yaml": PROCEDURE}
    folder.mkdir()
    for name, text in files.items():
        for old, new in changes:
            text = text.replace(old, new)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_a_way_back_does_not_lead_through_a_violation(tmp_path: Path) -> None:
    (omitted,) = found(rehearsed(trailer(tmp_path / "trailer")), "omitted", "pin")
    assert omitted.outcome is Class.BLOCKED
    assert omitted.way is not None
    assert omitted.way.found
    assert [m for m in omitted.way.moves if m != "scan"] == [
        *("pin: OUT to HALF", "pin: HALF to IN", "place: YARD to ROAD", "place: ROAD to HOME")
    ]
    assert omitted.way.n_actions == 4


# The pin goes home only on the road, so that nothing but a violation leads back.
ONLY_ON_THE_ROAD = ("to: IN, says", "to: IN, when: place = ROAD, says")


def test_a_deviation_after_which_something_is_lost_for_ever_is_not_harmless(
    tmp_path: Path,
) -> None:
    lasting = "R2: {says: the hinge can be sound again, can_still: strain = SOUND}"
    changes = (
        ("requirements:\n", f"requirements:\n  {lasting}\n"),
        ("bolt = OUT AND strain = SOUND", "bolt = OUT"),
    )
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_HAND, *changes))
    (omitted,) = found(rehearsal, "omitted", "draw")
    assert (omitted.outcome, omitted.requirement) == (Class.VIOLATING, "R2")
    assert omitted.run is not None
    assert "forces the hatch" in [happening.says for happening in omitted.run.happenings]
    assert rehearsal.outcome is Outcome.VIOLATED
    (in_order,) = found(rehearsal, "repeated", "draw")
    assert in_order.outcome is Class.HARMLESS


def test_what_is_lost_though_all_is_done_as_written_is_told(tmp_path: Path) -> None:
    lasting = "R2: {says: the bolt can be shut in, can_still: bolt = IN AND strain = SOUND}"
    changes = (
        ("requirements:\n", f"requirements:\n  {lasting}\n"),
        (
            "{from: IN, to: OUT, says: draws the bolt}",
            "{from: IN, to: OUT, says: draws the bolt, also: {strain: BENT}}",
        ),
        ("bolt = OUT AND strain = SOUND", "bolt = OUT"),
    )
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_HAND, *changes))
    assert rehearsal.rehearsed[0].requirement == "R2"
    assert rehearsal.rehearsed[0].run is not None


FORCED_FIRST = (
    "      - {from: SHUT, to: OPEN, when: open_valve AND bolt = OUT, says: the hatch opens}\n",
    "      - {from: SHUT, to: OPEN, by: human, also: {strain: BENT}, says: tears it open}\n"
    "      - {from: SHUT, to: OPEN, when: open_valve AND bolt = OUT, says: the hatch opens}\n",
)
STAYS_OPEN = ("when: NOT open_valve, says: the hatch falls shut", "by: operator, says: shuts it")
UNTIL_OPEN = ("done: bolt = OUT OR hatch = OPEN", "done: hatch = OPEN")
BENT_IS_BAD = ("hatch = OPEN AND lamp AND strain = BENT", "strain = BENT AND bolt = OUT")


def test_of_two_moves_with_the_same_ends_a_procedure_means_the_one_that_is_no_error(
    tmp_path: Path,
) -> None:
    named = ("do: [hatch to OPEN]", "do: ['hatch: SHUT to OPEN']")
    folder = hatch(
        tmp_path / "hatch", BY_HAND, FORCED_FIRST, UNTIL_OPEN, STAYS_OPEN, BENT_IS_BAD, named
    )
    rehearsal = rehearsed(folder)
    assert rehearsal.rehearsed[0].requirement is None, "as written nobody errs"
    assert rehearsal.rehearsed[0].ends


def test_a_deviation_is_not_blamed_for_an_error_that_nobody_needs(tmp_path: Path) -> None:
    # The bolt is drawn, the hatch opens by hand; tearing it open has nothing to do with a repeat.
    folder = hatch(tmp_path / "hatch", BY_HAND, FORCED_FIRST, UNTIL_OPEN, STAYS_OPEN, BENT_IS_BAD)
    rehearsal = rehearsed(folder)
    (repeated,) = found(rehearsal, "repeated", "draw")
    assert (repeated.outcome, repeated.requirement) == (Class.HARMLESS, None)


def test_a_stand_is_explained_by_the_move_that_is_no_error(tmp_path: Path) -> None:
    torn = (FORCED_FIRST[0], FORCED_FIRST[1].replace("by: human", "by: human, when: strain = BENT"))
    forced = ("bolt = IN, by: human", "bolt = IN AND strain = BENT, by: human")
    rehearsal = rehearsed(hatch(tmp_path / "hatch", BY_HAND, torn, forced))
    (omitted,) = found(rehearsal, "omitted", "draw")
    assert omitted.stand is not None
    assert omitted.stand.reason is not None
    said = " ".join(end.text for end in omitted.stand.reason.ends)
    assert "bolt = OUT is FALSE" in said
    assert "strain" not in said


def test_a_start_is_not_reached_through_a_violation(tmp_path: Path) -> None:
    # The pin is home and the trailer at home by two roads; the shorter one violates.
    changes = (
        ("starts: place = YARD AND pin = OUT", "starts: place = HOME AND pin <> OUT"),
        ("ends: place = HOME", "ends: place = HOME AND pin = IN"),
        ("do: [place to ROAD, place to HOME],\n         done", "done"),
    )
    rehearsal = rehearsed(trailer(tmp_path / "trailer", *changes))
    start = rehearsal.rehearsed[0].start
    assert start is not None
    assert "pin: HALF to IN" in start


def test_the_violation_on_the_only_way_back_is_on_the_card(tmp_path: Path) -> None:
    folder = trailer(tmp_path / "trailer", ONLY_ON_THE_ROAD)
    run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"])
    page = (tmp_path / "out" / "card.html").read_text(encoding="utf-8")
    assert "no way that keeps R1: call for help" in page


def test_a_start_that_only_a_violation_leads_to_is_told(tmp_path: Path) -> None:
    changes = (
        ONLY_ON_THE_ROAD,
        ("starts: place = YARD AND pin = OUT", "starts: place = HOME"),
        ("do: [pin to HALF, pin to IN], done: pin = IN", "do: [], done: pin <> OUT"),
        ("do: [place to ROAD, place to HOME],\n         done", "done"),
    )
    rehearsal = rehearsed(trailer(tmp_path / "trailer", *changes))
    assert rehearsal.rehearsed[0].requirement == "R1"
    assert rehearsal.rehearsed[0].run is not None
    assert rehearsal.outcome is Outcome.VIOLATED


def test_what_a_step_may_also_end_in_is_on_the_card(tmp_path: Path) -> None:
    # The lamp says that the step is done while the trailer may have rolled to the road, or not.
    rolls = (
        "      - {from: YARD, to: ROAD, when: pin <> OUT, says: drives off}\n",
        "      - {from: YARD, to: ROAD, when: pin <> OUT, by: plant, says: it rolls}\n",
    )
    kept = ("never: place = ROAD AND pin = HALF", "never: place = HOME AND pin = OUT")
    folder = trailer(tmp_path / "trailer", rolls, kept, ("do: [place to ROAD, place", "do: [place"))
    run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"])
    page = (tmp_path / "out" / "card.html").read_text(encoding="utf-8")
    assert "<b>May also</b> end with place ROAD." in page


def test_that_a_step_may_not_end_is_on_the_card(tmp_path: Path) -> None:
    falls = "      - {from: OUT, to: IN, when: hatch = SHUT, by: plant, says: the bolt falls in}\n"
    changed = ("      - {from: IN, to: OUT", falls + "      - {from: IN, to: OUT")
    folder = hatch(tmp_path / "hatch", BY_BUTTON, changed)
    run(["rehearse", str(folder), "-o", str(tmp_path / "out"), "--plain"])
    page = (tmp_path / "out" / "card.html").read_text(encoding="utf-8")
    assert "<b>May also</b> not end: bolt = OUT is FALSE" in page


def test_an_output_that_a_signal_reads_back_is_explained_once(tmp_path: Path) -> None:
    changes = (
        ("pin_in: {reads: pin = IN}", "pin_in: {reads: pin = IN AND lamp}"),
        ("done: pin = IN", "done: lamp"),
    )
    rehearsal = rehearsed(trailer(tmp_path / "trailer", *changes))
    stand = rehearsal.rehearsed[0].steps[0].stand
    assert stand is not None
    assert stand.reason is not None
    assert "lamp is FALSE" in stand.reason.text
