"""Many random models on which all engines, the interpreter and the plant's machines agree.

``python -m tests.agree.many N [SEED]`` draws N models, half of them with faults, and prints what
was compared. On each:

* every engine gives the same verdicts, numbers of states and lengths of shortest runs;
* every violation replays on the ``transitions`` machines with the interpreted program;
* along a random walk, machines and interpreter allow the moves that the kernel system allows
  and come to the same states.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import PHASE, MoveKind, Role, Stepper
from interlock.model.build import Built
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.random_models import RandomModel, random_models

WALK = 25


def check_agreement(folder: Path, given_model: RandomModel, counts: Counter[str]) -> None:
    """Compare everything on one model; what was compared is added to `counts`."""
    (folder / "model.yaml").write_text(given_model.yaml, encoding="utf-8")
    (folder / "controller.st").write_text(given_model.st, encoding="utf-8")
    model = load(folder)
    known: Verification | None = None
    for name, make in sorted(catalogue().items()):
        found = verify(model, make(), given_model.run_class)
        counts[f"verifications by {name}"] += 1
        if known is None:
            known = found
        check_same(known, found)
    assert known is not None
    runs = [f for f in known.findings if f.run is not None]
    counts["models"] += 1
    counts["models with faults"] += bool(given_model.run_class.faults)
    counts["states"] += known.exploration.n_states
    counts["runs replayed by every engine"] += len(runs)
    for finding in known.findings:
        counts[f"verdicts '{finding.verdict.outcome.value}'"] += 1
    counts["steps walked"] += walk(model, known.built)


def check_same(known: Verification, found: Verification) -> None:
    """The same verdicts about as many states, with runs as short."""
    assert found.exploration.n_states == known.exploration.n_states
    for a, b in zip(known.findings, found.findings, strict=True):
        assert a.verdict.outcome is b.verdict.outcome is not Outcome.UNDECIDED
        assert a.verdict.n_premise == b.verdict.n_premise
        assert (a.run is None) == (b.run is None)
        endless = a.run is not None and a.run.loop_start is not None
        if a.verdict.witness is not None and b.verdict.witness is not None and not endless:
            assert len(a.verdict.witness) == len(b.verdict.witness)


def walk(model: Model, built: Built) -> int:
    """Walk at random on the kernel system and on the machines, and compare at every step."""
    chosen = random.Random(len(built.system.moves))
    stepper, player = Stepper(built.system), Player(model)
    state = built.system.initial
    kinds = (MoveKind.PLANT, MoveKind.OPERATOR)
    for number in range(WALK):
        played = player.state()
        for variable, value in zip(built.system.variables, state, strict=True):
            if variable.role is not Role.OBSERVER:
                assert played[variable.name] == value, variable.name
        moves = stepper.successors(state)
        wanted = {m.name for m, _ in moves if m.kind in kinds}
        allowed = {m.name for m in model.moves if player.enabled(m.name)}
        assert allowed == wanted
        assert played[PHASE] == state[built.system.index[PHASE]]
        if not moves:
            return number
        move, state = chosen.choice(moves)
        player.play(move.name)
    return WALK


def run_many(n_models: int, chosen: int) -> Counter[str]:
    """Compare on `n_models` models."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for with_faults in (False, True):

            @seed(chosen)
            @settings(
                max_examples=n_models // 2,
                deadline=None,
                database=None,
                phases=[Phase.generate, Phase.shrink],
                suppress_health_check=list(HealthCheck),
            )
            @given(random_models(with_faults=with_faults))
            def compare(model: RandomModel) -> None:
                check_agreement(folder, model, counts)

            compare()
    return counts


if __name__ == "__main__":
    started = time.process_time()
    found = run_many(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    for what, number in found.items():
        print(f"{number:12,} {what}")
    print(f"{time.process_time() - started:12,.0f} seconds of processor time")
