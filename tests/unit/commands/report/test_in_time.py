"""The report on a model with time: margins, runs over seconds, and what is left out."""

from __future__ import annotations

import re

import pytest

from interlock.cli.main import run
from tests.support.timed_gate import timed_gate_folder
from tests.unit.commands.report.test_page import words

R2 = "  R2: {says: The gate shuts, whenever: drive, leads_to: gate = shut}\n"
IN_TIME = """\
  R2: {says: The gate shuts in time, whenever: drive, leads_to: gate = shut, within: 1.2 s}
  R3: {says: It moves for a while, once: gate = moving, at_least: 400 ms}
  R4: {says: It moves for no longer, lasts: gate = moving, at_most: 600 ms}
  R5: {says: Shut it stays, wherever: gate = shut, stays: gate = shut, for: 2 s}
faults:
  F1: {says: the gate jams, machine: gate, assumed: true}
"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("report")
    model = timed_gate_folder(folder / "model", (R2, IN_TIME))
    assert run(["report", str(model), "--no-pdf", "-o", str(folder / "report")]) == 1
    return (folder / "report" / "report.html").read_text("utf-8")


def test_margins_are_in_the_report(page: str) -> None:
    text = words(page)
    assert "Time taken on any run, in seconds" in text
    assert "R2 at most 1.2 0.8 0.4" in text
    assert "R3 at least 0.4 0.5 0.1" in text
    assert "R5 at least 2 more than 4 more than 2" in text
    # What is violated has none; the two that are nearest to what is asked stand in the summary.
    assert "R4 at most" not in text
    nearest = "R3 , at least 0.5 s of the demanded 0.4 s; R2 , at most 0.8 s of the allowed 1.2 s"
    assert nearest.replace(" ,", ",") in text.replace(" ,", ",")


def test_a_run_is_told_and_drawn_in_seconds(page: str) -> None:
    text = words(page)
    # Driven with the scan, and in motion at once; with the seventh unit it moves for too long.
    assert "0.7 s pass" in text
    assert re.search(r'id="[^"]*R4-timing', page)


def test_what_does_not_reckon_with_time_is_left_out_and_told(page: str) -> None:
    text = words(page)
    assert text.count("it does not reckon with time, and time passes in this model") == 1
    assert "the model has no procedures" in text
    assert "Map of the conversions" not in text
    assert "time is counted in units of 100 ms" in text
    assert "no verdict depends on them" not in text


def test_the_study_of_faults_is_in_it(page: str) -> None:
    assert "the gate jams" in words(page)
