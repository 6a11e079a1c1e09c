"""Procedures are read with every mistake at its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.model.procedures import Procedures, load_procedures
from tests.support.hatch import BY_BUTTON, BY_HAND, hatch
from tests.support.models import MODELS


def read(folder: Path) -> Procedures:
    return load_procedures(load(folder))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("goal: hatch", "goal: hatsch", "1:7: 'hatsch' is not declared; did you mean 'hatch'?"),
        ("goal: hatch", "gaol: hatch", "1:1: 'gaol' is not known here; did you mean 'goal'?"),
        ("who: operator, do", "who: visitor, do", "9:46: expected 'driver' or 'operator'"),
        ("done: hatch = OPEN", "done: pressed", "12:16: 'pressed' is a signal, which may lie"),
        ("done: hatch = OPEN", "done: hatch = OPN", "did you mean 'OPEN'?"),
        ("'bolt: IN to OUT'", "'bolt: IN to OT'", "did you mean 'bolt: IN to OUT'?"),
        ("'bolt: IN to OUT'", "bolt to OT", "'OT' is not a state of bolt; did you mean 'OUT'?"),
        ("'bolt: IN to OUT'", "blot to OUT", "did you mean 'bolt'?"),
        ("'bolt: IN to OUT'", "strain to BENT", "no person brings strain to BENT"),
        ("{button: 'TRUE'}", "{buton: 'TRUE'}", "11:82: 'buton' is not a control; did you mean"),
        ("{button: 'TRUE'}", "{button: 'FALSE'}", "button cannot be held in FALSE"),
        ("{button: 'TRUE'}", "{bypass: 'YES'}", "bypass cannot be held in YES: no spring"),
        ("[3, 5]", "[5, 3]", "the least duration is longer than the greatest"),
        ("[3, 5]", "[3]", "at least 2 of them"),
        ("[3, 5]", "[3, many]", "expected a number, not 'many'"),
        ("[3, 5], assumed: true", "[3, 5]", "12:59: a duration needs its 'source'"),
        ("id: open", "id: draw", "11:14: the step 'draw' is given twice"),
        ("procedures:\n", "procedure:\n", "'procedure' is not known here"),
    ],
)
def test_a_mistake_is_one_line_with_its_place(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    folder = hatch(tmp_path / "hatch")
    assert old in BY_BUTTON
    (folder / "procedures.yaml").write_text(BY_BUTTON.replace(old, new))
    with pytest.raises(InputError) as caught:
        read(folder)
    lines = str(caught.value).splitlines()
    assert any(said in line for line in lines), lines
    assert all(line.startswith(f"{folder / 'procedures.yaml'}:") for line in lines)


def test_without_a_file_the_message_names_it(tmp_path: Path) -> None:
    folder = hatch(tmp_path / "hatch")
    (folder / "procedures.yaml").unlink()
    with pytest.raises(InputError, match=r"procedures\.yaml:1:1: no such file"):
        read(folder)


def test_every_mistake_is_told_at_once(tmp_path: Path) -> None:
    folder = hatch(tmp_path / "hatch", BY_BUTTON, ("[3, 5]", "[5, 3]"), ("bolt: IN to OUT", "x"))
    with pytest.raises(InputError) as caught:
        read(folder)
    assert len(caught.value.mistakes) == 2


def test_a_revision_without_procedures_has_those_of_what_it_revises() -> None:
    found = read(MODELS / "ramp-broken" / "pin-alone")
    assert list(found.procedures) == list(read(MODELS / "ramp").procedures)


def test_machine_to_state_takes_peoples_moves_and_keeps_errors_apart(tmp_path: Path) -> None:
    procedure = read(hatch(tmp_path / "hatch", BY_HAND)).procedures["by_hand"]
    (action,) = procedure.steps[1].actions
    assert action.moves == ("hatch: SHUT to OPEN (2)",)
    assert action.errors == ("hatch: SHUT to OPEN (3)",)
