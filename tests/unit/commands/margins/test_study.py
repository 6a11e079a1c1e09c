"""Ranges of times on published models, on one that is not monotone, and under limits."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.margins.picture import to_svg
from interlock.commands.margins.quantities import quantities_of
from interlock.commands.margins.study import Margins, Range, margins
from interlock.commands.margins.tell import changes, how_told
from interlock.engines import catalogue
from interlock.kernel.query import (
    DeclinedError,
    Engine,
    Exploration,
    Limits,
    ProgressSink,
    Query,
)
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import System
from interlock.model.load import load
from tests.support.gate import written
from tests.support.models import MODELS
from tests.support.timed_gate import timed_gate, timed_gate_folder

Ends = tuple[float, float | None, float, float | None]


def of(found: Margins) -> dict[str, Ends]:
    """By quantity in seconds: the edge below, what does from and to, the edge above."""

    def at(one: Range, n: int | None, sign: int) -> float | None:
        away = None if n is None else one.quantity.value_ms + sign * n * one.unit_ms
        return None if away is None else float(away / 1000)

    return {
        one.quantity.name: (
            at(one, one.down.n_other, -1), float(one.least_ms) / 1000,
            float(one.greatest_ms) / 1000, at(one, one.up.n_other, 1),
        )
        for one in found.ranges
    }  # type: ignore[return-value]  # fmt: skip


def test_fischer_has_its_edge_between_writing_and_waiting() -> None:
    # Exclusion holds exactly if the wait (3 s) is longer than the greatest write delay (2 s):
    # L. Lamport, ACM TOCS 5(1), 1987, from memory.
    writes = [f"the first writes his name: {which}" for which in ("least", "greatest")]
    drives = "the second drives in: duration"
    model, engine = load(MODELS / "fischer"), catalogue()["enumerate"]()
    found = margins(model, engine, only=["R1"], times=[*writes, drives])
    ranges = of(found)
    assert ranges[drives][:2] == (2.0, 3.0)
    assert ranges[drives][3] is None
    assert ranges[writes[0]] == (None, 0.0, 2.0, None)
    assert ranges[writes[1]][2:] == (2.0, 3.0)
    assert found.outcome is Outcome.HOLDS
    # One unit away both, of 3 s and of 2 s.
    assert [one.quantity.name for one in found.ranges] == [drives, writes[1], writes[0]]


def test_the_crossing_has_the_edges_of_its_rule() -> None:
    # The gate is closed in time exactly if D + G < A; here A is 30 s, D 5 s and G 20 s.
    times = [
        "the train gets to the road: least",
        "from scan to scan: greatest",
        "the gate is down: greatest",
    ]
    model, engine = load(MODELS / "level-crossing"), catalogue()["enumerate"]()
    found = margins(model, engine, only=["R1"], times=times)
    ranges = of(found)
    assert ranges["the train gets to the road: least"] == (25.0, 26.0, 60.0, None)
    assert ranges["from scan to scan: greatest"] == (None, 1.0, 9.0, 10.0)
    assert ranges["the gate is down: greatest"] == (None, 0.0, 24.0, 25.0)
    by_name = {one.quantity.name: one for one in found.ranges}
    edge = by_name["the gate is down: greatest"]
    assert changes(edge.before, edge.up.found or {}) == ["R1 violated"]


def test_a_bound_that_holds_has_its_edge_where_its_margin_says() -> None:
    model = load(MODELS / "level-crossing")
    times = ["R2: within", "R3: within"]
    found = margins(model, catalogue()["enumerate"](), only=["R2"], times=times)
    (bound,) = found.ranges
    assert of(found)["R2: within"][:2] == (24.0, 25.0)
    assert bound.up.n_other is None
    assert how_told(bound) == "margin"


WANTED = "leads_to: gate = shut}"


@pytest.mark.parametrize(
    ("asked", "name", "expected"),
    [
        # Driven, the gate moves 0 to 0.1 s later and is shut 0.5 to 0.7 s after that.
        ("leads_to: gate = shut, within: 1050 ms}", "R2: within", (0.75, 0.85)),
        ("leads_to: gate = shut, within: 500 ms}", "R2: within", (0.7, 0.8)),
        ("leads_to: gate = shut}\n  R3: {says: m, once: gate = moving, at_least: 250 ms}",
         "R3: at least", (0.45, 0.55)),
        ("leads_to: gate = shut}\n  R3: {says: m, once: gate = moving, at_least: 800 ms}",
         "R3: at least", (0.5, 0.6)),
        (WANTED, "timer watchdog: preset time", (0.8, 0.9)),
    ],
)  # fmt: skip
def test_a_value_that_is_no_whole_number_of_units_goes_on_in_units(
    tmp_path: Path, asked: str, name: str, expected: tuple[float, float]
) -> None:
    model = timed_gate(tmp_path, (WANTED, asked))
    found = margins(model, catalogue()["enumerate"](), times=[name])
    ranges = of(found)
    below, least, greatest, above = ranges[name]
    assert expected in ((below, least), (greatest, above))
    if name == "R2: within" and "500" in asked:
        assert found.outcome is Outcome.VIOLATED


# Two that come and go; they are up together only if the second comes 3 or 4 s after the first.
NOT_MONOTONE = """\
title: Up together
controller: controller.st
run: {scan_ms: 1000, time: {unit: 1 s}, between_scans: any number}
plant:
  first:
    states: [before, up, over]
    moves:
      - {from: before, to: up, seconds: [3, 3], assumed: true}
      - {from: up, to: over, seconds: [1, 1], assumed: true}
  second:
    states: [before, up, over]
    moves:
      - {from: before, to: up, seconds: [WAIT, WAIT], assumed: true, says: the second comes}
      - {from: up, to: over, seconds: [0, 0], assumed: true}
