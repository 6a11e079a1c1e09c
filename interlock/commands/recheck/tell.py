"""A recheck as text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from interlock.commands.recheck.results import Recheck, Status
from interlock.telling.program import between_told

_WORDS = {
    Status.CONFIRMED: "confirmed",
    Status.FOR_LESS: "confirmed for less than it claims",
    Status.UNDECIDED: "UNDECIDED",
    Status.OPEN: "not re-checkable",
    Status.REFUTED: "REFUTED",
}


def lines_of(result: Recheck) -> Iterator[str]:
    """The lines, first what was checked, then each verdict, then how many were confirmed."""
    yield result.model.title
    # Evidence may lead anywhere: a reader has to see which model was read.
    yield f"model: {result.model.folder}"
    yield between_told(result.model)
    yield (
        f"checked from its evidence with z3 {result.solver}: {result.n_obligations:,} obligations"
        " and every run replayed"
    )
    yield ""
    width = max((len(r.requirement) for r in result.results), default=1)
    for found in result.results:
        class_ = found.run_class.says
        if (found.run_class.at_most or 0) < found.n_claimed:
            class_ += f" (it is to be judged under {_faults(found.n_claimed)})"
        yield (
            f"{found.requirement:{width}}  {found.outcome:9}  {_WORDS[found.status]}:"
            f" {found.says}; {class_}"
        )
    for id_ in result.not_asked:
        yield f"{id_:{width}}  the evidence says nothing of it"
    yield ""
    counted = Counter(_WORDS[r.status] for r in result.results)
    yield ", ".join(f"{n} {word}" for word, n in counted.items())
    yield "counts of states are no part of the evidence"


def _faults(n: int) -> str:
    return f"{n} component fault" + ("s" if n > 1 else "")
