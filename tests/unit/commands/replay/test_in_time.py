"""Records of models with time: when samples were taken must be possible as well."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.replay.study import Explained, explain
from interlock.commands.replay.units import Fits
from tests.support.timed_gate import timed_gate, timed_gate_folder

HEAD = "time_s,drive,gate\n"


def explained(folder: Path, rows: str, *changes: tuple[str, str]) -> Explained:
    """What becomes of a record of the gate, which moves for 0.5 to 0.7 s."""
    model = timed_gate(folder / "model", *changes)
    log = folder / "log.csv"
    log.write_text(HEAD + rows, encoding="utf-8")
    return explain(model, log)


@pytest.mark.parametrize(
    ("shut_at", "fits"),
    [
        ("0.3", Fits(200.0, 300, None)),
        # It may have begun to move just behind the first sample.
        ("0.4", Fits(300.0, 300, None)),
        # What lies between two units may be on either: times are rounded outwards, like durations.
        ("0.41", None),
        ("0.6", None),
        ("0.75", None),
        ("5", None),
    ],
)
def test_a_gate_is_shut_no_sooner_than_it_can_be(
    shut_at: str, fits: Fits | None, tmp_path: Path
) -> None:
    found = explained(tmp_path, f"0,TRUE,open\n0.1,TRUE,moving\n{shut_at},TRUE,shut\n")
    assert (found.deviation is None) is (fits is None)
    if found.deviation is not None:
        assert found.deviation.row.place.line == 4
        assert found.deviation.fits == fits


@pytest.mark.parametrize(("seen_at", "is_explained"), [("0.8", True), ("0.85", True), ("1", False)])
def test_a_gate_moves_no_longer_than_it_may(
    seen_at: str, is_explained: bool, tmp_path: Path
) -> None:
    # In motion 0.1 s after the first sample at the latest, and for 0.7 s at most.
    found = explained(tmp_path, f"0,TRUE,open\n0.1,TRUE,moving\n{seen_at},TRUE,moving\n")
    assert (found.deviation is None) is is_explained
    if found.deviation is not None:
        assert found.deviation.fits == Fits(900.0, None, 800)


def test_times_are_counted_from_the_first_sample_and_not_from_one_to_the_next(
    tmp_path: Path,
) -> None:
    # Ten times 0.05 s are half a second, however each of them is rounded.
    steps = [f"{0.05 * n:.2f},TRUE,moving\n" for n in range(1, 10)]
    rows = "0,TRUE,moving\n" + "".join(steps)
    assert explained(tmp_path / "a", rows + "0.50,TRUE,shut\n").deviation is None
    # A sample every 99 ms: after eight of them no more than 0.8 s have passed, and after nine …
    every = [f"{0.099 * n:.3f},TRUE,moving\n" for n in range(1, 9)]
    found = explained(tmp_path / "b", "0,TRUE,moving\n" + "".join(every) + "0.891,TRUE,moving\n")
    assert found.deviation is not None
    assert found.n_rows <= 9


def test_a_slower_gate_is_told_with_the_line_of_the_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = timed_gate_folder(tmp_path / "model")
    log = tmp_path / "log.csv"
    log.write_text(HEAD + "3.0,TRUE,open\n3.1,TRUE,moving\n4.3,TRUE,shut\n", encoding="utf-8")
    assert run(["replay", str(folder), str(log)]) == 0
    log.write_text(HEAD + "3.0,TRUE,open\n3.1,TRUE,moving\n4.3,TRUE,moving\n", encoding="utf-8")
    assert run(["replay", str(folder), str(log)]) == 1
    said = capsys.readouterr().out
    assert "log.csv:4: not explained by 3 moves, 4,300 ms" in said
    assert "what it shows is possible, but not at that time: 1.2 s after the sample before" in said
    assert "it was possible less than 0.8 s after it" in said


def test_what_is_impossible_at_any_time_is_no_matter_of_time(tmp_path: Path) -> None:
    found = explained(tmp_path, "0,TRUE,shut\n1,TRUE,moving\n")
    assert found.deviation is not None
    assert found.deviation.fits is None


def test_a_row_without_a_time_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"log\.csv:3:.*needs a time in every row"):
        explained(tmp_path, "0,TRUE,open\n,TRUE,moving\n")


def test_too_many_states_leave_a_record_undecided(tmp_path: Path) -> None:
    model = timed_gate(tmp_path / "model")
    log = tmp_path / "log.csv"
    log.write_text(HEAD + "0,TRUE,open\n0.1,TRUE,moving\n", encoding="utf-8")
    found = explain(model, log, most_states=2)
    assert found.limit == "more than 2 states are possible"


def test_a_gap_of_years_is_followed_by_its_first_round(tmp_path: Path) -> None:
    # One by one these units of time would take hours.
    rows = "0,TRUE,open\n0.1,TRUE,moving\n100000000,TRUE,shut\n"
    assert explained(tmp_path, rows).deviation is None
    found = explained(tmp_path, rows.replace("shut", "moving"))
    assert found.deviation is not None
    assert found.deviation.n_possible
