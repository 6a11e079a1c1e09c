"""Permissives in time: what a timer stands for, and only where a scan may come."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.advise.study import Advice, advise
from interlock.engines import catalogue
from interlock.model.model import Model
from tests.support.fan import fan
from tests.support.vessel import vessel_folder

PRESET = "T#600ms"
TIME = ", time: {unit: 100 ms}"


def advice_for(model: Model, output: str) -> Advice:
    (advice,) = advise(model, catalogue()["reference"](), [output]).advices
    return advice


def test_a_timer_may_stand_for_a_standstill_that_it_outlasts(tmp_path: Path) -> None:
    unlock = advice_for(fan(tmp_path), "unlock")
    assert unlock.text == "run_down.Q OR NOT is_locked"
    assert unlock.permits_more is None
    # Whatever it does beyond that needs a signal that the line does not read now.
    assert unlock.narrower is not None
    assert "R2" in unlock.others.kept


# The blades are driven on for 0.1 s at most and are at rest 0.5 s later.
@pytest.mark.parametrize(("preset", "is_enough"), [("T#200ms", False), ("T#500ms", True)])
def test_one_that_is_up_sooner_may_not(preset: str, is_enough: bool, tmp_path: Path) -> None:
    unlock = advice_for(fan(tmp_path, (PRESET, preset)), "unlock")
    assert ("run_down.Q" in unlock.text) == is_enough
    assert (unlock.permits_more is None) == is_enough


def test_without_time_no_timer_stands_for_anything(tmp_path: Path) -> None:
    # Timers elapse whenever they like: the permissive that is right in time would be withheld.
    assert "run_down.Q" not in advice_for(fan(tmp_path, (TIME, "")), "unlock").text


def test_a_run_against_it_ends_with_a_scan_that_may_come(tmp_path: Path) -> None:
    unlock = advice_for(fan(tmp_path, (PRESET, "T#200ms")), "unlock")
    assert unlock.permits_more is not None
    *_, before, last = unlock.permits_more.story
    assert last.who == "controller"
    assert "unlock on" in last.changes
    assert "time of run_down is up" in before.says


def test_it_is_told_of_the_states_in_which_a_scan_may_come(tmp_path: Path) -> None:
    in_time = advice_for(fan(tmp_path), "unlock")
    assert in_time.n_safe + in_time.n_unsafe < in_time.n_states
    at_any_moment = advice_for(fan(tmp_path, (TIME, "")), "unlock")
    assert at_any_moment.n_safe + at_any_moment.n_unsafe == at_any_moment.n_states


def test_quantities_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["advise", str(vessel_folder(tmp_path))]) == 2
    assert "'advise' cannot take quantities with time" in capsys.readouterr().err
