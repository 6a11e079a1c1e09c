"""For each judged requirement: whether faults that break it were announced before the harm.

One answer for every command. Everything that is reached before an alarm or a refusal is searched
once more, together with the states that the telling move itself leads to: a violation in there is
a dangerous one. An endless wait is dangerous where it lasts in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from interlock.engines import projector
from interlock.judgement.detection import Comparison, Harm, IncompleteError, noting_restarts
from interlock.judgement.doubt import doubt_of
from interlock.judgement.fault_sets import Asked, ask_all, flags_of
from interlock.judgement.finding import Finding, Verification
from interlock.kernel.projected import Projected
from interlock.kernel.query import Limits, Progress, ProgressSink, Stay
from interlock.kernel.requirement import Outcome
from interlock.model.build import Built, RunClass, build
from interlock.model.model import Model


class Silence:
    """What can happen in an explored system before anything tells of a fault.

    Parameters
    ----------
    built : Built
    explored : Projected
        Of the asked system.
    asked : Asked
    """

    def __init__(self, built: Built, explored: Projected, asked: Asked) -> None:
        self._built = built
        self._explored = explored
        self._asked = asked
        self._comparison = Comparison(built, explored)
        self._parts: dict[tuple[frozenset[str], Sequence[str] | None], Projected] = {}

    def missed(self, requirement: str) -> frozenset[str]:
        """The outputs whose absence is part of the harm, so that it tells nothing."""
        return self._comparison.missed_in_harm(self._built.requirements[requirement])

    def goes_on_for_ever(self, requirement: str) -> bool:
        """Whether the harm is something that lasts for ever."""
        return any(isinstance(query, Stay) for query in self._asked.queries[requirement])

    def breaks(
        self,
        requirement: str,
        flags: tuple[str, ...] | None = None,
        among: Sequence[str] | None = None,
        missed: frozenset[str] | None = None,
    ) -> set[tuple[int, ...]]:
        """With which values of the flags a requirement is broken in silence.

        Parameters
        ----------
        requirement : str
        flags : tuple of str, optional
            Those of the exploration where not given.
        among : sequence of str, optional
            Flags; runs in which another is set are left out.
        missed : frozenset of str, optional
            Outputs whose absence tells nothing; those of the requirement where not given. With
            more of them there may be more.

        Raises
        ------
        IncompleteError
            Where a limit left the answer open.
        """
        missed = self.missed(requirement) if missed is None else missed
        return self._broken(missed, requirement, flags, among)

    def surely_breaks(
        self, requirement: str, among: Sequence[str] | None = None
    ) -> set[tuple[int, ...]]:
        """As `breaks`, where a refusal tells that may be part of the harm; maybe fewer."""
        return self._broken(frozenset(), requirement, None, among)

    def _broken(
        self,
        missed: frozenset[str],
        requirement: str,
        flags: tuple[str, ...] | None,
        among: Sequence[str] | None,
    ) -> set[tuple[int, ...]]:
        part = self._parts.get((missed, among))
        if part is None:
            part = self._explored.part(self._comparison.silence(missed), among)
            if part is None:
                raise IncompleteError(self._explored.limit)
            self._parts[missed, among] = part
        found: set[tuple[int, ...]] = set()
        for query in self._asked.queries[requirement]:
            rows = part.occurring(query, flags)
            if rows is None:
                raise IncompleteError(self._explored.limit)
            found.update(rows)
        return found


def harm_of(
    built: Built,
    explored: Projected,
    asked: Asked,
    ids: Mapping[str, str],
    needing: Mapping[str, set[str]],
) -> dict[tuple[str, str], Harm]:
    """Whether each fault that breaks a requirement alone was always told of in time.

    Parameters
    ----------
    built : Built
    explored : Projected
        Of the asked system, with the flags of `ids`.
    asked : Asked
    ids : mapping of str to str
        Fault ids by flag.
    needing : mapping of str to set of str
        For each requirement the faults that break it alone.

    Returns
    -------
    dict
        By fault and requirement, detected or dangerous.

    Raises
    ------
    IncompleteError
        Where a limit left an answer open.
    """
    doubt = _Doubt(Silence(built, explored, asked), ids, needing)
    doubt.ask_where_every_refusal_tells()
    doubt.ask_where_no_refusal_in_doubt_tells()
    doubt.ask_each_as_it_is()
    return doubt.found


class _Doubt:
    """Whether faults harm in silence, asked of more of it and of fewer faults, step by step."""

    def __init__(
        self, silence: Silence, ids: Mapping[str, str], needing: Mapping[str, set[str]]
    ) -> None:
        self._silence = silence
        self._ids = ids
        self._left = {id_: set(faults) for id_, faults in needing.items() if faults}
        self.found = {(f, id_): Harm.DETECTED for id_, faults in needing.items() for f in faults}

    def ask_where_every_refusal_tells(self) -> None:
        """What is broken even there needs no part of its own."""
        among = self._flags(self._left)
        # What goes on for ever is soon told where it is known what is reached in silence.
        for requirement in sorted(self._left, key=self._silence.goes_on_for_ever):
            self._note(requirement, self._silence.surely_breaks(requirement, among))

    def ask_where_no_refusal_in_doubt_tells(self) -> None:
        """What is not broken even there needs no part of its own, either.

        The fewer outputs tell, the more there is in silence.
        """
        by_missed = self._by_missed()
        if len(by_missed) > 1:
            missed = frozenset[str]().union(*by_missed)
            among = self._flags(self._left)
            for requirement in [id_ for ids in by_missed.values() for id_ in ids]:
                rows = self._silence.breaks(requirement, None, among, missed)
                self._left[requirement] &= self._faults(rows)

    def ask_each_as_it_is(self) -> None:
        """What is still in doubt, by the refusals that tell of each."""
        for requirements in self._by_missed().values():
            among = self._flags(requirements)
            for requirement in requirements:
                self._note(requirement, self._silence.breaks(requirement, None, among))

    def _by_missed(self) -> dict[frozenset[str], list[str]]:
        """The requirements in doubt, by the refusals that tell nothing of them.

        Where every refusal tells they are in doubt no more.
        """
        found: dict[frozenset[str], list[str]] = {}
        for requirement, faults in self._left.items():
            missed = self._silence.missed(requirement)
            if not missed:
                faults.clear()
            if faults:
                found.setdefault(missed, []).append(requirement)
        return found

    def _flags(self, requirements: Iterable[str]) -> tuple[str, ...]:
        faults = set[str]().union(*(self._left[id_] for id_ in requirements))
        return tuple(flag for flag, fault in self._ids.items() if fault in faults)

    def _faults(self, rows: Iterable[tuple[int, ...]]) -> set[str]:
        ids = self._ids.values()
        return {f for row in rows for f, is_set in zip(ids, row, strict=True) if is_set}

    def _note(self, requirement: str, rows: Iterable[tuple[int, ...]]) -> None:
        harmful = self._faults(rows) & self._left[requirement]
        self.found.update({(fault, requirement): Harm.DANGEROUS for fault in harmful})
        self._left[requirement] -= harmful


def with_harm(
    verification: Verification, limits: Limits = Limits(), progress: ProgressSink | None = None
) -> Verification:
    """The verification, each finding under faults with what they mean for its requirement.

    Where it holds they are harmless; where it is violated they are detected or dangerous.

    Parameters
    ----------
    verification : Verification
    limits : Limits
        For each exploration; what they cut short stays without an answer.
    progress : callable, optional
    """
    model = verification.built.model
    findings = tuple(
        replace(finding, harm=_harm(model, finding, limits, progress))
        for finding in verification.findings
    )
    return replace(verification, findings=findings)


def _harm(
    model: Model, finding: Finding, limits: Limits, progress: ProgressSink | None
) -> Harm | None:
    if not finding.run_class.faults or finding.run_class.at_most == 0:
        return None
    if finding.outcome is Outcome.HOLDS:
        return Harm.HARMLESS
    # What is too late is so by arithmetic: there is no run in which to look for a warning.
    if finding.verdict.outcome is not Outcome.VIOLATED:
        return None
    # Where some way on may not be the program's, harm may come in other states, too.
    if doubt_of(model, finding.requirement):
        return None
    answers = set()
    for run_class in _parts(finding):
        if progress is not None:
            who = run_class.faults[0] if len(run_class.faults) == 1 else run_class.says
            stage = f"{finding.requirement.id}: in silence with {who}"
            progress(Progress(stage, finding.verdict.n_states, 0, 0.0))
        answers.add(_in_silence(model, finding.requirement.id, run_class, limits))
        if True in answers:
            return Harm.DANGEROUS
    return None if None in answers else Harm.DETECTED


def _parts(finding: Finding) -> Iterator[RunClass]:
    """Run classes that together make up that of the finding: one fault after the other.

    Those of the run that was found come first, as they do harm for certain.
    """
    whole = finding.run_class
    if whole.at_most != 1:
        yield whole
        return
    shown = set()
    if finding.run is not None:
        shown = {h.origin.struck for h in finding.run.happenings if h.origin is not None}
    for fault in sorted(whole.faults, key=lambda fault: fault not in shown):
        yield replace(whole, faults=(fault,))


def _in_silence(model: Model, id_: str, run_class: RunClass, limits: Limits) -> bool | None:
    """Whether the requirement is broken before anything tells; None where a limit was hit."""
    built = noting_restarts(build(model, run_class))
    asked = ask_all(built.system, [built.requirements[id_]])
    explored = projector().project(asked.system, tuple(flags_of(model, run_class.faults)), limits)
    try:
        return bool(Silence(built, explored, asked).breaks(id_, ()))
    except IncompleteError:
        return None
