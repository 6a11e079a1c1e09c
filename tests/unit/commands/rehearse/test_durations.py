"""How long steps take: what the procedure says, and what the plant's moves take."""

from __future__ import annotations

from math import inf
from pathlib import Path

from interlock.commands.rehearse.tell import duration_of
from interlock.model.model import Duration
from tests.support.hatch import BY_BUTTON, hatch, rehearsed

OPENS = "says: the hatch opens}"
BOLT = "says: draws the bolt}"
GIVEN = ", seconds: [3, 5], assumed: true}"


def test_a_procedure_takes_as_long_as_its_steps(tmp_path: Path) -> None:
    (found,) = rehearsed(hatch(tmp_path)).rehearsed
    assert found.takes == Duration(1 + 3, 2 + 5, None, True, goes_on=False)
    assert [step.plant for step in found.steps] == [None, None]


def test_a_step_without_a_duration_takes_what_the_plant_takes(tmp_path: Path) -> None:
    timed = "says: the hatch opens, seconds: [4, 6], source: timed twice}"
    folder = hatch(tmp_path, BY_BUTTON, (OPENS, timed), (GIVEN, "}"))
    (found,) = rehearsed(folder).rehearsed
    opened = found.steps[1]
    assert opened.plant is not None
    assert opened.plant.takes == Duration(4, 6, "timed twice", False)
    assert opened.plant.unknown == ()
    assert found.takes == Duration(1 + 4, 2 + 6, "timed twice", True)
    assert duration_of(found) == "5 s to 8 s (timed twice; assumed)"


def test_a_duration_that_nobody_gives_is_not_known(tmp_path: Path) -> None:
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, (GIVEN, "}"))).rehearsed
    assert found.takes is None
    assert duration_of(found) == "an unknown time: no duration of open"


def test_a_procedure_cannot_give_less_time_than_the_plant_takes(tmp_path: Path) -> None:
    timed = "says: the hatch opens, seconds: [7, 9], assumed: true}"
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, (OPENS, timed))).rehearsed
    assert [step.is_too_short for step in found.steps] == [False, True]


def test_what_goes_on_may_have_been_begun_in_an_earlier_step(tmp_path: Path) -> None:
    timed = "says: the hatch opens, seconds: [4, 6], assumed: true, interrupted: goes on}"
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, (OPENS, timed), (GIVEN, "}"))).rehearsed
    assert found.steps[1].plant is not None
    assert found.steps[1].plant.takes == Duration(0, 6, None, True)


def test_machines_that_may_move_at_once_take_the_longest_and_at_most_the_sum(
    tmp_path: Path,
) -> None:
    # A second leaf, driven by the same valve.
    leaf = """  leaf:
    states: [SHUT, OPEN]
    moves:
      - {from: SHUT, to: OPEN, when: open_valve, seconds: [10, 20], assumed: true}
  strain:
"""
    timed = "says: the hatch opens, seconds: [4, 6], assumed: true}"
    both = ("done: hatch = OPEN,", "done: hatch = OPEN AND leaf = OPEN,")
    changes = ((OPENS, timed), ("  strain:\n", leaf), (GIVEN, "}"), both)
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, *changes)).rehearsed
    assert found.steps[1].takes == Duration(10, 26, None, True)
    untimed = leaf.replace(", seconds: [10, 20], assumed: true", "")
    changes = ((OPENS, timed), ("  strain:\n", untimed), (GIVEN, "}"), both)
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, *changes)).rehearsed
    assert found.steps[1].plant is not None
    assert found.steps[1].plant.takes == Duration(4, 6, None, True)
    assert found.steps[1].plant.unknown == ("leaf: SHUT to OPEN",)


def test_what_may_repeat_without_end_may_take_any_time(tmp_path: Path) -> None:
    # The leaf swings to and fro while the valve is open.
    leaf = """  leaf:
    states: [SHUT, OPEN]
    moves:
      - {from: SHUT, to: OPEN, when: open_valve, seconds: [1, 2], assumed: true}
      - {from: OPEN, to: SHUT, when: open_valve, seconds: [1, 2], assumed: true}
  strain:
"""
    (found,) = rehearsed(hatch(tmp_path, BY_BUTTON, ("  strain:\n", leaf), (GIVEN, "}"))).rehearsed
    takes = found.steps[1].takes
    assert takes is not None
    assert (takes.least, takes.greatest) == (0, inf)
