"""Signals over a slow bus: a scan reads any of a signal's last values, each signal on its own.

What is said of ages here follows from counting: with an age of n scans, the scan reads a value that
the sensor gave at the n-th scan before it or later. So what changed behind a scan is surely seen by
the (n + 1)-th scan from there, and may be missed by the n-th.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.support.gate import written
from tests.support.models import MODELS

ENGINES = sorted(catalogue())
HOLDS, VIOLATED = Outcome.HOLDS, Outcome.VIOLATED


def outcomes(folder: Path, yaml: str, st: str, engine: str, survives: bool = False) -> list[str]:
    """The requirements that are violated."""
    model = load(written(folder, yaml, st))
    judge = verify_claims if survives else verify
    found = judge(model, catalogue()[engine]()).findings
    assert all(finding.outcome in (HOLDS, VIOLATED) for finding in found)
    return [f.requirement.id for f in found if f.outcome is VIOLATED]


GATE = """\
title: Gate over a bus
controller: controller.st
RUN
plant:
  gate:
    states: [SHUT, OPEN]
    by: operator
    moves: [{from: SHUT, to: OPEN}, {from: OPEN, to: SHUT}]
sensors: {shut: {reads: gate = SHUT, AGE}}
requirements:
"""
LAMP = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := shut;
END_PROGRAM
"""


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_a_change_is_seen_by_the_scan_after_its_age_and_may_be_missed_till_then(
    tmp_path: Path, engine: str, n: int
) -> None:
    age = f"age: {n} scan{'s'[: n != 1]}" if n else ""
    yaml = GATE.replace("AGE", age).replace("RUN", "") + "".join(
        f"  R{k}: {{says: R{k}, whenever: gate = OPEN, leads_to: NOT lamp OR gate = SHUT,"
        f" within: {k} scans}}\n"
        for k in range(1, 5)
    )
    # In the end it is seen in any case.
    yaml += "  R: {says: R, whenever: gate = OPEN, leads_to: NOT lamp OR gate = SHUT}\n"
    found = outcomes(tmp_path, yaml, LAMP, engine)
    assert found == [f"R{k}" for k in range(1, 5) if k <= n]


PAIR = """\
title: A pair over a bus
controller: controller.st
plant:
  gate:
    states: [SHUT, OPEN]
    by: operator
    moves: [{from: SHUT, to: OPEN}, {from: OPEN, to: SHUT}]
sensors:
  shut: {reads: gate = SHUT, pair: open}
  open: {reads: gate = OPEN, pair: shut}
BUSES
requirements:
  PICTURE: {says: the two never agree in the program, never: agree}
  SIGNALS: {says: nor do the signals themselves, never: shut = open, about: signals}
  LATER: {says: that they agree can still be, can_still: agree}
"""
AGREE = """\
PROGRAM P
VAR_INPUT shut, open : BOOL; END_VAR
VAR_OUTPUT agree, over : BOOL; END_VAR
agree := shut = open;
over := 10 / (SEL(shut, 0, 1) + SEL(open, 0, 1)) > 7;
END_PROGRAM
"""


@pytest.mark.parametrize("engine", ENGINES)
def test_a_pair_may_show_a_picture_that_never_was_and_nothing_counts_on_it(
    tmp_path: Path, engine: str
) -> None:
    bus = "buses: {slow: {age: 1 scan, sensors: [shut, open]}}"
    without = outcomes(tmp_path / "a", PAIR.replace("BUSES", ""), AGREE, engine)
    late = outcomes(tmp_path / "b", PAIR.replace("BUSES", bus), AGREE, engine)
    assert without == ["LATER"]
    # Arithmetic is done with what is read: neither was seen, and the divisor is 0.
    assert late == ["PICTURE", "LATER", "ARITHMETIC"]


@pytest.mark.parametrize("engine", ENGINES)
def test_what_never_was_is_never_read(tmp_path: Path, engine: str) -> None:
    """Not before the first scan either, nor after a restart."""
    yaml = """\
title: A gate that stays
controller: controller.st
plant: {gate: {states: [SHUT, OPEN], moves: [{from: SHUT, to: OPEN, when: lamp}]}}
sensors: {shut: {reads: gate = SHUT, age: 3 scans}}
faults: {F1: {says: restart, restart: true, intermittent: false}}
requirements: {R: {says: it stays, never: lamp, survives: 1}}
"""
    away = LAMP.replace("lamp := shut", "lamp := NOT shut")
    assert outcomes(tmp_path, yaml, away, engine, survives=True) == []


@pytest.mark.parametrize("engine", ENGINES)
def test_what_came_and_went_between_two_scans_may_be_read(tmp_path: Path, engine: str) -> None:
    yaml = """\
title: Past a switch
controller: controller.st
run: {between_scans: any number}
plant:
  car:
    states: [BEFORE, AT, BEHIND]
    by: driver
    moves: [{from: BEFORE, to: AT}, {from: AT, to: BEHIND}]
sensors:
  before: {reads: car = BEFORE}
  at: {reads: car = AT, AGE}
  behind: {reads: car = BEHIND}
requirements: {R: {says: it is not seen at the switch, never: lamp}}
"""
    # The scan before saw it before the switch, this one sees it behind and at the switch.
    st = """\
PROGRAM P
VAR_INPUT before, at, behind : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR was_before : BOOL; END_VAR
lamp := lamp OR (was_before AND at AND behind);
was_before := before;
END_PROGRAM
"""
    assert outcomes(tmp_path / "a", yaml.replace(", AGE", ""), st, engine) == []
    assert outcomes(tmp_path / "b", yaml.replace("AGE", "age: 1 scan"), st, engine) == ["R"]


