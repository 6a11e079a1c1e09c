"""Commands on a model whose signals come late: what they tell, and which refuse it by name."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from interlock.cli.main import run
from interlock.commands.operate import tabs, views
from interlock.commands.operate.bench import Bench
from interlock.commands.operate.desk import Desk
from interlock.commands.operate.session import Session
from interlock.model.load import load
from tests.support.gate import written

PAIR = """\
title: A pair over a bus
controller: controller.st
plant:
  gate:
    states: [SHUT, OPEN]
    by: operator
    moves: [{from: SHUT, to: OPEN}, {from: OPEN, to: SHUT}]
sensors:
  shut: {reads: gate = SHUT, age: 1 scan}
  open: {reads: gate = OPEN}
faults: {F1: {says: wire breaks, sensor: shut, stuck: 'FALSE'}}
requirements:
  PICTURE: {says: the two never agree in the program, never: agree}
"""
AGREE = """\
PROGRAM P
VAR_INPUT shut, open : BOOL; END_VAR
VAR_OUTPUT agree : BOOL; END_VAR
agree := shut = open;
END_PROGRAM
"""
OPENS = "gate: SHUT to OPEN"


@pytest.fixture
def pair(tmp_path: Path) -> Path:
    return written(tmp_path / "pair", PAIR, AGREE)


def said(capsys: pytest.CaptureFixture[str], expected: int, *words: str | Path) -> str:
    assert run([str(word) for word in words]) == expected
    found = capsys.readouterr()
    return " ".join((found.out + found.err).split())


def test_results_name_the_ages_that_they_rest_on(
    pair: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    told = "signals may be late: shut up to 1 scan"
    assert told in said(capsys, 1, "verify", pair, "--json", tmp_path / "found.json")
    found = json.loads((tmp_path / "found.json").read_text(encoding="utf-8"))
    assert found["ages_in_scans"] == {"shut": 1}
    # The step that reads the older value is told with it.
    assert "scans, with an older value of shut (TRUE)" in json.dumps(found["requirements"])
    assert told in said(capsys, 1, "faults", pair)
    assert told in said(capsys, 0, "compare", pair, pair)
    # A run with what is late in it is evidence, too, and is checked with the ages.
    said(capsys, 1, "verify", pair, "--evidence", tmp_path / "evidence")
    assert told in said(capsys, 1, "recheck", tmp_path / "evidence")


def test_a_commissioning_sheet_refuses_it_by_name(
    pair: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused = "model.yaml:9:3: 'testsheet' cannot take a signal with an age"
    assert refused in said(capsys, 2, "testsheet", pair)


def test_a_record_of_a_late_signal_is_refused_at_its_column_and_may_be_ignored(
    pair: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log.csv"
    log.write_text("step,gate,in:shut\n0,SHUT,TRUE\n1,OPEN,TRUE\n", encoding="utf-8")
    refused = "log.csv:1:11: 'in:shut' may be late, so its values are of no known moment"
    assert refused in said(capsys, 2, "replay", pair, log)
    mapping = tmp_path / "mapping.yaml"
    mapping.write_text("ignore: ['in:shut']\n", encoding="utf-8")
    said(capsys, 0, "replay", pair, log, "--mapping", mapping)


@pytest.mark.parametrize("most_states", ["1000", "1"])
def test_that_a_signal_is_late_is_no_move_that_a_record_counts(
    pair: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], most_states: str
) -> None:
    """Neither where states are listed nor where diagrams follow them."""
    log = tmp_path / "log.csv"
    log.write_text("step,gate,agree\n0,SHUT,FALSE\n1,OPEN,TRUE\n", encoding="utf-8")
    limits = ["--moves", "1", "--max-states", most_states]
    assert "explained" in said(capsys, 0, "replay", pair, log, *limits)


@pytest.mark.parametrize(
    ("moves", "refused"),
    [
        (["scan", OPENS, "shut is late", "scan"], ""),
        (["scan", "shut is late"], "it has given nothing else for 1 scan"),
        (["scan", OPENS, "shut is late", "shut is late"], "it is late already"),
        (["scan", OPENS, "scan", "shut is late"], "it has given nothing else for 1 scan"),
        (["scan", OPENS, "open is late"], "'open is late' is not a move"),
    ],
)
def test_a_run_file_is_replayed_and_says_why_a_signal_cannot_be_late(
    pair: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    moves: list[str],
    refused: str,
) -> None:
    file = tmp_path / "run.json"
    violates = [] if refused else ["PICTURE"]
    data = {"interlock_run": 1, "model": "pair", "moves": moves, "violates": violates}
    file.write_text(json.dumps(data), encoding="utf-8")
    assert refused in said(capsys, 2 if refused else 1, "replay", pair, file)


def test_files_of_a_run_show_what_a_scan_reads_beside_what_the_sensor_gives(
    pair: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, 1, "verify", pair, "--faults", "none", "--runs", tmp_path / "runs")
    (file,) = (tmp_path / "runs").rglob("*.csv")
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    # Only what may be late has two columns.
    assert [name for name in rows[0] if name.startswith("read:")] == ["read:shut"]
    (number,) = (n for n, row in enumerate(rows) if row["move"] == "shut is late")
    before, late, after = rows[number - 1 : number + 2]
    assert (before["in:shut"], before["read:shut"]) == ("FALSE", "FALSE")
    assert (late["in:shut"], late["read:shut"]) == ("FALSE", "TRUE")
    assert after["move"] == "scan"
    assert (after["in:shut"], after["read:shut"], after["agree"]) == ("FALSE", "FALSE", "TRUE")

    (picture,) = (f for f in (tmp_path / "runs").rglob("*.svg") if "shut, as read" in f.read_text())
    assert picture.stat().st_size > 0
    (waves,) = (tmp_path / "runs").rglob("*.vcd")
    assert "$scope module read $end" in waves.read_text()
    # Given back as a record, both are refused: nobody knows of which moment a recorded one is.
    refused = said(capsys, 2, "replay", pair, file)
    assert "'in:shut' may be late" in refused
    assert "'read:shut' may be late" in refused


def test_on_the_bench_a_scan_reads_the_older_value_of_what_is_late(pair: Path) -> None:
    session = Session(Bench(load(pair)), scan_follows=False)
    desk = cast(Desk, SimpleNamespace(bench=session.bench, session=session))
    for move in ("scan", OPENS):
        assert session.act(move) is None
    assert "shut is late" in [move.name for move in views.plant(desk)["ready"]]
    assert session.act("shut is late") is None
    (late,) = [row for row in tabs.signals(desk)["rows"] if row["late"]]
    assert (late["name"], late["value"].text, late["late"].text) == ("shut", "FALSE", "TRUE")
    bench, state = session.bench, session.state
    assert (bench.signals(state)["shut"], bench.as_read(state)["shut"]) == (0, 1)
    assert session.act("scan") is None
    assert session.violations() == {"PICTURE": 4}
    assert session.act("shut is late") is not None


# It waits for a second scan, by then nothing is late any more.
PATIENT = AGREE.replace(
    "agree := shut = open;", "agree := again AND shut = open;\nagain := shut = open;"
)
PATIENT = PATIENT.replace("agree : BOOL;", "agree : BOOL; END_VAR\nVAR again : BOOL;")


@pytest.mark.parametrize(
    ("age", "changed", "told"),
    [
        ("", "", "equal over everything reachable: agree"),
        (", age: 1 scan", ", age: 1 scan", "differs after 4 steps: agree (old on, new off)"),
        (", age: 1 scan", ", age: 2 scans", "Not applicable: signal shut may be late by another"),
    ],
)
def test_what_differs_only_where_a_signal_is_late_differs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], age: str, changed: str, told: str
) -> None:
    old, new = (
        written(tmp_path / name, PAIR.replace(", age: 1 scan", given), st)
        for name, given, st in (("old", age, AGREE), ("new", changed, PATIENT))
    )
    assert run(["compare", str(old), str(new)]) in (0, 1)
    assert told in " ".join(capsys.readouterr().out.split())
