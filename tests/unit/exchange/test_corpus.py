"""Files as different editors export them: each is what a text says, or one line says why not.

Most files stand beside a text of the same name; both are executed on random inputs and must agree.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from interlock.base.errors import InputError
from interlock.exchange.files import load_project
from interlock.model.files import read_text
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import Loaded
from interlock.st.types import BoolType
from interlock.st.write import write_file

FOLDER = Path(__file__).parents[2] / "programs" / "exchange"
FILES = sorted(FOLDER.glob("*.xml"))
REFUSED = {
    "edition": "2:1: the format of IEC 61131-10 is read only where it is built like that of TC6",
    "list": "44:11, PROGRAM Main: Instruction List (IL) is not read; write it in ST, LD or FBD",
    "loop": "91:13, PROGRAM Main, jump 6 (AGAIN): the jump to 'AGAIN' leads back, which is a loop",
    "macro": "43:13, PROGRAM Main, macroStep 2 (M): a macro step is not read",
}
READ = [file for file in FILES if file.stem not in REFUSED]
_COUNTED = Settings(Timers.COUNTED, 1000)


def load(file: Path) -> Loaded:
    """One file of the corpus."""
    return load_project({file.name: read_text(file)})


def test_most_of_the_corpus_is_read() -> None:
    assert len(FILES) >= 22
    assert len(READ) >= 18
    assert {file.stem for file in READ} == {file.stem for file in FOLDER.glob("*.st")}


@pytest.mark.parametrize("stem", sorted(REFUSED))
def test_what_is_not_read_is_refused_in_one_line(stem: str) -> None:
    file = FOLDER / f"{stem}.xml"
    with pytest.raises(InputError) as caught:
        load(file)
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith(f"{file.name}:{REFUSED[stem]}")


@pytest.mark.parametrize("file", READ, ids=lambda file: file.stem)
def test_a_file_does_what_the_text_beside_it_says(file: Path) -> None:
    drawn, text = load(file), load(file.with_suffix(".st"))
    assert {(v.name, v.type) for v in drawn.program.inputs} == {
        (v.name, v.type) for v in text.program.inputs
    }
    drawn_controllers = (
        Controller(drawn.program, _COUNTED),
        DirectController(drawn.files, drawn.root, _COUNTED),
    )
    expected = Controller(text.program, _COUNTED)
    random = Random(3)
    seen = set()
    given = {v.name: 0 for v in drawn.program.inputs}
    for _ in range(400):
        changed = random.choice(drawn.program.inputs)
        is_bool = isinstance(changed.type, BoolType)
        given[changed.name] = random.randint(0, 1) if is_bool else random.randint(-2, 50)
        wanted = expected.scan(given).outputs
        seen.add(tuple(wanted.values()))
        for controller in drawn_controllers:
            assert controller.scan(given).outputs == wanted
    # Outputs that never change would agree with anything.
    assert len(seen) > 1


@pytest.mark.parametrize("file", READ, ids=lambda file: file.stem)
def test_what_was_read_can_be_written_as_text(file: Path) -> None:
    drawn = load(file)
    text = "\n".join(write_file(source) for source in drawn.files)
    assert load_project({"written.st": text}, drawn.root).program == drawn.program
