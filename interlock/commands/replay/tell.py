"""What a record of a run says about a model, as text."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.commands.replay.study import Deviation, Explained
from interlock.commands.replay.units import Fits
from interlock.independent_judge.story import WHO
from interlock.kernel.system import Move
from interlock.telling.counts import counted
from interlock.telling.program import between_told


def lines_of(found: Explained) -> Iterator[str]:
    """The lines: what was followed, and the first sample that nothing explains."""
    yield found.model.title
    yield (
        f"{len(found.observed)} of its signals, outputs and machines are recorded;"
        f" {found.run_class.says}; {between_told(found.model)};"
        f" up to {counted(found.moves_between, 'move')} between two samples"
    )
    gaps = f", {counted(found.n_gaps, 'gap')}" if found.n_gaps else ""
    yield (
        f"explained: {counted(found.n_rows, 'sample')}{gaps}; at most"
        f" {counted(found.most_possible, 'state')} possible at a time"
    )
    if found.limit is not None:
        where = f" at {found.stopped_at.place}" if found.stopped_at else ""
        yield f"undecided{where}: {found.limit}; record more signals"
    elif found.deviation is not None:
        yield ""
        yield from _deviation(found.deviation, found.model.timing is not None)
    else:
        yield "the whole record is explained"


def _deviation(found: Deviation, has_time: bool) -> Iterator[str]:
    time = "" if found.row.time_ms is None else f", {found.row.time_ms:,.10g} ms"
    allowed = "any number of moves" if found.n_moves is None else counted(found.n_moves, "move")
    yield f"{found.row.place.file}:{found.row.place.line}: not explained by {allowed}{time}"
    if found.fits is not None:
        yield from _when_it_fits(found.fits)
    if found.differences:
        yield "  the nearest that is possible differs in:"
        for difference in found.differences:
            yield (
                f"    {difference.name}: recorded {difference.recorded},"
                f" explained {difference.explained}"
            )
        nothing = "nothing, or by more time than is told" if has_time else "nothing"
        yield f"  it comes about by: {', '.join(map(_told, found.way)) or nothing}"
    else:
        yield "  no state is possible in which such a sample could be taken"
    yield f"  possible before it ({counted(found.n_possible, 'state')}):"
    for name, values in found.possible.items():
        yield f"    {name}: {' or '.join(values)}"


def _when_it_fits(fits: Fits) -> Iterator[str]:
    yield (
        "  what it shows is possible, but not at that time: "
        f"{fits.passed_ms / 1000:.10g} s after the sample before"
    )
    if fits.above_ms is not None:
        yield f"  it is possible more than {fits.above_ms / 1000:g} s after it"
    if fits.below_ms is not None:
        yield f"  it was possible less than {fits.below_ms / 1000:g} s after it"


def _told(move: Move) -> str:
    return f"{WHO[move.kind]} {move.says or move.name}"
