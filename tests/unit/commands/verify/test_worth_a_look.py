"""`interlock verify` tells what is worth a look, and `--strict` makes it count."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import written
from tests.support.latch import LATCH_ST, LATCH_YAML

SPARE = LATCH_ST.replace("VAR seen", "VAR spare, seen")
SAYS = "the variable 'spare' is never used"
HARMFUL = LATCH_YAML.replace("always: NOT pull,", "always: pull,")


@pytest.fixture
def spare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return written(Path("latch"), LATCH_YAML, SPARE)


def test_it_is_told_with_its_place_and_changes_no_exit_code(
    spare: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(spare), "--plain"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"Worth a look latch/controller.st:4:5: {SAYS}." in said
    assert "None of this is a violation or decides the exit code." in said
    assert "--strict" not in said


def test_where_nothing_is_worth_a_look_nothing_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(written(tmp_path, LATCH_YAML, LATCH_ST)), "--strict"]) == 0
    assert "Worth a look" not in capsys.readouterr().out


def test_only_does_not_hide_it(spare: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(spare), "--plain", "--only", "R2"]) == 0
    assert SAYS in " ".join(capsys.readouterr().out.split())


def test_strict_ends_with_1_and_says_that_it_alone_does(
    spare: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(spare), "--plain", "--strict"]) == 1
    said = capsys.readouterr().out
    assert "Ends with 1 because of --strict alone: one thing is worth a look." in said
    assert "3 holds" in said
    assert "decides the exit code" not in said


def test_strict_says_so_beside_json_that_is_printed(
    spare: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(spare), "--strict", "--json", "-"]) == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["outcome"] == "holds"
    assert "because of --strict alone" in err


@pytest.mark.parametrize(
    ("yaml", "more", "code"),
    [(HARMFUL, [], 1), (LATCH_YAML, ["--max-states", "2"], 3)],
    ids=["violated", "undecided"],
)
def test_strict_changes_nothing_where_something_else_decides(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], yaml: str, more: list[str], code: int
) -> None:
    folder = written(tmp_path / "latch", yaml, SPARE)
    assert run(["verify", str(folder), "--plain", "--strict", *more]) == code
    said = " ".join(capsys.readouterr().out.split())
    assert SAYS in said
    assert "--strict" not in said


def test_a_limit_leaves_open_what_never_occurs_and_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "latch", LATCH_YAML, LATCH_ST)
    assert run(["verify", str(folder), "--plain", "--max-states", "2"]) == 3
    said = " ".join(capsys.readouterr().out.split())
    assert "Worth a look not decided, the limit of states 2 was hit: whether these are" in said
    assert "None of this" not in said


def test_json_lists_it_by_place(spare: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(spare), "--json", "-"]) == 0
    looked = json.loads(capsys.readouterr().out)["worth_a_look"]
    assert looked["undecided"] == []
    (one,) = looked["found"]
    assert one == {
        "kind": "variable never read",
        "file": "latch/controller.st",
        "line": 4,
        "column": 5,
        "says": SAYS,
    }


def test_sarif_has_it_for_review_at_its_place(spare: Path, tmp_path: Path) -> None:
    file = tmp_path / "latch.sarif"
    assert run(["verify", str(spare), "--sarif", str(file)]) == 0
    data = json.loads(file.read_text())["runs"][0]
    (result,) = [r for r in data["results"] if r["ruleId"] == "variable never read"]
    assert (result["kind"], result["level"]) == ("review", "none")
    assert result["message"]["text"] == SAYS
    assert result["locations"][0]["physicalLocation"]["region"] == {
        "startLine": 4,
        "startColumn": 5,
    }
    assert data["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]


def test_the_schema_of_the_standard_accepts_that(spare: Path, tmp_path: Path) -> None:
    """As `test_sarif` does for verdicts."""
    module = pytest.importorskip("pydantic_sarif.model")
    file = tmp_path / "latch.sarif"
    run(["verify", str(spare), "--sarif", str(file)])
    data = json.loads(file.read_text())
    tops = [
        kind
        for kind in vars(module).values()
        if isinstance(kind, type) and {"runs", "version"} <= set(getattr(kind, "model_fields", ()))
    ]
    (top,) = [kind for kind in tops if kind.model_fields["runs"].is_required()]
    back = json.loads(top.model_validate(data).model_dump_json(by_alias=True, exclude_unset=True))
    assert back["runs"][0]["results"] == data["runs"][0]["results"]
