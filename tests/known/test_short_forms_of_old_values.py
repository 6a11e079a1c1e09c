"""Filters and messages with validity are short for late signals: held to what they stand for."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.compare.files import model_differences
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.model.reaction import ReactionTimes
from tests.known.test_old_values import GATE, LAMP, outcomes
from tests.support.engines import ENGINES
from tests.support.gate import written

DOOR = """\
title: A door over a bus
controller: controller.st
run: {scan_ms: 100}
plant:
  door:
    states: [shut, open]
    by: operator
    moves: [{from: shut, to: open}, {from: open, to: shut}]
sensors:
  closed: {reads: door = shut}
  opened: {reads: door = open}
VALID
BUSES
FAULTS
requirements:
  R1: {says: no drive with it open, when: door = open, always: NOT drive, judged: after scan,
       survives: 1}
  R2: {says: it stops, whenever: door = open, leads_to: NOT drive OR door = shut, survives: 1}
"""
DRIVE = """\
PROGRAM P
VAR_INPUT closed, opened, heard : BOOL; END_VAR
VAR_OUTPUT drive : BOOL; END_VAR
drive := closed AND NOT opened AND heard;
END_PROGRAM
"""
LONG = {
    "VALID": "  heard: {says: what comes by link is valid, reads: NOT silent}",
    "BUSES": "buses: {link: {age: 2 scans, sensors: [closed, opened, heard]}}",
    "FAULTS": "faults:\n  silent: {says: nothing comes by link any more, intermittent: true,"
    " sensors: {closed: frozen, opened: frozen}}",
}
SHORT = {
    "VALID": "",
    "BUSES": "buses: {link: {age: 2 scans, sensors: [closed, opened], lost: silent, valid: heard}}",
    "FAULTS": "",
}


def door(folder: Path, parts: dict[str, str], *changes: tuple[str, str]) -> Path:
    yaml = DOOR
    for name, text in parts.items():
        yaml = yaml.replace(f"{name}\n", f"{text}\n" if text else "")
    for old, new in changes:
        assert yaml.count(old) == 1, old
        yaml = yaml.replace(old, new)
    return written(folder, yaml, DRIVE)


def assert_same(one: Model, other: Model, *faults: str) -> None:
    """Both are one system, with what else verdicts and comparisons go by."""
    struck = RunClass(frozenset(faults))
    a, b = build(one, struck), build(other, struck)
    assert (a.system, a.requirements, a.read) == (b.system, b.requirements, b.read)
    assert not model_differences(one, other)


def test_a_bus_with_lost_messages_is_what_it_is_short_for(tmp_path: Path) -> None:
    short, long = load(door(tmp_path / "s", SHORT)), load(door(tmp_path / "l", LONG))
    assert_same(short, long, "silent")
    assert [(s.name, s.age) for s in short.late_sensors] == [
        ("closed", 2),
        ("opened", 2),
        ("heard", 2),
    ]


@pytest.mark.parametrize(
    ("short", "long"),
    [
        # What the fault says of itself stays, and nothing is added to it but what freezes.
        (
            [("BUSES", "lost: silent"), ("FAULTS", "faults: {silent: {says: cut, rate: 1.0e-6,"
              " assumed: true, outputs: {drive: 'FALSE'}}}")],
            [("FAULTS", "faults: {silent: {says: cut, rate: 1.0e-6, assumed: true, outputs:"
              " {drive: 'FALSE'}, sensors: {closed: frozen, opened: frozen}}}")],
        ),
        # A flag of its own age: that of a watchdog that waits longer.
        (
            [("VALID", "  heard: {says: it is heard, age: 5 scans}")],
            [("VALID", "  heard: {says: it is heard, reads: NOT silent, age: 5 scans}"),
             ("BUSES", LONG["BUSES"].replace(", heard", ""))],
        ),
    ],
)  # fmt: skip
def test_fault_and_flag_may_say_more_of_themselves(
    tmp_path: Path, short: list[tuple[str, str]], long: list[tuple[str, str]]
) -> None:
    given = dict(SHORT, **{k: v for k, v in short if k != "BUSES"})
    assert_same(
        load(door(tmp_path / "s", given)),
        load(door(tmp_path / "l", {**LONG, **dict(long)})),
        "silent",
    )


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("parts", [SHORT, LONG], ids=["short", "long"])
def test_while_nothing_comes_the_program_reads_the_last_value_and_the_flag_tells_of_it(
    tmp_path: Path, engine: str, parts: dict[str, str]
) -> None:
    heeded = door(tmp_path / "a", parts)
    deaf = DRIVE.replace(" AND heard", "").replace("opened, heard", "opened")
    yaml = (heeded / "model.yaml").read_text(encoding="utf-8")
    assert outcomes(tmp_path / "b", yaml, DRIVE, engine, survives=True) == ["R1"]
    # A program that does not heed the flag drives with the door open for ever.
    deaf = DRIVE.replace(" AND heard", " AND (heard OR TRUE)")
    assert outcomes(tmp_path / "c", yaml, deaf, engine, survives=True) == ["R1", "R2"]


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("lost: silent, ", "", 12, "'valid' needs 'lost': the fault of which it tells"),
        ("valid: heard", "valid: closed", 12, "'closed' reads something else already"),
        ("valid: heard", "valid: hoard", 12, "'hoard' is not a VAR_INPUT of the program; did"),
        ("lost: silent", "lost: door", 12, "'door'"),
        ("sensors: [closed, opened]", "sensors: [closed, shut]", 12, "'shut' is not a sensor"),
        (
            "requirements:",
            "faults: {silent: {says: cut, sensors: {closed: 'TRUE'}}}\nrequirements:",
            12,
            "'silent' says already how 'closed' is stuck",
        ),
    ],
)
def test_what_is_wrong_with_a_bus_is_told_at_the_bus(
    tmp_path: Path, old: str, new: str, line: int, said: str
) -> None:
    with pytest.raises(InputError) as error:
        load(door(tmp_path / "wrong", SHORT, (old, new)))
    found = [(m.place.line, m.says) for m in error.value.mistakes]
    assert any(line == at and said in says for at, says in found), found


FILTER = GATE.replace("RUN", "run: {scan_ms: 100}")
# What stands in the scans that it takes to be believed, written out.
STANDING = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR believed : BOOL := TRUE; stood : INT (0..9); END_VAR
IF shut = believed THEN stood := 0; ELSE stood := stood + 1; END_IF;
IF stood > SCANS THEN believed := shut; stood := 0; END_IF;
lamp := believed;
END_PROGRAM
"""
BOUNDS = "".join(
    f"  R{k}: {{says: R{k}, whenever: gate = OPEN, leads_to: NOT lamp OR gate = SHUT,"
    f" within: {k} scans}}\n"
    for k in range(1, 5)
)
IN_THE_END = "  E: {says: seen, whenever: gate = OPEN, leads_to: NOT lamp OR gate = SHUT}\n"
NEVER = """\
  MISSED: {says: none passes by, event: gate = OPEN, only_after: NOT lamp}
  FLICKER: {says: FLICKER, never: gate = SHUT AND NOT lamp, judged: after scan}
  PROMPT: {says: it is never seen at once, never: gate = OPEN AND NOT lamp, judged: after scan}
"""


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize(("ms", "n"), [("100", 1), ("250", 3)])
def test_a_filter_lets_happen_what_happens_where_a_change_must_stand_so_long(
    tmp_path: Path, engine: str, ms: str, n: int
) -> None:
    """A filter that surely delays is one of the ways in which a value may be old."""
    delay = f"delay_ms: {ms}, delay_assumed: true"
    yaml = FILTER + BOUNDS + IN_THE_END + NEVER
    filtered = yaml.replace("AGE", f"{delay}, age: delay")
    aged = yaml.replace("AGE", f"age: {n} scan{'s'[: n != 1]}")
    sure = yaml.replace(", AGE", "")
    by_delay = outcomes(tmp_path / "a", filtered, LAMP, engine)
    # Its whole scans are those of the age, and of the program that counts them.
    assert by_delay == outcomes(tmp_path / "b", aged, LAMP, engine)
    by_program = outcomes(tmp_path / "c", sure, STANDING.replace("SCANS", str(n)), engine)
    assert set(by_program) <= set(by_delay)
    assert [id_ for id_ in by_program if id_[0] == "R"] == [f"R{k}" for k in range(1, n + 1)]
    # The weaker reading lets it be prompt as well: then the never-at-once falls, and only there.
    assert "PROMPT" in by_delay


