"""What a revision inherits, replaces and removes, and where its mistakes are told."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from interlock.model.load import load
from interlock.model.model import Model
from tests.unit.model.malformed import MODEL, PROGRAM


@pytest.fixture
def base(tmp_path: Path) -> Path:
    folder = tmp_path / "base"
    folder.mkdir()
    (folder / "model.yaml").write_text(MODEL)
    (folder / "controller.st").write_text(PROGRAM)
    return folder


def revision(base: Path, text: str, name: str = "changed", of: str = "../base") -> Model:
    folder = base.parent / name
    folder.mkdir(exist_ok=True)
    (folder / "model.yaml").write_text(f"revises: {of}\n{text}")
    return load(folder)


def test_a_revision_without_entries_is_the_model_itself_in_another_folder(base: Path) -> None:
    same, model = revision(base, ""), load(base)
    for part in ("title", "machines", "moves", "sensors", "terms", "statements", "program"):
        assert getattr(same, part) == getattr(model, part)
    assert same.name == "changed"
    assert same.revises is not None
    assert os.path.samefile(same.revises, base)
    assert model.revises is None


def test_an_entry_replaces_the_one_of_its_name_as_a_whole(base: Path) -> None:
    model = revision(
        base, "controls:\n  button: {by: driver}\nsensors:\n  held: {reads: pin = out}\n"
    )
    assert model.machines["button"].says == ""
    assert model.sensors["held"].reads.text == "pin = out"
    assert model.sensors["pin_in"].reads.text == "pin = in"


def test_an_added_entry_stands_behind_the_inherited_ones(base: Path) -> None:
    model = revision(base, "requirements:\n  R0: {says: s, exists: pull}\n")
    assert list(model.statements) == ["R1", "R0"]


def test_null_removes_an_entry_or_a_section(base: Path) -> None:
    model = revision(base, "terms: ~\nhazards: {H1: ~}\n")
    assert not model.terms
    assert not model.hazards


def test_single_values_and_lists_are_replaced(base: Path) -> None:
    first = revision(
        base, "title: changed\nassumptions: [a, b]\nrun: {between_scans: two in all}\n"
    )
    second = revision(base, "assumptions: [c]\n", "again", of="../changed")
    assert (second.title, second.assumptions) == ("changed", ("c",))
    assert str(first.between_scans) == str(second.between_scans) == "two in all"


def test_words_on_the_change_are_not_inherited(base: Path) -> None:
    text = "changes: [one]\nexpected: {violated: R1, vacuous: [R1]}\n"
    first = revision(base, text)
    assert first.changes == ("one",)
    assert (first.expected_violated, first.expected_vacuous) == (("R1",), ("R1",))
    second = revision(base, "", "again", of="../changed")
    assert (second.changes, second.expected_violated, second.expected_vacuous) == ((), (), ())


def test_a_program_of_its_own_takes_the_place_of_the_inherited_one(base: Path) -> None:
    folder = base.parent / "changed"
    folder.mkdir()
    (folder / "own.st").write_text(PROGRAM.replace("pull := held", "pull := FALSE"))
    model = revision(base, "controller: own.st\n")
    assert model.program.place.file.endswith("changed/own.st")
    again = revision(base, "", "again", of="../changed")
    assert again.program.place.file.endswith("changed/own.st")


def test_every_file_that_was_read_is_a_source(base: Path) -> None:
    model = revision(base, "")
    names = sorted(os.path.relpath(name, base.parent) for name in model.sources)
    assert names == ["base/controller.st", "base/model.yaml", "changed/model.yaml"]
    assert MODEL in model.sources.values()


def test_places_lie_in_the_file_that_an_entry_came_from(base: Path) -> None:
    model = revision(base, "requirements:\n  R2: {says: s, never: pull}\n")
    assert model.statements["R2"].place.file.endswith("changed/model.yaml")
    assert model.statements["R2"].place.line == 3
    assert model.statements["R1"].place.file.endswith("base/model.yaml")
    assert model.statements["R1"].place.line == 19


def test_four_revisions_may_stand_on_each_other(base: Path) -> None:
    for number in range(1, 5):
        of = "../base" if number == 1 else f"../r{number - 1}"
        model = revision(base, f"title: r{number}\n", f"r{number}", of=of)
    assert model.title == "r4"


def test_a_folder_behind_a_link_is_found_from_where_the_link_leads(base: Path) -> None:
    revision(base, "title: changed\n")
    deep = base.parent / "a" / "b"
    deep.mkdir(parents=True)
    (deep / "link").symlink_to(base.parent / "changed", target_is_directory=True)
    assert load(deep / "link").title == "changed"
