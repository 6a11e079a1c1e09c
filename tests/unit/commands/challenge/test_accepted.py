"""An accepted gap stays with the statement it was accepted for."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError, Place
from interlock.commands.challenge.accepted import accepted_of
from interlock.commands.challenge.defects import Defect, defects_of
from interlock.commands.challenge.gaps_file import AcceptedGap, Gaps
from interlock.model.model import Model
from tests.support.gate import gate

PLAIN = "lamp := shut AND NOT drive;"
HERE = Place("gaps.yaml", 1, 1)
FIRST = "IF pressed THEN lamp := shut AND drive; END_IF;"
SECOND = "IF NOT pressed THEN lamp := shut AND NOT drive; END_IF;"


def program(folder: Path, *statements: str) -> Model:
    return gate(folder, (PLAIN, "\n".join(statements)))


def meant(model: Model, at: str, told: str) -> Defect:
    """The defect that an entry of this name speaks of."""
    defects = {defect.id: defect for defect in defects_of(model)}
    (id_,) = accepted_of(Gaps((AcceptedGap(at, HERE, told, HERE, "because"),)), defects.values())
    return defects[id_]


def dropping_shut(model: Model) -> list[Defect]:
    return [d for d in defects_of(model) if d.at == "lamp" and d.says == "drop term shut"]


def test_what_fits_several_statements_is_told_with_its_own(tmp_path: Path) -> None:
    one, other = dropping_shut(program(tmp_path, FIRST, SECOND))
    assert one.told == "drop term shut in IF pressed THEN lamp := shut AND drive"
    assert other.told == "drop term shut in IF NOT pressed THEN lamp := shut AND NOT drive"


def test_an_accepted_gap_follows_its_statement(tmp_path: Path) -> None:
    accepted = dropping_shut(program(tmp_path / "a", FIRST, SECOND))[1]
    moved = program(tmp_path / "b", SECOND, FIRST)
    assert meant(moved, accepted.at, accepted.told) == dropping_shut(moved)[0]


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param([FIRST.replace("pressed", "drive"), SECOND], id="under another condition"),
        pytest.param([FIRST.replace("AND drive", "OR drive"), SECOND], id="another statement"),
        pytest.param([SECOND], id="one of them is gone"),
        pytest.param([PLAIN, SECOND], id="another one came"),
    ],
)
def test_an_accepted_gap_never_slides_to_another_statement(
    tmp_path: Path, changed: list[str]
) -> None:
    accepted = dropping_shut(program(tmp_path / "a", FIRST, SECOND))[0]
    with pytest.raises(InputError, match="'lamp' has no defect 'drop term shut in IF pressed"):
        meant(program(tmp_path / "b", *changed), accepted.at, accepted.told)


def test_what_was_accepted_of_the_only_statement_is_not_of_one_of_two(tmp_path: Path) -> None:
    (accepted,) = dropping_shut(program(tmp_path / "a", PLAIN))
    assert accepted.told == "drop term shut"
    # The words still occur once only, in a statement that nobody looked at.
    with pytest.raises(InputError, match="'lamp' has no defect 'drop term shut'"):
        meant(program(tmp_path / "b", "lamp := drive;", FIRST), accepted.at, accepted.told)


def test_the_same_words_twice_in_one_statement_hold_for_that_statement_only(
    tmp_path: Path,
) -> None:
    twice = "lamp := (shut AND drive) OR (shut AND NOT pressed);"
    one, other = dropping_shut(program(tmp_path / "a", twice))
    assert one.told.endswith("(1 of 2)")
    assert other.told == (
        "drop term shut in lamp := shut AND drive OR shut AND NOT pressed (2 of 2)"
    )
    for text in (
        "lamp := (shut AND seen) OR (shut AND drive) OR (shut AND NOT pressed);",
        "lamp := (shut AND NOT pressed) OR (shut AND drive);",
    ):
        changed = gate(
            tmp_path / str(len(text)),
            (PLAIN, text),
            ("VAR_OUTPUT drive", "VAR seen : BOOL; END_VAR\nVAR_OUTPUT drive"),
        )
        with pytest.raises(InputError, match="'lamp' has no defect"):
            meant(changed, other.at, other.told)


def test_what_is_changed_is_named_as_it_stands_in_the_program(tmp_path: Path) -> None:
    model = program(tmp_path, FIRST)
    names = {d.at for d in defects_of(model) if d.place.line == 5}
    assert "IF pressed" in names
    assert not any(name.startswith("IF TRUE") for name in names)