def test_a_filter_in_scans_is_not_added_to_a_reaction_time_again(tmp_path: Path) -> None:
    delay = "delay_ms: 150, delay_assumed: true"
    yaml = FILTER + BOUNDS
    totals = {}
    for name, age in (("added", delay), ("counted", f"{delay}, age: delay")):
        model = load(written(tmp_path / name, yaml.replace("AGE", age), LAMP))
        # The most scans that it takes: one, and two more of the filter.
        found = ReactionTimes(model).after("R4", 1 if name == "added" else 3)
        assert found is not None
        totals[name] = (found.filter.ms, found.scan_ms, found.program_ms, found.total_ms)
    assert totals == {"added": (150, 100, 100, 350), "counted": (0, 100, 300, 400)}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("age: delay", "the age of 'shut' is that of its delay, and it has none; give its 'delay_"),
        ("delay_ms: 0, delay_assumed: true, age: delay", "and it has none"),
        ("delay_ms: 1601, delay_assumed: true, age: delay", "is 17 scans of 100 ms"),
        ("delay_ms: 20, age: delay", "a delay needs its 'delay_source'"),
    ],
)
def test_an_age_needs_a_delay_that_it_can_have(tmp_path: Path, given: str, said: str) -> None:
    with pytest.raises(InputError, match=r"model\.yaml:9:") as error:
        load(written(tmp_path / "wrong", FILTER.replace("AGE", given) + BOUNDS, LAMP))
    assert said in str(error.value)


