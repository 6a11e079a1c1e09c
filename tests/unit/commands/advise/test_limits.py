"""What a limit left open is never told as 'never'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from interlock.commands.advise.study import advise
from interlock.engines import catalogue
from interlock.kernel.query import Engine, Exploration, Limits, ProgressSink, Query
from interlock.kernel.system import System
from tests.support.gate import gate


@dataclass
class Tiring:
    """Sees one state only from its exploration number `n` on."""

    n: int
    name: str = "tiring"
    n_explored: int = 0
    engine: Engine = field(default_factory=lambda: catalogue()["reference"]())

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """As the reference engine, as long as it is fresh."""
        self.n_explored += 1
        given = Limits(max_states=1) if self.n_explored >= self.n else limits
        return self.engine.explore(system, queries, given, progress)


@pytest.mark.parametrize("n", range(1, 6))
def test_whatever_a_limit_cuts_short_is_not_decided(tmp_path: Path, n: int) -> None:
    # The drive is on against its permissive as soon as the button is pressed.
    model = gate(tmp_path, ("R4: {says", "R5: {says: x, never: gate = OPEN}\n  R4: {says"))
    rested = Tiring(1_000)
    (whole,) = advise(model, rested, ["drive"]).advices
    assert whole.permits_more is not None
    (advice,) = advise(model, Tiring(n), ["drive"]).advices
    if n <= rested.n_explored:
        assert not advice.is_decided
        assert advice.limit or advice.others.undecided
    else:
        assert advice == whole
    assert advice.permissive is None or advice.permits_more == whole.permits_more
