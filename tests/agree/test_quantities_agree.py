"""Quantities in bands against true time: every course of a number is a run of the bands.

A course is reckoned with in plain Python as one number that changes at a rate within its limits,
the rates taken anew and people turning round whenever they like (`tests.support.vessel`). What
happens on it, rounded to whole units of time in any of the ways that keep its order, must be
possible on the judge and in the kernel's system alike, nothing left out and nothing in between.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from interlock.independent_judge.player import Player
from interlock.kernel.system import Stepper
from interlock.model.build import SCAN, build
from interlock.model.model import Model, ModelMove
from interlock.model.timing import TICK
from tests.second_opinion.compare import by_engine
from tests.second_opinion.opinion import opinions
from tests.second_opinion.world import Class
from tests.support.vessel import Course, Event, events, in_ticks, vessel
from tests.support.vessel import settings as texts

MOST_EVENTS = 300


def halves(least: int, greatest: int) -> st.SearchStrategy[Fraction]:
    return st.integers(2 * least, 2 * greatest).map(lambda n: Fraction(n, 2))


@st.composite
def courses(draw: st.DrawFn) -> tuple[Course, list[Fraction], int]:
    edges = draw(st.lists(halves(-5, 5), min_size=1, max_size=4, unique=True))
    lo, hi = min(edges) - draw(halves(1, 4)), max(edges) + draw(halves(1, 4))
    first = draw(st.one_of(st.sampled_from([lo, hi]), st.sampled_from(edges), st.just(lo)))
    pump = sorted(draw(st.lists(halves(0, 6), min_size=2, max_size=2)))
    drain = sorted(-n for n in draw(st.lists(halves(0, 6), min_size=2, max_size=2)))
    still = draw(st.sampled_from([(0, 0), (-1, 0), (-1, 1), (0, 0)]))
    some = st.one_of(st.integers(1, 4), st.integers(1, 40))
    seconds = some.map(lambda n: Fraction(n, 16))
    share = st.sampled_from([Fraction(0), Fraction(1), Fraction(1, 3), Fraction(4, 5)])
    stretch = st.tuples(seconds, st.booleans(), st.booleans(), share)
    stretches = draw(st.lists(stretch, min_size=1, max_size=14))
    rates = ((pump[0], pump[1]), (drain[0], drain[1]), (Fraction(still[0]), Fraction(still[1])))
    course = Course(lo, hi, first, rates, tuple(stretches))
    return course, edges, draw(st.sampled_from([100, 250, 1000]))


def move_of(model: Model, player: Player, event: Event) -> ModelMove:
    """The move of the model that an event is: the one out of the band that it is in now."""
    machine = model.machines["pressure"]
    here = machine.index(player.shown()["pressure"])
    moves = [m for m in model.moves if m.machine == "pressure" and m.source == here]
    moves = [m for m in moves if (m.target > here) is event.is_up and player.possible(m.name)]
    assert len(moves) == 1, (event, machine.states[here], [m.name for m in moves])
    return moves[0]


def walk(model: Model, course: Course, edges: list[Fraction], unit_ms: int, share: Fraction) -> int:
    """Play a course; tells how often the pressure passed something."""
    happening = list(events(course, [*edges, course.lo, course.hi]))[:MOST_EVENTS]
    player, built = Player(model), build(model)
    stepper = Stepper(built.system)
    state = built.system.initial
    now, n_passed = 0, 0

    def play(name: str) -> None:
        nonlocal state
        player.play(name)
        enabled = {move.name: move for move in stepper.enabled(state)}
        assert name in enabled, name
        state = stepper.after(state, enabled[name])
        values = player.state()
        said = dict(zip((v.name for v in built.system.variables), state, strict=True))
        assert {n: values[n] for n in said} == said

    play(SCAN)
    for tick, event in in_ticks(happening, Fraction(unit_ms, 1000), share):
        while now < tick:
            play(TICK)
            play(SCAN)
            now += 1
        if event.sets:
            play(event.sets)
        else:
            play(move_of(model, player, event).name)
            n_passed += 1
    return n_passed


DOWN, UP = (Fraction(1, 16), False, True, Fraction(0)), (Fraction(1, 8), True, False, Fraction(1))
RATES = ((Fraction(1), Fraction(2)), (Fraction(-2), Fraction(-1)), (Fraction(0), Fraction(0)))


# It sets out from between two steps, turns round at once and is back long before it could have come
# from the lower step.
BACK = (Course(Fraction(0), Fraction(9), Fraction(5), RATES, (DOWN, UP)), [Fraction(3)], 100)


def follow(folder: Path, n_courses: int, derandomize: bool = False) -> list[int]:
    """Follow so many courses; tells how often the pressure passed something on each.

    With `derandomize` they are the same each time.
    """
    passed: list[int] = []

    # Each example reads a model, so what fails is shown as it was drawn.
    @settings(
        max_examples=n_courses,
        deadline=None,
        derandomize=derandomize,
        database=None,
        phases=[Phase.explicit, Phase.generate],
    )
    @example(BACK, Fraction(0))
    @given(courses(), st.integers(0, 15).map(lambda n: Fraction(n, 16)))
    def is_a_run(drawn: tuple[Course, list[Fraction], int], share: Fraction) -> None:
        course, edges, unit_ms = drawn
        model = vessel(folder / str(len(passed)), *texts(course, unit_ms, edges).items())
        passed.append(walk(model, course, edges, unit_ms, share))

    is_a_run()
    return passed


def test_every_course_is_a_run(tmp_path: Path) -> None:
    passed = follow(tmp_path, 60, derandomize=True)
    assert sum(passed) > 40
    assert sum(n > 3 for n in passed) > 2


HELD_YAML = [
    ("unit: 100 ms", "unit: 1 s"),
    ("scan_ms: 100", "scan_ms: 1000"),
    ("to: 20", "to: 12"),
    ("when: pump,", "when: lamp,"),
    (
        "controls:\n",
        """\
    switches: {low: {closes_at: 4, opens_at: 6}}
