"""What is otherwise in the verdicts on a model since it was judged before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from interlock.commands.verify.judging import Judged
from interlock.judgement.finding import Finding
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE
from interlock.oversights.found import Oversight


@dataclass(frozen=True)
class Change:
    """A requirement of which something is otherwise: it is new or gone, or its verdict is.

    Attributes
    ----------
    before, now : Finding or None
        None where the requirement was or is not there.
    """

    before: Finding | None
    now: Finding | None

    @property
    def finding(self) -> Finding:
        """The later of the two."""
        found = self.now or self.before
        assert found is not None, "a change has a finding on one side at least"
        return found

    @property
    def says(self) -> str:
        """The change in a few words.

        A verdict may stay while the requirement asks something else, or another run shows it.
        """
        if self.before is None or self.now is None:
            is_new = self.before is None
            return f"new: {_verdict(self.finding)}" if is_new else f"gone; {_verdict(self.finding)}"
        was, is_ = _verdict(self.before), _verdict(self.now)
        said = is_ if was == is_ else f"{was} -> {is_}"
        if _asked(self.before) != _asked(self.now):
            return f"asks otherwise: {said}"
        return f"{said}, by another run" if was == is_ else said

    @property
    def shows_a_run(self) -> bool:
        """Whether it is violated in a way that was not told before."""
        is_violated = self.now is not None and self.now.outcome is Outcome.VIOLATED
        return is_violated and _told(self.now) != _told(self.before)


def changes_between(before: Judged, now: Judged) -> list[Change]:
    """Every requirement of which something is otherwise: in the order of the model, gone ones last.

    Figures such as counts of states are no change.
    """
    was = {finding.requirement.id: finding for finding in before.result.findings}
    is_ = {finding.requirement.id: finding for finding in now.result.findings}
    pairs = [Change(was.get(id_), finding) for id_, finding in is_.items()]
    pairs += [Change(finding, None) for id_, finding in was.items() if id_ not in is_]
    return [pair for pair in pairs if _told(pair.before) != _told(pair.now)]


def new_to_look_at(before: Judged, now: Judged) -> Sequence[Oversight]:
    """What is worth a look now and was not before, wherever it stands."""
    known = {(one.kind, one.says) for one in before.looked.oversights}
    return [one for one in now.looked.oversights if (one.kind, one.says) not in known]


def _verdict(finding: Finding) -> str:
    """The verdict with the faults that it takes, and what these mean where it is violated."""
    if finding.outcome is not Outcome.VIOLATED or finding.run_class == FAULT_FREE:
        return finding.says
    harm = "" if finding.harm is None else f", {finding.harm.value}"
    return f"{finding.says} under {finding.run_class.says}{harm}"


def _asked(finding: Finding) -> object:
    return replace(finding.requirement, says="", hazards=())


def _told(finding: Finding | None) -> object:
    """All of a finding whose change is told."""
    if finding is None:
        return None
    run = finding.run
    moves = None if run is None else ([one.move for one in run.happenings], run.loop_start)
    return _verdict(finding), _asked(finding), moves
