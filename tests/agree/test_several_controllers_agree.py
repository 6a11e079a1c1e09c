"""Models with two controllers against a twin that knows nothing of the product.

`tests.second_opinion.several` was written from the meaning in ``DEVELOPERS.md`` alone and reads the
random models as plain data. Verdicts and the fewest steps of a violation must agree in every class
of faults; each violation is replayed by the product's own judge on the way. ``python -m
tests.bench.several`` compares more. Below, the product is broken on purpose, and the twin notices.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interlock.base.errors import InternalError
from interlock.kernel.expr import TRUE
from interlock.kernel.requirement import Requirement
from interlock.model import build, load, turns
from interlock.model.old_values import OldValues
from tests.second_opinion.several_compared import compare_several, compare_spec
from tests.second_opinion.several_drawn import Move, Program, Spec, drawn

SEEDS, ENGINES = range(36), [["reference"], ["enumerate"], ["symbolic"]]
MOST_STATES = 600
WANTED = {
    "models and classes": 40,
    "with a controller that may stand still": 15,
    "with a timer": 12,
    "with two writers": 10,
    "with a restart": 4,
    "verdicts by reference": 60,
    "verdicts by enumerate": 60,
    "verdicts by symbolic": 60,
    "never, violated": 30,
    "always, kept": 5,
    "leads_to, kept": 15,
    "leads_to, violated": 15,
    "exists, violated": 12,
    "can_still, violated": 10,
}


def test_models_with_two_controllers_agree_with_the_twin(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    found: list[str] = []
    for seed in SEEDS:
        engines = ENGINES[seed % len(ENGINES)]
        found += compare_several(seed, tmp_path / str(seed), counts, MOST_STATES, engines)
    assert not found, "\n".join(found)
    too_few = [f"{counts[w]} of {n}: {w}" for w, n in WANTED.items() if counts[w] < n]
    assert not too_few, "\n".join(too_few)


def _all_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    """Moves wait for a scan also where nobody scans any more."""
    monkeypatch.setattr(build, "turns_of", lambda model, _: turns.turns_of(model, TRUE))


def _in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """What another controller gives is never late."""
    monkeypatch.setattr(load, "usual_age", lambda *_: (0, ""))


def _any_scan(monkeypatch: pytest.MonkeyPatch) -> None:
    """'After scan of a' is after any scan."""
    made = build._Builder.requirement

    def requirement(self: Any, statement: Any) -> Requirement:
        return replace(made(self, statement), after_scan_of=0)

    monkeypatch.setattr(build._Builder, "requirement", requirement)


def _any_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """A late signal grows older, and comes, with the scans of either controller."""
    given = OldValues.noting

    def noting(self: OldValues, move: Any) -> Any:
        for name in self.scans:
            self.scans[name] = move.name if move.name.startswith("scan") else self.scans[name]
        return given(self, move)

    monkeypatch.setattr(OldValues, "noting", noting)


def _no_restart(monkeypatch: pytest.MonkeyPatch) -> None:
    """A restart of one controller restarts none."""
    made = build._Builder._strike

    def strike(self: Any, fault: Any) -> Any:
        return made(
            self, replace(fault, effects=tuple(e for e in fault.effects if not e.kind.restarts))
        )

    monkeypatch.setattr(build._Builder, "_strike", strike)


# A message and what it leads to: b follows a's output, of which it may read an older value.
FOLLOWING = Spec(
    between="any number",
    machines={"m": 2},
    controls=["key"],
    programs={
        "a": Program(["k"], ["x"], False, False, 0, [("x", "k")]),
        "b": Program(["from_a"], ["y"], False, False, 0, [("y", "from_a")]),
    },
    sensors={"k": ("key", None), "from_a": ("x", None)},
    moves=[Move("m", 0, 1, "y", "plant", False)],
    faults=[],
    either="",
    requirements=[{"pattern": "never", "judged": "b", "p": ("and", "x", ("not", "y")), "s": 1}],
)
# Where each break is noticed; drawn ones were looked for among the first 150.
BREAKS = {
    _all_wait: drawn(14),
    _in_time: FOLLOWING,
    _any_scan: drawn(0),
    _any_reader: drawn(0),
    _no_restart: drawn(60),
}


@pytest.mark.parametrize("broken", BREAKS, ids=lambda broken: broken.__doc__)
def test_a_product_that_means_something_else_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: Callable[[pytest.MonkeyPatch], None]
) -> None:
    def differences() -> list[str]:
        counts: Counter[str] = Counter()
        return compare_spec(BREAKS[broken], "", tmp_path, counts, 2500, ["enumerate"])

    assert not differences()
    broken(monkeypatch)
    # The judge, which was told nothing else, may notice before the twin.
    with suppress(InternalError):
        assert differences()