faults: {W: {says: the wire breaks}, D: {says: it drifts, intermittent: true}}
controls:
""",
    ),
    (
        "sensors:\n",
        """\
sensors:
  is_low: {reads: low = closed}
  raw:
    reads: pressure
    scaled: {range: [0, 20], counts: [0, 1000], lost: {W: -1}, shifted: {D: 100}}
""",
    ),
    (
        "  R1: {",
        """\
  Q1:
    says: it is filled again
    whenever: pressure < 4 AND pumps
    leads_to: pressure >= 6 OR NOT pumps
    within: 9 s
    about: signals
  Q2: {says: it stays below, never: pressure > 9}
  Q3: {says: it stays below for a time, begins: lamp, not_yet: pressure > 7, for: 2 s}
  Q4: {says: the lamp is on for a time, once: lamp, at_least: 1 s}
  R1: {""",
    ),
    ("pumps : BOOL;", "pumps, is_low : BOOL; raw : INT;"),
    ("lamp := pumps;", "lamp := pumps AND raw >= 0 AND (is_low OR lamp) AND raw < 500;"),
]


@pytest.mark.parametrize("faults", [(), ("D",)])
def test_what_a_program_holds_agrees_with_the_twin(tmp_path: Path, faults: tuple[str, ...]) -> None:
    model = vessel(tmp_path, *HELD_YAML)
    run_class = Class(faults, len(faults))
    ours = opinions(model, run_class, 60_000)
    assert {opinion.is_violated for opinion in ours.values()} == {True, False}
    counts: Counter[str] = Counter()
    for engine in ("reference", "enumerate", "symbolic"):
        found = list(by_engine(engine, 0, model, run_class, ours, counts))
        assert not found, "\n".join(map(str, found))
