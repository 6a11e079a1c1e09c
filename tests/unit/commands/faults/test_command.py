"""``interlock faults``: what it prints and writes, and its exit codes."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.hoist import HOIST_MODEL, HOIST_PROGRAM
from tests.support.small_models import write_model

PRESSURE_TANK = Path(__file__).parents[4] / "models" / "pressure-tank"
# Every claim holds without the faults that have one channel here.
SOUND = HOIST_MODEL.replace("survives: 1}", "survives: 0}")


@pytest.fixture(autouse=True)
def in_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def model(text: str = HOIST_MODEL) -> str:
    return str(write_model(Path("hoist"), text, HOIST_PROGRAM))


def test_a_claim_that_a_single_fault_breaks_ends_in_exit_1(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", model(), "--order", "2", "--plain"]) == 1
    printed = capsys.readouterr().out
    assert "{FA, FB}: contact a stuck shut; contact b stuck shut" in printed
    assert "{FO} [dangerous]: valve stuck where it is" in printed
    assert "no next scan or move shows anything of them: FR, FS." in printed
    assert "More than 2 faults in one run: undecided." in printed


def test_claims_that_hold_end_in_exit_0_and_common_causes_change_that() -> None:
    assert run(["faults", model(SOUND), "--runs", "0"]) == 0
    assert run(["faults", "hoist", "--runs", "0", "--only", "R1"]) == 0
    assert run(["faults", "hoist", "--runs", "0", "--only", "R1", "--common-cause"]) == 1
    assert run(["faults", "hoist", "--runs", "0", "--only", "R1", "--no-common-cause"]) == 0


def test_a_limit_ends_in_exit_3() -> None:
    assert run(["faults", model(SOUND), "--max-states", "20"]) == 3


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--order", "none"], "expected a whole number from 1, or 'all'; found 'none'"),
        (["--order", "0"], "found '0'"),
        (["--only", "R11"], "no requirement 'R11'; did you mean 'R1'?"),
    ],
)
def test_a_wrong_option_ends_in_exit_2(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["faults", model(), *arguments]) == 2
    assert says in capsys.readouterr().err


def test_trees_and_tables_are_written_and_are_the_same_twice() -> None:
    assert run(["faults", model(), "-o", "first", "--json", "first.json"]) == 1
    assert run(["faults", "hoist", "-o", "second", "--json", "second.json"]) == 1
    names = sorted(file.name for file in Path("first").iterdir())
    assert {"fmea.csv", "fmea.html", "fault-tree-R1.gv", "fault-tree-R3.gv"} <= set(names)
    assert "fault-tree-R5.gv" not in names, "no fault breaks R5"
    for name in names:
        assert Path("first", name).read_bytes() == Path("second", name).read_bytes()
    assert Path("first.json").read_bytes() == Path("second.json").read_bytes()


def test_json_holds_sets_runs_and_what_they_rest_on(capsys: pytest.CaptureFixture[str]) -> None:
    run(["faults", model(), "--json", "-", "--order", "all"])
    data = json.loads(capsys.readouterr().out)
    first = data["requirements"][0]
    assert data["looked_at"] == "any number of faults"
    assert [one["faults"] for one in first["sets"]] == [["FC"], ["FA", "FB"]]
    assert first["survives"] == "1"
    assert first["survives_with_common_causes"] == "0"
    assert "FC strikes" in first["runs"][0]["moves"]
    assert first["figures"]["probability"] == "2.0e-7"
    assert data["without_effect"] == ["FR", "FS"]


def test_the_table_of_effects_has_a_row_for_every_fault_and_why_one_is_excluded() -> None:
    run(["faults", model(), "-o", "out"])
    with Path("out/fmea.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    by_item = {row["item"]: row for row in rows}
    assert list(by_item) == ["FA", "FB", "FC", "FK", "FL", "FO", "FP", "FR", "FS", "FV", "FW", "FX"]
    assert by_item["FA"]["breaks with others"] == "R1 R3 R6"
    assert by_item["FC"]["breaks alone"] == "R1 R3 R6"
    assert by_item["FC"]["harm"] == "dangerous"
    assert by_item["FA"]["detected by"] == "alarm: horn on"
    assert by_item["FL"]["detected by"] == "latent"
    assert by_item["FV"]["figure"] == "1.0e-7/h for 8800 h"
    assert by_item["FV"]["source"] == "assumed"
    assert by_item["FX"]["local effect"] == "excluded: dimensioned by EN 13001 (example)"


def test_text_of_a_model_is_escaped_in_html_and_defused_in_csv() -> None:
    text = HOIST_MODEL.replace("contact a stuck shut", "'=cmd() <script>'")
    assert run(["faults", model(text), "-o", "out"]) == 1
    page = Path("out/fmea.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert "\nFA,'=cmd() <script>," in Path("out/fmea.csv").read_text(encoding="utf-8")


def test_the_published_tree_gives_its_five_sets_and_its_sum(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # NUREG-0492, chapter VIII: structure and figures of the pressure tank.
    assert run(["faults", str(PRESSURE_TANK), "--plain"]) == 0
    printed = capsys.readouterr().out
    for one in ("{K2}", "{T}", "{K1, S}", "{R, S}", "{S, S1}"):
        assert one in printed
    assert "5 sets: 2 of order 1, 3 of order 2" in printed
    assert "sum over the sets             3.5016e-5" in printed
    assert Path("faults/pressure-tank/fault-tree.gv").is_file()


def test_the_order_of_a_tree_is_that_of_the_sets_listed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # NUREG-0492, chapter VIII: two single events and three pairs.
    assert run(["faults", str(PRESSURE_TANK), "--order", "1", "--plain"]) == 0
    printed = capsys.readouterr().out
    assert "{T}" in printed
    assert "{K1, S}" not in printed
    assert "5 sets: 2 of order 1, 3 of order 2; 2 of them listed" in printed


def test_the_exact_figure_is_given_where_digits_are_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", str(PRESSURE_TANK), "--plain", "--digits", "10"]) == 0
    assert "probability of the top event  3.501584875e-5" in capsys.readouterr().out


def test_a_mistake_in_a_tree_has_its_place(capsys: pytest.CaptureFixture[str]) -> None:
    Path("t").mkdir()
    text = (PRESSURE_TANK / "tree.yaml").read_text(encoding="utf-8")
    broken = text.replace("[T, E2]", "[T, E22]").replace("probability: 5e-6", "probability: five")
    Path("t/tree.yaml").write_text(broken, encoding="utf-8")
    assert run(["faults", "t"]) == 2
    said = capsys.readouterr().err
    assert "t/tree.yaml:11:17: 'E22' is not declared; did you mean 'E2'?" in said
    assert "probability: expected a number, 0 or more, found 'five'" in said


def test_a_tree_is_written_as_json_with_its_sets_figures_and_importance(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # NUREG-0492, chapter VIII: structure and figures of the pressure tank.
    arguments = ["faults", str(PRESSURE_TANK), "--digits", "10", "--json"]
    assert run([*arguments, "-"]) == 0
    printed = capsys.readouterr().out
    data = json.loads(printed)
    assert [one["events"] for one in data["sets"]] == [
        ["K2"],
        ["T"],
        ["K1", "S"],
        ["R", "S"],
        ["S", "S1"],
    ]
    assert data["sets"][2] == {
        "events": ["K1", "S"],
        "absent": [],
        "order": 2,
        "says": "Contacts of relay K1 fail to open; Pressure switch S fails to open",
        "probability": 3e-09,
    }
    assert data["n_sets_by_order"] == [0, 2, 3]
    assert data["figures"]["probability"] == 3.501584875e-5
    assert data["figures"]["sum_over_the_sets"] == 3.5016e-5
    assert data["figures"]["upper_bound"] <= 3.5016e-5
    assert data["assumptions"] == ["basic events are independent"]
    assert run([*arguments, "tank.json"]) == 0
    assert Path("tank.json").read_text(encoding="utf-8") == printed
    assert "minimal cut sets" in capsys.readouterr().out


# 2 out of 3 at 0.1: Birnbaum 0.18, P 0.028 (definitions: P(top|e) - P(top|not e)).
VOTING = """top: T
gates: {T: {at_least: 2, of: [A, B, C]}}
events: {A: {probability: 0.1}, B: {probability: 0.1}, C: {probability: 0.1}}
"""
# T cannot occur without A; with B it does not occur, so the tree is not coherent.
EXCEPT = """top: T
gates: {T: {all_of: [A, N]}, N: {not: B}}
events: {A: {says: =SUM(A1), probability: 0.5}, B: {probability: 0.25}}
"""


def tree(text: str) -> str:
    Path("tree").mkdir()
    Path("tree/tree.yaml").write_text(text, encoding="utf-8")
    return "tree"


def test_the_importance_of_each_event_of_a_tree_is_written(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", tree(VOTING), "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["figures"] == {
        "probability": 0.028,
        "sum_over_the_sets": 0.03,
        "upper_bound": 0.029701,
    }
    assert data["importance"][0] == {
        "event": "A",
        "says": "A",
        "probability": 0.1,
        "source": "",
        "if_certain": 0.19,
        "if_impossible": 0.01,
        "birnbaum": 0.18,
        "criticality": 0.64286,
        "fussell_vesely": 0.67857,
        "raw": 6.7857,
        "rrw": 2.8,
        "notes": {},
    }


def test_what_has_no_figure_says_why_and_a_tree_may_need_an_absence(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", tree(EXCEPT), "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["coherent"] is False
    [one] = data["sets"]
    assert (one["events"], one["absent"], one["probability"]) == (["A"], ["B"], 0.375)
    assert data["figures"]["upper_bound"] is None
    assert "not coherent" in data["notes"]["upper_bound"]
    needed = data["importance"][0]
    assert (needed["event"], needed["rrw"]) == ("A", None)
    assert needed["notes"] == {"rrw": "infinite: the top event cannot occur without this event"}


def test_a_tree_is_written_as_csv_with_a_row_for_each_set(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", tree(EXCEPT), "--csv", "-"]) == 0
    assert capsys.readouterr().out == (
        "order,events,absent,words,probability\n2,A,B,'=SUM(A1); not: B,3.7500e-1\n"
    )
    assert run(["faults", str(PRESSURE_TANK), "--csv", "tank.csv"]) == 0
    assert "minimal cut sets" in capsys.readouterr().out
    with Path("tank.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["events"] for row in rows] == ["K2", "T", "K1 S", "R S", "S S1"]
    assert rows[3]["probability"] == "1.0000e-8"


def test_a_tree_is_written_as_the_same_bytes_each_time() -> None:
    written = set()
    for seed in ("1", "2", "3"):
        command = [sys.executable, "-m", "interlock", "faults", str(PRESSURE_TANK)]
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        files = ["--json", f"{seed}.json", "--csv", f"{seed}.csv"]
        subprocess.run([*command, *files], env=environment, check=True, capture_output=True)
        written.add((Path(f"{seed}.json").read_bytes(), Path(f"{seed}.csv").read_bytes()))
    assert len(written) == 1


MEANINGLESS = [
    (["--only", "T"], "--only"),
    (["--common-cause"], "--common-cause"),
    (["--no-common-cause"], "--no-common-cause"),
    (["--human"], "--human"),
    (["--sensors"], "--sensors"),
    (["--no-sensors"], "--no-sensors"),
    (["--runs", "1"], "--runs"),
    (["-j", "1"], "-j"),
    (["--max-states", "9"], "--max-states"),
    (["--max-seconds", "9"], "--max-seconds"),
    (["--max-memory", "9"], "--max-memory"),
]


@pytest.mark.parametrize(("options", "name"), MEANINGLESS)
@pytest.mark.parametrize("given", ["tree", "tree/tree.yaml"])
def test_what_a_tree_has_no_use_for_is_refused_by_name(
    given: str, options: list[str], name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    tree(VOTING)
    assert run(["faults", given, *options]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    said = told.err.strip().split("\n")[-1]
    assert said == f"Error: {name} has no meaning for a fault tree that is given directly"
    assert not Path("faults").exists()


def test_several_options_that_a_tree_has_no_use_for_are_all_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["faults", tree(VOTING), "--human", "--plain", "--only", "T", "-j", "2"]) == 2
    assert "Error: --only, --human and -j have no meaning for a" in capsys.readouterr().err


def test_what_a_tree_has_a_use_for_is_taken(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--order", "2", "--digits", "3", "--plain", "-o", "out", "--json", "j", "--csv", "c"]
    assert run(["faults", tree(VOTING), *options]) == 0
    assert Path("j").is_file()
    assert Path("c").is_file()
    assert Path("out/fault-tree.gv").is_file()


def test_digits_have_no_meaning_for_a_model(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["faults", model(), "--digits", "3"]) == 2
    said = capsys.readouterr().err.strip().split("\n")[-1]
    assert said == "Error: --digits has no meaning for a model; its figures bear two digits"
