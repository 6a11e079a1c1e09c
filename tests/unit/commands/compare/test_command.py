"""``interlock compare`` as a user meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.known.test_between_scans import LINE, ONE_BY_ONE, SEEN, STATIONS
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.models import MODELS

LAMP = "lamp := shut AND NOT drive;"
HOSTILE = "</td><script>alert(1)</script> | `x` *y*"


def gates(folder: Path, new_st: str = GATE_ST, new_yaml: str = GATE_YAML) -> list[str]:
    """Folders of the gate and of its change."""
    old = written(folder / "old")
    return ["compare", str(old), str(written(folder / "new", new_yaml, new_st))]


def test_what_came_with_a_block_instance_is_told_as_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    block = (
        "FUNCTION_BLOCK Held VAR_INPUT on : BOOL; END_VAR VAR_OUTPUT free : BOOL := TRUE; END_VAR\n"
        "free := NOT on;\nEND_FUNCTION_BLOCK\n"
    )
    declared = "drive, lamp : BOOL; END_VAR"
    apart = block + GATE_ST.replace(LAMP, "holds(on := drive);\nlamp := shut AND holds.free;")
    apart = apart.replace(declared, f"{declared}\nVAR holds : Held; END_VAR")
    assert run([*gates(tmp_path, apart), "--plain"]) == 0
    shown = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    start = shown.index("declaration holds added declared holds.on : BOOL")
    assert shown[start + 1] == "holds.free : BOOL := TRUE"
    start = shown.index("statement holds added holds.on := drive")
    assert shown[start + 1] == "holds.free := NOT holds.on"


def test_no_requirement_worse_is_zero_also_where_an_output_differs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    declared = "drive, lamp : BOOL; END_VAR"
    late = GATE_ST.replace(LAMP, "lamp := shut AND NOT drive AND awake;\nawake := TRUE;")
    late = late.replace(declared, f"{declared}\nVAR awake : BOOL; END_VAR")
    assert run([*gates(tmp_path, late), "--plain"]) == 0
    told = capsys.readouterr().out
    assert "differs after 1 step: lamp (old on, new off)" in told
    assert "equal over everything reachable: drive" in told


def test_a_worse_requirement_is_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lying = GATE_ST.replace(LAMP, "lamp := NOT drive;")
    assert run([*gates(tmp_path, lying), "--plain"]) == 1
    assert "Worse in the new model: R1." in capsys.readouterr().out


def test_a_mistake_in_either_model_is_two(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(gates(tmp_path, GATE_ST.replace("pressed;", "presed;"))) == 2
    assert "did you mean 'pressed'?" in capsys.readouterr().err


def test_a_limit_leaves_it_undecided(tmp_path: Path) -> None:
    assert run([*gates(tmp_path), "--max-states", "2", "--plain"]) == 3


def test_an_unknown_engine_is_refused_with_the_nearest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*gates(tmp_path), "--engine", "enumerat"]) == 2
    assert "did you mean 'enumerate'?" in capsys.readouterr().err


def test_json_on_standard_output_is_json_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*gates(tmp_path), "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["outcome"] == "holds"
    assert {o["likeness"] for o in data["lockstep"]["outputs"]} == {
        "equal over everything reachable"
    }


def test_the_statement_is_the_same_bytes_twice_and_carries_the_inputs_checksums(
    tmp_path: Path,
) -> None:
    args = ["compare", str(MODELS / "ramp"), str(MODELS / "ramp-broken" / "pin-alone")]
    for name in ("a", "b"):
        assert run([*args, "-o", str(tmp_path / name), "--plain"]) == 1
    for file in ("impact.md", "impact.html", "impact.json"):
        one, two = ((tmp_path / name / file).read_bytes() for name in ("a", "b"))
        assert one == two
        assert str(tmp_path).encode() not in one
    data = json.loads((tmp_path / "a" / "impact.json").read_text(encoding="utf-8"))
    files = [entry["file"] for entry in data["new"]["inputs"]]
    own = ["pin-alone/controller.st", "pin-alone/model.yaml"]
    assert files == [*own, "ramp/mimic.svg", "ramp/model.yaml"]
    page = (tmp_path / "a" / "impact.html").read_text(encoding="utf-8")
    assert all(entry["sha256"] in page for entry in data["new"]["inputs"])


def test_what_a_model_says_cannot_become_part_of_the_page(tmp_path: Path) -> None:
    says = HOSTILE.replace("'", "''")
    yaml = GATE_YAML.replace("caught in the gate", f"'{says}'").replace(
        "the lamp tells the truth", f"'{says}'"
    )
    lying = GATE_ST.replace(LAMP, "lamp := NOT drive;")
    assert run([*gates(tmp_path, lying, yaml), "-o", str(tmp_path / "out"), "--plain"]) == 1
    page = (tmp_path / "out" / "impact.html").read_text(encoding="utf-8")
    text = (tmp_path / "out" / "impact.md").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "src=" not in page
    assert "\\<script\\>" in text
    rows = [line for line in text.splitlines() if "script" in line]
    assert rows
    assert all("\\| \\`x\\` \\*y\\*" in row for row in rows)


def test_faults_are_looked_at_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Old: a lamp that is never lit cannot lie. New: with its switch stuck shut it does.
    dark = written(tmp_path / "dark", st=GATE_ST.replace(LAMP, "lamp := FALSE;"))
    args = ["compare", str(dark), str(written(tmp_path / "lit")), "--plain"]
    run([*args, "--fault", "F2"])
    assert "now broken by" not in capsys.readouterr().out
    run([*args, "--fault", "F2", "--fault", "F1", "--json", str(tmp_path / "out.json")])
    assert "now broken by F1" in capsys.readouterr().out
    data = json.loads((tmp_path / "out.json").read_text("utf-8"))
    assert data["faults"] == ["F2", "F1"]


def test_a_fault_that_neither_model_has_is_refused_with_the_nearest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*gates(tmp_path), "--fault", "F11"]) == 2
    assert "no fault 'F11'; did you mean 'F1'?" in capsys.readouterr().err


def test_every_result_ends_with_what_was_not_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    claims = GATE_YAML.replace("judged: after scan", "judged: after scan, survives: 1")
    claims += "assumptions: [nobody climbs over]\n"
    args = gates(tmp_path, new_yaml=claims)
    assert run([*args, "-o", str(tmp_path / "out"), "--plain"]) == 0
    text = capsys.readouterr().out
    page, paper = (
        (tmp_path / "out" / f"impact.{kind}").read_text("utf-8") for kind in ("html", "md")
    )
    data = json.loads((tmp_path / "out" / "impact.json").read_text("utf-8"))
    assert list(data)[-1] == "not_looked_at"
    for told in (text, page, paper):
        end = " ".join(told.split("What was not looked at")[-1].split())
        for part in ("Component faults", "Claims to survive faults", "R1", "Human errors", "Timing",
                     "Assumptions", "1 came or went", "procedures"):  # fmt: skip
            assert part in end, part
    ends = [sentence.split(":")[0] for sentence in data["not_looked_at"]]
    assert ends[:5] == ["Component faults", "Claims to survive faults were not judged ('--faults "
                        "claimed' does)", "Human errors", "Timing", "Assumptions"]  # fmt: skip


def test_a_weaker_requirement_is_told_with_what_became_of_the_old_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weaker = GATE_YAML.replace("when: lamp, always", "when: lamp AND gate = SHUT, always")
    assert run([*gates(tmp_path, new_yaml=weaker), "--plain"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "1 of" not in told
    assert "another statement" in told
    lying = GATE_ST.replace(LAMP, "lamp := NOT drive;")
    args = [*gates(tmp_path, lying, weaker), "-o", str(tmp_path / "out"), "--json", "-"]
    assert run(args) == 1
    (r1,) = (r for r in json.loads(capsys.readouterr().out)["requirements"] if r["id"] == "R1")
    assert r1["former"]["says"] == "the old statement is violated on the new model"
    assert r1["former"]["on_the_new_model"]["run"]
    for kind in ("html", "md"):
        page = (tmp_path / "out" / f"impact.{kind}").read_text("utf-8")
        assert "R1 as it was, in the new model: a shortest run" in page


def test_a_newly_possible_move_is_told_as_that_of_who_makes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forced = GATE_YAML.replace(
        "when: drive, says: the gate is open}",
        "when: drive, says: the gate is open}\n"
        "      - {from: SHUT, to: OPEN, by: operator, says: forces it}",
    )
    run([*gates(tmp_path, new_yaml=forced), "-o", str(tmp_path / "out"), "--plain"])
    told = " ".join(capsys.readouterr().out.split())
    assert "newly possible for the operator: gate: SHUT to OPEN" in told
    page = (tmp_path / "out" / "impact.md").read_text("utf-8")
    assert "gate: SHUT to OPEN: newly possible for the operator" in page


def test_the_ledger_tells_what_leans_on_an_assumption_that_it_did_not_need(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    moves = [f"      - {{from: p{n}, to: p{n + 1}, name: on {n}}}" for n in range(STATIONS - 1)]
    yaml = ONE_BY_ONE + LINE.replace("MOVES", "\n".join(moves))
    kept = [line for line in yaml.splitlines() if not line.startswith(("  R1:", "  R2:"))]
    yaml = "\n".join(kept) + "\n"
    along = ", also: {carriage: 'SEL(carriage = p0, carriage, p2)'}"
    assert along in yaml
    old = written(tmp_path / "old", yaml.replace(along, ""), SEEN)
    new = written(tmp_path / "new", yaml, SEEN)
    arguments = ["compare", str(old), str(new), "--plain", "--faults", "none"]
    assert run(arguments) == 0
    assert "leans on" not in capsys.readouterr().out
    assert run([*arguments, "--ledger", "-o", str(tmp_path / "impact")]) == 0
    said = (
        "R3 leans on an assumption that it did not need before: OLD holds with 'each once' between "
        "two scans; NEW does not: it falls in 3 steps."
    )
    assert said in " ".join(capsys.readouterr().out.split())
    assert "R3 leans on an assumption" in (tmp_path / "impact" / "impact.md").read_text()
    data = json.loads((tmp_path / "impact" / "impact.json").read_text())["ledgers"]
    assert data["newly_leaning"] == ["R3"]
    assert [one["with"] for one in data["old"]["requirements"]] == ["any number", "any number"]
    late = "OLD holds with values one scan old; NEW does not: it falls in 5 steps."
    assert late in (tmp_path / "impact" / "impact.md").read_text()
