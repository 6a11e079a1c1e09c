"""The whole landing gear with every bound in time taken to its edge.

``python -m tests.bench.landing_gear [MODEL]`` judges a model, then each bound of it as it was
taken, which must hold, and by one unit of time tighter, which must be violated by a run that the
judge confirms. It prints each bound, and ends with 1 where one is otherwise, or there is none.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model, Statement
from tests.support.models import MODELS


def with_edges(model: Model, findings: list[Finding]) -> tuple[Model, dict[str, Outcome]]:
    """The model with its bounds at their edges, and what is to become of each."""
    if model.timing is None:
        sys.exit(f"{model.name} has no time, and so no bounds in it")
    unit_ms = model.timing.unit_ms
    statements: dict[str, Statement] = {}
    wanted: dict[str, Outcome] = {}
    for finding in findings:
        margin, id_ = finding.margin, finding.requirement.id
        if margin is None:
            continue
        taken, tighter = margin.taken_ms // unit_ms, 1 if margin.is_least else -1
        edges = [(taken, Outcome.HOLDS), (taken + tighter, Outcome.VIOLATED)]
        for units, outcome in edges[: 1 if margin.is_beyond else 2]:
            bound = model.statements[id_].within
            if bound is None or bound.ms is None or units < 1:
                continue
            # How many units a bound counts hangs on the pattern; one less stays one less.
            scans = bound.scans + units - int(bound.ms // unit_ms)
            at_edge = replace(bound, scans=scans, ms=units * unit_ms)
            name = f"{id_} {at_edge.ms:g} ms"
            statements[name] = replace(model.statements[id_], id=name, within=at_edge)
            wanted[name] = outcome
    return replace(model, statements=statements), wanted


def main(path: Path) -> int:
    """Judge, take to the edges, judge again."""
    engine = catalogue()["enumerate"]()
    model = load(path)
    first = verify(model, engine)
    print(f"{path.name}: {first.exploration.n_states:,} states")
    at_edges, wanted = with_edges(model, list(first.findings))
    wrong = 0
    for finding in verify(at_edges, engine).findings:
        outcome = finding.verdict.outcome
        as_wanted = outcome is wanted[finding.requirement.id]
        confirmed = outcome is not Outcome.VIOLATED or finding.run is not None
        wrong += not (as_wanted and confirmed)
        print(f"  {finding.requirement.id:<20} {outcome.value:<10} {'' if as_wanted else '!'}")
    print(f"{len(wanted)} edges, {wrong} otherwise")
    return int(wrong > 0 or not wanted)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if sys.argv[1:] else MODELS / "landing-gear"))
