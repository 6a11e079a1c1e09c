"""Inputs that are large and wrong throughout take time that grows with their size, not more."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from interlock.base.errors import MOST_MISTAKES, InputError
from interlock.st.load import load_program
from tests.robust.corpus import MAPPING, right_texts, use
from tests.support.gate import GATE_ST, GATE_YAML
from tests.support.work import work_of

HEAD = GATE_ST.split("drive :=")[0]
SECONDS = 150  # until the process is killed; all together take ten


def program(body: str, declared: str = "") -> str:
    return f"{HEAD.replace('END_VAR', 'END_VAR ' + declared, 1)}{body}\nEND_PROGRAM\n"


def model(old: str, new: str) -> str:
    assert old in GATE_YAML
    return GATE_YAML.replace(old, new, 1)


def names(n: int, letter: str) -> list[str]:
    return [f"{letter}{number:05d}" for number in range(n)]


# What each repeats grows with the number that it is given: kind of input, text.
GROWING: dict[str, tuple[str, Callable[[int], str]]] = {
    "names that are not declared": (
        "gate controller.st",
        lambda n: program(
            "".join(f"{name} := TRUE;\n" for name in names(n, "w")),
            f"VAR {' '.join(f'{name} : BOOL;' for name in names(n, 'v'))} END_VAR",
        ),
    ),
    "keys that are not known": (
        "gate model.yaml",
        lambda n: GATE_YAML + "".join(f"{name}: x\n" for name in names(n, "w")),
    ),
    "terms that are not declared": (
        "gate model.yaml",
        lambda n: model(
            "controls:",
            "terms:\n" + "".join(f"  {name}: w{name}\n" for name in names(n, "v")) + "controls:",
        ),
    ),
    "columns that show nothing": ("log.csv", lambda n: ",".join(names(n, "w")) + "\n"),
    "columns that are mapped and not there": (
        "mapping.yaml",
        lambda n: MAPPING.replace(
            "columns:\n",
            "columns:\n" + "".join(f"  {name}: {{shows: drive}}\n" for name in names(n, "w")),
        ),
    ),
}


@pytest.mark.parametrize("what", GROWING)
def test_twice_as_large_is_about_twice_the_work(what: str, tmp_path: Path) -> None:
    base, make = GROWING[what]
    right = right_texts()
    few, many = make(120), make(240)
    use(right, base, right[base], tmp_path / "model")  # what is only loaded once
    works = [
        work_of(lambda text=text: use(right, base, text, tmp_path / "model"))  # type: ignore[misc]
        for text in (few, many)
    ]
    assert works[1] < 2.5 * works[0], works


LARGE: dict[str, tuple[str, str]] = {
    **{name: (base, make(2_000)) for name, (base, make) in GROWING.items()},
    "a duration": ("gate controller.st", program(f"drive := pressed = T#{'1' * 190_000};")),
    "a fraction": ("gate controller.st", program(f"drive := pressed = T#1.{'1' * 190_000};")),
    "a number": ("gate controller.st", program(f"drive := {'1' * 190_000};")),
    "a number in parts": ("gate controller.st", program(f"drive := {'1_' * 90_000}.5;")),
    "comments in each other": ("gate controller.st", program("(*" * 90_000)),
    "a stamp": ("log.vcd", "$var wire 1 ! drive $end\n$enddefinitions $end\n#" + "1" * 190_000),
    "a stamp of another script": (
        "log.vcd",
        "$var wire 1 ! drive $end\n$enddefinitions $end\n#\u00b2\n",
    ),
    "a value": (
        "log.vcd",
        f"$var wire 1 ! drive $end\n$enddefinitions $end\n#0\nb{'1' * 190_000} !\n",
    ),
    "a time": ("log.csv", f"time_s,drive\n{'1' * 190_000},0\n"),
}
READ = """
import sys
from pathlib import Path
from interlock.base.errors import InputError
from tests.robust.corpus import right_texts, use
from tests.robust.test_growth import LARGE

right = right_texts()
for name, (base, text) in LARGE.items():
    print(name, flush=True)
    try:
        use(right, base, text, Path(sys.argv[1]))
    except InputError as error:
        assert all(len(str(mistake)) < 1000 for mistake in error.mistakes), name
    else:
        raise AssertionError(name)
print("all")
"""


def test_the_largest_are_refused_before_anybody_stops_waiting(tmp_path: Path) -> None:
    command = [sys.executable, "-c", READ, str(tmp_path / "model")]
    try:
        ended = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)
    except subprocess.TimeoutExpired as late:
        said = (late.stdout or b"").decode()
        pytest.fail(f"still at it after {SECONDS} s: {said.splitlines()[-1:]}")
    assert ended.stdout.endswith("all\n"), ended.stdout + ended.stderr


def test_of_a_file_that_is_wrong_throughout_so_many_mistakes_are_told_and_no_more() -> None:
    text = program("".join(f"{name} := TRUE;\n" for name in names(5 * MOST_MISTAKES, "w")))
    with pytest.raises(InputError) as caught:
        load_program(text, "c.st")
    lines = [mistake.place.line for mistake in caught.value.mistakes]
    assert lines == [*range(4, 4 + MOST_MISTAKES), 3 + MOST_MISTAKES]
    last = caught.value.mistakes[-1]
    assert last.says == f"{MOST_MISTAKES} mistakes up to here; mend these first"
