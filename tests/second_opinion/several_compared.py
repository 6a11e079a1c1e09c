"""Models with two controllers: the product against the twin, verdict by verdict."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import RunClass
from interlock.model.load import load
from tests.second_opinion.several import Graph, TooManyError, World
from tests.second_opinion.several_drawn import Spec, drawn, given_time, written
from tests.second_opinion.several_timed import TimedGraph, TimedWorld


def compare_several(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    engines: Sequence[str],
    in_time: bool = False,
) -> list[str]:
    """Where product and twin differ on one random model; `counts` says what was compared."""
    spec = given_time(drawn(seed), seed) if in_time else drawn(seed)
    return compare_spec(spec, f"seed {seed}", folder, counts, most, engines)


def compare_spec(
    spec: Spec, called: str, folder: Path, counts: Counter[str], most: int, engines: Sequence[str]
) -> list[str]:
    """The same for a model as plain data."""
    model = load(written(spec, folder))
    names = tuple(fault.name for fault in spec.faults)
    found = []
    for n_faults in (0, 1, None) if names else (0,):
        try:
            if spec.unit_ms:
                graph: Graph = TimedGraph(TimedWorld(spec, n_faults), most)
            else:
                graph = Graph(World(spec, n_faults), most)
        except TooManyError:
            counts["too many states"] += 1
            break
        _count(spec, n_faults, counts)
        run_class = RunClass(names if n_faults != 0 else (), n_faults)
        for engine in engines:
            result = verify(model, catalogue()[engine](), run_class)
            for number, (asked, finding) in enumerate(
                zip(spec.requirements, result.findings, strict=True)
            ):
                is_violated, length = graph.violated(asked)
                said = finding.verdict.outcome is Outcome.VIOLATED
                at = f"{called}, faults {n_faults}, {engine}, R{number} {asked}"
                counts["violated" if is_violated else "kept"] += 1
                counts[f"verdicts by {engine}"] += 1
                pattern = "bound" if "ms" in asked else asked["pattern"]
                counts[f"{pattern}, {'violated' if is_violated else 'kept'}"] += 1
                if said is not is_violated:
                    found.append(f"{at}: twin says violated {is_violated}, product {said}")
                elif length is not None:
                    counts[f"lengths by {engine}"] += 1
                    run = finding.verdict.witness
                    assert run is not None
                    if len(run) != length:
                        found.append(f"{at}: twin says {length} steps, product {len(run)}")
    return found


def _count(spec: Spec, n_faults: int | None, counts: Counter[str]) -> None:
    counts["models and classes"] += 1
    programs = spec.programs.values()
    counts["with a controller that may stand still"] += any(p.scans_while for p in programs)
    counts["with a timer"] += any(p.has_timer for p in programs)
    counts["with a delay"] += bool(spec.delays)
    counts["with two writers"] += bool(spec.either)
    counts["with a restart"] += bool(n_faults != 0 and any(f.restarts for f in spec.faults))
