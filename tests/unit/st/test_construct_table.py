"""Every row of the table of constructs is so: its example is read, executed, or refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.kernel.evaluate import evaluate
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, FUNCTIONS
from interlock.st.constructs import CONSTRUCTS, Construct, Fate, table
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import Loaded, load_project
from interlock.st.lower import lower_program
from interlock.st.words import INTEGER_TYPES, OTHER_TYPES, SECTIONS, SOFT_PARTS, SOFT_UNITS, UNITS

ROWS = [row for rows in CONSTRUCTS.values() for row in rows]
FILE = "example.st"
# The time of a step is a number only where timers are counted.
_COUNTED = Settings(Timers.COUNTED, 10)


def rows(fate: Fate) -> pytest.MarkDecorator:
    chosen = [row for row in ROWS if row.fate is fate]
    return pytest.mark.parametrize("row", chosen, ids=lambda row: row.name)


def read(row: Construct) -> Loaded:
    return load_project({FILE: row.example})


def scanned(loaded: Loaded) -> list[tuple[dict[str, float], list[str]]]:
    """Values and flaws behind one scan: as written, as scalars, and of the lowered system."""
    inputs = {v.name: 0 for v in loaded.program.inputs}
    direct = DirectController(loaded.files, loaded.root, _COUNTED)
    met = direct.scan(inputs)
    found = [({**direct.values(), **met.outputs}, [m.says for m in met.defects])]
    scalars = Controller(loaded.program, _COUNTED)
    result = scalars.scan(inputs)
    found.append((dict(result.outputs), [m.says for m in result.defects]))
    lowered = lower_program(loaded.program, _COUNTED)
    env = {v.name: v.initial for v in lowered.variables}
    env |= {f"input.{name}": value for name, value in inputs.items()}
    flaws = [flaw.says for flaw in lowered.flaws if evaluate(flaw.when, env)]
    found.append(({n: evaluate(e, env) for n, e in lowered.updates.items()}, flaws))
    return found


def told_of(loaded: Loaded) -> list[sx.Note]:
    return [note for note in loaded.notes if "no PROGRAM line" not in note.says]


@rows(Fate.TAKEN)
def test_what_is_taken_gives_what_is_stated(row: Construct) -> None:
    loaded = read(row)
    notes = [note.says for note in loaded.notes]
    assert not any("left out" in says for says in notes)
    for values, flaws in scanned(loaded):
        assert {name: values[name] for name in row.gives} == dict(row.gives)
        if row.told:
            assert any(row.told in says for says in [*notes, *flaws])
        else:
            assert not flaws


@rows(Fate.LEFT_OUT)
def test_what_is_left_out_is_told_with_its_place(row: Construct) -> None:
    (note, *_) = [note for note in told_of(read(row)) if row.told in note.says]
    assert note.place.file == FILE


@rows(Fate.REFUSED)
def test_what_is_refused_is_one_mistake_with_its_place(row: Construct) -> None:
    with pytest.raises(InputError) as caught:
        read(row)
    (mistake,) = caught.value.mistakes
    assert row.told in mistake.says
    assert mistake.place.file == FILE


def test_every_word_of_the_language_leads_to_a_row() -> None:
    known = {word.upper() for row in ROWS for word in (row.name, *row.also)}
    words = {*BLOCKS, *FUNCTIONS, *INTEGER_TYPES, *OTHER_TYPES}
    words |= {*SECTIONS, *UNITS, *SOFT_UNITS, *SOFT_PARTS}
    assert words - known == set()


def test_no_two_rows_have_one_name() -> None:
    names = [row.name.casefold() for row in ROWS]
    assert len(set(names)) == len(names)


def test_everything_that_is_left_out_is_told_wherever_it_stands() -> None:
    text = """PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR s : STRING; k : INT; END_VAR
    s := 'a';
    s := 'b';
    k := LEN(s);
    q := TRUE; END_PROGRAM"""
    notes = load_project({FILE: text}).notes
    assert [(note.place.line, note.says.partition(":")[0]) for note in notes] == [
        (2, "left out"),
        (3, "left out"),
        (4, "left out"),
    ]


def test_the_documents_have_the_table_as_it_is() -> None:
    text = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")
    (shown,) = re.findall(
        r"<!-- constructs -->\n(.*?)\n<!-- end of constructs -->", text, re.DOTALL
    )
    assert shown == table()
