"""What goes on where it is interrupted: pieces add up, and nothing is too early for true time.

Source of the property in true time: mathematics. With moments rounded down by one and the same
remainder (Henzinger, Manna, Pnueli, ICALP 1992, from memory) a piece is more than its length less
one unit; so pieces, each with one unit more, are together no shorter than in true time.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import floor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import Stepper
from interlock.model.build import SCAN, build
from interlock.model.load import load
from interlock.model.model import Duration, Model
from interlock.model.timing import BEGUN, TICK
from interlock.telling.program import between_told
from tests.support.gate import written

HOLDS, VIOLATED = Outcome.HOLDS, Outcome.VIOLATED
ENGINES = ("reference", "enumerate", "symbolic")
YAML = """\
title: A hoist that may be stopped on its way
controller: controller.st
run: {scan_ms: 100, between_scans: any number, time: {unit: 100 ms}}
plant:
  body:
    states: [down, up, upright]
    moves:
      - {from: down, to: up, when: WHEN, seconds: [1.0, 1.5], assumed: true, interrupted: HOW}
      - {from: up, to: down, when: NOT button, by: driver}
      - {from: down, to: upright, when: OTHER, by: driver}
      - {from: upright, to: down, by: driver}
controls:
  button: {says: the button, bounces: true}
sensors:
  pressed: {reads: button}
outputs:
  motor: {}
requirements:
  R1: {says: The body stays down, never: body = up}
  R2: {says: It takes its time, begins: motor, not_yet: body = up, for: 1 s}
  R3: {says: It comes up, whenever: motor, leads_to: body = up OR NOT motor, within: 1.5 s}
