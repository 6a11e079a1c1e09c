"""Programs in the manner of many people and environments: each loads, or one line says why not.

Those that load are executed as written and as lowered, on random inputs, and must agree.
"""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import Loaded, load_project
from interlock.st.number_line import LIMIT
from interlock.st.typed import Declared
from interlock.st.types import BitsType, EnumType, IntType, span_of

FILES = sorted((Path(__file__).parents[2] / "programs").glob("*.st"))

REFUSED = {
    "fb_init": "33:18: values in brackets behind a type are not supported; write := (…)",
    "label": "17:1: jumps and labels are not supported",
    "noheader": "2:4: nothing is declared: write VAR … END_VAR with start, stop, pump, high",
    "section": "4:17: type 'EBOOL' is not declared; did you mean 'BOOL'?",
    "types_only": "1:1: there is no PROGRAM and no FUNCTION_BLOCK in it",
}
LOADED = [file for file in FILES if file.stem not in REFUSED]
# Read, but no text for a scan: a pointer that nobody gives, code and types of other files.
NOT_EXECUTED = frozenset(("axis_blocks", "checksum", "pointer", "unknown_function"))
# Part of these is taken as any value: no text says which, see test_any_values.
ANY_VALUES = frozenset(("filter", "irrigation", "lowpass", "pid", "setpoint", "stringcmp"))
EXECUTED = [file for file in LOADED if file.stem not in NOT_EXECUTED | ANY_VALUES]


def _load(file: Path) -> Loaded:
    return load_project({file.name: file.read_text("utf-8")})


@pytest.mark.parametrize("stem", sorted(REFUSED))
def test_what_cannot_be_read_is_refused_in_one_line(stem: str) -> None:
    (file,) = [file for file in FILES if file.stem == stem]
    with pytest.raises(InputError) as caught:
        _load(file)
    assert f"{file.name}:{REFUSED[stem]}" in str(caught.value.mistakes[0])
    assert "\n" not in str(caught.value.mistakes[0])


def test_most_programs_load() -> None:
    assert len(LOADED) >= 0.7 * len(FILES)
    assert set(REFUSED) <= {file.stem for file in FILES}


@pytest.mark.parametrize("file", LOADED, ids=lambda file: file.stem)
def test_only_what_mixes_inputs_is_taken_as_any_value(file: Path) -> None:
    told = any(one.says for one in _load(file).program.any_values)
    assert told is (file.stem in ANY_VALUES)


@pytest.mark.parametrize("stem", sorted(NOT_EXECUTED))
def test_what_is_not_executed_as_written_cannot_be(stem: str) -> None:
    (file,) = [file for file in FILES if file.stem == stem]
    loaded = _load(file)
    with pytest.raises(InputError):
        DirectController(loaded.files, loaded.root, Settings()).scan({})


@pytest.mark.parametrize("file", EXECUTED, ids=lambda file: file.stem)
def test_a_program_as_written_and_as_checked_agree(file: Path) -> None:
    loaded = _load(file)
    counted = Settings(Timers.COUNTED, 1000)
    program = without_idle(without_real_outputs(loaded.program))[0]
    checked = Controller(program, counted)
    written = DirectController(loaded.files, loaded.root, counted)
    reals = {v.name for v in loaded.program.variables if str(v.type) in ("REAL", "LREAL")}
    random = Random(7)
    given = {v.name: random.choice(_both(v, loaded)) for v in loaded.program.inputs}
    for _ in range(200):
        for v in random.sample(loaded.program.inputs, min(2, len(loaded.program.inputs))):
            given[v.name] = random.choice(_both(v, loaded))
        theirs = written.scan({name: as_written for name, (_, as_written) in given.items()})
        ours = checked.scan({name: as_checked for name, (as_checked, _) in given.items()})
        names = ours.outputs.keys() & theirs.outputs.keys() - reals
        assert {n: ours.outputs[n] for n in names} == {n: theirs.outputs[n] for n in names}
        assert _memory(checked, reals).items() <= _memory(written, reals).items()


def _memory(controller: Controller | DirectController, reals: set[str]) -> dict[str, float]:
    """What is remembered, but for REALs and for times, which only the lowering stops.

    What a step's time is compared with is remembered by timers of the lowering only.
    """
    inside = {f"plc.{name}" for name in reals}
    found = {n: v for n, v in controller.values().items() if n not in inside | reals}
    timed = re.compile(r".*(\.ET|\.elapsed_scans|\.T_(seen|\d+\..*))")
    return {n: v for n, v in found.items() if not timed.fullmatch(n)}


def _both(v: Declared, loaded: Loaded) -> list[tuple[int, float]]:
    """Values of an input, each as the checked program takes it and as the written one does."""
    if isinstance(v.type, EnumType) and v.type.name.startswith(f"{v.name} ("):
        return [
            (number, value)
            for number, label in enumerate(v.type.labels)
            for value in _within(label, "INT" in v.type.name)
        ]
    if isinstance(v.type, IntType | BitsType):
        lo, hi = span_of(v.type)
        return [(n, n) for n in {lo, hi, 0, 1, 2, 3, 100, 10000} if lo <= n <= hi]
    return [(n, n) for n in range(2)]


def _within(label: str, is_whole: bool) -> list[float]:
    """Some numbers that a class is said to hold, and its ends."""
    lo, hi = (-32768.0, 32767.0) if is_whole else (-LIMIT, LIMIT)
    limits = re.findall(r"(from|above|up to|below) (\S+)", label)
    if not limits and label != "any":
        return [float(label)]
    for word, text in limits:
        value = float(text)
        inside = abs(value) * 1e-6
        match word:
            case "from":
                lo = value
            case "above":
                lo = value + inside
            case "up to":
                hi = value
            case _:
                hi = value - inside
    found = {lo, hi, lo + (hi - lo) * 0.3, lo + (hi - lo) * 0.8}
    return sorted({round(value) for value in found} if is_whole else found)
