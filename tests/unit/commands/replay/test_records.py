"""Records of the ramp: explained, explained with gaps, and not explained from one row on."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError, Mistake
from interlock.cli.main import run
from interlock.commands.replay.columns import AS_NAMED, Mapped, observable, read_mapping
from interlock.commands.replay.record_file import opened
from interlock.commands.replay.study import Explained, explain
from interlock.commands.replay.tell import lines_of
from interlock.commands.replay.track import Tracker
from interlock.engines.symbolic.following import Following
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.system import MoveKind, Stepper
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.load import load
from interlock.telling.csv_log import to_csv
from interlock.telling.vcd import to_vcd
from tests.support import gate
from tests.support.models import shipped
from tests.support.recorded import random_run

RAMP = shipped("ramp")
SETTINGS = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


def table(seed: int = 1, n_steps: int = 60) -> list[list[str]]:
    text = to_csv(RAMP, random_run(RAMP, n_steps, seed))
    return [line.split(",") for line in text.splitlines()]


def written(rows: list[list[str]], folder: Path, name: str = "log.csv") -> Path:
    file = folder / name
    file.write_text("".join(",".join(row) + "\n" for row in rows))
    return file


def only(rows: list[list[str]], names: list[str]) -> list[list[str]]:
    places = [rows[0].index(name) for name in names]
    return [[row[place] for place in places] for row in rows]


@given(seed=st.integers(0, 10_000))
@SETTINGS
def test_a_record_of_a_run_is_explained(seed: int, tmp_path: Path) -> None:
    found = explain(RAMP, written(table(seed), tmp_path), moves_between=1)
    assert (found.n_rows, found.deviation, found.limit) == (61, None, None)


@given(seed=st.integers(0, 10_000), data=st.data())
@SETTINGS
def test_what_is_not_recorded_is_whatever_fits(
    seed: int, data: st.DataObject, tmp_path: Path
) -> None:
    rows = table(seed)
    names = data.draw(st.lists(st.sampled_from(rows[0][4:]), min_size=1, unique=True))
    found = explain(RAMP, written(only(rows, names), tmp_path), moves_between=1)
    assert found.deviation is None


@given(seed=st.integers(0, 10_000), kept=st.integers(2, 4))
@SETTINGS
def test_dropped_samples_are_explained(seed: int, kept: int, tmp_path: Path) -> None:
    rows = table(seed)
    thinned = [rows[0], *rows[1::kept]]
    assert explain(RAMP, written(thinned, tmp_path), moves_between=kept).deviation is None


@given(seed=st.integers(0, 10_000))
@SETTINGS
def test_missing_cells_are_explained(seed: int, tmp_path: Path) -> None:
    chosen = random.Random(seed)
    rows = table(seed)
    holed = [rows[0], *([c if chosen.random() < 0.6 else "" for c in row] for row in rows[1:])]
    assert explain(RAMP, written(holed, tmp_path), moves_between=1).deviation is None


def by_brute_force(rows: list[list[str]], n_moves: int) -> int | None:
    """The first row without an explanation, counted from 0: every state, one row after another."""
    built = build(RAMP)
    known = observable(built)
    tracker = Tracker(built.system, [], False, 10**6)
    everywhere = sorted(tracker.everywhere())
    columns = [known[name] for name in rows[0]]
    stepper = Stepper(built.system)
    near = cache(lambda state: reach(stepper, state, n_moves))
    shows = cache(lambda state, expr: evaluate(expr, built.system.named(state)))
    possible = {built.system.initial}
    for number, row in enumerate(rows[1:]):
        reached = set().union(*map(near, possible))
        possible = {
            state
            for state in everywhere
            if state in reached
            and all(
                shows(state, c.expr) == c.value(text)
                for c, text in zip(columns, row, strict=True)
                if text
            )
        }
        if not possible:
            return number
    return None


def reach(stepper: Stepper, state: State, n_moves: int) -> set[State]:
    best = {state: 0}
    todo = [state]
    while todo:
        here = todo.pop()
        for move, after in stepper.successors(here):
            cost = best[here] + (move.kind is not MoveKind.SCAN)
            if cost <= n_moves and cost < best.get(after, n_moves + 1):
                best[after] = cost
                todo.append(after)
    return set(best)


@given(seed=st.integers(0, 10_000), data=st.data())
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_planted_deviation_is_found_where_brute_force_finds_it(
    seed: int, data: st.DataObject, tmp_path: Path
) -> None:
    rows = only(table(seed, 20), data.draw(st.sampled_from([NAMES, NAMES[:3], NAMES[2:6]])))
    at = data.draw(st.integers(1, len(rows) - 1))
    column = data.draw(st.integers(0, len(rows[0]) - 1))
    flipped = {"TRUE": "FALSE", "FALSE": "TRUE", "in": "out", "out": "in"}
    rows[at][column] = flipped[rows[at][column]]
    found = explain(RAMP, written(rows, tmp_path), moves_between=1)
    wanted = by_brute_force(rows, 1)
    assert (found.deviation is None) == (wanted is None)
    if wanted is not None:
        assert found.n_rows == wanted
        assert found.deviation is not None
        assert found.deviation.row.place.line == wanted + 2


NAMES = ["pump", "green", "pin_pull", "pin", "in:pin_in", "in:stop_free", "drive_enable"]


def planted(folder: Path) -> Path:
    rows = [line.split(",") for line in BROKEN.splitlines()]
    return written(rows, folder)


BROKEN = """time_s,panel,pump,green
0,NONE,FALSE,FALSE
0.1,NONE,FALSE,TRUE
0.2,START,TRUE,TRUE
0.3,START,TRUE,TRUE
0.4,NONE,TRUE,FALSE
"""


def test_a_deviation_is_told_with_the_nearest_explanation(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = planted(tmp_path)
    assert run(["replay", str(RAMP.folder), str(file), "--moves", "1"]) == 1
    said = capsys.readouterr().out
    assert f"{file}:6: not explained by 1 move, 400 ms" in said
    assert "green: recorded FALSE, explained TRUE" in said
    assert "it comes about by: operator" in said
    assert "pump: TRUE" in said


def test_a_fault_may_explain_what_nothing_else_does(tmp_path: Path) -> None:
    model = load(gate.written(tmp_path / "gate"))
    rows = [["gate", "in:shut"], ["SHUT", "TRUE"], ["BETWEEN", "TRUE"]]
    assert explain(model, written(rows, tmp_path)).deviation is not None
    one = explain(model, written(rows, tmp_path), run_class=RunClass(("F1", "F4"), 1))
    assert one.deviation is None


def test_a_record_may_begin_anywhere(tmp_path: Path) -> None:
    text = "ramp,pin\nbetween,out\nlowered,out\n"
    (tmp_path / "log.csv").write_text(text)
    assert explain(RAMP, tmp_path / "log.csv").deviation is not None
    found = explain(RAMP, tmp_path / "log.csv", anywhere=True)
    assert found.deviation is None
    assert list(lines_of(found))[-1] == "the whole record is explained"


def test_a_dump_of_a_run_is_explained(tmp_path: Path) -> None:
    file = tmp_path / "log.vcd"
    file.write_text(to_vcd(RAMP, random_run(RAMP, 80, 5)))
    found = explain(RAMP, file)
    assert found.deviation is None
    assert found.n_rows > 20
    assert "in:stop_free" in found.observed


@pytest.mark.parametrize("name", ["log.csv", "log.vcd"])
def test_a_recorded_fault_is_explained_by_that_fault_alone(name: str, tmp_path: Path) -> None:
    model = load(gate.written(tmp_path / "gate"))
    run_class = RunClass(("F1", "F5"), 1)
    moments = random_run(model, 40, 3, run_class)
    assert moments[-1].struck
    file = tmp_path / name
    file.write_text((to_csv if name == "log.csv" else to_vcd)(model, moments))
    found = explain(model, file, run_class=run_class)
    assert found.deviation is None
    assert {"fault:F1", "fault:F5"} <= set(found.observed)
    without = explain(model, file)
    assert without.deviation is not None
    (struck,) = [d for d in without.deviation.differences if d.name.startswith("fault:")]
    assert (struck.recorded, struck.explained) == ("TRUE", "FALSE")


def test_a_mapping_renames_columns_and_rewrites_values(tmp_path: Path) -> None:
    (tmp_path / "map.yaml").write_text(
        "time: t\nunit: ms\nperiod_ms: 100\njitter_ms: 5\nignore: [note]\n"
        "columns:\n  I0.3: {shows: 'in:pin_in', values: {'10': 'TRUE', '20': 'FALSE'}}\n"
        "  Q0.0: {shows: pump}\n"
    )
    (tmp_path / "log.csv").write_text(
        "t;I0.3;Q0.0;note\n0;10;0;start\n103;10;0;\n98;10;0;twice\n700;20;1;a gap\n"
    )
    found = explain(
        RAMP, tmp_path / "log.csv", read_mapping(tmp_path / "map.yaml"), moves_between=1
    )
    assert (found.observed, found.n_gaps) == (("in:pin_in", "pump"), 1)
    assert found.deviation is None
    rows = [["in:pin_in", "pump"], ["1", "0"], ["0", "1"]]
    without = explain(RAMP, written(rows, tmp_path), moves_between=1)
    assert without.deviation is not None  # so much does not happen between two samples


def test_samples_taken_after_scans_only_see_no_state_between(tmp_path: Path) -> None:
    names = ["panel", "stop", "stop_wire", "vehicle", "pump"]
    pressed = ["START", "FALSE", "whole", "parked", "FALSE"]
    file = written([names, pressed, pressed], tmp_path)
    assert explain(RAMP, file).deviation is None
    found = explain(RAMP, file, Mapped(after_scan=True))
    assert found.deviation is not None


@given(seed=st.integers(0, 10_000), data=st.data())
@SETTINGS
def test_sets_of_states_explain_what_lists_of_them_do(
    seed: int, data: st.DataObject, tmp_path: Path
) -> None:
    rows = table(seed)
    names = data.draw(st.lists(st.sampled_from(rows[0][4:]), min_size=1, unique=True))
    rows = only(rows, names)
    if data.draw(st.booleans()):
        row, column = data.draw(st.sampled_from(rows[1:])), data.draw(st.sampled_from(names))
        others = sorted({r[names.index(column)] for r in rows[1:]})
        row[names.index(column)] = data.draw(st.sampled_from(others))
    file = written(rows, tmp_path)
    mapped = Mapped(after_scan=data.draw(st.booleans()))
    n_moves, anywhere = data.draw(st.integers(0, 2)), data.draw(st.booleans())
    listed, as_sets = (
        explain(RAMP, file, mapped, FAULT_FREE, n_moves, anywhere, most_states=most)
        for most in (10**6, 0)
    )
    if listed.deviation is not None:
        assert as_sets.deviation is not None
        # Where there are several shortest ways, either will do.
        assert len(listed.deviation.way) == len(as_sets.deviation.way)
        same = replace(as_sets.deviation, way=listed.deviation.way)
        as_sets = replace(as_sets, deviation=same)
    assert as_sets == listed


def test_a_record_that_leaves_too_many_states_to_list_is_explained_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = written([["red"], ["TRUE"], ["FALSE"]], tmp_path)
    assert run(["replay", str(RAMP.folder), str(file), "--max-states", "5"]) == 0
    told = capsys.readouterr().out
    assert "the whole record is explained" in told
    assert int(re.findall(r"at most (\d+) states possible", told)[0]) > 5


def test_too_many_states_even_for_sets_are_undecided(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(Following, "within", full)
    file = written([["red"], ["TRUE"], ["FALSE"]], tmp_path)
    for more in ([], ["--anywhere"]):
        assert run(["replay", str(RAMP.folder), str(file), "--max-states", "5", *more]) == 3
        assert "undecided" in capsys.readouterr().out
    monkeypatch.setattr(Following, "__init__", full)
    assert run(["replay", str(RAMP.folder), str(file), "--max-states", "5"]) == 3
    assert "more than 5 states are possible" in capsys.readouterr().out


def test_a_value_that_a_mapping_cannot_mean_is_told_in_the_mapping(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = written([["P", "ramp"], ["10", "stowed"]], tmp_path)
    mapping = tmp_path / "mapping.yaml"
    mapping.write_text(
        "columns:\n  P:\n    shows: pump\n    values: {'10': 'FALSE', '20': TRUTH}\n"
        "  ramp: {shows: ramp, values: {up: stowd}}\n"
    )
    assert run(["replay", str(RAMP.folder), str(record), "--mapping", str(mapping)]) == 2
    assert capsys.readouterr().err.split("\n") == [
        f"{mapping}:4:35: 'TRUTH' is not a value of pump; did you mean 'TRUE'?",
        f"{mapping}:5:36: 'stowd' is not a value of ramp; did you mean 'stowed'?",
        "",
    ]


MALFORMED = [
    ("", "1:1: expected a row with the names"),
    ("pmup\nTRUE\n", "1:1: 'pmup' is not a machine, an output"),
    ("pump,pump\n", "1:6: 'pump' shows pump, as 'pump' does"),
    ("step,move\n1,scan\n", "1:1: no column shows anything"),
    ("time,time_ms,pump\n", "1:6: a second column with the time"),
    ("ramp,pump\nstowed\n", "2:1: 1 cells, but the first row names 2 columns"),
    ("ramp,pump\nstowed,FALSE\nstowed,MAYBE\n", "3:8: 'MAYBE' is not a value of pump"),
    ("ramp,pump\nstowd,TRUE\n", "2:1: 'stowd' is not a value of ramp; did you mean 'stowed'?"),
    ("time,pump\n1,FALSE\n0.5,FALSE\n", "3:1: the time goes back by 500 ms"),
    ("time,pump\nsoon,FALSE\n", "2:1: 'soon' is not a time"),
    ("time,pump\nnan,FALSE\n", "2:1: 'nan' is not a time"),
    ('pump,ramp\n"TRUE,stowed\n', "2:1: a quotation mark without its other one"),
    ("pump\nTR\x00UE\n", "2:1: 'TR<U+0000>UE' is not a value of pump"),
]


@pytest.mark.parametrize(("text", "says"), MALFORMED)
def test_a_malformed_record_is_one_line_with_its_place(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "log.csv"
    file.write_text(text)
    assert run(["replay", str(RAMP.folder), str(file)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith(f"{file}:{says}")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"pump\n\xff\n", "2:1: not UTF-8"),
        (b"pump\n" + b"T" * 1_100_000, "2:1: a line of more than"),
        (None, "1:1: no such file"),
    ],
)
def test_what_is_no_text_is_refused(
    data: bytes | None, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "log.csv"
    if data is not None:
        file.write_bytes(data)
    assert run(["replay", str(RAMP.folder), str(file)]) == 2
    assert f"{file}:{says}" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hello", "1:1: expected a declaration, not 'hello'"),
        ("$scope module a", "1:1: this has no $end"),
        ("$timescale 3 ms $end", "1:1: '3ms' is not a time scale"),
        ("$var wire 1 ! $end", "1:1: a $var that is not complete"),
        ("$date x $end $enddefinitions $end", "1:1: not a value change dump"),
        ("$var wire 1 ! pmup $end $enddefinitions $end", "1:15: 'pmup' is not a machine"),
        ("$var wire 1 ! pump $end $enddefinitions $end\n#x", "2:1: '#x' is not a stamp"),
        ("$var wire 1 ! pump $end $enddefinitions $end\n#1 1! #0", "2:7: the time goes back"),
        ("$var wire 1 ! pump $end $enddefinitions $end\n#1 1?", "2:5: no variable has the code"),
        ("$var wire 1 ! pump $end $enddefinitions $end\n#1 b12 !", "2:4: '12' is not a value"),
        ("$var wire 2 ! ramp $end $enddefinitions $end\n#1 b11 !", "2:4: 3 is not a value of"),
        ("$var wire 1 ! pump $end $enddefinitions $end\n#1 end", "2:4: 'e' is not a value"),
        (
            "$var wire 1 ! pump $end $enddefinitions $end\n#1 1! $var wire",
            "2:7: '$var' has no place",
        ),
        (
            "$var wire 1 ! pump\n$var wire 1 # red $end $enddefinitions $end",
            "1:1: this has no $end",
        ),
        ("$scope module a\n$upscope $end", "1:1: this has no $end"),
        ("$comment $var $end $scope module a $upscope $end", "1:20: this has no $end"),
    ],
)
def test_a_malformed_dump_is_one_line_with_its_place(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "log.vcd"
    file.write_text(text)
    assert run(["replay", str(RAMP.folder), str(file)]) == 2
    said = capsys.readouterr().err
    assert (said.count("\n"), said.startswith(f"{file}:{says}")) == (1, True), said


@given(seed=st.integers(0, 5), data=st.data())
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_becomes_of_a_record_ends_in_rows_or_mistakes(
    seed: int, data: st.DataObject, tmp_path: Path
) -> None:
    suffix = data.draw(st.sampled_from([".csv", ".vcd"]))
    moments = random_run(RAMP, 4, seed)
    text = to_csv(RAMP, moments) if suffix == ".csv" else to_vcd(RAMP, moments)
    content = bytearray(text.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        piece = data.draw(st.binary(max_size=3) | st.sampled_from([b'"', b",", b"\n", b"#", b"$"]))
        content[at : at + data.draw(st.integers(0, 5))] = piece
    file = tmp_path / f"log{suffix}"
    file.write_bytes(content)
    mistakes: tuple[Mistake, ...] = ()
    try:
        with opened(file, observable(build(RAMP)), AS_NAMED) as record:
            widths = {len(row.values) for row in record.rows}
            assert widths <= {len(record.observed)}
    except InputError as error:
        mistakes = error.mistakes
    assert all(m.place.line >= 1 and m.place.column >= 1 for m in mistakes)
    assert all("\n" not in str(m) for m in mistakes)


def test_mistakes_of_a_mapping_have_their_places(tmp_path: Path) -> None:
    file = tmp_path / "map.yaml"
    file.write_text("time: t\ncolumns:\n  X: {shows: pmup}\n  Y: {shows: pump}\n")
    with pytest.raises(InputError) as error:
        explain(RAMP, written([["X"], ["1"]], tmp_path), read_mapping(file))
    said = str(error.value)
    assert f"{file}:3:14: 'pmup' is not a machine" in said
    assert f"{file}:4:3: the record has no column 'Y'" in said
    assert f"{file}:1:7: the record has no column 't'" in said


def test_a_run_file_is_replayed_move_by_move(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from interlock.independent_judge.run_file import record, write_run

    write_run(tmp_path / "run.json", record(RAMP, ["scan", "panel to START", "scan"]))
    assert run(["replay", str(RAMP.folder), str(tmp_path / "run.json")]) == 0
    assert "the run of 3 moves is one of the model" in capsys.readouterr().out


def peak_bytes(folder: Path, n_rows: int) -> tuple[int, Explained]:
    import tracemalloc

    rows = table(7, 400)
    file = folder / f"{n_rows}.csv"
    columns = only(rows, ["panel", "pump", "green", "in:pin_in"])
    with file.open("w") as out:
        out.write(",".join(columns[0]) + "\n")
        for number in range(1, n_rows + 1):  # at last it stands still
            out.write(",".join(columns[min(number, len(columns) - 1)]) + "\n")
    tracemalloc.start()
    found = explain(RAMP, file)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak, found


@pytest.mark.slow
def test_a_long_record_takes_no_more_memory_than_a_short_one(tmp_path: Path) -> None:
    peak_bytes(tmp_path, 400)  # what is made once and kept
    short, _ = peak_bytes(tmp_path, 5_000)
    long, found = peak_bytes(tmp_path, 60_000)
    assert (found.n_rows, found.deviation) == (60_000, None)
    # A list of as many numbers alone takes more.
    assert long < short + 250_000
