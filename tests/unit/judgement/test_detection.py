"""An alarm or a refusal that a machine without any fault shows as well tells nobody of a fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.commands.faults.fmea import rows_of
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.engines import catalogue
from interlock.independent_judge.telling import Telltale
from interlock.judgement.detection import Harm, Telling
from interlock.judgement.harm import with_harm
from interlock.judgement.single_fault import Showing
from interlock.judgement.verify import verify
from interlock.model.build import RunClass
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.guard import GUARD
from tests.support.small_models import write_model

MODEL = (
    """\
title: A drive behind a guard, and a probe that is TRUE unless it is broken
controller: controller.st
plant:
"""
    + GUARD
    + """\
sensors:
  shut: {reads: guard = shut}
  probe: {reads: 'TRUE'}
outputs:
  drive: {says: the drive}
  red: {lamp: red}
  ready: {lamp: green}
requirements:
  R1: {says: It never drives with the guard open, never: drive AND guard = open, judged: after scan}
faults:
  F1: {says: the probe is broken, sensor: probe, stuck: 'FALSE'}
"""
)


def program(
    *shows: str, blocks: str = "", retain: str = "", variables: str = "", open_alone: bool = False
) -> str:
    """What a broken probe leaves in `bad` comes to the drive two scans later.

    With `open_alone` it gets further only in scans that find the guard open.
    """
    further = "worst := worse;\nworse := bad;\n"
    return (
        f"{blocks}PROGRAM P\n"
        "VAR_INPUT shut, probe : BOOL; END_VAR\n"
        "VAR_OUTPUT drive, red, ready : BOOL; END_VAR\n"
        f"VAR {retain} bad, worse, worst : BOOL; END_VAR\n"
        f"VAR started : BOOL; {variables} END_VAR\n"
        "red := FALSE; ready := FALSE;\n"
        + "".join(f"{line};\n" for line in shows)
        + "started := TRUE;\n"
        "drive := worst AND NOT shut;\n"
        + (f"IF NOT shut THEN {further} END_IF;\n" if open_alone else further)
        + "IF NOT probe THEN bad := TRUE; END_IF;\n"
        "END_PROGRAM\n"
    )


def read(folder: Path, model: str, text: str) -> Model:
    return load(write_model(folder / "m", model, text))


def harm_of_r1(model: Model) -> Harm | None:
    run_class = RunClass(tuple(model.faults), 1)
    found = with_harm(verify(model, catalogue()["reference"](), run_class, ["R1"]))
    return next(one.harm for one in found.findings if one.requirement.id == "R1")


BLOCK = """\
FUNCTION_BLOCK Latch
VAR_INPUT set : BOOL; END_VAR
VAR_OUTPUT q : BOOL; END_VAR
IF set THEN q := TRUE; END_IF;
END_FUNCTION_BLOCK
"""

# Each lamp is the same in every state of a machine without a fault, or in all with the guard open;
# only with what the fault has left in the memory would it be otherwise.
NOTHING_TOLD = {
    "an alarm that is always on": program("red := NOT bad OR NOT probe"),
    "an alarm that is on whenever the guard is open": program(
        "red := NOT shut AND (NOT bad OR NOT probe)", open_alone=True
    ),
    "an output that is never on": program("ready := bad AND probe"),
    "an output that is never on with the guard open": program(
        "ready := shut OR bad AND probe", open_alone=True
    ),
    "an alarm by two scans of memory": program("red := NOT worse OR NOT probe"),
    "an alarm by what outlives a restart": program("red := NOT bad OR NOT probe", retain="RETAIN"),
    "an alarm by a block": program(
        "latched(set := bad)",
        "red := NOT latched.q OR NOT probe",
        blocks=BLOCK,
        variables="latched : Latch;",
    ),
    "an alarm that is off in the first scan alone": program(
        "red := started AND (NOT bad OR NOT probe)"
    ),
    "an alarm that is off in the first five scans alone": program(
        "red := n = 5 AND (NOT bad OR NOT probe)",
        "IF n < 5 THEN n := n + 1; END_IF",
        variables="n : INT (0..5);",
    ).replace("IF NOT probe", "IF n = 5 AND NOT probe"),
    "an output that is on in the first scan alone": program(
        "ready := NOT started OR bad AND probe"
    ),
}

TOLD = {
    "an alarm that is off without a fault": program("red := NOT probe"),
    "an alarm that may be off with the guard open": program(
        "red := NOT probe OR NOT shut AND NOT was_open",
        "was_open := NOT shut",
        variables="was_open : BOOL;",
        open_alone=True,
    ),
    "an output that is always on": program("ready := probe"),
    "an output that may be on with the guard open": program(
        "ready := probe AND (shut OR was_open)",
        "was_open := NOT shut",
        variables="was_open : BOOL;",
        open_alone=True,
    ),
}


@pytest.mark.parametrize("text", NOTHING_TOLD.values(), ids=NOTHING_TOLD.keys())
def test_what_is_shown_without_a_fault_as_well_is_no_detection(tmp_path: Path, text: str) -> None:
    assert harm_of_r1(read(tmp_path, MODEL, text)) is Harm.DANGEROUS


@pytest.mark.parametrize("text", TOLD.values(), ids=TOLD.keys())
def test_what_a_machine_without_a_fault_need_not_show_is_a_detection(
    tmp_path: Path, text: str
) -> None:
    assert harm_of_r1(read(tmp_path, MODEL, text)) is Harm.DETECTED


# With the probe broken a hatch falls open that nothing else opens; only then is anything told.
ASTRAY = MODEL.replace(
    "sensors:\n",
    """\
  hatch: {states: [shut, open], moves: [{from: shut, to: open, when: F1 AND drive, says: falls}]}
