"""The exact unit divides every time that is counted, and is refused where something is rounded."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interlock.base.errors import InputError, InternalError
from interlock.engines import catalogue
from interlock.judgement.margin import margin_of
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import build
from interlock.model.clocks import periods_of
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.counted_times import TIMES, hoist
from tests.support.gate import written
from tests.support.timed_gate import timed_gate
from tests.support.vessel import vessel

MODELS = Path(__file__).parents[3] / "models"
SCHEMA = Path(__file__).parents[3] / "interlock" / "model" / "model.schema.json"


def unit_ms(model: Model) -> int:
    assert model.timing is not None
    return model.timing.unit_ms


def test_the_unit_divides_all_times(tmp_path: Path) -> None:
    model = hoist(tmp_path, "exact")
    assert unit_ms(model) == 600
    build(model)  # Whoever rounds looks whether there is anything to be rounded.


# 700 and 600 are whole hundreds, and a time that is not seen would leave the unit at 600. The other
# end of a span must not be passed.
@pytest.mark.parametrize("kind", TIMES)
def test_each_kind_of_time_counts(kind: str, tmp_path: Path) -> None:
    ms = 500 if kind.startswith("least") else 700
    model = hoist(tmp_path, "exact", {kind: ms})
    assert unit_ms(model) == 100
    build(model)


# What the schema has of times, each with the kinds above that stand for it, or why there are none.
KINDS = {
    ("MoveShape", "seconds"): "move",
    ("RunShape", "scan_ms"): "its own test",
    ("TimeShape", "unit"): "the unit",
    ("TimeShape", "scan"): "from scan to scan",
    ("ControllerShape", "scan_ms"): "its own test",
    ("ControllerShape", "scan"): "its own test",
    ("SensorShape", "delay_ms"): "delay of a signal",
    ("OutputShape", "delay_ms"): "delay of an output",
    ("RateShape", "per_s"): "refused",
    **{("RequirementShape", k): k for k in ("within", "at_least", "at_most", "every", "for")},
}


def times_of_the_schema(node: Any, owner: str = "") -> Iterator[tuple[str, str]]:
    """Every key whose value is a time, by its pattern or by its name."""
    for name, value in node.get("$defs", {}).items():
        yield from times_of_the_schema(value, name)
    for key, value in node.get("properties", {}).items():
        is_named = key.endswith("_ms") or key in ("seconds", "per_s")
        if is_named or re.search(r"\((scans\?\|)?ms\|s\)\$", json.dumps(value)):
            yield owner, key


def test_no_time_of_the_schema_was_forgotten() -> None:
    assert set(times_of_the_schema(json.loads(SCHEMA.read_text()))) == set(KINDS)


@pytest.mark.parametrize(("scan_ms", "expected"), [(100, 100), (70, 10), (300, 100)])
def test_the_period_of_the_scan_counts(scan_ms: int, expected: int, tmp_path: Path) -> None:
    changes = ("unit: 100 ms", "unit: exact"), ("scan_ms: 100", f"scan_ms: {scan_ms}")
    assert unit_ms(timed_gate(tmp_path, *changes)) == expected


SEVERAL = """\
title: Two controllers
controllers:
  one: {{program: one.st, scan_ms: {0}}}
  two: {{program: two.st, scan: [{1} ms, {2} ms]}}
run: {{time: {{unit: exact}}}}
sensors:
  one.given: {{reads: two.is_on}}
  two.given: {{reads: one.is_on}}
terms:
  is_on: one.is_on AND two.is_on
requirements:
  R1: {{says: Both, never: one.is_on}}
"""


@pytest.mark.parametrize(
    ("times", "expected"),
    [((60, 60, 120), 60), ((50, 60, 120), 10), ((60, 40, 120), 20), ((60, 60, 90), 30)],
)
def test_each_of_several_controllers_counts(
    times: tuple[int, int, int], expected: int, tmp_path: Path
) -> None:
    folder = written(tmp_path, SEVERAL.format(*times))
    text = "PROGRAM {0}\nVAR_INPUT given : BOOL; END_VAR\nVAR_OUTPUT is_on : BOOL; END_VAR\n"
    for name in ("one", "two"):
        (folder / f"{name}.st").write_text(text.format(name) + "is_on := given;\nEND_PROGRAM\n")
    assert unit_ms(load(folder)) == expected


def test_what_nothing_counts_does_not_make_it_finer(tmp_path: Path) -> None:
    # What people do is never owed: its greatest time is counted by nobody, as in the hoist. Delays
    # that are added are none of the units either.
    added = hoist(tmp_path, "exact\n    delays: added", {"delay of a signal": 7})
    assert unit_ms(added) == 600
    build(added)


# The gate needs 1.25 s without a break and the watch runs for 1.2 s, so it never shuts. Rounded
# down to tenths of a second it may: who missed the gate's least time would tell that it can.
RACE = """\
title: A gate that is too slow
controller: controller.st
run: {{scan_ms: 100, time: {{unit: {unit}}}}}
plant:
  watch:
    states: [running, over]
    moves:
      - {{from: running, to: over, seconds: [1.2, 1.2], assumed: true}}
      - {{from: over, to: running, seconds: [0.1, 0.1], assumed: true}}
  gate:
    states: [moving, shut]
    moves:
      - {{from: moving, to: shut, when: watch = running, seconds: [1.25, 1.3], assumed: true}}
