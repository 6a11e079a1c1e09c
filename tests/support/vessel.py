"""A vessel whose pressure rises and falls, and the same in true time, in plain Python."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

YAML = """\
title: A vessel
controller: controller.st
run: {scan_ms: 100, between_scans: any number, time: {unit: 100 ms}}
quantities:
  pressure:
    says: the pressure
    unit: bar
    from: 0
    to: 20
    changes:
      - {when: pump, per_s: [1, 2], assumed: true}
      - {when: drain, per_s: [-4, -2], assumed: true}
controls:
  pump: {says: the pump}
  drain: {says: the drain}
sensors:
  pumps: {reads: pump}
requirements:
  R1: {says: it may be anything, always: lamp OR NOT lamp}
"""
ST = """\
PROGRAM Vessel
VAR_INPUT pumps : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := pumps;
END_PROGRAM
"""


def vessel_folder(folder: Path, *changes: tuple[str, str]) -> Path:
    """The vessel with texts of its two files replaced."""
    yaml, st = YAML, ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return written(folder, yaml, st)


def vessel(folder: Path, *changes: tuple[str, str]) -> Model:
    """As `vessel_folder`, read."""
    return load(vessel_folder(folder, *changes))


@dataclass(frozen=True)
class Course:
    """What is done in true time, and how fast the pressure then changes.

    Attributes
    ----------
    lo, hi, first : Fraction
        Its range and where it is at first.
    rates : tuple of (Fraction, Fraction)
        While the pump is on, while only the drain is open, and otherwise.
    stretches : tuple of (Fraction, bool, bool, Fraction)
        For so many seconds, the pump on or not, the drain open or not, and where between least and
        greatest the rate is: 0 to 1.
    """

    lo: Fraction
    hi: Fraction
    first: Fraction
    rates: tuple[tuple[Fraction, Fraction], ...]
    stretches: tuple[tuple[Fraction, bool, bool, Fraction], ...]


@dataclass(frozen=True)
class Event:
    """Something that happens in true time, in seconds.

    `passes` is the number that the pressure passes, upward where `is_up`; else `sets` is what is
    set, as ``pump to TRUE``.
    """

    at: Fraction
    sets: str = ""
    passes: Fraction = Fraction(0)
    is_up: bool = False


def events(course: Course, edges: Sequence[Fraction]) -> Iterator[Event]:
    """All that happens on a course: the pressure is reckoned with as one number, nothing else."""
    at, pressure = Fraction(0), course.first
    switched = {"pump": False, "drain": False}
    leaves = True  # it stands, and has not set out from there
    came_up = True  # to an edge, where it is at one
    for seconds, pump, drain, share in course.stretches:
        for name, on in (("pump", pump), ("drain", drain)):
            if switched[name] is not on:
                yield Event(at, sets=f"{name} to {'TRUE' if on else 'FALSE'}")
                switched[name] = on
        least, greatest = course.rates[0 if pump else 1 if drain else 2]
        rate = least + share * (greatest - least)
        target = min(max(pressure + rate * seconds, course.lo), course.hi)
        at_an_end = pressure in (course.lo, course.hi)
        if target != pressure and (at_an_end or leaves):
            yield Event(at, passes=pressure, is_up=rate > 0)
        elif target != pressure and pressure in edges and came_up is (rate < 0):
            # It came to an edge, counted as behind it, and turns round there.
            yield Event(at, passes=pressure, is_up=rate > 0)
        leaves = leaves and target == pressure
        between = (
            [e for e in sorted(edges) if pressure < e <= target]
            if rate > 0
            else [e for e in sorted(edges, reverse=True) if target <= e < pressure]
        )
        for edge in between:
            yield Event(at + (edge - pressure) / rate, passes=edge, is_up=rate > 0)
        came_up = rate > 0 if target != pressure else came_up
        pressure, at = target, at + seconds


def in_ticks(events: Sequence[Event], unit: Fraction, share: Fraction) -> list[tuple[int, Event]]:
    """The events in whole units of time: rounded down up to this share of a unit, else up.

    Whatever the share, rounding so keeps the order, and every bound that is a whole number of units
    (Henzinger, Manna, Pnueli, "What good are digital clocks?", ICALP 1992).
    """
    found = []
    for event in events:
        whole, rest = divmod(event.at / unit, 1)
        found.append((int(whole) + (rest > share), event))
    return found


def settings(course: Course, unit_ms: int, edges: Sequence[Fraction]) -> Mapping[str, Any]:
    """What of the vessel's files is to be replaced for a course."""
    pump, drain, still = ([str(float(n)) for n in pair] for pair in course.rates)
    return {
        "scan_ms: 100": f"scan_ms: {unit_ms}",
        "unit: 100 ms": f"unit: {unit_ms} ms",
        "from: 0": f"from: {float(course.lo)}",
        "to: 20\n": f"to: {float(course.hi)}\n    initial: {float(course.first)}\n"
        f"    steps: [{', '.join(str(float(e)) for e in edges)}]\n",
        "per_s: [1, 2]": f"per_s: [{', '.join(pump)}]",
        "per_s: [-4, -2], assumed: true}\n": f"per_s: [{', '.join(drain)}], assumed: true}}\n"
        f"      - {{per_s: [{', '.join(still)}], assumed: true}}\n",
    }
