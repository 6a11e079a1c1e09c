"""What may happen and need not, and what happens before a scan can see it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

ENGINES = sorted(catalogue())

# A door that the wind may shut. Nobody shuts it, and nobody can rely on the wind.
DOOR = """\
title: Door in the wind
controller: controller.st
plant:
  door:
    states: [OPEN, SHUT]
    moves:
      - {from: OPEN, to: SHUT, MAY says: the wind shuts it}
      - {from: SHUT, to: OPEN, by: operator, says: opens it}
sensors: {shut: {reads: door = SHUT}}
requirements:
  R1: {says: it is shut in the end, whenever: door = OPEN, leads_to: door = SHUT}
  R2: {says: it can still be shut, can_still: door = SHUT}
  R3: {says: it can still be opened, can_still: door = OPEN}
  R4: {says: it is never shut, never: door = SHUT}
"""
LAMP = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := shut;
END_PROGRAM
"""


def outcomes(model: Model, engine: str) -> dict[str, Outcome]:
    return {id_: finding.outcome for id_, finding in findings(model, engine).items()}


def findings(model: Model, engine: str) -> dict[str, Finding]:
    found = verify(model, catalogue()[engine]()).findings
    return {finding.requirement.id: finding for finding in found}


@pytest.mark.parametrize("engine", ENGINES)
def test_nothing_relies_on_what_need_not_happen_and_everything_reckons_with_it(
    tmp_path: Path, engine: str
) -> None:
    sure, perhaps = (
        load(written(tmp_path / name, DOOR.replace("MAY ", may), LAMP))
        for name, may in (("sure", ""), ("perhaps", "may: true, "))
    )
    holds, violated = Outcome.HOLDS, Outcome.VIOLATED
    assert outcomes(sure, engine) == {"R1": holds, "R2": holds, "R3": holds, "R4": violated}
    # It still happens where that is bad, and what follows from it can be mended by people.
    assert outcomes(perhaps, engine) == {
        "R1": violated,
        "R2": violated,
        "R3": holds,
        "R4": violated,
    }


@pytest.mark.parametrize("engine", ENGINES)
def test_a_way_back_by_chance_is_none_where_the_goal_is_there_at_first(
    tmp_path: Path, engine: str
) -> None:
    """From power-up everything leads back but by the wind: yes must not be said for that."""
    yaml = DOOR.replace("MAY ", "may: true, ").replace(
        "    moves:", "    initial: SHUT\n    moves:"
    )
    found = outcomes(load(written(tmp_path, yaml, LAMP)), engine)
    assert found["R2"] is Outcome.VIOLATED
    assert found["R3"] is Outcome.HOLDS


# A button that drives a carriage by hand, without the program: it follows every press.
BUTTON = """\
title: Carriage by hand
controller: controller.st
BETWEEN
plant:
  carriage:
    states: [A, B]
    moves: [{from: A, to: B, when: press, says: it follows}]
controls:
  press: {BOUNCES}
sensors: {shut: {reads: press}}
requirements:
  R1: {says: every press is seen, never: carriage = B AND NOT press AND NOT lamp}
"""


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("assumed", ["", "run: {between_scans: one in all}"])
def test_a_press_may_be_over_before_any_scan_where_a_control_bounces(
    tmp_path: Path, engine: str, assumed: str
) -> None:
    for bounces, outcome in (("", Outcome.HOLDS), ("bounces: true", Outcome.VIOLATED)):
        yaml = BUTTON.replace("BETWEEN", assumed).replace("BOUNCES", bounces)
        ever_seen = LAMP.replace("lamp := shut", "lamp := lamp OR shut")
        model = load(written(tmp_path / (bounces[:7] or "not"), yaml, ever_seen))
        assert outcomes(model, engine) == {"R1": outcome}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("may: true, by: operator, ", "only moves of the plant 'may' happen"),
        ("may: true, seconds: [1, 2], assumed: true, ", "what need not happen takes no 'seconds'"),
    ],
)
def test_what_makes_no_sense_of_may_is_refused_at_its_place(
    tmp_path: Path, given: str, said: str
) -> None:
    with pytest.raises(InputError) as error:
        load(written(tmp_path, DOOR.replace("MAY ", given), LAMP))
    (mistake,) = error.value.mistakes
    assert (mistake.place.line, said in str(mistake)) == (7, True)


def test_a_sheet_is_refused_since_nothing_makes_sure_of_the_wind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path, DOOR.replace("MAY ", "may: true, "), LAMP)
    assert run(["testsheet", str(folder)]) == 2
    assert "model.yaml:7:9: 'testsheet' cannot take a move that 'may' happen" in " ".join(
        capsys.readouterr().err.split()
    )
