"""How long a step has been active: as written and as timers of the step."""

from __future__ import annotations

from random import Random

import pytest

from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import load_project

_CHART = """PROGRAM m
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT q, r, s : BOOL; END_VAR
VAR CONSTANT long : TIME := T#50ms; END_VAR
INITIAL_STEP one: Look; END_STEP
STEP two: Look; END_STEP
STEP three: Look; END_STEP
TRANSITION FROM one TO two := a AND one.T >= T#20ms; END_TRANSITION
TRANSITION FROM two TO three := two.T > long OR T#35ms <= two.T AND b; END_TRANSITION
TRANSITION FROM two TO one := b; END_TRANSITION
TRANSITION FROM three TO one := {}; END_TRANSITION
ACTION Look: q := two.T < T#30ms; r := one.T >= T#20ms; s := three.T > T#0s; END_ACTION
END_PROGRAM
"""


@pytest.mark.parametrize("last", ["NOT a", "three.T <= T#15ms", "three.T >= T#0ms AND NOT b"])
@pytest.mark.parametrize("scan_ms", [10, 20, 7])
def test_times_of_steps_are_what_their_timers_say(last: str, scan_ms: int) -> None:
    loaded = load_project({"p.st": _CHART.format(last)})
    settings = Settings(Timers.COUNTED, scan_ms)
    checked = Controller(loaded.program, settings)
    written = DirectController(loaded.files, loaded.root, settings)
    random = Random(scan_ms)
    seen = set()
    for _ in range(400):
        given = {"a": int(random.random() < 0.4), "b": int(random.random() < 0.1)}
        outputs = checked.scan(given).outputs
        assert outputs == written.scan(given).outputs
        seen.add(tuple(outputs.items()))
    assert len(seen) >= 4


def test_what_reads_the_time_of_a_step_otherwise_is_left_out() -> None:
    text = _CHART.format("TRUE").replace("END_VAR\nVAR CONSTANT", "t : TIME; END_VAR\nVAR CONSTANT")
    loaded = load_project({"p.st": text.replace("ACTION Look: ", "ACTION Look: t := one.T; ")})
    assert any("the time of a step" in note.says for note in loaded.notes)
    assert [left.name for left in loaded.program.left_out] == ["t"]
