"""The scaffold works as it stands, and never harms what is there."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS
from interlock.model.load import load

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", ["my-ramp", "null", "2", "NAME", "off"])
def test_a_new_model_verifies_and_holds(name: str, capsys: Capture) -> None:
    assert run(["new", name]) == EXIT_HOLDS
    assert f"interlock verify {name}" in capsys.readouterr().out
    assert load(name).title == name
    assert run(["verify", name, "--engine", "reference", "--plain"]) == EXIT_HOLDS
    shown = capsys.readouterr().out
    assert "5 holds" in shown
    assert "vacuous" not in shown


def test_the_exercise_of_its_readme_ends_in_a_violation(capsys: Capture) -> None:
    run(["new", "ramp"])
    program = Path("ramp/controller.st")
    text = program.read_text()
    assert text.count("ramp_home AND") == 1
    assert "`ramp_home AND`" in Path("ramp/README.md").read_text()
    program.write_text(text.replace("ramp_home AND", ""))
    assert run(["verify", "ramp", "--engine", "reference", "--plain"]) == 1
    assert "R1 violated" in capsys.readouterr().out


def test_the_schema_beside_a_new_model_is_the_current_one() -> None:
    run(["new", "ramp"])
    committed = resources.files("interlock.model").joinpath("model.schema.json")
    assert Path("ramp/model.schema.json").read_text() == committed.read_text("utf-8")
    assert "$schema=model.schema.json" in Path("ramp/model.yaml").read_text()


@pytest.mark.parametrize("file", ["model.yaml", "controller.st", "README.md", "model.schema.json"])
def test_nothing_that_exists_is_overwritten(file: str, capsys: Capture) -> None:
    Path("ramp").mkdir()
    Path("ramp", file).write_text("mine")
    assert run(["new", "ramp"]) == EXIT_BAD_INPUT
    assert capsys.readouterr().err == f"Error: 'ramp/{file}' exists; nothing was written\n"
    assert [p.name for p in Path("ramp").iterdir()] == [file]
    assert Path("ramp", file).read_text() == "mine"


@pytest.mark.parametrize(
    "name", ["a b", "-x", ".hidden", "..", ".", "", "ä", "x" * 61, "no/x", "a\nb"]
)
def test_a_bad_name_is_refused_in_one_line(name: str, capsys: Capture) -> None:
    assert run(["new", "--", name]) == EXIT_BAD_INPUT
    shown = capsys.readouterr().err
    assert shown.startswith("Error: ")
    assert shown.count("\n") == 1
    assert not list(Path().iterdir())


def test_a_file_in_the_way_is_told(capsys: Capture) -> None:
    Path("ramp").touch()
    assert run(["new", "ramp"]) == EXIT_BAD_INPUT
    assert "exists and is no folder" in capsys.readouterr().err
