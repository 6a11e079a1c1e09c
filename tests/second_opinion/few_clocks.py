"""Models drawn at random in time of whole units, judged with few clocks and by the twin."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from interlock.judgement.few_clocks import judge_with_few_clocks
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.build import RunClass, build
from interlock.model.freed import can_be_freed, clocks_of, slow_moves
from interlock.model.model import Duration, Model, Statement
from tests.second_opinion.opinion import AT_LEAST, opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.timed import draw_timed

UNIT_MS = 50


def compare_few_clocks(seed: int, folder: Path, counts: Counter[str], most: int) -> list[str]:
    """Where the two disagree on the model of `seed`; `counts` gets what was compared."""
    drawn, model, _ = draw_timed(seed, folder, most)
    model = in_whole_units(model)
    counts["models"] += 1
    if not can_be_freed(model):
        counts["models that cannot be freed"] += 1
        return []
    own = drawn.run_class
    try:
        thought = opinions(model, own, 20 * most)
    except TooManyError:
        counts["models that are too large"] += 1
        return []
    built = build(model, RunClass(own.faults, own.at_most, own.human))
    found = judge_with_few_clocks(built, built.requirements.values(), Limits(), None, ())
    counts["models in which a scan is waited for"] += bool(slow_moves(model))
    counts["models with timers"] += any(i.block[0] == "T" for i in model.program.instances)
    counts["models with faults"] += bool(drawn.run_class.faults)
    wrong = []
    for id_, requirement in built.requirements.items():
        if not PATTERNS[requirement.pattern].is_of_runs:
            assert id_ not in found.judged
            continue
        one, opinion = found.judged[id_], thought[id_]
        violated = one.verdict.outcome is Outcome.VIOLATED
        n_free = -1 if one.kept is None else len(clocks_of(built.system)) - len(one.kept)
        if violated is not opinion.is_violated:
            wrong.append(f"seed {seed}, {id_}: violated {violated} with {n_free} durations free")
        counts["violated" if violated else "kept"] += 1
        if violated:
            counts["violated with clocks kept"] += one.kept != ()
        else:
            all_free = one.kept == ()
            counts[f"kept with {'all' if all_free else 'some'} durations free"] += n_free > 0
            counts["kept with more clocks than at first"] += requirement.within is None and (
                not all_free
            )
    return wrong


def in_whole_units(model: Model) -> Model:
    """The model with durations and scans of whole units, none of them of no time."""
    assert model.timing is not None

    def whole(ms: float) -> int:
        return max(1, round(ms / UNIT_MS)) * UNIT_MS

    moves = []
    for move in model.moves:
        takes = move.takes
        if takes is not None:
            least, greatest = whole(1000 * takes.least), whole(1000 * takes.greatest)
            takes = Duration(least / 1000, max(least, greatest) / 1000, None, assumed=True)
        moves.append(replace(move, takes=takes))
    least, greatest = whole(model.timing.scan_least_ms), whole(model.timing.scan_greatest_ms)
    timing = replace(model.timing, unit_ms=UNIT_MS, scan_least_ms=least, scan_greatest_ms=greatest)
    statements = {id_: _rebounded(one) for id_, one in model.statements.items()}
    return replace(model, moves=tuple(moves), timing=timing, statements=statements)


def _rebounded(statement: Statement) -> Statement:
    bound = statement.within
    if bound is None or bound.ms is None or bound.counted is not MoveKind.TIME:
        return statement
    is_least = statement.pattern in AT_LEAST
    return replace(
        statement, within=Bound.of_time(Fraction(bound.ms), UNIT_MS, is_least, bound.says)
    )
