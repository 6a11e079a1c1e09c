"""Every row of the table of what is drawn is so: its example is read, executed, or refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.exchange.constructs import DRAWN
from interlock.exchange.files import load_project
from interlock.st.constructs import Construct, Fate, table
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import Loaded

ROWS = [row for rows in DRAWN.values() for row in rows]
FILE = "example.xml"


def rows(fate: Fate) -> pytest.MarkDecorator:
    chosen = [row for row in ROWS if row.fate is fate]
    return pytest.mark.parametrize("row", chosen, ids=lambda row: row.name)


def read(row: Construct) -> Loaded:
    return load_project({FILE: row.example})


@rows(Fate.TAKEN)
def test_what_is_taken_gives_what_is_stated(row: Construct) -> None:
    loaded = read(row)
    assert row.gives
    inputs = {v.name: 0 for v in loaded.program.inputs}
    for controller in (
        DirectController(loaded.files, loaded.root, Settings()),
        Controller(loaded.program, Settings()),
    ):
        found = controller.scan(inputs).outputs
        assert {name: found[name] for name in row.gives} == dict(row.gives)
    assert not row.told or any(row.told in note.says for note in loaded.notes)


@rows(Fate.LEFT_OUT)
def test_what_is_left_out_is_told_with_its_place(row: Construct) -> None:
    (note,) = [note for note in read(row).notes if row.told in note.says]
    assert note.place.file == FILE


@rows(Fate.REFUSED)
def test_what_is_refused_is_one_mistake_with_its_place(row: Construct) -> None:
    with pytest.raises(InputError) as caught:
        read(row)
    (mistake,) = caught.value.mistakes
    assert row.told in mistake.says
    assert mistake.place.file == FILE


def test_the_documents_have_the_table_as_it_is() -> None:
    text = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"<!-- drawn -->\n(.*?)\n<!-- end of drawn -->", text, re.DOTALL)
    assert shown == table(DRAWN)