sensors:
  closed: {reads: hatch = shut}
""",
    1,
).replace("drive AND guard = open", "drive AND hatch = open AND lost")


def astray(folder: Path, red: str) -> Model:
    text = (
        program(f"red := {red}", "late := later; later := NOT closed")
        .replace("VAR_INPUT shut,", "VAR_INPUT closed, shut,")
        .replace("drive, red,", "drive, lost, red,")
        .replace("VAR started :", "VAR late, later, started :")
        .replace("drive := worst AND NOT shut;", "drive := worst; lost := late;")
    )
    model = ASTRAY.replace("  drive: {says: the drive}\n", "  drive: {}\n  lost: {}\n")
    return read(folder, model, text)


@pytest.mark.parametrize(
    ("red", "harm"),
    [
        ("NOT closed AND NOT probe", Harm.DETECTED),
        ("closed OR NOT bad OR NOT probe", Harm.DANGEROUS),
    ],
)
def test_where_no_machine_without_a_fault_comes_it_must_be_otherwise_anywhere(
    tmp_path: Path, red: str, harm: Harm
) -> None:
    assert harm_of_r1(astray(tmp_path, red)) is harm


def alone(model: Model) -> FaultStudy:
    options = Options(order=1, n_runs=0, sensors=False)
    return study_faults(model, catalogue()["reference"](), options)


def test_an_alarm_that_is_on_anyhow_is_an_effect_and_the_fault_latent(tmp_path: Path) -> None:
    found = alone(read(tmp_path, MODEL, NOTHING_TOLD["an alarm that is always on"]))
    (effects,) = found.effects
    assert (effects.alarms, effects.usual, effects.warnings) == (("red",), ("red",), ())
    assert effects.telling is Telling.SILENT
    assert effects.is_effective
    assert found.silent == {"F1"}
    assert not found.showings
    (row,) = rows_of(found)
    assert (row.detected_by, row.harm) == ("latent", "dangerous")
    assert "on, as it is without a fault: red" in row.vehicle


def test_what_tells_is_replayed_with_the_fault_and_without(tmp_path: Path) -> None:
    found = alone(read(tmp_path, MODEL, TOLD["an alarm that is off without a fault"]))
    assert found.showings["F1"] == Showing(("red",), "as soon as it strikes", is_alarm=True)
    assert rows_of(found)[0].detected_by == "alarm: red on"


def test_what_no_run_without_a_fault_confirms_is_told(tmp_path: Path) -> None:
    found = alone(astray(tmp_path, "NOT closed AND NOT probe"))
    assert not found.showings["F1"].is_confirmed
    assert rows_of(found)[0].detected_by == (
        "alarm: red on; that it need not be so without a fault in the same places was not replayed"
    )


def test_where_the_replay_finds_nothing_told_that_is_a_defect(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Telltale, "tells", lambda *_: False)
    with pytest.raises(InternalError, match="tells of a fault by 'red'"):
        alone(read(tmp_path, MODEL, TOLD["an alarm that is off without a fault"]))


HELD = """\
title: A load held by a magnet
controller: controller.st
plant:
  load: {states: [up, down], moves: [{from: up, to: down, when: FALLS, says: falls}]}
  sling: {states: [taut, loose], moves: [{from: taut, to: loose, when: ready, says: is taken off}]}
outputs:
  hold: {says: the magnet}
  test: {says: the magnet is tested}
  ready: {says: the magnet holds}
  red: {lamp: red}
requirements:
  R1: {says: The load stays up, never: load = down}
faults:
  F1: {says: the controller restarts, restart: true}
"""
HELD_PROGRAM = """\
PROGRAM P
VAR_OUTPUT hold, test, ready, red : BOOL; END_VAR
VAR n : INT (0..3); END_VAR
hold := TRUE;
test := n = 1;
ready := n = 3;
red := n < 2;
IF n < 3 THEN n := n + 1; END_IF;
END_PROGRAM
"""


@pytest.mark.parametrize(
    ("falls", "harm"),
    [
        # The magnet is off from the restart to the next scan, and until then the lamp is dark.
        ("sling = loose AND NOT hold", Harm.DANGEROUS),
        # This comes with the second scan, behind the lamp.
        ("sling = loose AND test", Harm.DETECTED),
    ],
)
def test_a_restart_tells_with_the_next_scan_and_no_sooner(
    falls: str, harm: Harm, tmp_path: Path
) -> None:
    assert harm_of_r1(read(tmp_path, HELD.replace("FALLS", falls), HELD_PROGRAM)) is harm