@pytest.mark.parametrize("engine", ENGINES)
def test_what_a_scan_changes_may_be_missed_by_the_next(tmp_path: Path, engine: str) -> None:
    """A contactor's mirror contact is what it was while the scan read it that switched it."""
    yaml = """\
title: A mirror contact
controller: controller.st
controls: {start: {}}
plant: {}
sensors: {wanted: {reads: start}, mirror: {reads: drive, AGE}}
requirements: {R: {says: it follows, never: fails}}
"""
    st = """\
PROGRAM P
VAR_INPUT wanted, mirror : BOOL; END_VAR
VAR_OUTPUT drive, fails : BOOL; END_VAR
fails := fails OR (drive <> mirror);
drive := wanted;
END_PROGRAM
"""
    assert outcomes(tmp_path / "a", yaml.replace(", AGE", ""), st, engine) == []
    assert outcomes(tmp_path / "b", yaml.replace("AGE", "age: 1 scan"), st, engine) == ["R"]


STUCK = """\
title: A switch that fails
controller: controller.st
plant: {gate: {states: [SHUT, OPEN], moves: [{from: SHUT, to: OPEN, when: lamp}]}}
sensors: {shut: {reads: gate = SHUT, AGE}}
faults: {F1: {says: wire breaks, sensor: shut, stuck: 'FALSE'}}
requirements: {R: {says: it does not come back, never: lamp, survives: 1}}
"""
CAME_BACK = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR gone : BOOL; END_VAR
lamp := lamp OR (gone AND shut);
gone := gone OR NOT shut;
END_PROGRAM
"""


@pytest.mark.parametrize("engine", ENGINES)
def test_what_a_switch_gave_before_its_fault_may_be_read_after_it(
    tmp_path: Path, engine: str
) -> None:
    """The bus lies behind the fault, and what comes over it need not come in order."""
    for age, violated in ((", AGE", []), ("age: 1 scan", []), ("age: 2 scans", ["R"])):
        yaml = STUCK.replace("AGE" if age[0] == "a" else ", AGE", age if age[0] == "a" else "")
        folder = tmp_path / age[-7:].strip(" ,")
        assert outcomes(folder, yaml, CAME_BACK, engine, survives=True) == violated


DOOR = MODELS / "door-over-bus"


@pytest.mark.parametrize("age", [0, 1, 2])
def test_a_door_over_a_bus_takes_a_scan_more_and_a_pair_as_many_scans_as_its_age(
    tmp_path: Path, age: int
) -> None:
    bus = "buses:\n  field_bus: {age: 2 scans, sensors: [door_shut, door_open]}\n"
    given = bus.replace("2 scans", f"{age} scan{'s'[: age != 1]}") if age else ""
    yaml = (DOOR / "model.yaml").read_text(encoding="utf-8").replace(bus, given)
    yaml = yaml.replace(", survives: 1", "")
    st = (DOOR / "controller.st").read_text(encoding="utf-8")
    for longer, violated in ((0, []), (-1, ["R1", "R2"])):
        n = age + 1 + longer
        if n:
            timed = yaml.replace("within: 300 ms", f"within: {100 * n} ms")
            patient = st.replace("patience : INT := 3", f"patience : INT := {n}")
            folder = tmp_path / str(n)
            assert outcomes(folder, timed, patient, "enumerate") == violated


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("age: 1 scan", "age: 17 scans", 8, "'17 scans' is no age; write '1 scan' to '16 scans'"),
        ("age: 1 scan", "age: 0 scans", 8, "'0 scans' is no age"),
        ("age: 1 scan", "age: 200 ms", 8, "'200 ms' is no age"),
        ("[a]", "[a, lvel]", 11, "'lvel' is not a sensor; did you mean 'level'?"),
        ("[a]", "[a, level]", 11, "'level' is of type INT (0..3); only a BOOL can have an age"),
        ("[a]", "[a, b]", 11, "'b' has an age already"),
        ("[a]", "[a, free]", 11, "'free' reads nothing, so it has any value anyway"),
        ("age: 2 scans", "age: 2", 11, "'2' is no age"),
    ],
)
def test_what_cannot_have_an_age_is_refused_once_at_its_place(
    tmp_path: Path, old: str, new: str, line: int, said: str
) -> None:
    yaml = """\
title: Ages
controller: controller.st
plant: {}
controls: {c: {}}
sensors:
  a: {reads: c}
  level: {reads: 'SEL(c, 1, 2)'}
  b: {reads: c, age: 1 scan}
  free: {says: not wired yet}
buses:
  slow: {age: 2 scans, sensors: [a]}
requirements: {R: {says: R, never: lamp}}
"""
    st = """\
PROGRAM P
VAR_INPUT a, b, free : BOOL; level : INT (0..3); END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := a AND b AND free AND level = 3;
END_PROGRAM
"""
    assert yaml.count(old) == 1
    load(written(tmp_path / "right", yaml, st))
    with pytest.raises(InputError) as error:
        load(written(tmp_path / "wrong", yaml.replace(old, new), st))
    (mistake,) = error.value.mistakes
    assert (mistake.place.line, said in str(mistake)) == (line, True), str(mistake)
