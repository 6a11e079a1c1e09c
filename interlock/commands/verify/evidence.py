"""Evidence of a verification, for `interlock recheck`.

For all that holds in one run class: one system without observers and one with those of the
requirements that need them, their reachable states as inductive invariants, and what endless runs
and ways to a goal need besides. For all that is violated: the run. The invariants come from the
symbolic engine, whichever engine gave the verdict; so the evidence is also a second opinion before
anyone has checked it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from interlock import __version__
from interlock.base.errors import InternalError
from interlock.base.files import sha256
from interlock.base.folders import write_whole_folder
from interlock.commands.verify.premises import runs_to_premises
from interlock.engines import certifier
from interlock.evidence.asked import Asked, asked, state_after
from interlock.evidence.folder import check_may_write
from interlock.evidence.manifest import (
    MANIFEST,
    ClassEntry,
    InvariantEntry,
    LadderEntry,
    Manifest,
    SystemEntry,
    VerdictEntry,
    outline_of,
    to_text,
)
from interlock.evidence.obligations import script
from interlock.evidence.sets import read_sets, write_sets
from interlock.independent_judge.run_file import record, source_hashes
from interlock.independent_judge.run_file import to_text as run_text
from interlock.judgement.finding import Finding, Verification
from interlock.kernel.certificate import Certificate, StateSets
from interlock.kernel.evaluate import State
from interlock.kernel.observe import needs_observer
from interlock.kernel.observe_time import is_in_time
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import (
    DeclinedError,
    Limits,
    ProgressSink,
    Query,
    Stay,
    Trap,
    labelled,
)
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.build import Built, RunClass, build
from interlock.model.model import Model


@dataclass(frozen=True)
class Written:
    """What was written.

    Attributes
    ----------
    folder : Path
    n_files : int
    n_bytes : int
    not_recheckable : dict of str to str
        Requirements whose verdict nobody can check from this evidence, with the reason.
    """

    folder: Path
    n_files: int
    n_bytes: int
    not_recheckable: dict[str, str]


@dataclass
class _Draft:
    """Evidence as far as it is made."""

    files: dict[str, bytes] = field(default_factory=dict)
    classes: dict[str, ClassEntry] = field(default_factory=dict)
    systems: dict[str, SystemEntry] = field(default_factory=dict)
    verdicts: dict[str, VerdictEntry] = field(default_factory=dict)


def write_evidence(
    folder: Path,
    found: Verification,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Written:
    """Write the evidence of `found` into `folder`, in one step.

    Raises
    ------
    InputError
        Where the folder holds something else than evidence.
    InternalError
        Where the symbolic engine does not confirm a verdict.
    """
    check_may_write(folder)
    model = found.built.model
    draft = _Draft()
    for number, run_class in enumerate(found.classes, 1):
        findings = [f for f in found.findings if f.run_class == run_class]
        _write_class(draft, model, f"class-{number}", run_class, findings, limits, progress)
    order = [f.requirement.id for f in found.findings]
    manifest = Manifest(
        interlock=__version__,
        model=model.name,
        folder=os.path.relpath(model.folder, folder).replace(os.sep, "/"),
        title=model.title,
        inputs=source_hashes(model),
        between_scans=str(model.between_scans),
        classes=draft.classes,
        systems=draft.systems,
        verdicts={id_: draft.verdicts[id_] for id_ in order},
        files={name: sha256(draft.files[name]) for name in sorted(draft.files)},
    )
    files = {MANIFEST: to_text(manifest).encode(), **draft.files}
    write_whole_folder(folder, files)
    reasons = {i: v.not_recheckable for i, v in manifest.verdicts.items() if v.not_recheckable}
    return Written(folder, len(files), sum(map(len, files.values())), reasons)


def _write_class(
    draft: _Draft,
    model: Model,
    name: str,
    run_class: RunClass,
    findings: Sequence[Finding],
    limits: Limits,
    progress: ProgressSink | None,
) -> None:
    draft.classes[name] = ClassEntry(
        faults=list(run_class.faults), at_most=run_class.at_most, human=run_class.human
    )
    built = build(model, run_class)
    for finding in findings:
        draft.verdicts[finding.requirement.id] = _bare(draft, model, name, finding)
    shown = [f for f in findings if _needs_sets(f)]
    holding = [f.requirement.id for f in shown if f.outcome is Outcome.HOLDS]
    for id_, runs in runs_to_premises(built, holding, limits, progress).items():
        met = {"met": [list(run) for run in runs]}
        draft.verdicts[id_] = draft.verdicts[id_].model_copy(update=met)
    watched = [f for f in shown if needs_observer(f.requirement)]
    plain = [f for f in shown if not needs_observer(f.requirement)]
    system = f"system-{name.removeprefix('class-')}"
    # Observers add states, and only to what needs them; those that count time multiply.
    counting = [f for f in watched if is_in_time(f.requirement)]
    groups = {system: plain, f"{system}-watched": [f for f in watched if f not in counting]}
    groups |= {f"{system}-{f.requirement.id}": [f] for f in counting}
    for called, group in groups.items():
        if group:
            _write_system(draft, built, name, called, group, limits, progress)


def _write_system(
    draft: _Draft,
    built: Built,
    run_class: str,
    name: str,
    shown: Sequence[Finding],
    limits: Limits,
    progress: ProgressSink | None,
) -> None:
    within = _bounds_of(built.model, shown)
    here = asked(built, [f.requirement.id for f in shown], within)
    queries, ends = _questions(here, shown)
    certificate: Certificate | str
    try:
        told = labelled(progress, "evidence")
        certificate = certifier().certify(here.system, queries, ends, limits, told)
    except DeclinedError as declined:
        certificate = f"the symbolic engine declines the system: {declined}"
    except ValueError as error:
        raise InternalError(f"evidence of {built.model.name}: {error}") from None
    if isinstance(certificate, str):
        for finding in shown:
            _leave_out(draft, finding.requirement.id, f"no invariant: {certificate}")
        return
    entry = draft.systems[name] = _entry(run_class, here, shown, within, certificate)
    draft.files[f"{name}.smt2"] = _script(here, entry, certificate.sets, ends).encode()
    missing = certificate.missing
    for finding in shown:
        id_ = finding.requirement.id
        reasons = [missing[q] for q in here.of(id_).values() if q in missing]
        if reasons:
            _leave_out(draft, id_, reasons[0])
        else:
            draft.verdicts[id_] = draft.verdicts[id_].model_copy(update={"system": name})


def _bare(draft: _Draft, model: Model, name: str, finding: Finding) -> VerdictEntry:
    """The entry of a verdict, with its run where there is one."""
    id_, verdict = finding.requirement.id, finding.verdict
    if verdict.outcome is Outcome.HOLDS and verdict.vacuous:
        return VerdictEntry(run_class=name, outcome="undecided", limit=finding.why(model))
    if finding.is_too_late:
        reason = f"no run shows that it is too late: {finding.why(model)}"
        return VerdictEntry(run_class=name, outcome="violated", not_recheckable=reason)
    run = None
    if verdict.witness is not None:
        run = f"runs/{id_}.json"
        moves = [step.move for step in verdict.witness.steps]
        kept = record(model, moves, verdict.witness.loop_start, finding.requirement.says)
        draft.files[run] = run_text(kept).encode()
    return VerdictEntry(run_class=name, outcome=verdict.outcome.value, run=run, limit=verdict.limit)


def _needs_sets(finding: Finding) -> bool:
    if finding.outcome is Outcome.HOLDS:
        return not finding.verdict.vacuous
    is_trap = not PATTERNS[finding.requirement.pattern].is_of_runs
    return finding.outcome is Outcome.VIOLATED and is_trap


def _bounds_of(model: Model, findings: Sequence[Finding]) -> dict[str, int]:
    """By requirement with a bound in milliseconds: the sharpest bound that it keeps as well."""
    found = {}
    for finding in findings:
        statement = model.statements.get(finding.requirement.id)
        if statement is None or statement.within is None or not statement.within.ms:
            continue
        if statement.within.counted is MoveKind.TIME:
            margin = finding.margin
            if margin is not None and not margin.is_beyond and model.timing is not None:
                taken, unit_ms = Fraction(margin.taken_ms), model.timing.unit_ms
                sharp = Bound.of_time(taken, unit_ms, margin.is_least, margin.says)
                found[statement.id] = sharp.scans
        else:
            # A bound of no scan would ask for more than a response that comes in the same scan.
            found[statement.id] = max(1, finding.verdict.scans or 0)
    return found


def _questions(here: Asked, findings: Sequence[Finding]) -> tuple[list[Query], dict[Trap, State]]:
    queries: list[Query] = []
    ends: dict[Trap, State] = {}
    for finding in findings:
        for query in here.of(finding.requirement.id).values():
            if finding.verdict.outcome is Outcome.HOLDS:
                queries.append(query)
            elif isinstance(query, Trap) and finding.verdict.witness is not None:
                moves = [step.move for step in finding.verdict.witness.steps]
                ends[query] = state_after(here.system, moves)
    return queries, ends


def _leave_out(draft: _Draft, id_: str, reason: str) -> None:
    draft.verdicts[id_] = draft.verdicts[id_].model_copy(update={"not_recheckable": reason})


def _entry(
    name: str,
    here: Asked,
    findings: Sequence[Finding],
    within: dict[str, int],
    certificate: Certificate,
) -> SystemEntry:
    entry = SystemEntry(
        run_class=name,
        requirements=[f.requirement.id for f in findings],
        within=within,
        sets=len(certificate.sets.roots),
        invariant=InvariantEntry(
            scanned=certificate.invariant.is_scanned,
            split=list(certificate.invariant.split),
            cases=[(list(case.values), case.within) for case in certificate.invariant.cases],
        ),
    )
    for called, query in here.queries.items():
        match query:
            case Stay() if query in certificate.stays:
                entry.stays[called] = [(s.inside, s.debt) for s in certificate.stays[query]]
            case Trap() if query in certificate.traps:
                ladder = certificate.traps[query]
                home = None if ladder.home is None else list(ladder.home)
                rungs = [(rung.within, rung.move) for rung in ladder.rungs]
                entry.ladders[called] = LadderEntry(rungs=rungs, home=home, run=list(ladder.run))
            case Trap() if query in certificate.dead_ends:
                entry.dead_ends[called] = certificate.dead_ends[query]
            case _:
                pass
    return entry


def _script(here: Asked, entry: SystemEntry, sets: StateSets, ends: Mapping[Trap, State]) -> str:
    queries = here.queries
    at_end = {n: ends[q] for n, q in queries.items() if isinstance(q, Trap) and q in ends}
    text = "\n".join(write_sets(here.system, sets))
    functions = read_sets(text, here.system, entry.sets)
    return script(here.system, outline_of(entry, queries, at_end), text, functions).text
