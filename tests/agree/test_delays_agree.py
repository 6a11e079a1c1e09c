"""Delays in time against a twin that keeps all that was given, and against wires and valves.

`tests.second_opinion.delayed` was written from the meaning in ``DEVELOPERS.md`` alone. Built
system, judge and twin are walked side by side through the states; then verdicts, what is vacuous,
the fewest steps of a violation and minimal sets of faults must agree.

Then things that do delay, reckoned in true time with fractions, are followed by the judge in whole
units: pipes that pass everything on, each change after a time of its own; filters that pass on what
stands still; and messages that overtake each other. Whatever they do must be possible.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from interlock.independent_judge.effects import Effects
from interlock.independent_judge.late import Lateness
from interlock.kernel.system import Event, Origin
from interlock.model.model import Delay, Model
from interlock.model.timing import Timing
from tests.second_opinion.delays_drawn import compare_delayed, walk_delayed
from tests.support.gate import gate

WALKED, JUDGED = range(30), range(100, 108)
MOST_STATES = 300
WANTED = {
    "models walked": 30,
    "models walked in which something is late": 10,
    "models walked in which something takes effect": 15,
    "models walked in which something lags behind": 6,
    "models walked with an output that freezes": 5,
    "models": 8,
    "models with a late signal": 3,
    "models with a delayed output": 3,
    "violated with delays only": 1,
    "kept": 25,
    "violated": 25,
    "verdicts by reference": 60,
    "verdicts by enumerate": 20,
    "verdicts by symbolic": 20,
    "lengths by reference": 30,
}


def test_models_with_delays_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found: list[object] = []
    for seed in WALKED:
        found += walk_delayed(seed, tmp_path / str(seed), counts)
    for seed in JUDGED:
        others = {0: ["enumerate"], 1: ["symbolic"]}.get(seed % 3, [])
        engines = ["reference", *others]
        folder = tmp_path / str(seed)
        found += compare_delayed(seed, folder, counts, MOST_STATES, engines, seed == 100)
    assert not found, "\n".join(map(str, found))
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)


Course = list[tuple[Fraction, int]]
"""What something is from which instant on, in true time."""
UNITS_MS, DELAYS_MS = (70, 100, 250), (40, 100, 260, 500)


def _changes(by: random.Random, most_apart: int) -> Course:
    """A value that comes and goes, from FALSE at 0 on."""
    course, at = [(Fraction(0), 0)], Fraction(0)
    for number in range(12):
        at += Fraction(by.randint(0, most_apart * 10), 10)
        course.append((at, 1 - number % 2))
    return course


def _piped(course: Course, delay: int, by: random.Random) -> Course:
    """Each change passed on after a time of its own, none before an earlier one."""
    found: Course = []
    for at, value in course:
        passed = at + Fraction(by.choice([0, delay * 10, by.randint(0, delay * 10)]), 10)
        found.append((max(passed, found[-1][0]) if found else at, value))
    return found


def _filtered(course: Course, delay: int, by: random.Random) -> Course:
    """What has stood still for a time, which is another one each time."""
    found = course[:1]
    ends = [at for at, _ in course[1:]] + [course[-1][0] + delay]
    for (at, value), until in zip(course, ends, strict=True):
        settled = at + Fraction(by.randint(0, delay * 10), 10)
        if value != found[-1][1] and settled <= until:
            found.append((settled, value))
    return found


def _delayed(model: Model, unit: int, delay: int) -> Model:
    given = Delay(delay, None, assumed=True, in_time=True)
    sensors = {n: replace(s, delay=given) for n, s in model.sensors.items()}
    outputs = {n: replace(o, delay=given) for n, o in model.outputs.items()}
    return replace(model, timing=Timing(unit, 100, 100), sensors=sensors, outputs=outputs)


@pytest.mark.parametrize("passed_on", [_piped, _filtered])
def test_what_delays_an_output_can_do_all_that_it_does(
    passed_on: Callable[[Course, int, random.Random], Course], tmp_path: Path
) -> None:
    counts, model = Counter[str](), gate(tmp_path)
    for seed in range(150):
        by = random.Random(f"{passed_on.__name__} {seed}")
        unit, delay = by.choice(UNITS_MS), by.choice(DELAYS_MS)
        orders = _changes(by, by.choice([30, 150, 600]))
        shown = passed_on(orders, delay, by)
        gives = {"drive": 0, "lamp": 0}
        effects = Effects(_delayed(model, unit, delay), lambda gives=gives: gives)
        # At one instant an order comes before what is felt of it.
        both = [(at, 0, v) for at, v in orders] + [(at, 1, v) for at, v in shown]
        now = 0
        for at, is_shown, value in sorted(both, key=lambda one: one[:2]):
            while now < at // unit:
                assert not effects.due(), (seed, at)
                effects.pass_time()
                now += 1
            if not is_shown:
                gives["drive"] = value
                effects.note()
            elif effects.now["drive"].shows != value:
                event = Event.EFFECT if value == gives["drive"] else Event.LAG
                assert not effects.why_not(Origin(event, "drive")), (seed, at)
                effects.make(Origin(event, "drive"))
                counts[event.value] += 1
    assert min(counts["takes effect"], counts["lags behind"] or passed_on is _filtered) > 0, counts


def _late_reads(model: Model, seeds: range) -> int:
    """How many reads of older values the judge allows that ways of coming late do make."""
    n_late = 0
    for seed in seeds:
        by = random.Random(f"signals {seed}")
        unit, delay = by.choice(UNITS_MS), by.choice(DELAYS_MS)
        given = _changes(by, by.choice([30, 150, 600]))
        passed_on = by.choice([_piped, _filtered])(given, delay, by)
        gives = {"shut": 0, "pressed": 0}
        late = Lateness(_delayed(model, unit, delay), lambda gives=gives: gives)
        reads = [(Fraction(by.randint(0, 20_000), 10), 1, 0) for _ in range(20)]
        now = 0
        for at, is_read, value in sorted([(at, 0, v) for at, v in given] + reads):
            while now < at // unit:
                late.pass_time()
                now += 1
            if not is_read:
                gives["shut"] = value
                late.note()
                continue
            # By a wire or a filter, or as a message that was sent at any instant of the delay.
            course, instant = (passed_on, at) if seed % 2 else (given, at - by.randint(0, delay))
            (*_, seen) = (v for begun, v in course if begun <= max(instant, Fraction(0)))
            if seen != gives["shut"]:
                n_late += 1
                assert not late.why_not("shut"), (seed, at)
            late.begin_anew("scan", gives)
    return n_late


def test_what_delays_a_signal_can_do_all_that_it_does(tmp_path: Path) -> None:
    assert _late_reads(gate(tmp_path), range(200)) > 100


def test_a_judge_for_whom_nothing_is_overtaken_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = Lateness.begin_anew

    def begin_anew(self: Lateness, scan: str, signals: Mapping[str, int]) -> None:
        """As it is, but of a signal that a scan has read as it is nothing older can come."""
        late = self.now.late
        made(self, scan, signals)
        since = {
            name: given if name in late else (frozenset([signals[name]]),) * len(given)
            for name, given in self.now.since.items()
        }
        self.now = replace(self.now, since=since)

    monkeypatch.setattr(Lateness, "begin_anew", begin_anew)
    # The even seeds are those of messages, each sent at any instant of the delay.
    with pytest.raises(AssertionError):
        _late_reads(gate(tmp_path), range(0, 200, 2))
