"""``interlock draw`` and ``interlock doctor``."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.pictures import dot
from tests.support.small_models import write_model


@pytest.fixture
def model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return write_model(tmp_path / "gate")


def test_pictures_and_texts_go_to_a_folder_named_after_the_model(
    model: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["draw", str(model)]) == 1
    files = sorted(file.name for file in Path("diagrams/gate").iterdir())
    assert "conversions.svg" in files
    assert "run-G1.gv" in files
    assert "matrix.csv" in files
    assert sorted(Path(line).name for line in capsys.readouterr().out.splitlines()) == files


def test_what_to_draw_and_how_can_be_chosen(model: Path) -> None:
    options = ["--only", "machines", "--format", "png", "--dpi", "60", "--engine", "reference"]
    assert run(["draw", str(model), "-o", "here", *options]) == 0
    files = sorted(file.name for file in Path("here").iterdir())
    assert files == ["machine-bolt.png", "machine-dog.png", "machine-gate.png"]


@pytest.mark.parametrize("assumed", [False, True])
def test_pictures_say_what_was_assumed_in_place_of_what_the_model_says(
    assumed: bool, model: Path
) -> None:
    options = ["--assume", "one in all"] if assumed else []
    assert run(["draw", str(model), "-o", "here", "--format", "gv", *options]) in (0, 1)
    # What depends on nothing that was explored says nothing of it.
    explored = ("conversions.", "permissives-", "matrix.", "run-", "steps-", "side-views.")
    explored += ("timing-",)
    files = [file for file in Path("here").iterdir() if file.name.startswith(explored)]
    assert len(files) == 12
    for file in files:
        words = re.sub(r"<[^>]*>|\s+", " ", html.unescape(file.read_text("utf-8"))).split()
        said = "Assumed: at most one move in all between two scans, in place of 'each once'"
        assert (said in " ".join(words)) == assumed, file.name


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--only", "matrx"], "no picture 'matrx'; did you mean 'matrix'?"),
        (["--engine", "symbollic"], "no engine 'symbollic'; did you mean 'symbolic'?"),
    ],
)
def test_a_wrong_name_is_told_with_the_nearest_one(
    model: Path, options: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["draw", str(model), *options]) == 2
    assert says in capsys.readouterr().err


def test_without_a_program_that_draws_the_texts_are_left(
    model: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(dot, "find_tools", list)
    assert run(["draw", str(model), "-o", "here", "--only", "machines", "--format", "svg"]) == 0
    assert {file.suffix for file in Path("here").iterdir()} == {".gv"}
    said = capsys.readouterr().err
    assert "machine-gate: not drawn (neither graphviz-pure nor dot was found)" in said


def test_a_limit_that_is_hit_is_no_verdict(model: Path) -> None:
    options = ["--only", "runs", "--engine", "enumerate", "--max-states", "2"]
    assert run(["draw", str(model), *options]) == 3


def test_a_saved_run_is_replayed_and_drawn(model: Path, tmp_path: Path) -> None:
    assert run(["verify", str(model), "--only", "G1", "--runs", str(tmp_path / "runs")]) == 1
    saved = tmp_path / "runs" / "G1" / "run.json"
    assert run(["draw", str(model), "--run", str(saved), "-o", "here"]) == 0
    assert {file.name for file in Path("here").iterdir()} == {"steps-run.svg", "timing-run.svg"}
    assert "VIOLATED" in Path("here/steps-run.svg").read_text("utf-8")
    options = ["-o", "less", "--only", "timing"]
    assert run(["draw", str(model), "--run", str(saved), *options]) == 0
    assert [file.name for file in Path("less").iterdir()] == ["timing-run.svg"]


def test_a_saved_run_that_the_model_does_not_allow_is_told_with_its_place(
    model: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    saved = tmp_path / "a.json"
    saved.write_text('{"interlock_run": 1, "model": "gate",\n "moves": ["scan", "scam"]}', "utf-8")
    assert run(["draw", str(model), "--run", str(saved), "-o", "here"]) == 2
    assert "a.json:2:20: move 2: 'scam' is not a move" in capsys.readouterr().err
    assert not Path("here").exists()
    assert run(["draw", str(model), "--run", str(saved), "--only", "matrix"]) == 2
    assert "a saved run has no picture 'matrix'" in capsys.readouterr().err


def test_the_doctor_finds_everything_here(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["doctor"]) == 0
    said = capsys.readouterr().out
    for part in ("engine enumerate: works", "engine symbolic: works", "draws SVG and PNG"):
        assert part in said
    assert said.endswith("ready\n")


def test_the_doctor_misses_what_the_main_job_needs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from interlock.cli import doctor

    monkeypatch.setattr(doctor, "_ESSENTIAL", ("no-such-package-is-there",))
    monkeypatch.setattr(dot, "find_tools", list)
    assert run(["doctor"]) == 2
    said = capsys.readouterr().out
    assert "MISSING no-such-package-is-there: not installed, needed" in said
    assert "absent  drawing: DOT texts only" in said


def test_it_is_said_where_there_is_nothing_to_draw(
    model: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--only", "networks", "--only", "supplies"]
    assert run(["draw", str(model), "-o", "here", *options]) == 0
    assert capsys.readouterr().err == "nothing to draw: the model has no networks, supplies\n"
    assert not Path("here").exists()