@pytest.mark.parametrize(("ms", "n"), [("0.1", 1), ("100", 1), ("100.1", 2), ("1600", 16)])
def test_a_delay_is_as_many_scans_as_it_may_last(tmp_path: Path, ms: str, n: int) -> None:
    age = f"delay_ms: {ms}, delay_assumed: true, age: delay"
    (late,) = load(written(tmp_path, FILTER.replace("AGE", age) + BOUNDS, LAMP)).late_sensors
    assert late.age == n


def test_the_period_of_the_scan_must_be_given_and_time_has_its_own(tmp_path: Path) -> None:
    yaml = FILTER.replace("AGE", "delay_ms: 150, delay_assumed: true, age: delay") + IN_THE_END
    with pytest.raises(InputError, match="needs the period of the scan: give 'scan_ms'"):
        load(written(tmp_path / "none", yaml.replace("run: {scan_ms: 100}\n", ""), LAMP))
    # With time the shortest time from scan to scan counts: three of 60 ms.
    timed = yaml.replace("scan_ms: 100", "time: {unit: 20 ms, scan: [60 ms, 100 ms]}")
    (late,) = load(written(tmp_path / "timed", timed, LAMP)).late_sensors
    assert (late.name, late.age) == ("shut", 3)


def test_results_name_what_a_late_signal_comes_by(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def told(folder: Path) -> str:
        run(["verify", str(folder), "--plain", "--faults", "none"])
        return " ".join(capsys.readouterr().out.split())

    said = told(door(tmp_path / "bus", SHORT))
    assert "closed, opened, heard up to 2 scans by link" in said
    assert "where the fault silent strikes, closed, opened freeze and heard tells of it" in said
    age = "delay_ms: 150, delay_assumed: true, age: delay"
    said = told(written(tmp_path / "filter", FILTER.replace("AGE", age) + BOUNDS, LAMP))
    assert "shut up to 2 scans by its delay of 150 ms" in said
    assert (
        "filters have settled before the first scan, and that something can happen is told for "
        "values that come at once"
    ) in said


def test_it_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain", "lost"]) == 0
    assert "age: delay" in capsys.readouterr().out
