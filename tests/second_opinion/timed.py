"""Models drawn at random and given time, judged by the product and by a tick-by-tick twin."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path

from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.model import Duration, Model, Statement
from interlock.model.timing import Timing
from interlock.st.layout import Timers
from tests.second_opinion.compare import Disagreement, by_engine, by_sets
from tests.second_opinion.drawing import Drawn, draw
from tests.second_opinion.opinion import AT_LEAST, Opinion, opinions
from tests.second_opinion.reached import TooManyError
from tests.second_opinion.watching import IN_TIME

# In milliseconds; few are whole units, and some have no room between least and greatest.
SPANS = [(0, 0), (0, 100), (100, 100), (150, 250), (40, 60), (200, 300), (0, 350), (290, 310)]
# Of what goes on where it is interrupted: long enough for several pieces.
LONG = [(300, 350), (400, 450), (500, 500)]
SCANS = [(100, 100), (100, 100), (50, 50), (80, 120), (30, 170), (250, 250)]
UNITS = [100, 100, 100, 70, 50, 250]
MOST_BEFORE_TIME = 120


def draw_timed(seed: int, folder: Path, most: int) -> tuple[Drawn, Model, dict[str, Opinion]]:
    """The model of `seed` with time, and what the twin thinks of it.

    Parameters
    ----------
    seed : int
    folder : Path
    most : int
        Most states with time.
    """
    for attempt in range(200):
        number = 1000 * seed + attempt
        drawn, model = draw(number, folder / str(attempt), MOST_BEFORE_TIME)
        if model.program.elapsed_reads:
            continue
        timed = given_time(model, random.Random(f"time of {number}"))
        try:
            return drawn, timed, opinions(timed, drawn.run_class, most)
        except TooManyError:
            continue
    raise AssertionError(f"seed {seed} gives no model of a fitting size")


def given_time(model: Model, by: random.Random) -> Model:
    """The model with time, and durations of its moves in place of those that it gives."""
    # Drawn apart, so that all else stays as it is without.
    moves, apart = [], random.Random(str(by.getstate()[1][:2]))
    spans = [*SPANS[:1] * 9, *SPANS] if by.random() < 0.4 else SPANS[1:]
    for move in model.moves:
        takes = None
        # What need not happen takes no duration.
        if not (move.takes_no_turn or move.may) and by.random() < 0.7:
            least, greatest = by.choice(spans)
            if goes_on := apart.random() < 0.4:
                least, greatest = apart.choice([(least, greatest), *LONG * (greatest > 0)])
            takes = Duration(least / 1000, greatest / 1000, None, assumed=True, goes_on=goes_on)
        moves.append(replace(move, takes=takes))
    timing = Timing(by.choice(UNITS), *by.choice(SCANS))
    settings = replace(model.settings, timers=Timers.FREE)
    statements = {id_: bounded(s, timing, by) for id_, s in model.statements.items()}
    statements = {id_: in_time(s, timing, by) for id_, s in statements.items()}
    return replace(
        model, moves=tuple(moves), timing=timing, settings=settings, statements=statements
    )


def in_time(statement: Statement, timing: Timing, by: random.Random) -> Statement:
    """A requirement in time in place of another one, now and then."""
    if statement.pattern is Pattern.CAN_STILL or by.random() < 0.4:
        return statement
    pattern = by.choice(IN_TIME)
    scope, opens, closes = statement.scope, statement.opens, statement.closes
    if scope not in PATTERNS[pattern].scopes:
        scope = ScopeKind.AFTER_UNTIL if opens else ScopeKind.GLOBALLY
    if scope is ScopeKind.GLOBALLY:
        opens = closes = None
    s = statement.s or by.choice([f for f in (statement.when, statement.p) if f is not None])
    is_least = pattern in AT_LEAST
    ms = by.choice([40, 50, 100, 150] if is_least else [100, 200, 300, 500, 700])
    units = math.ceil(ms / timing.unit_ms) if is_least else ms // timing.unit_ms + 1
    return replace(
        statement,
        pattern=pattern,
        s=s if PATTERNS[pattern].has_s else None,
        when=None,
        scope=scope,
        opens=opens,
        closes=closes,
        after_scan=False,
        within=Bound(units, float(ms), f"{ms} ms", MoveKind.TIME),
    )


def bounded(statement: Statement, timing: Timing, by: random.Random) -> Statement:
    """A response with a bound in time, now and then."""
    is_response = statement.pattern is Pattern.LEADS_TO and not statement.after_scan
    if not is_response or by.random() < 0.3:
        return statement
    ms = by.choice([0, 50, 100, 150, 300, 500])
    units = ms // timing.unit_ms
    bound = Bound(units + 1, float(ms), f"{ms} ms", MoveKind.TIME)
    return replace(statement, within=bound)


def compare_timed(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    engines: Collection[str],
    with_sets: bool = False,
) -> list[Disagreement]:
    """Draw the timed model of `seed` and compare verdicts, vacuity, lengths, and sets of faults."""
    drawn, model, ours = draw_timed(seed, folder, most)
    counts["models"] += 1
    counts[f"models of unit {model.timing.unit_ms if model.timing else 0} ms"] += 1
    counts["models with timers"] += any(i.block[0] == "T" for i in model.program.instances)
    going = [move.takes for move in model.moves if move.takes is not None and move.takes.goes_on]
    counts["models in which something goes on"] += bool(going)
    counts["models with faults"] += bool(drawn.run_class.faults)
    for id_, statement in model.statements.items():
        if statement.within is not None and statement.within.counted is MoveKind.TIME:
            thought = "missed" if ours[id_].is_violated else "kept"
            kept_or_missed = f"'{statement.pattern.value}' that are {thought}"
            counts[kept_or_missed] += not ours[id_].is_vacuous
            counts[f"bounds in time that are {thought}"] += not ours[id_].is_vacuous
    counts["models in which time stands still"] += ours["TIME"].is_violated
    for opinion in ours.values():
        counts["violated" if opinion.is_violated else "kept"] += not opinion.is_vacuous
    found = []
    for name in engines:
        found += by_engine(name, seed, model, drawn.run_class, ours, counts)
    if with_sets and model.live_faults:
        counts["models with sets of faults"] += 1
        found += by_sets(seed, model, counts, whole_study=True)
    return found
