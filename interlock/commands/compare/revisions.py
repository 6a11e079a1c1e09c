"""Several revisions, each held against one model: by processes of this machine, or by a cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from interlock.base.pool import spread
from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.document import to_html, to_markdown
from interlock.commands.compare.impact import Impact, find_impact
from interlock.commands.compare.study import Comparison, KeptOfOld, compare
from interlock.commands.compare.tell import to_json
from interlock.commands.compare.tell_impact import conclusion, impact_blocks
from interlock.commands.compare.unknown_code import refuse_unknown_code
from interlock.commands.compare.unlooked import not_looked_at
from interlock.commands.compare.verdicts import Effect
from interlock.judgement.engines import available
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.model import Model


@dataclass(frozen=True)
class Asked:
    """What is asked of each revision; as of `study.compare`.

    Attributes
    ----------
    engine : str
        Its name.
    with_faults : bool
    limits : Limits
    faults : tuple of str
    with_ledger : bool
    """

    engine: str
    with_faults: bool
    limits: Limits
    faults: tuple[str, ...] = ()
    with_ledger: bool = False


@dataclass(frozen=True)
class Revision:
    """What became of one revision; all of it is text, since it may come from another machine.

    Attributes
    ----------
    name, title : str
    outcome : Outcome
    conclusion : str
    effects : mapping of str to tuple of str
        The requirements that are otherwise than in the model before, by what the change does.
    outputs : tuple of str or None
        Those that differ in lockstep; None where the controllers cannot run on one plant.
    n_outputs_open : int
        So many were not compared to their end.
    moves : tuple of str
        Those that are newly or no longer possible.
    moves_cut_short : bool
    n_touched, n_steps : int
        What must be validated again, and commissioning steps to repeat.
    not_looked_at : tuple of str
    documents : mapping of str to str
        The change-impact statement, by the name of its file.
    """

    name: str
    title: str
    outcome: Outcome
    conclusion: str
    effects: dict[str, tuple[str, ...]]
    outputs: tuple[str, ...] | None
    n_outputs_open: int
    moves: tuple[str, ...]
    moves_cut_short: bool
    n_touched: int
    n_steps: int
    not_looked_at: tuple[str, ...]
    documents: dict[str, str]


def compare_each(
    old: Model,
    revisions: Sequence[Model],
    asked: Asked,
    n_processes: int = 1,
    scheduler: str | None = None,
    stage: Callable[[int], None] = lambda _n_done: None,
) -> list[Revision]:
    """Compare each of `revisions` with `old`.

    Parameters
    ----------
    old : Model
    revisions : sequence of Model
    asked : Asked
        Its limits are for each exploration, their end is that of everything.
    n_processes : int
    scheduler : str, optional
        Address of a Dask cluster, whose workers then do it in place of processes.
    stage : callable
        Is told how many revisions are done.

    Returns
    -------
    list of Revision
        In the order of `revisions`, whoever was done first.

    Raises
    ------
    InputError, DeclinedError, InternalError
        As `study.compare` does for one of them; unknown code is refused before the long work.
    NoClusterError
        Where no scheduler answers, or it is lost on the way.
    """
    for new in revisions:
        refuse_unknown_code(old, new)
    found: dict[int, Revision] = {}
    here = OneByOne(old, asked)
    for place, answer in _spread(here, revisions, n_processes, scheduler):
        found[place] = answer or _given_up(revisions[place])
        stage(len(found))
    # A limit was hit: what nobody has done is undecided at once, and told with its files.
    for place, new in enumerate(revisions):
        if place not in found:
            found[place] = here(new)
    return [found[place] for place in range(len(revisions))]


def _spread(
    here: OneByOne, revisions: Sequence[Model], n_processes: int, scheduler: str | None
) -> Iterator[tuple[int, Revision | None]]:
    if scheduler is None:
        yield from spread(here, revisions, n_processes)
        return
    from interlock.base.cluster import Cluster

    limits = here.asked.limits
    elsewhere = Elsewhere(here.old, replace(here.asked, limits=limits.elsewhere()))
    yield from Cluster(scheduler).spread(elsewhere, revisions, limits.until)


def outcome_of(revisions: Sequence[Revision]) -> Outcome:
    """Violated if a requirement is worse in one of them; else undecided if anything is."""
    outcomes = {one.outcome for one in revisions}
    for outcome in (Outcome.VIOLATED, Outcome.UNDECIDED):
        if outcome in outcomes:
            return outcome
    return Outcome.HOLDS


class OneByOne:
    """Compares revisions one after the other, and keeps what it found of the model before.

    Parameters
    ----------
    old : Model
    asked : Asked
    """

    def __init__(self, old: Model, asked: Asked) -> None:
        self.old = old
        self.asked = asked
        self._kept = KeptOfOld()

    def __call__(self, new: Model) -> Revision:
        """Compare one revision, and keep what is told of it."""
        asked = self.asked
        found = compare(
            self.old,
            new,
            available()[asked.engine](),
            asked.with_faults,
            asked.limits,
            faults=asked.faults,
            with_ledger=asked.with_ledger,
            kept=self._kept,
        )
        return _told(found)


class Elsewhere(OneByOne):
    """The same on a machine with a clock of its own: the seconds begin with each revision."""

    def __call__(self, new: Model) -> Revision:
        """As `OneByOne`."""
        limits = self.asked.limits
        self.asked = replace(self.asked, limits=limits.from_now())
        return super().__call__(new)


def _told(found: Comparison) -> Revision:
    new = found.new_model
    impact = find_impact(found)
    behaviour = found.behaviour
    outputs = () if behaviour is None else behaviour.outputs
    return Revision(
        name=new.name,
        title=new.title,
        outcome=found.outcome,
        conclusion=conclusion(found),
        effects=_effects(found),
        outputs=None
        if behaviour is None
        else tuple(o.output for o in outputs if o.likeness is Likeness.DIFFERS),
        n_outputs_open=sum(o.likeness is Likeness.UNDECIDED for o in outputs),
        moves=tuple(dict.fromkeys(m.move for m in (*found.moves.gained, *found.moves.lost))),
        moves_cut_short=bool(found.moves.limits),
        n_touched=len(impact.touched),
        n_steps=len(impact.steps),
        not_looked_at=not_looked_at(found),
        documents=statement(found, impact),
    )


def statement(found: Comparison, impact: Impact) -> dict[str, str]:
    """The change-impact statement of one revision, by the name of its file."""
    blocks = impact_blocks(found, impact)
    return {
        "impact.md": to_markdown(blocks),
        "impact.html": to_html(f"Change impact: {found.new_model.title}", blocks),
        "impact.json": to_json(found, impact),
    }


def _effects(found: Comparison) -> dict[str, tuple[str, ...]]:
    by_effect: dict[str, tuple[str, ...]] = {}
    for effect in Effect:
        ids = tuple(v.id for v in found.verdicts if v.effect is effect)
        if ids and effect is not Effect.SAME:
            by_effect[effect.value] = ids
    same = [v for v in found.verdicts if v.effect is Effect.SAME]
    others = tuple(v.id for v in same if v.gained_sets or v.lost_sets)
    if others:
        by_effect["the same, by other faults"] = others
    return by_effect


def _given_up(new: Model) -> Revision:
    says = "Undecided: the workers that compared it died again and again."
    undecided = Outcome.UNDECIDED
    return Revision(new.name, new.title, undecided, says, {}, None, 0, (), True, 0, 0, (says,), {})
