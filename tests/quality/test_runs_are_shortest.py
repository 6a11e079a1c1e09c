"""No shorter run violates: found again by playing the source-level model breadth first."""

from __future__ import annotations

import pytest

from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome, Pattern, ScopeKind
from interlock.kernel.system import PHASE
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model, Statement
from interlock.st.evaluate import evaluate_expression
from tests.support.models import MODELS, folders


def violates(player: Player, statement: Statement) -> bool:
    """Whether the state the player is in refutes a 'never' or an 'always' by itself."""
    if statement.after_scan and player.state()[PHASE] != 0:
        return False
    p = bool(evaluate_expression(statement.p.tree, player.truth))
    when = statement.when is None or bool(evaluate_expression(statement.when.tree, player.truth))
    return when and (p if statement.pattern is Pattern.NEVER else not p)


def least_steps(model: Model, statement: Statement) -> int:
    """Fewest moves to a refuting state, over the moves that the player itself allows."""
    player = Player(model)
    names = [move.name for move in build(model).system.moves]
    seen = {tuple(player.state().items())}
    level, n_moves = [player.moment()], 0
    while level:
        following = []
        for moment in level:
            player.go_back(moment)
            if violates(player, statement):
                return n_moves
            for name in names:
                player.go_back(moment)
                if name != "scan" and not player.enabled(name):
                    continue
                player.play(name)
                key = tuple(player.state().items())
                if key not in seen:
                    seen.add(key)
                    following.append(player.moment())
        level, n_moves = following, n_moves + 1
    raise AssertionError("no state refutes the requirement")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["pin-alone", "lamp-from-command"])
def test_a_shown_run_has_the_fewest_steps(name: str) -> None:
    assert name in folders("ramp-broken")
    model = load(MODELS / "ramp-broken" / name)
    result = verify(model, catalogue()["enumerate"]())
    judged = 0
    for finding in result.findings:
        statement = model.statements[finding.requirement.id]
        plain = statement.scope is ScopeKind.GLOBALLY and statement.pattern in (
            Pattern.NEVER,
            Pattern.ALWAYS,
        )
        if finding.verdict.outcome is Outcome.VIOLATED and plain:
            assert finding.run is not None
            assert len(finding.run.happenings) == least_steps(model, statement)
            judged += 1
    assert judged
