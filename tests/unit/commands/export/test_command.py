"""``interlock export`` and ``interlock adopt`` as a user meets them."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.st.load import load_program, load_project
from tests.support.models import MODELS, shipped

RAMP = str(MODELS / "ramp")


@pytest.mark.parametrize("name", ["ramp", "ramp-drawn", "wren", "landing-gear-untimed"])
def test_structured_text_written_anew_means_the_same(name: str, tmp_path: Path) -> None:
    file = tmp_path / "out.st"
    assert run(["export", str(MODELS / name), "--as", "st", "-o", str(file)]) == 0
    text = file.read_text(encoding="utf-8")
    assert load_program(text, "out.st") == shipped(name).program
    assert "(*" not in text


def test_what_is_not_carried_is_told_apart_from_what_is_written(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["export", RAMP, "--as", "scxml"]) == 0
    captured = capsys.readouterr()
    assert captured.out.startswith("<?xml")
    assert "not carried: the controller's program" in captured.err


def test_a_chart_that_went_out_is_taken_over_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chart, plant = tmp_path / "ramp.scxml", tmp_path / "plant.yaml"
    assert run(["export", RAMP, "--as", "scxml", "-o", str(chart)]) == 0
    assert run(["adopt", str(chart), "-o", str(plant)]) == 0
    text = plant.read_text(encoding="utf-8")
    assert 'when: "(pump AND lower_valve) AND pin = out"' in text
    assert "released: NONE" in text


def test_a_chart_that_cannot_be_taken_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chart = tmp_path / "c.scxml"
    chart.write_text("<html/>", encoding="utf-8")
    assert run(["adopt", str(chart), "-o", str(tmp_path / "plant.yaml")]) == 2
    assert "c.scxml:1:1: expected <scxml" in capsys.readouterr().err
    assert not (tmp_path / "plant.yaml").exists()


def test_a_format_that_there_is_not_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["export", RAMP, "--as", "pdf"]) == 2
    assert "scxml" in capsys.readouterr().err


def test_verify_writes_sarif(tmp_path: Path) -> None:
    file = tmp_path / "out.sarif"
    assert run(["verify", RAMP, "--faults", "none", "--plain", "--sarif", str(file)]) == 0
    assert '"version": "2.1.0"' in file.read_text(encoding="utf-8")


def test_a_project_of_several_files_is_written_as_one_that_means_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "program").mkdir()
    block = "FUNCTION_BLOCK Up VAR_OUTPUT n : INT; END_VAR n := n + 1; END_FUNCTION_BLOCK\n"
    main = (
        "VAR_OUTPUT q : BOOL; END_VAR VAR u : Up; s : STRING; END_VAR u(); s := ''; q := u.n > 3;"
    )
    (tmp_path / "program" / "up.st").write_text(block)
    (tmp_path / "program" / "main.st").write_text(main)
    model = "title: Up\ncontroller: program\nrequirements: {R1: {says: no, never: q}}\n"
    (tmp_path / "model.yaml").write_text(model)
    written = tmp_path / "written.st"
    assert run(["export", str(tmp_path), "--as", "st", "-o", str(written)]) == 0
    assert "not carried: in which file each part stands" in capsys.readouterr().err
    text = written.read_text()
    assert text.index("PROGRAM main") < text.index("FUNCTION_BLOCK Up")
    texts = {"main.st": main, "up.st": block}
    again, before = load_project({"written.st": text}), load_project(texts)
    assert (again.program, again.root) == (before.program, before.root)


_LISTS = {
    "gvl.st": "VAR_GLOBAL CONSTANT n : INT := 3; END_VAR\n",
    "main.st": "VAR_OUTPUT q : BOOL; END_VAR VAR k : INT; END_VAR\nk := 4; q := GVL.n < k;",
}


def _of_lists(folder: Path, **changed: str) -> dict[str, str]:
    texts = {name: changed.get(name[:-3], text) for name, text in _LISTS.items()}
    (folder / "program").mkdir()
    for name, text in texts.items():
        (folder / "program" / name).write_text(text)
    model = "title: Up\ncontroller: program\nrequirements: {R1: {says: no, never: q}}\n"
    (folder / "model.yaml").write_text(model)
    return texts


def test_a_project_of_several_files_is_written_as_several_into_a_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = _of_lists(tmp_path)
    folder = tmp_path / "written"
    assert run(["export", str(tmp_path), "--as", "st", "-o", str(folder)]) == 0
    assert "in which file" not in capsys.readouterr().err
    written = {file.name: file.read_text() for file in folder.iterdir()}
    assert written.keys() == texts.keys()
    assert load_project(written).program == load_project(texts).program
    assert "GVL.n" in written["main.st"]


def test_in_one_text_globals_go_without_the_names_of_their_lists(tmp_path: Path) -> None:
    texts = _of_lists(tmp_path)
    written = tmp_path / "written.st"
    assert run(["export", str(tmp_path), "--as", "st", "-o", str(written)]) == 0
    text = written.read_text()
    assert "GVL" not in text
    assert load_project({"written.st": text}).program == load_project(texts).program


def test_names_that_mean_something_else_in_one_text_are_no_export(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main = "VAR_OUTPUT q : BOOL; END_VAR VAR n : INT; END_VAR\nn := 4; q := GVL.n < n;"
    _of_lists(tmp_path, main=main)
    assert run(["export", str(tmp_path), "--as", "st"]) == 2
    told = capsys.readouterr()
    assert not told.out
    assert "do not mean the same in one text; name a folder with -o" in told.err


def test_programs_that_a_configuration_starts_are_written_as_they_stand(tmp_path: Path) -> None:
    (tmp_path / "main.st").write_text(
        "PROGRAM A VAR_OUTPUT q : BOOL; END_VAR q := TRUE; END_PROGRAM\n"
        "PROGRAM B VAR_OUTPUT r : BOOL; END_VAR r := TRUE; END_PROGRAM\n"
        "CONFIGURATION c RESOURCE r ON u TASK t(INTERVAL := T#10ms); PROGRAM one WITH t : A;\n"
        "PROGRAM two WITH t : B; END_RESOURCE END_CONFIGURATION\n"
    )
    requirements = "requirements: {R1: {says: always on, always: one_q AND two_r}}"
    (tmp_path / "model.yaml").write_text(f"title: Two\ncontroller: main.st\n{requirements}\n")
    written = tmp_path / "written.st"
    assert run(["export", str(tmp_path), "--as", "st", "-o", str(written)]) == 0
    assert "PROGRAM two WITH t : B;" in written.read_text()


def test_no_file_of_the_model_is_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    model = tmp_path / "m"
    (model / "program").mkdir(parents=True)
    texts = {
        "program/main.st": "PROGRAM Main VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        "VAR l : Latch; END_VAR l(s := a, q => q); (* kept *) END_PROGRAM\n",
        "program/latch.st": "FUNCTION_BLOCK Latch VAR_INPUT s : BOOL; END_VAR\n"
        "VAR_OUTPUT q : BOOL; END_VAR q := s; END_FUNCTION_BLOCK\n",
        "model.yaml": "title: A latch\ncontroller: program\nrequirements:\n"
        "  R1: {says: it shows, exists: q}\n",
    }
    for name, text in texts.items():
        (model / name).write_text(text, encoding="utf-8")
    ways = (("xml", "program/main.st"), ("st", "program"), ("scxml", "model.yaml"))
    for format_, output in ways:
        assert run(["export", str(model), "--as", format_, "-o", str(model / output)]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert "the model itself is read from this file; nothing was written" in line
    assert {name: (model / name).read_text(encoding="utf-8") for name in texts} == texts
