"""The period of the scan from the program's task, and timers counted because ET is read."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.model.model import Model
from interlock.st.layout import Timers

_PROGRAM = """PROGRAM m
VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR t : TON; END_VAR
t(IN := a, PT := T#90ms); q := {};
END_PROGRAM
CONFIGURATION c
TASK slow (INTERVAL := T#30ms, PRIORITY := 1);
PROGRAM p WITH slow : m;
END_CONFIGURATION
"""


def _loaded(folder: Path, run: str, q: str = "t.Q") -> Model:
    (folder / "p.st").write_text(_PROGRAM.format(q))
    text = f"title: T\ncontroller: p.st\n{run}requirements:\n  R: {{says: s, never: q}}\n"
    (folder / "model.yaml").write_text(text)
    return load(folder)


def _notes(model: Model) -> list[str]:
    assert model.project is not None
    return [note.says for note in model.project.notes]


def test_the_interval_of_the_task_is_the_period_of_the_scan_and_told(tmp_path: Path) -> None:
    model = _loaded(tmp_path, "")
    assert model.settings.scan_ms == 30
    assert "the scan's period is the interval of its task: 30 ms" in _notes(model)


def test_the_same_period_in_the_model_is_no_contradiction(tmp_path: Path) -> None:
    assert _loaded(tmp_path, "run: {scan_ms: 30}\n").settings.scan_ms == 30


def test_another_period_in_the_model_is_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        _loaded(tmp_path, "run: {scan_ms: 50}\n")
    (mistake,) = refused.value.mistakes
    assert str(mistake.place).endswith("model.yaml:3:16")
    assert mistake.says.startswith("the program's task runs every 30 ms, see ")


def test_timers_are_counted_where_their_time_is_read(tmp_path: Path) -> None:
    model = _loaded(tmp_path, "", "t.ET > T#40ms")
    assert model.settings.timers is Timers.COUNTED
    assert any("timers are counted, in scans of 30 ms" in says for says in _notes(model))
    assert _loaded(tmp_path, "").settings.timers is Timers.FREE


def test_a_model_that_says_free_is_not_overruled(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="ET cannot be read from a free timer"):
        _loaded(tmp_path, "run: {timers: free}\n", "t.ET > T#40ms")


TIME = "run: {{time: {{unit: 10 ms, scan: [{}]}}}}\n"


def test_times_from_scan_to_scan_without_the_interval_of_the_task_are_refused_as_such(
    tmp_path: Path,
) -> None:
    with pytest.raises(InputError) as refused:
        _loaded(tmp_path, TIME.format("40 ms, 60 ms"))
    (mistake,) = refused.value.mistakes
    assert str(mistake.place).endswith("model.yaml:3:33")
    assert mistake.says.startswith("the program's task runs every 30 ms, see ")
    assert "scan_ms" not in mistake.says
    timing = _loaded(tmp_path, TIME.format("20 ms, 40 ms")).timing
    assert timing is not None
    assert (timing.scan_least_ms, timing.scan_greatest_ms) == (20, 40)
