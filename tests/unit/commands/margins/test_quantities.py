"""Each time with another value is the model that a file with this value makes."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.margins.quantities import quantities_of
from interlock.commands.margins.study import margins
from interlock.engines import catalogue
from interlock.kernel.system import System
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.counted_times import TIMES, hoist
from tests.support.gate import written

# Of each span another greatest, so that the least is a time by itself.
APART = {"greatest of a move": 1200, "greatest from scan to scan": 1200}
OTHER = 900
NAMES = {
    "least of a move": "hook: down to up: least",
    "greatest of a move": "hook: down to up: greatest",
    "least of what people do": "key: off to on: least",
    "least from scan to scan": "from scan to scan: least",
    "greatest from scan to scan": "from scan to scan: greatest",
    "delay of a signal": "turned: delay",
    "delay of an output": "drive: delay",
    "TON": "timer on_delay: preset time",
    "TOF": "timer off_delay: preset time",
    "TP": "timer pulse: preset time",
    "within": "R1: within",
    "at_least": "R2: at least",
    "at_most": "R3: at most",
    "every": "R4: every",
    "for, of what stays": "R5: for",
    "for, of what has not come": "R6: for",
}


def built(model: Model) -> tuple[System, dict[str, int | None]]:
    made = build(model)
    return made.system, {id_: r.within for id_, r in made.requirements.items()}


def varied(model: Model, name: str, ms: int) -> Model:
    (quantity,) = [one for one in quantities_of(model) if one.name == name]
    return quantity.other(Fraction(ms))


@pytest.mark.parametrize("kind", TIMES)
def test_another_value_is_as_if_it_were_written(kind: str, tmp_path: Path) -> None:
    model = hoist(tmp_path / "model", "300 ms", APART)
    other = hoist(tmp_path / "other", "300 ms", {**APART, kind: OTHER})
    assert built(varied(model, NAMES[kind], OTHER)) == built(other)
    assert built(model) != built(other)


YAML = """\
title: Two in time
run: {{time: {{unit: 10 ms}}}}
controllers:
  a: {{program: a.st, scan_ms: {a}}}
  b: {{program: b.st, scan: [{least} ms, {greatest} ms]}}
controls: {{key: {{}}}}
sensors:
  k: {{reads: key}}
  late: {{reads: key, age: delay, delay_ms: 60, delay_assumed: true}}
  heard: {{reads: x, age: 0 scans}}
terms: {{}}
requirements:
  R: {{says: b hears what a says, whenever: x, leads_to: y, within: 100 ms}}
"""
A = """\
PROGRAM a
VAR_INPUT k : BOOL; END_VAR
VAR_OUTPUT x : BOOL; END_VAR
VAR n : INT (0..3); t : TON; END_VAR
t(IN := k, PT := T#{preset}ms);
n := (n + 1) MOD 4;
x := n = 1;
END_PROGRAM
"""
B = """\
PROGRAM b
VAR_INPUT heard, late : BOOL; END_VAR
VAR_OUTPUT y, z : BOOL; END_VAR
VAR t : TON; END_VAR
t(IN := late, PT := T#30ms);
z := t.Q;
IF heard THEN y := TRUE; END_IF;
END_PROGRAM
"""
PERIODS = {"a": 100, "least": 60, "greatest": 90, "preset": 40}


def several(folder: Path, **changed: int) -> Path:
    given = {**PERIODS, **changed}
    written(folder, YAML.format(**given))
    (folder / "a.st").write_text(A.format(**given), encoding="utf-8")
    (folder / "b.st").write_text(B, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("key", "name", "ms"),
    [
        ("a", "from scan to scan of a: duration", 70),
        ("least", "from scan to scan of b: least", 20),
        ("greatest", "from scan to scan of b: greatest", 150),
        ("preset", "timer a.t: preset time", 90),
    ],
)
def test_another_value_of_one_of_several_controllers_is_as_if_it_were_written(
    key: str, name: str, ms: int, tmp_path: Path
) -> None:
    model, other = load(several(tmp_path / "a")), load(several(tmp_path / "b", **{key: ms}))
    found = varied(model, name, ms)
    assert built(found) == built(other)
    assert found.timing == other.timing
    assert built(model) != built(other)


# A pulse of one scan of a is missed where b's scans are as far apart: it may begin just behind one.
def test_several_controllers_have_the_edge_where_a_pulse_is_missed(tmp_path: Path) -> None:
    names = "from scan to scan of a: duration", "from scan to scan of b: greatest"
    folder = several(tmp_path)
    found = margins(load(folder), catalogue()["enumerate"](), times=names)
    edges = {one.quantity.name: one for one in found.ranges}
    a, b = (edges[name] for name in names)
    assert (a.down.n_same, a.down.n_other) == (0, 1)
    assert (b.up.n_same, b.up.n_other) == (0, 1)
    for side in (a.down, b.up):
        assert side.found is not None
        assert side.found["R"] == "violated"
    assert b.down.n_other is None
    assert run(["margins", str(folder), "--time", names[1], "--plain"]) == 0
