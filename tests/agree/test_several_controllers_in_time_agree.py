"""Models with two controllers and time against a twin in which time passes tick by tick.

`tests.second_opinion.several_timed` was written from the meaning in ``DEVELOPERS.md`` alone and
reads the random models as plain data. ``python -m tests.bench.several`` compares more. Below,
the product is broken on purpose, and the twin, or the product's own judge, notices.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interlock.base.errors import InternalError
from interlock.kernel.expr import FALSE, Expr
from interlock.model import build, clocks, turns
from interlock.model.timing import Timing
from tests.second_opinion.several_compared import compare_several, compare_spec
from tests.second_opinion.several_drawn import Fault, Move, Program, Spec, drawn, given_time

MOST_STATES = 400
# Of the first seeds those whose models are small enough.
SEEDS = [2, 6, 9, 13, 15, 20, 21, 23, 27, 28]
ENGINES = [["reference"], ["enumerate"], ["symbolic"]]
WANTED = {
    "models and classes": 12,
    "with a controller that may stand still": 4,
    "with a timer": 3,
    "with a delay": 3,
    "violated": 20,
    "kept": 20,
    "bound, kept": 3,
    "bound, violated": 2,
}


def test_two_controllers_in_time_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found: list[str] = []
    for seed in SEEDS:
        engines, folder = ENGINES[seed % len(ENGINES)], tmp_path / str(seed)
        found += compare_several(seed, folder, counts, MOST_STATES, engines, in_time=True)
    assert not found, "\n".join(found)
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)


def _in_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """All controllers scan at power-up, and so in step for ever."""

    def clocked(
        timing: Timing, moves: Any, periods: Any, scans: Sequence[str], stays: Any, *_machines: Any
    ) -> tuple[Any, Any]:
        made = clocks.Clocks(moves, periods, stays)
        first = {scan: periods[scan].counted for scan in scans}
        return made.variables(first), [*map(made.kept_by, moves), made.tick(timing)]

    monkeypatch.setattr(build, "clocked", clocked)


def _waits_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who scans again waits for the least of its time."""

    def is_first_behind(self: Any, made: Any) -> Expr:
        behind: Expr = FALSE if made.name == self.move.name else self.is_first
        return behind

    monkeypatch.setattr(clocks._Clock, "is_first_behind", is_first_behind)


def _one_period(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both scan by the period of the first, for engines and judge alike."""

    def spacing(self: Timing, controller: str) -> Any:
        return replace(self.several[0], controller=controller)

    monkeypatch.setattr(Timing, "spacing", spacing)


def _no_preset(monkeypatch: pytest.MonkeyPatch) -> None:
    """The timer of the second controller has no time of its own."""
    made = clocks.periods_of

    def periods_of(model: Any) -> dict[str, Any]:
        return {n: given for n, given in made(model).items() if n != "b.t elapses"}

    monkeypatch.setattr(build, "periods_of", periods_of)


def _still_a_scan(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a unit of time leads to still follows the scan before."""

    def noting(model: Any, moves: Any) -> list[Any]:
        is_tick = len(moves) == 1
        return list(moves) if is_tick else turns.noting_who_scans(model, moves)

    monkeypatch.setattr(build, "noting_who_scans", noting)


# x is up for a scan of a, 100 ms, and m moves by then; unless a stands still in between.
HALTED = Spec(
    between="each once",
    machines={"m": 2},
    controls=["key"],
    programs={
        "a": Program(
            ["k"], ["x"], False, False, 0, [("l", ("or", "l", "x")), ("x", ("not", "x"))],
            scans_while=("not", "f0"), scan=(100, 100),
        ),
        "b": Program(["k"], ["y"], False, False, 0, [("y", "k")], scan=(100, 100)),
    },
    sensors={"k": ("key", None)},
    moves=[Move("m", 0, 1, "x", "plant", False, (50, 50)), Move("m", 1, 0, 0, "plant", False)],
    faults=[Fault("f0", clears=True)],
    either="",
    requirements=[
        {
            "pattern": "never",
            "judged": "",
            "p": ("and", ("and", "a.l", ("not", "x")), ("m", "=", 0)),
            "s": 1,
        }
    ],
    unit_ms=50,
)  # fmt: skip


def _drawn(seed: int) -> Spec:
    return given_time(drawn(seed), seed)


# Where each is noticed; the drawn ones were looked for among the first 300.
BREAKS = {
    _in_step: _drawn(2),
    _waits_again: HALTED,
    _one_period: _drawn(154),
    _no_preset: _drawn(124),
    _still_a_scan: _drawn(9),
}


@pytest.mark.parametrize("broken", BREAKS, ids=lambda broken: broken.__doc__)
def test_a_product_that_reckons_otherwise_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: Callable[[pytest.MonkeyPatch], None]
) -> None:
    def differences() -> list[str]:
        counts: Counter[str] = Counter()
        return compare_spec(BREAKS[broken], "", tmp_path, counts, 1500, ["enumerate"])

    assert not differences()
    broken(monkeypatch)
    # The judge, which was told nothing else, may notice before the twin.
    with suppress(InternalError):
        assert differences()
