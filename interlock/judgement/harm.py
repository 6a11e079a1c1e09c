"""For each judged requirement: whether faults that break it were announced before the harm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from interlock.engines.symbolic.explored import Explored
from interlock.judgement.detection import Comparison, Harm
from interlock.judgement.fault_sets import ask_all, flags_of
from interlock.judgement.verify import Finding, Verification
from interlock.kernel.query import Limits, Progress, ProgressSink
from interlock.kernel.requirement import Outcome
from interlock.model.build import RunClass, build
from interlock.model.model import Model


def with_harm(
    verification: Verification, limits: Limits = Limits(), progress: ProgressSink | None = None
) -> Verification:
    """The verification, each finding under faults with what they mean for its requirement.

    Where it holds they are harmless. Where it is violated, everything that is reached before an
    alarm or a refusal is searched once more: a violation in there is a dangerous one.

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
    outcome = finding.verdict.outcome
    if outcome is Outcome.HOLDS:
        return Harm.HARMLESS
    if outcome is Outcome.UNDECIDED:
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
        shown = {step.move.removesuffix(" strikes") for step in finding.run.happenings}
    for fault in sorted(whole.faults, key=lambda fault: fault not in shown):
        yield replace(whole, faults=(fault,))


def _in_silence(model: Model, id_: str, run_class: RunClass, limits: Limits) -> bool | None:
    """Whether the requirement is broken before anything tells; None where a limit was hit."""
    built = build(model, run_class)
    asked = ask_all(built.system, [built.requirements[id_]])
    explored = Explored(asked.system, tuple(flags_of(model, run_class.faults)), limits)
    quiet = explored.part(Comparison(built).silence())
    if quiet is None:
        return None
    found = [quiet.occurring(query, ()) for query in asked.queries[id_]]
    if any(found):
        return True
    return None if None in found else False
