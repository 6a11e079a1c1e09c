"""Runs as CSV and VCD: read back by other readers, they say what happened."""

from __future__ import annotations

import csv
import io
import re

import pytest
from vcd.reader import TokenKind, tokenize

from interlock.engines import catalogue
from interlock.independent_judge.moments import Moment, moments_of
from interlock.independent_judge.player import Player
from interlock.judgement.verify import verify
from interlock.model.model import Model
from interlock.telling.csv_log import FAULT, INPUT, columns, to_csv
from interlock.telling.vcd import to_vcd
from tests.support.models import shipped

Run = tuple[Model, list[Moment]]


@pytest.fixture(scope="module")
def run() -> Run:
    model = shipped("ramp-broken/pin-alone")
    result = verify(model, catalogue()["reference"](), only=["R1"])
    found = result.findings[0].run
    assert found is not None
    return model, moments_of(model, [happening.move for happening in found.happenings])


def test_a_row_of_the_csv_is_a_state_of_the_run(run: Run) -> None:
    model, moments = run
    rows = list(csv.DictReader(io.StringIO(to_csv(model, moments))))
    assert [row["step"] for row in rows] == [str(number) for number in range(len(moments))]
    assert list(rows[0]) == columns(model)
    for row, moment in zip(rows, moments, strict=True):
        assert {name: row[name] for name in moment.shown} == moment.shown
        reads = {name: ("FALSE", "TRUE")[value] for name, value in moment.signals.items()}
        assert {name: row[f"{INPUT}{name}"] for name in reads} == reads
    assert rows[-1]["vehicle"] == "driving"
    assert rows[-1]["mover"] == "driver"


def test_the_csv_suffices_to_replay_the_run(run: Run) -> None:
    model, moments = run
    player = Player(model)
    for row in list(csv.DictReader(io.StringIO(to_csv(model, moments))))[1:]:
        player.play(row["move"])
        assert player.shown() == {name: row[name] for name in player.shown()}


@pytest.fixture(scope="module")
def stuck() -> Run:
    model = shipped("wren")
    return model, moments_of(model, ["scan", "F12 strikes", "scan"])


def test_the_csv_counts_scans_and_tells_of_faults(stuck: Run) -> None:
    model, moments = stuck
    rows = list(csv.DictReader(io.StringIO(to_csv(model, moments))))
    assert [row["scan"] for row in rows] == ["0", "1", "1", "2"]
    assert [row[f"{FAULT}F12"] for row in rows] == ["FALSE", "FALSE", "TRUE", "TRUE"]
    assert [row["mover"] for row in rows] == ["", "controller", "fault", "controller"]


def read_vcd(text: str) -> tuple[dict[str, tuple[str, int]], dict[str, dict[int, int]]]:
    """Kind and width of each variable, and its value after each change; by pyvcd's reader."""
    kinds: dict[str, tuple[str, int]] = {}
    names: dict[str, str] = {}
    values: dict[str, dict[int, int]] = {}
    scope: list[str] = []
    time = 0
    for token in tokenize(io.BytesIO(text.encode())):
        match token.kind:
            case TokenKind.SCOPE:
                scope.append(token.scope.ident)
            case TokenKind.UPSCOPE:
                scope.pop()
            case TokenKind.VAR:
                name = ".".join([*scope, token.var.reference])
                names[token.var.id_code] = name
                kinds[name] = (token.var.type_.value, token.var.size)
            case TokenKind.CHANGE_TIME:
                time = token.time_change
            case TokenKind.CHANGE_SCALAR:
                values.setdefault(names[token.scalar_change.id_code], {})[time] = int(
                    token.scalar_change.value
                )
            case TokenKind.CHANGE_VECTOR:
                assert isinstance(token.vector_change.value, int)
                values.setdefault(names[token.vector_change.id_code], {})[time] = (
                    token.vector_change.value
                )
            case _:
                pass
    return kinds, values


def parse_vcd(text: str) -> dict[str, dict[int, int]]:
    """As `read_vcd`, written by the grammar of IEEE 1364-2005, 18.2 (from memory)."""
    head, body = text.split("$enddefinitions $end")
    scope: list[str] = []
    names: dict[str, str] = {}
    for keyword, inner in re.findall(r"\$(\w+)\s(.*?)\$end", head, re.DOTALL):
        words = inner.split()
        if keyword == "scope":
            scope.append(words[1])
        elif keyword == "upscope":
            scope.pop()
        elif keyword == "var":
            names[words[2]] = ".".join([*scope, words[3]])
    values: dict[str, dict[int, int]] = {}
    time = 0
    for line in body.split("\n"):
        if line.startswith("#"):
            time = int(line[1:])
        elif line.startswith("b"):
            bits, code = line[1:].split()
            values.setdefault(names[code], {})[time] = int(bits, 2)
        elif line[:1] in ("0", "1"):
            values.setdefault(names[line[1:]], {})[time] = int(line[0])
    return values


def at(changes: dict[int, int], time: int) -> int:
    return changes[max(t for t in changes if t <= time)]


def test_the_vcd_read_by_two_readers_says_what_happened(run: Run) -> None:
    model, moments = run
    text = to_vcd(model, moments)
    kinds, values = read_vcd(text)
    assert parse_vcd(text) == values
    ramp = model.machines["ramp"]
    assert kinds["plant.ramp"] == ("reg", 2)
    assert kinds["outputs.pump"] == ("wire", 1)
    for moment in moments:
        assert ramp.states[at(values["plant.ramp"], moment.number)] == moment.shown["ramp"]
        on = at(values["outputs.pump"], moment.number)
        assert ("FALSE", "TRUE")[on] == moment.shown["pump"]
        assert at(values["inputs.pin_in"], moment.number) == moment.signals["pin_in"]


def test_the_vcd_names_the_values_of_what_has_several(run: Run) -> None:
    text = to_vcd(*run)
    assert "plant.ramp: 0 stowed, 1 between, 2 lowered" in text
    assert "$date" not in text


def test_every_variable_of_the_vcd_has_a_value_from_the_start(run: Run) -> None:
    kinds, values = read_vcd(to_vcd(*run))
    assert set(values) == set(kinds)
    assert all(0 in changes for changes in values.values())


def test_the_same_run_gives_the_same_bytes(run: Run) -> None:
    assert to_vcd(*run) == to_vcd(*run)
    assert to_csv(*run) == to_csv(*run)


def test_inputs_that_lie_are_told_from_those_that_do_not(stuck: Run) -> None:
    model, moments = stuck
    assert moments[1].lying == frozenset()
    assert moments[2].lying == set(model.faults["F12"].sensors)
    assert moments[2].seen["F12"] == 1
