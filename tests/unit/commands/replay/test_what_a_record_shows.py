"""Nothing that a record shows is passed over, and nothing that explains it is left out."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.replay.columns import read_mapping
from interlock.commands.replay.study import Explained, explain
from interlock.model.build import RunClass
from interlock.model.load import load
from interlock.telling.csv_log import to_csv
from tests.support.gate import GATE_ST, GATE_YAML, gate, written
from tests.support.recorded import random_run

# At power-up the gate is shut, and nothing opens it before the first scan.
OPEN_AT_ONCE = "OPEN"
HUMAN = (
    "    moves:\n",
    "    moves:\n      - {from: SHUT, to: OPEN, by: human, says: leaves it open}\n",
)
COMMON = ("  F2:", "  C1: {says: damp, sensors: {shut: 'TRUE'}, common_cause: true}\n  F2:")


def followed(folder: Path, record: str, mapping: str = "", name: str = "log.csv") -> Explained:
    model = gate(folder / "gate")
    (folder / name).write_text(record, encoding="utf-8")
    (folder / "mapping.yaml").write_text(mapping or "sampled: any\n", encoding="utf-8")
    mapped = read_mapping(folder / "mapping.yaml")
    return explain(model, folder / name, mapped, moves_between=1)


@pytest.mark.parametrize("header", ["step", "scan", "mover", "move", "Move", "time", "time_ms"])
def test_a_column_that_is_mapped_counts_whatever_it_is_called(header: str, tmp_path: Path) -> None:
    mapping = f"columns: {{{header}: {{shows: gate}}}}\n"
    found = followed(tmp_path, f"lamp,{header}\nFALSE,SHUT\nFALSE,{OPEN_AT_ONCE}\n", mapping)
    assert found.observed == ("lamp", "gate")
    assert found.deviation is not None


@pytest.mark.parametrize("header", ["step", "scan", "mover", "move", "time_ms"])
def test_a_column_that_shows_an_output_of_that_name_counts(header: str, tmp_path: Path) -> None:
    yaml, st = (text.replace("lamp", header) for text in (GATE_YAML, GATE_ST))
    yaml = yaml.replace(f"{{{header}: green}}", "{lamp: green}")
    model = load(written(tmp_path / "gate", yaml, st))
    (tmp_path / "log.csv").write_text(f"gate,{header}\nSHUT,TRUE\nOPEN,TRUE\n", encoding="utf-8")
    if header == "time_ms":
        with pytest.raises(InputError, match="'time_ms' may be the time or time_ms of the model"):
            explain(model, tmp_path / "log.csv")
    else:
        found = explain(model, tmp_path / "log.csv")
        assert found.observed == ("gate", header)
        assert found.deviation is not None
    # What `verify --runs` writes has both, in its own order.
    (tmp_path / "run.csv").write_text(to_csv(model, random_run(model, 20, 1)), encoding="utf-8")
    if header != "time_ms":
        assert explain(model, tmp_path / "run.csv", moves_between=1).deviation is None


@pytest.mark.parametrize(
    ("mapping", "says"),
    [
        ("time: gate\ncolumns: {gate: {shows: gate}}\n", "'gate' cannot be the time as well"),
        ("ignore: [gate]\ncolumns: {gate: {shows: gate}}\n", "'gate' cannot be ignored as well"),
    ],
)
def test_a_mapping_says_one_thing_of_a_column(tmp_path: Path, mapping: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        followed(tmp_path, "gate\nSHUT\n", mapping)


@pytest.mark.parametrize(
    ("record", "name"),
    [
        ("gate,lamp\n", "log.csv"),
        ("gate,lamp\n,\n,\n", "log.csv"),
        ("$var wire 1 ! lamp $end $enddefinitions $end\n#0\nx!\n", "log.vcd"),
        ("$var wire 1 ! lamp $end $enddefinitions $end\n", "log.vcd"),
    ],
)
def test_a_record_that_shows_nothing_explains_nothing(
    tmp_path: Path, record: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "gate")
    (tmp_path / name).write_text(record, encoding="utf-8")
    assert run(["replay", str(folder), str(tmp_path / name)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "the record shows no value" in said.err


def test_a_human_error_explains_where_it_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "gate", GATE_YAML.replace(*HUMAN))
    log = tmp_path / "log.csv"
    # The gate opens at once; no single move else does that.
    log.write_text("gate,drive\nSHUT,FALSE\nOPEN,FALSE\n", encoding="utf-8")
    common = ["replay", str(folder), str(log), "--moves", "1"]
    assert run(common) == 1
    assert run([*common, "--human"]) == 0
    assert "with human errors" in capsys.readouterr().out


def test_a_common_cause_explains_as_one_fault(tmp_path: Path) -> None:
    folder = written(tmp_path / "gate", GATE_YAML.replace(*COMMON))
    log = tmp_path / "log.csv"
    log.write_text("fault:C1,fault:F1\nFALSE,FALSE\nTRUE,FALSE\n", encoding="utf-8")
    assert run(["replay", str(folder), str(log)]) == 1
    assert run(["replay", str(folder), str(log), "--faults", "1"]) == 0
    log.write_text("fault:C1,fault:F1\nFALSE,FALSE\nTRUE,TRUE\n", encoding="utf-8")
    assert run(["replay", str(folder), str(log), "--faults", "1"]) == 1


COUNTING = GATE_ST.replace(
    "lamp : BOOL; END_VAR\n", "lamp : BOOL; level : INT (-2..12); END_VAR\n"
).replace("lamp :=", "level := SEL(pressed, -2, 10);\nlamp :=")
HEAD = "$timescale 1 ms $end $var real 64 ! level $end $enddefinitions $end\n"


@pytest.mark.parametrize(
    ("values", "is_explained"),
    [
        ("#0\nr-2 !\n#1\nr10 !\n", True),
        ("#0\nr-2.0 !\n#1\nr1e1 !\n", True),
        ("#0\nR-2.000 !\n#1\nr-2 !\n", True),
        # As bits 'r10' would be two.
        ("#0\nr-2 !\n#1\nr2 !\n", False),
        ("#0\nr-2 !\n#1\nr11 !\n", False),
    ],
)
def test_reals_of_a_dump_are_reals(tmp_path: Path, values: str, is_explained: bool) -> None:
    model = load(written(tmp_path / "gate", st=COUNTING))
    (tmp_path / "log.vcd").write_text(HEAD + values, encoding="utf-8")
    assert (explain(model, tmp_path / "log.vcd").deviation is None) == is_explained


@pytest.mark.parametrize("value", ["r2.5", "r1e400", "rnan", "r", "r0x10", "r99", "r1_0"])
def test_a_real_that_is_no_value_is_told(tmp_path: Path, value: str) -> None:
    model = load(written(tmp_path / "gate", st=COUNTING))
    (tmp_path / "log.vcd").write_text(f"{HEAD}#0\nr-2 !\n#1\n{value} !\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"log\.vcd:5:1: '?[^ ]* is not a value"):
        explain(model, tmp_path / "log.vcd")


PERIOD = "time: t\nunit: ms\nperiod_ms: 100\ncolumns: {}\n"


@pytest.mark.parametrize(
    ("times", "n_gaps"),
    [
        (["0", "100", "200"], 0),
        (["0", "", "200"], 0),
        (["0", "", "", "300"], 0),
        (["0", "", "300"], 1),
        (["0", "400", "", "", "700"], 1),
        (["", "", "0", "100"], 0),
    ],
)
def test_a_sample_without_its_time_is_no_gap(tmp_path: Path, times: list[str], n_gaps: int) -> None:
    rows = "".join(f"{time},SHUT\n" for time in times)
    found = followed(tmp_path, f"t,gate\n{rows}", PERIOD)
    assert (found.n_rows, found.n_gaps, found.deviation) == (len(times), n_gaps, None)


def test_no_moves_are_allowed_for_what_was_sampled(tmp_path: Path) -> None:
    # Opening takes pressing, leaving the stop and getting there: three moves; and four after
    # which it is shut again. Nothing may happen unseen between samples where none is missing.
    shut, rows = "0,SHUT,FALSE\n", ",OPEN,TRUE\n"
    folder = tmp_path
    model = gate(folder / "gate")
    (folder / "m.yaml").write_text(PERIOD, encoding="utf-8")
    (folder / "a.csv").write_text(f"t,gate,drive\n{shut}{shut[1:]}200{rows}", encoding="utf-8")
    (folder / "b.csv").write_text(f"t,gate,drive\n{shut}{shut[1:]}900{rows}", encoding="utf-8")
    (folder / "c.csv").write_text(f"t,gate,drive\n{shut}{rows}900{rows}", encoding="utf-8")
    mapped = read_mapping(folder / "m.yaml")

    def found(name: str) -> Explained:
        return explain(model, folder / name, mapped, RunClass(), moves_between=1)

    assert found("a.csv").deviation is not None
    assert found("b.csv").deviation is None
    # What is missing may be missing before the sample without a time, too.
    assert found("c.csv").deviation is None


@pytest.mark.parametrize(("cell", "time"), [("1_0", "1"), ("\u0661", "1"), ("10", "1_0")])
def test_a_number_is_one_of_digits(tmp_path: Path, cell: str, time: str) -> None:
    model = load(written(tmp_path / "gate", st=COUNTING))
    (tmp_path / "log.csv").write_text(f"time,level\n0,-2\n{time},{cell}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"log\.csv:3:\d: '.*' is not a"):
        explain(model, tmp_path / "log.csv")


@pytest.mark.parametrize("option", ["--human", "--anywhere", "--faults=1", "--moves=2"])
def test_an_option_that_a_run_file_has_no_use_for_is_refused(
    option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "gate")
    (tmp_path / "run.json").write_text("{}", encoding="utf-8")
    assert run(["replay", str(folder), str(tmp_path / "run.json"), option]) == 2
    said = capsys.readouterr().err
    assert f"{option.partition('=')[0]} has no meaning for a run file" in said
