"""``interlock recheck``: every verdict again, from its evidence and the model alone.

The system is built from the model's own files, never read from the evidence. Of the evidence only
the definitions of sets are used, which may be any sets whatever: what they must satisfy is
written here and asked of the solver. So evidence can be useless, but never show what is not so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path

from interlock.base.errors import InputError, Place, nearest, place_after
from interlock.commands.recheck.claims import Claims
from interlock.commands.recheck.not_enough import time_shown, why_not, why_not_shown
from interlock.commands.recheck.results import Recheck, Rechecked, Status
from interlock.commands.recheck.solve import Discharge, Result, discharge, need_solver
from interlock.evidence.asked import Asked, asked, requirement_of, state_after
from interlock.evidence.folder import Evidence, read_folder
from interlock.evidence.invariant_cases import scan_of
from interlock.evidence.manifest import (
    MANIFEST,
    SystemEntry,
    VerdictEntry,
    bad,
    outline_of,
)
from interlock.evidence.obligations import script
from interlock.evidence.script import OBLIGATIONS, SETS, Outline, Script
from interlock.evidence.sets import read_sets
from interlock.evidence.sexpr import SexprError
from interlock.independent_judge.run_file import parse_run, replay_file, source_hashes
from interlock.kernel.certificate import Invariant
from interlock.kernel.evaluate import evaluate
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Stay, Trap
from interlock.kernel.system import System
from interlock.model.between import BetweenScans
from interlock.model.build import GENERATED, Built, build
from interlock.model.declined import Declined, load_for
from interlock.model.model import Model
from interlock.model.revise import shown

Progress = Callable[[str], None]


def recheck(
    folder: Path,
    model_folder: Path | None = None,
    max_seconds: float | None = None,
    progress: Progress | None = None,
    n_processes: int = 1,
    assume: str | None = None,
) -> Recheck:
    """Check the evidence in `folder` against the model.

    Parameters
    ----------
    folder : Path
    model_folder : Path, optional
        By default where it was, seen from the evidence, when that was written.
    max_seconds : float, optional
        For each obligation.
    progress : callable, optional
        Called with what is being checked.
    n_processes : int
        Processes to use where there is much to ask.
    assume : str, optional
        What may happen between two scans, in place of what the model says.

    Raises
    ------
    InputError
        Where the evidence is not whole, is of another model or is not what it should be.
    """
    need_solver()
    evidence = read_folder(folder)
    at = model_folder or shown(folder / evidence.manifest.folder)
    model = load_for("'recheck'", at, Declined.SEVERAL, Declined.ANY_VALUES)
    model = model if assume is None else model.assuming(BetweenScans.read(assume))
    return check(evidence, model, max_seconds, progress, n_processes)


def check(
    evidence: Evidence,
    model: Model,
    max_seconds: float | None = None,
    progress: Progress | None = None,
    n_processes: int = 1,
) -> Recheck:
    """Check evidence that was read against a model that was; all else as for `recheck`."""
    solver = need_solver()
    _check_same_model(evidence, model)
    asking = partial(discharge, max_seconds=max_seconds, progress=progress, n_processes=n_processes)
    return _Checker(evidence, model, solver, asking).check()


def _check_same_model(evidence: Evidence, model: Model) -> None:
    now, then = source_hashes(model), evidence.manifest.inputs
    file = evidence.place(MANIFEST)
    for name in sorted({*now, *then}):
        if name not in now:
            raise bad(file, f"the evidence is of a model with a file '{name}'; this one has none")
        if name not in then:
            raise bad(file, f"the evidence is of a model without a file '{name}'")
        if now[name] != then[name]:
            raise bad(file, f"the model has changed since the evidence was written: {name}")
    between, wanted = evidence.manifest.between_scans, str(model.between_scans)
    if between != wanted:
        said = f"the evidence rests on '{between}' between two scans and is checked for '{wanted}'"
        raise bad(file, f"{said}; --assume takes another")


class _Checker:
    def __init__(
        self,
        evidence: Evidence,
        model: Model,
        solver: str,
        asking: Callable[[Script], Iterator[Discharge]],
    ) -> None:
        self._evidence = evidence
        self._manifest = evidence.manifest
        self._file = evidence.place(MANIFEST)
        self._model = model
        self._solver = solver
        self._asking = asking
        self._claims = Claims(model)
        self._classes = self._claims.classes(self._manifest.classes, self._file)
        self._built: dict[str, Built] = {}
        self._asked: dict[str, tuple[Asked, Outline]] = {}
        self._n_obligations = 0
        self._slowest = ("", 0.0)

    def check(self) -> Recheck:
        verdicts = self._manifest.verdicts
        self._check_names()
        runs = {id_: self._replay(id_, v) for id_, v in verdicts.items() if v.run is not None}
        failed: dict[str, tuple[Status, str]] = {}
        for name, entry in self._manifest.systems.items():
            failed |= self._check_system(name, entry, runs)
        results = tuple(self._result(id_, v, failed.get(id_)) for id_, v in verdicts.items())
        return Recheck(
            self._model,
            self._solver,
            results,
            tuple(id_ for id_ in build(self._model).requirements if id_ not in verdicts),
            self._n_obligations,
            self._slowest,
        )

    def _bad(self, says: str) -> InputError:
        return bad(self._file, says)

    def _check_names(self) -> None:
        """Everything named in the manifest exists, and every file has a use."""
        manifest = self._manifest
        used = {f"{name}.smt2" for name in manifest.systems}
        for id_, verdict in manifest.verdicts.items():
            if verdict.run_class not in manifest.classes:
                raise self._bad(f"{id_}: no run class '{verdict.run_class}'")
            built = self._class_of(verdict.run_class)
            if id_ not in built.requirements:
                said = nearest(id_, built.requirements)
                raise self._bad(f"'{id_}' is not a requirement of the model{said}")
            # All else rests on what is generated, so that is asked wherever anything is.
            most = self._claims.most if id_ in GENERATED else self._claims.of(id_)
            if self._n_faults(id_) > most:
                judged = built.run_class.says
                raise self._bad(f"{id_}: judged under {judged}, it claims to survive {most}")
            if verdict.run is not None:
                used.add(verdict.run)
            if verdict.system is not None and verdict.system not in manifest.systems:
                raise self._bad(f"{id_}: no system '{verdict.system}'")
            needs = {"holds": verdict.system, "violated": verdict.run, "undecided": ""}
            if needs[verdict.outcome] is None and verdict.not_recheckable is None:
                raise self._bad(f"{id_}: there is no evidence that it is {verdict.outcome}")
        for name in sorted(used ^ set(manifest.files)):
            said = "no use for this file" if name in manifest.files else "this file is missing"
            raise self._bad(f"{name}: {said}")

    def _class_of(self, name: str) -> Built:
        if name not in self._built:
            if name not in self._classes:
                raise self._bad(f"no run class '{name}'")
            self._built[name] = build(self._model, self._classes[name])
        return self._built[name]

    def _n_faults(self, id_: str) -> int:
        """Under how many faults the evidence judges a requirement."""
        return self._classes[self._manifest.verdicts[id_].run_class].at_most or 0

    def _n_claimed(self, id_: str) -> int:
        """Under how many it is to be judged."""
        if id_ in GENERATED:
            return max(map(self._n_faults, self._manifest.verdicts))
        return self._claims.of(id_)

    def _replay(self, id_: str, verdict: VerdictEntry) -> tuple[str, ...]:
        """The moves of the run that violates a requirement, replayed on the model itself."""
        assert verdict.run is not None
        file = self._evidence.place(verdict.run)
        content = self._evidence.files.get(verdict.run)
        if content is None:
            raise bad(file, "this file of the evidence is missing")
        run = parse_run(content.decode("utf-8", errors="replace"), file)
        replay_file(self._model, run)
        if not self._is_of_runs(id_):
            return run.moves
        if id_ not in run.violates:
            raise bad(file, f"the run does not violate {id_}")
        try:
            state_after(self._class_of(verdict.run_class).system, run.moves)
        except ValueError as error:
            raise bad(file, f"not a run of this run class: {error}") from None
        return run.moves

    def _check_system(
        self, name: str, entry: SystemEntry, runs: Mapping[str, tuple[str, ...]]
    ) -> dict[str, tuple[Status, str]]:
        """What went wrong, by requirement; everything is checked that is needed of it."""
        file = f"{name}.smt2"
        built = self._class_of(entry.run_class)
        for id_ in entry.requirements:
            if id_ not in built.requirements:
                raise self._bad(f"{name}: '{id_}' is not a requirement of the model")
        if len(set(entry.requirements)) != len(entry.requirements):
            raise self._bad(f"{name}: a requirement is listed twice")
        for id_, n in entry.within.items():
            wrong = why_not_shown(self._model, id_, n)
            if wrong is not None:
                raise self._bad(f"{name}: {wrong}")
        here = asked(built, entry.requirements, entry.within)
        outline = self._outline(name, entry, here, runs)
        self._asked[name] = here, outline
        known = self._own_script(file, entry, here, outline)
        found: dict[str, tuple[Status, str]] = {}
        for done in self._asking(known):
            self._n_obligations += 1
            called = done.obligation.name
            if done.seconds > self._slowest[1]:
                self._slowest = (called, done.seconds)
            if done.result is Result.DISCHARGED:
                continue
            status = Status.REFUTED if done.result is Result.REFUTED else Status.UNDECIDED
            concerned = [requirement_of(query) for query in done.obligation.queries]
            for id_ in concerned or entry.requirements:
                if id_ not in found or found[id_][0] is not Status.REFUTED:
                    found[id_] = (status, f"{file}: {called}")
        return found

    def _own_script(self, file: str, entry: SystemEntry, here: Asked, outline: Outline) -> Script:
        """The script that this system asks for; the one in the evidence must be the same text."""
        shown = self._evidence.place(file)
        try:
            text = self._evidence.files[file].decode("ascii")
        except UnicodeDecodeError:
            raise bad(shown, "not a script: a byte that is not ASCII") from None
        start, end = text.find(SETS), text.find(OBLIGATIONS)
        if start < 0 or end < start:
            raise bad(shown, "not a script of interlock: there are no sets in it")
        start += len(SETS)
        sets = text[start:end]
        try:
            functions = read_sets(sets, here.system, entry.sets)
        except SexprError as error:
            place = place_after(shown, text[: start + error.start])
            raise bad(place, error.says) from None
        own = script(here.system, outline, sets, functions)
        if own.text != text:
            line = next(
                n
                for n, (a, b) in enumerate(
                    zip(own.text.split("\n"), [*text.split("\n"), ""], strict=False), 1
                )
                if a != b
            )
            says = "this line is not what the model gives: the obligations are of something else"
            raise bad(Place(shown, line, 1), says)
        return own

    def _outline(
        self, name: str, entry: SystemEntry, here: Asked, runs: Mapping[str, tuple[str, ...]]
    ) -> Outline:
        """What the script must ask, worked out from the model and the manifest's indices."""
        named = ((Stay, entry.stays), (Trap, entry.ladders), (Trap, entry.dead_ends))
        for kind, names in named:
            for called in sorted(names):
                if not isinstance(here.queries.get(called), kind):
                    raise self._bad(f"{name}: the model asks nothing called '{called}' in this way")
        ends = {called: self._end_of(called, here, runs) for called in entry.dead_ends}
        outline = outline_of(entry, here.queries, ends)
        self._check_invariant(name, here.system, outline.invariant)
        debts = {move.name for move in here.system.moves if move.fair is not None} | {""}
        for _, steps in outline.stays.values():
            unowed = [step.debt for step in steps if step.debt not in debts]
            if unowed:
                raise self._bad(f"{name}: nothing owes '{unowed[0]}'")
        for called, (_, ladder) in outline.traps.items():
            if not ladder.rungs:
                raise self._bad(f"{name}: the ladder of {called} has no rung")
        if any(not 0 <= number < entry.sets for number in outline.set_numbers):
            raise self._bad(f"{name}: there are only {entry.sets} sets")
        for called, (query, ladder) in outline.traps.items():
            self._check_home(called, query, here, ladder.home, ladder.run)
        return outline

    def _check_invariant(self, name: str, system: System, invariant: Invariant) -> None:
        """It can be one of this system's: whether it is kept is asked of the solver."""
        if invariant.is_scanned and scan_of(system) is None:
            raise self._bad(f"{name}: the model has no scan that answers every move")
        for variable in invariant.split:
            if variable not in system.index:
                raise self._bad(f"{name}: the model has no variable '{variable}'")
        n_split = len(set(invariant.split))
        different = {case.values for case in invariant.cases}
        if n_split < len(invariant.split) or len(different) < len(invariant.cases):
            raise self._bad(f"{name}: a variable or a case of the invariant is listed twice")
        if any(len(values) != n_split for values in different):
            raise self._bad(f"{name}: a case of the invariant needs {n_split} values")

    def _end_of(
        self, called: str, here: Asked, runs: Mapping[str, tuple[str, ...]]
    ) -> tuple[int, ...]:
        id_ = requirement_of(called)
        if id_ not in runs:
            raise self._bad(f"{called}: a dead end without a run that leads there")
        try:
            return state_after(here.system, runs[id_])
        except ValueError as error:
            raise self._bad(f"{called}: {error}") from None

    def _check_home(
        self,
        called: str,
        query: Trap,
        here: Asked,
        home: tuple[int, ...] | None,
        run: tuple[str, ...],
    ) -> None:
        """From a home, the run must lead to the goal."""
        if home is None:
            return
        inside = len(home) == len(here.system.variables) and all(
            v.domain.lo <= value <= v.domain.hi
            for v, value in zip(here.system.variables, home, strict=True)
        )
        if not inside:
            raise self._bad(f"{called}: its home is no state of the system")
        forced = [move for move in run if move not in here.system.onward]
        if forced:
            raise self._bad(f"{called}: from home, '{forced[0]}' is a fault's and no way on")
        try:
            end = state_after(here.system, run, home)
        except ValueError as error:
            raise self._bad(f"{called}: from home, {error}") from None
        if not evaluate(query.goal, here.system.named(end)):
            raise self._bad(f"{called}: the run from home does not end in the goal")

    def _result(
        self, id_: str, verdict: VerdictEntry, failed: tuple[Status, str] | None
    ) -> Rechecked:
        run_class = self._class_of(verdict.run_class).run_class
        status, says = self._status(id_, verdict, failed)
        n_claimed = self._n_claimed(id_)
        holds = verdict.outcome == "holds" and status is Status.CONFIRMED
        if holds and self._n_faults(id_) < n_claimed:
            status = Status.FOR_LESS
        return Rechecked(id_, verdict.outcome, run_class, n_claimed, status, says)

    def _status(
        self, id_: str, verdict: VerdictEntry, failed: tuple[Status, str] | None
    ) -> tuple[Status, str]:
        if verdict.outcome == "undecided":
            return Status.UNDECIDED, f"there is no verdict: {verdict.limit or 'a limit was hit'}"
        if verdict.not_recheckable is not None:
            return Status.OPEN, verdict.not_recheckable
        if failed is not None:
            return failed
        if verdict.system is None:
            return self._by_run_alone(id_)
        entry = self._manifest.systems[verdict.system]
        here, outline = self._asked[verdict.system]
        if id_ not in entry.requirements or entry.run_class != verdict.run_class:
            raise self._bad(f"{id_}: '{verdict.system}' is not evidence of it")
        queries = here.of(id_).keys()
        if verdict.outcome == "violated":
            if queries & outline.dead_ends.keys():
                return Status.CONFIRMED, "the run, and no way on from its end"
            return self._by_run_alone(id_)
        if queries & outline.dead_ends.keys():
            raise self._bad(f"{id_}: a dead end is no evidence that it holds")
        proofs = queries & {*outline.stays, *outline.traps}
        for called in sorted(queries - outline.reaches.keys() - proofs):
            raise self._bad(f"{id_}: there is no evidence of {called}")
        try:
            built = self._class_of(verdict.run_class)
            missing = why_not(built, id_, entry.within.get(id_), verdict.met)
        except ValueError as error:
            raise self._bad(f"{id_}: what shows that it was put to the test: {error}") from None
        if missing is not None:
            return Status.OPEN, missing
        says = "invariant and certificate" if proofs else "invariant"
        return Status.CONFIRMED, says + time_shown(self._model, id_, entry.within.get(id_))

    def _by_run_alone(self, id_: str) -> tuple[Status, str]:
        if not self._is_of_runs(id_):
            return Status.OPEN, "one run cannot show that there is no way on"
        return Status.CONFIRMED, "the run"

    def _is_of_runs(self, id_: str) -> bool:
        """Whether a single run violates the requirement, whichever class it is judged in."""
        built = self._class_of(self._manifest.verdicts[id_].run_class)
        return PATTERNS[built.requirements[id_].pattern].is_of_runs
