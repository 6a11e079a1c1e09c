"""Files that are no text, too large, or not there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS
from interlock.model.files import MAX_BYTES, telling_what_is_read
from interlock.model.load import load
from tests.support.gate import GATE_YAML, written
from tests.support.models import MODELS
from tests.unit.model.cases_names import NAMES
from tests.unit.model.cases_shape import SHAPE
from tests.unit.model.cases_text import TEXT
from tests.unit.model.malformed import MODEL, PROGRAM, edited, write


def told(folder: Path) -> str:
    with pytest.raises(InputError) as caught:
        load(folder)
    return str(caught.value)


def test_bytes_that_are_no_utf8_are_told_with_their_place(tmp_path: Path) -> None:
    (tmp_path / "model.yaml").write_bytes(b"title: t\nsays: Stra\xdfe\n")
    assert (
        told(tmp_path)
        == f"{tmp_path}/model.yaml:2:11: not UTF-8 text: byte 0xDF begins no character"
    )


@pytest.mark.parametrize(
    ("encoding", "says"),
    [
        ("cp1252", "not UTF-8: read as Windows-1252 (Latin-1)"),
        ("utf-16", "read as UTF-16"),
        ("utf-8-sig", ""),
    ],
)
def test_a_program_may_be_in_the_encoding_of_its_environment(
    encoding: str, says: str, tmp_path: Path
) -> None:
    write(tmp_path, edited([]))
    text = PROGRAM.replace("END_VAR", "END_VAR (* Größe, façade *)", 1)
    (tmp_path / "controller.st").write_bytes(text.encode(encoding))
    notes = load(tmp_path).project.notes
    assert [note.says for note in notes if "UTF" in note.says] == ([says] if says else [])


def test_a_program_of_bytes_that_are_no_text_is_told_with_its_place(tmp_path: Path) -> None:
    write(tmp_path, edited([]))
    (tmp_path / "controller.st").write_bytes(b"PROGRAM P\n(* \xff\0 *)\n")
    assert f"{tmp_path}/controller.st:2:4: not UTF-8" in told(tmp_path)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "model.yaml").open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    assert "model.yaml:1:1: the file is larger than 2,000,000 bytes" in told(tmp_path)


def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "model.yaml")
    assert "model.yaml:1:1: not a file" in told(tmp_path)


def test_a_folder_that_is_not_there_is_told_with_the_nearest(tmp_path: Path) -> None:
    (tmp_path / "ramp").mkdir()
    assert told(tmp_path / "rmap").endswith(
        f"no such file: {tmp_path}/rmap/model.yaml; did you mean 'ramp'?"
    )


def test_a_folder_without_a_model_is_told(tmp_path: Path) -> None:
    (tmp_path / "model.yml").touch()
    assert told(tmp_path).endswith("did you mean 'model.yml'?")


def test_a_file_in_place_of_the_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "ramp").touch()
    assert "ramp/model.yaml:1:1: no such file" in told(tmp_path / "ramp")


@pytest.mark.parametrize("given", ["gate.st", "program"])
def test_a_program_in_place_of_a_model_is_told_as_one(tmp_path: Path, given: str) -> None:
    (tmp_path / "program").mkdir()
    for file in (tmp_path / "gate.st", tmp_path / "program/gate.ST"):
        file.touch()
    assert told(tmp_path / given).endswith(
        f"; {given} is a program: 'interlock new NAME --program' makes a model for it"
    )


def test_the_model_file_itself_may_be_named(tmp_path: Path) -> None:
    write(tmp_path, edited([]))
    assert load(tmp_path / "model.yaml") == load(tmp_path)


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_every_kind_of_line_end_and_a_byte_order_mark_are_read(tmp_path: Path, end: str) -> None:
    for name, text in (("model.yaml", MODEL), ("controller.st", PROGRAM)):
        data = "\ufeff" + text.replace("\n", end)
        (tmp_path / name).write_bytes(data.encode())
    assert load(tmp_path).statements["R1"].place.line == 19


@pytest.mark.parametrize(
    "case",
    ["an open bracket", "no title", "an unknown name in a folded guard", "revisions in a circle",
     "an escaped control character", "a program that does not parse"],
)  # fmt: skip
def test_the_command_tells_mistakes_in_lines_and_writes_nothing(
    case: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    edits, fragments = {**TEXT, **SHAPE, **NAMES}[case]
    places = write(tmp_path, edited(edits))
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    code = run(["verify", ".", "--engine", "reference", "--json", "out.json", "--junit", "out.xml"])
    shown = capsys.readouterr()
    assert code == EXIT_BAD_INPUT
    assert shown.out == ""
    lines = shown.err.splitlines()
    assert len(lines) == len(fragments)
    assert all(line.startswith(place + ": ") for line, place in zip(lines, places, strict=True))
    assert "Traceback" not in shown.err
    assert sorted(tmp_path.rglob("*")) == before


def test_the_command_verifies_the_small_model(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path, edited([]))
    # pull follows the button one scan later, and R1 is judged after the scan
    assert run(["verify", str(tmp_path), "--engine", "reference", "--plain"]) == EXIT_HOLDS
    assert "1 holds" in capsys.readouterr().out


def what_is_read(folder: Path) -> set[str]:
    """What is told of while a model is read, from its folder; folders by their endings, too."""
    found: set[str] = set()

    def sink(path: Path, endings: tuple[str, ...]) -> None:
        found.add(path.relative_to(folder).as_posix() + ("/*.st" if ".st" in endings else ""))

    with telling_what_is_read(sink):
        load(folder)
    found_inside = set(found)
    load(folder)
    assert found == found_inside
    return found


def test_every_file_that_a_model_is_read_from_is_told() -> None:
    ramp = {"model.yaml", "controller.st", "mimic.svg", "procedures.yaml", "lessons.yaml"}
    assert what_is_read(MODELS / "ramp") == {*ramp, "."}


def test_the_matrix_and_the_folders_of_a_program_are_told(tmp_path: Path) -> None:
    yaml = GATE_YAML.replace(
        "controller: controller.st", "controller: [program]\nmatrix: {file: m.csv}"
    )
    folder = written(tmp_path / "gate", yaml)
    (folder / "program" / "inner").mkdir(parents=True)
    (folder / "controller.st").rename(folder / "program" / "inner" / "controller.st")
    (folder / "m.csv").write_text("cause;drive\npressed;X\n")
    program = {"program", "program/*.st", "program/inner/*.st", "program/inner/controller.st"}
    assert what_is_read(folder) == {"model.yaml", "m.csv", ".", *program}


def test_a_file_that_is_missing_is_told_as_well(tmp_path: Path) -> None:
    read: list[Path] = []
    with telling_what_is_read(lambda path, _endings: read.append(path)):
        told(tmp_path)
    assert read == [tmp_path / "model.yaml"]
