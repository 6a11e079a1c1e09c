"""Counters count in the type that their name says, and stop at its limits, in all three meanings.

Source: IEC 61131-3, standard function blocks: counting stops at PVmax and PVmin, the limits of the
type of PV (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from interlock.base.errors import InputError
from interlock.kernel.evaluate import evaluate
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.lower import lower_program

_TEXT = """PROGRAM p
VAR_INPUT up, down, load : BOOL; END_VAR
VAR_OUTPUT n : {type}; q, r : BOOL; END_VAR
VAR c : {block}; END_VAR
c({inputs}PV := {preset}, CV => n); {outputs}
END_PROGRAM
"""


def _scans(text: str, presses: Iterator[dict[str, int]]) -> list[dict[str, int]]:
    """The outputs behind each scan; what three ways of executing disagree on is told."""
    loaded = load_project({"p.st": text})
    settings = Settings()
    direct = DirectController(loaded.files, loaded.root, settings)
    scalars = Controller(loaded.program, settings)
    lowered = lower_program(loaded.program, settings)
    values = {v.name: v.initial for v in lowered.variables}
    found = []
    for inputs in presses:
        outputs = direct.scan(inputs).outputs
        assert scalars.scan(inputs).outputs == outputs
        env = values | {f"input.{name}": value for name, value in inputs.items()}
        values |= {name: evaluate(e, env) for name, e in lowered.updates.items()}
        assert {name: values[name] for name in outputs} == outputs
        found.append(outputs)
    return found


def _presses(key: str, times: int) -> Iterator[dict[str, int]]:
    nothing = {"up": 0, "down": 0, "load": 0}
    yield nothing | {"load": 1}
    for _ in range(times):
        yield nothing
        yield nothing | {key: 1}


_LIMITS = {
    name: (int(limits.min), int(limits.max))
    for name, limits in (
        ("INT", np.iinfo(np.int16)),
        ("DINT", np.iinfo(np.int32)),
        ("UDINT", np.iinfo(np.uint32)),
    )
}


@pytest.mark.parametrize("type_", ["INT", "DINT", "UDINT"])
@pytest.mark.parametrize("block", ["CTUD", "CTD"])
@pytest.mark.parametrize("key", ["up", "down"])
def test_a_counter_stops_at_the_limits_of_its_type(type_: str, block: str, key: str) -> None:
    least, most = _LIMITS[type_]
    near = most - 2 if key == "up" else least + 2
    inputs = "CU := up, CD := down, LD := load, " if block == "CTUD" else "CD := down, LD := load, "
    outputs = "q := c.QU; r := c.QD;" if block == "CTUD" else "r := c.Q;"
    name = block if type_ == "INT" else f"{block}_{type_}"
    text = _TEXT.format(type=type_, block=name, inputs=inputs, preset=near, outputs=outputs)
    counts = [scan["n"] for scan in _scans(text, _presses(key, 4))]
    moves = 0 if block == "CTD" and key == "up" else 1 if key == "up" else -1
    expected = [near]
    for n in range(1, 5):
        reached = min(max(near + n * moves, least), most)
        expected += [expected[-1], reached]
    assert counts == expected


def test_a_counter_of_wider_numbers_reaches_what_no_int_is() -> None:
    text = _TEXT.format(
        type="DINT",
        block="CTU_DINT",
        inputs="CU := up, ",
        preset="40000 + BOOL_TO_INT(load)",
        outputs="q := c.CV < 70000; r := c.Q;",
    )
    first = _scans(text, _presses("up", 2))
    assert [(scan["n"], scan["q"], scan["r"]) for scan in first][-1] == (2, 1, 0)


@pytest.mark.parametrize("block", ["CTU_LINT", "CTUD_ULINT"])
def test_a_count_beyond_what_is_computed_with_is_refused(block: str) -> None:
    given = "CU := up, CD := down, LD := up, " if "CTUD" in block else "CU := up, "
    text = f"""PROGRAM p VAR_INPUT up, down : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR c : {block}; END_VAR
c({given}PV := 9); q := c.CV MOD 3 = 1; END_PROGRAM"""
    program = load_project({"p.st": text}).program
    with pytest.raises(InputError, match=r"p\.st:2:5: 'c' may count .*beyond 2\^62"):
        lower_program(program, Settings())