sensors:
  first_up: {reads: first = up}
requirements:
  R1: {says: They are not up together, never: first = up AND second = up}
"""
ST = """\
PROGRAM Idle
VAR_INPUT first_up : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := first_up;
END_PROGRAM
"""


def test_a_range_that_is_not_all_there_is_is_told(tmp_path: Path) -> None:
    yaml, name = NOT_MONOTONE, "the second comes: duration"
    model = load(written(tmp_path / "near", yaml.replace("WAIT", "1"), ST))
    found = margins(model, catalogue()["enumerate"](), times=[name])
    (one,) = found.ranges
    # Three to four seconds: each value was tried, and beyond it is as it was.
    assert of(found)["the second comes: duration"] == (None, 0.0, 2.0, 3.0)
    assert one.up.has_more_edges
    assert one.up.is_each_tried
    # From farther away the two values lie between those that are tried: told as an assumption.
    model = load(written(tmp_path / "far", yaml.replace("WAIT", "13"), ST))
    found = margins(model, catalogue()["enumerate"](), times=[name])
    (one,) = found.ranges
    assert of(found)[name] == (None, 0.0, 52.0, None)
    assert {13 - one_of for one_of in (3, 4)}.isdisjoint(one.down.tried)
    assert how_told(one) == "one edge assumed"


@dataclass
class Tiring:
    """Declines from its exploration number `n` on."""

    n: int
    name: str = "tiring"
    n_explored: int = 0
    engine: Engine = field(default_factory=lambda: catalogue()["enumerate"]())

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """As the engine, as long as it is fresh."""
        self.n_explored += 1
        if self.n_explored >= self.n:
            raise DeclinedError("tired")
        return self.engine.explore(system, queries, limits, progress)


SOME = ["timer watchdog: preset time", "from scan to scan: duration"]


def test_what_was_known_before_a_limit_is_told_and_nothing_else(tmp_path: Path) -> None:
    model = timed_gate(tmp_path)
    engine = catalogue()["enumerate"]()
    full = {one.quantity.name: one for one in margins(model, engine, times=SOME).ranges}
    for n in (2, 5, 9):
        found = margins(model, Tiring(n), times=SOME)
        assert found.outcome is Outcome.UNDECIDED
        assert found.limit == "declined, tired"
        for one in found.ranges:
            for side, whole in zip(
                (one.down, one.up),
                (full[one.quantity.name].down, full[one.quantity.name].up),
                strict=True,
            ):
                assert side.n_same <= whole.n_same
                assert side.is_decided <= (side.n_other == whole.n_other)


def test_no_time_at_all_is_undecided_and_a_violation_ends_with_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gate = str(timed_gate_folder(tmp_path / "gate"))
    assert run(["margins", gate, "--max-seconds", "0", "--plain"]) == 3
    assert "limit hit, seconds 0" in capsys.readouterr().out
    bad = timed_gate_folder(tmp_path / "bad", ("leads_to: gate = shut", "leads_to: alarm"))
    scan = ["--time", "from scan to scan: duration"]
    assert run(["margins", str(bad), "--only", "R2", "--engine", "enumerate", *scan]) == 1
    assert run(["margins", str(bad), "--time", "from scan to scan: least"]) == 2
    assert "no time 'from scan to scan: least'" in capsys.readouterr().err


def test_table_data_and_picture_tell_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gate, svg, data = timed_gate_folder(tmp_path / "gate"), tmp_path / "m.svg", tmp_path / "m.json"
    times = [word for name in SOME for word in ("--time", name)]
    outputs = ["--plain", "--svg", str(svg), "--json", str(data)]
    assert run(["margins", str(gate), *times, *outputs]) == 0
    told = capsys.readouterr().out
    found = json.loads(data.read_text("utf-8"))
    watchdog = next(one for one in found["ranges"] if one["of"] == "timer watchdog")
    assert watchdog["below"]["does_up_to_ms"] == 900
    assert watchdog["below"]["edge_ms"] == 800
    assert watchdog["below"]["changes"] == ["R1 violated"]
    assert watchdog["line"] > 0
    assert "at 0.8 s R1 violated" in told
    assert "nearest to an edge: " in told
    drawn = svg.read_text("utf-8")
    assert "at 0.8 s R1 violated" in drawn
    assert drawn.count("<circle") == len(found["ranges"])
    # Each names what it rests on.
    assert found["between_scans"] == str(load(gate).between_scans)
    assert found["time"] == str(load(gate).timing)
    assert load(gate).between_scans.says in drawn
    assert "one edge in each direction is assumed" in drawn
    # The same model gives the same picture.
    again = margins(load(gate), catalogue()["enumerate"](), "claimed", times=SOME)
    assert to_svg(again) == drawn


def test_a_model_without_time_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gate = timed_gate_folder(tmp_path, (", time: {unit: 100 ms}", ""))
    assert run(["margins", str(gate)]) == 2
    assert "'margins' needs a model with time" in capsys.readouterr().err


# A delay that is counted in scans lasts for more of them where they come sooner.
AGED = ("{reads: button}", "{reads: button, age: delay, delay_ms: 300, delay_assumed: true}")


@pytest.mark.parametrize("scan_ms", [20, 50, 100, 150, 300, 400])
def test_with_other_scans_a_delay_in_scans_is_what_the_file_would_say(
    scan_ms: int, tmp_path: Path
) -> None:
    model = timed_gate(tmp_path / "model", AGED, ("unit: 100 ms", "unit: 10 ms"))
    (scans,) = [one for one in quantities_of(model) if one.what == "from scan to scan"]
    other = scans.other(Fraction(scan_ms))
    changes = AGED, ("unit: 100 ms", "unit: 10 ms"), ("scan_ms: 100", f"scan_ms: {scan_ms}")
    written = timed_gate(tmp_path / "other", *changes)
    assert {n: s.age for n, s in other.sensors.items()} == {
        n: s.age for n, s in written.sensors.items()
    }
    # No signal is more than 16 scans late: less than 18.75 ms apart they cannot be written.
    assert scans.value_ms - 10 * scans.n_down == 20


@pytest.mark.parametrize("delay_ms", [10, 100, 250, 1600])
def test_another_delay_in_scans_is_what_the_file_would_say(delay_ms: int, tmp_path: Path) -> None:
    model = timed_gate(tmp_path / "model", AGED)
    (delay,) = [one for one in quantities_of(model) if one.name == "pressed: delay"]
    written = timed_gate(tmp_path / "other", AGED, ("delay_ms: 300", f"delay_ms: {delay_ms}"))
    other = delay.other(Fraction(delay_ms)).sensors["pressed"]
    assert other.delay is not None
    assert (other.age, other.bus) == (
        written.sensors["pressed"].age,
        written.sensors["pressed"].bus,
    )
    assert delay.value_ms + 100 * delay.n_up <= 1600