sensors:
  is_shut: {{reads: gate = shut}}
requirements:
  R1: {{says: It can be shut, can_still: gate = shut}}
"""
RACE_ST = """\
PROGRAM Gate
VAR_INPUT is_shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := is_shut;
END_PROGRAM
"""


def test_what_can_be_done_only_by_rounding_cannot_be_done(tmp_path: Path) -> None:
    outcomes = {}
    for unit in ("100 ms", "50 ms", "exact"):
        model = load(written(tmp_path / unit, RACE.format(unit=unit), RACE_ST))
        outcomes[unit] = verify(model, catalogue()["reference"]()).findings[0].outcome
    assert outcomes["100 ms"] is Outcome.HOLDS
    assert outcomes["50 ms"] is outcomes["exact"] is Outcome.VIOLATED
    assert unit_ms(model) == 50


def test_a_time_that_was_missed_is_a_defect_of_ours(tmp_path: Path) -> None:
    model = hoist(tmp_path, "exact")
    first, *others = model.moves
    assert first.takes is not None
    other = replace(first, takes=replace(first.takes, greatest=0.61))
    with pytest.raises(InternalError, match="610 ms are no whole number of units of 600 ms"):
        periods_of(replace(model, moves=(other, *others)))


def test_the_result_says_that_nothing_is_rounded(tmp_path: Path) -> None:
    timing = hoist(tmp_path, "exact").timing
    said = "unit 600 ms (the greatest common divisor of all durations: nothing is rounded)"
    assert said in str(timing)
    assert "nothing is rounded" not in str(hoist(tmp_path, "600 ms").timing)


@pytest.mark.parametrize("name", ["gas-burner", "fischer", "level-crossing"])
def test_published_models_keep_their_verdicts(name: str, tmp_path: Path) -> None:
    shutil.copytree(MODELS / name, tmp_path / name)
    file = tmp_path / name / "model.yaml"
    text = file.read_text()
    assert "unit: 1 s" in text
    file.write_text(text.replace("unit: 1 s", "unit: exact"))
    told = []
    for folder in (MODELS / name, tmp_path / name):
        model = load(folder)
        found = verify(model, catalogue()["enumerate"]())
        told.append(
            {
                f.requirement.id: (f.outcome, margin_of(model, f.requirement.id, f.verdict))
                for f in found.findings
            }
        )
        assert unit_ms(model) == 1000
    assert told[0] == told[1]


def refusal(folder: Path, times: dict[str, float]) -> str:
    with pytest.raises(InputError) as error:
        hoist(folder, "exact", times)
    return str(error.value).replace(str(folder), "folder")


def test_parts_of_a_millisecond_are_refused(tmp_path: Path) -> None:
    said = refusal(tmp_path, {"delay of a signal": 2.5})
    assert said == (
        "folder/model.yaml:27:39: 'unit: exact' counts whole milliseconds, and 2.5 ms are none; "
        "give a whole number of them, or write a unit such as '10 ms', which rounds outwards"
    )


def test_too_fine_a_unit_is_refused_with_what_makes_it_so(tmp_path: Path) -> None:
    said = refusal(tmp_path, {"TON": 30_000, "within": 601})
    assert said == (
        "folder/model.yaml:5:11: 'exact' comes to units of 1 ms, for 0.601 s at "
        "folder/model.yaml:33:3 alone, and 30 s at folder/controller.st:4:5 are 30,000 of them, "
        "where a clock counts up to 20,000; write a unit such as '2 ms', which rounds outwards and "
        "is sound"
    )


def test_quantities_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a quantity takes way / rate for its way, which no unit"):
        vessel(tmp_path, ("unit: 100 ms", "unit: exact"))


# Of each piece of what goes on a unit more is counted, since nobody knows when between two ticks it
# began and ended. With a finer unit that is less, so in no unit is nothing rounded.
@pytest.mark.parametrize(("least", "is_refused"), [(0.5, True), (0, False)])
def test_what_goes_on_is_refused_where_its_pieces_count(
    least: float, is_refused: bool, tmp_path: Path
) -> None:
    goes_on = f"seconds: [{least}, 0.7], interrupted: goes on"
    changes = ("unit: 100 ms", "unit: exact"), ("seconds: [0.5, 0.7]", goes_on)
    if not is_refused:
        assert unit_ms(timed_gate(tmp_path, *changes)) == 100
        return
    with pytest.raises(InputError, match=r"model.yaml:9:\d+: what goes on counts for up to a unit"):
        timed_gate(tmp_path, *changes)


def test_delays_in_scans_are_refused(tmp_path: Path) -> None:
    aged = "{reads: pump, age: delay, delay_ms: 100, delay_assumed: true}"
    changes = ("pressed: {reads: button}", f"pressed: {aged.replace('pump', 'button')}")
    with pytest.raises(InputError, match="'age: delay' rounds the delay up to whole scans"):
        timed_gate(tmp_path, ("unit: 100 ms", "unit: exact"), changes)


def test_what_is_no_unit_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"write '100 ms', '0\.5 s' or, where nothing is"):
        timed_gate(tmp_path, ("unit: 100 ms", "unit: exactly"))