"""
# The motor runs for 500 ms at the most, and then stands still for 300.
ST = """\
PROGRAM P
VAR_INPUT pressed : BOOL; END_VAR
VAR_OUTPUT motor : BOOL; END_VAR
VAR n : INT (0..7); END_VAR
n := (n + 1) MOD 8;
motor := pressed AND n < 5;
END_PROGRAM
"""


def hoist(folder: Path, how: str, when: str = "motor", other: str = "body = up") -> Model:
    yaml = YAML.replace("HOW", how).replace("WHEN", when).replace("OTHER", other)
    return load(written(folder, yaml, ST))


def outcomes(model: Model, engine: str) -> dict[str, Outcome]:
    findings = verify(model, catalogue()[engine]()).findings
    return {finding.requirement.id: finding.outcome for finding in findings}


@pytest.mark.parametrize("engine", ENGINES)
def test_pieces_that_are_short_alone_lift_the_body_together(engine: str, tmp_path: Path) -> None:
    anew = outcomes(hoist(tmp_path / "a", "starts again"), engine)
    # No piece is as long as the least, and what starts again is never there.
    assert anew["R1"] is HOLDS
    on = outcomes(hoist(tmp_path / "b", "goes on"), engine)
    assert on["R1"] is VIOLATED
    assert on["R2"] is VIOLATED
    assert anew["R3"] is on["R3"] is HOLDS


def piece_by_piece(player: Player, lengths: list[int]) -> None:
    """The button pressed for so many units each time, from a scan on; the last is pressed still."""
    for number, length in enumerate(lengths):
        if number:
            player.play("button to FALSE")
        player.play("button to TRUE")
        for _ in range(length):
            for made in (SCAN, TICK):
                player.play(made)


# 10 units at least: in one piece all of them, in two or three one less for each that there is.
@pytest.mark.parametrize(
    ("lengths", "is_there"),
    [
        ([9], False),
        ([10], True),
        ([3, 4], False),
        ([3, 5], True),
        ([2, 2, 2], False),
        ([2, 2, 3], True),
        ([0, 7], False),
        ([0, 8], True),
        ([4, 0, 2], False),
        ([4, 0, 3], True),
    ],
)
def test_pieces_add_up_with_one_unit_for_each(
    lengths: list[int], is_there: bool, tmp_path: Path
) -> None:
    player = Player(hoist(tmp_path, "goes on", "button"))
    piece_by_piece(player, lengths)
    up = "body: down to up"
    assert (up in player.ways_on(human=False)) is is_there
    *earlier, now = lengths
    begun = sum(earlier) + len(earlier)
    told = f", up to {begun}00 ms before it was interrupted" if begun else ""
    said = f"it takes 1000 ms at least, and {100 * now} ms have passed{told}"
    assert player.why_not_in_time(up) == ("" if is_there else said)


def test_what_was_begun_is_lost_where_the_body_moves(tmp_path: Path) -> None:
    model = hoist(tmp_path, "goes on", "button", "NOT button")
    player = Player(model)
    piece_by_piece(player, [5])
    player.play("button to FALSE")
    assert player.state()[f"{BEGUN}body: down to up"] == 6
    player.play("body: down to upright")
    assert player.state()[f"{BEGUN}body: down to up"] == 0
    player.play("body: upright to down")
    piece_by_piece(player, [9])
    assert "body: down to up" not in player.ways_on(human=False)


def test_a_piece_must_end_by_the_greatest_from_where_it_went_on(tmp_path: Path) -> None:
    player = Player(hoist(tmp_path, "goes on", "button"))
    piece_by_piece(player, [8, 15])
    player.play(SCAN)
    assert TICK not in player.ways_on(human=False)


@st.composite
def _pieces(draw: st.DrawFn) -> list[tuple[Fraction, Fraction]]:
    """When the button is pressed and let go, in units, in true time."""
    now, found = Fraction(0), []
    some = st.fractions(min_value=0, max_value=4, max_denominator=12)
    for _ in range(draw(st.integers(1, 6))):
        start = now + draw(some)
        now = start + draw(some)
        found.append((start, now))
    return found


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> Model:
    """A hoist that goes up while its button is pressed."""
    return hoist(tmp_path_factory.mktemp("hoist"), "goes on", "button")


@settings(max_examples=100, deadline=None)
@given(pieces=_pieces(), remainder=st.fractions(min_value=0, max_value=1, max_denominator=12))
def test_no_run_in_true_time_is_missing(
    by_hand: Model, pieces: list[tuple[Fraction, Fraction]], remainder: Fraction
) -> None:
    total = sum((end - start for start, end in pieces), Fraction(0))
    takes = Duration(float(floor(total)) / 10, 100.0, None, assumed=True, goes_on=True)
    moves = [replace(m, takes=takes) if m.takes is not None else m for m in by_hand.moves]
    model = replace(by_hand, moves=tuple(moves))
    events = [(start, "button to TRUE", end, "button to FALSE") for start, end in pieces]
    moments = [one for event in events for one in (event[:2], event[2:])]
    moments[-1] = (pieces[-1][1], "")
    player, system = Player(model), build(model).system
    stepper, state, now = Stepper(system), system.initial, 0
    for moment, name in moments:
        made = []
        for _ in range(floor(moment + remainder) - now):
            made += [SCAN, TICK]
        now += len(made) // 2
        for move in [*made, name] if name else made:
            player.play(move)
            state = stepper.after(state, system.move(move))
    assert "body: down to up" in player.ways_on(human=False)
    assert system.move("body: down to up") in stepper.enabled(state)


def test_results_say_what_becomes_of_what_is_interrupted(tmp_path: Path) -> None:
    on = "what of body is interrupted goes on, each piece for up to a unit longer"
    assert between_told(hoist(tmp_path / "a", "goes on")).endswith(f"; {on}")
    anew = between_told(hoist(tmp_path / "b", "starts again"))
    assert anew.endswith("; what is interrupted starts again")


def test_only_what_takes_seconds_can_be_interrupted(tmp_path: Path) -> None:
    yaml = YAML.replace("seconds: [1.0, 1.5], assumed: true, ", "").replace("HOW", "goes on")
    yaml = yaml.replace("WHEN", "motor").replace("OTHER", "body = up")
    with pytest.raises(InputError) as refused:
        load(written(tmp_path, yaml, ST))
    (mistake,) = refused.value.mistakes
    assert "only what takes 'seconds' can be interrupted" in mistake.says
    assert mistake.place.line == 8
