"""Requirements judged in the background, in a process of its own, one job at a time.

What comes back is plain data: verdicts in words and runs as names of moves. A job that is no
longer wanted is ended; nothing is left running when the page's server ends.
"""

from __future__ import annotations

import multiprocessing
import signal
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from interlock.base import cores
from interlock.base.errors import defect_in_words
from interlock.independent_judge.judge import replay_run
from interlock.judgement.engines import AutomaticEngine
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.asking import ask
from interlock.kernel.query import DeclinedError, Limits, Occurs, Progress, ProgressSink, Reach
from interlock.kernel.requirement import Outcome
from interlock.model.between import BY_DEFAULT
from interlock.model.build import FAULT_FREE, build
from interlock.model.model import Model
from interlock.oversights.found import Looked
from interlock.oversights.study import look, questions_for

LIMITS = Limits(max_seconds=300, max_bytes=3_000_000_000)
_KEPT_JOBS = 24
_PROGRESS_EVERY_S = 0.2


@dataclass(frozen=True)
class Task:
    """What to judge.

    Attributes
    ----------
    key : str
        Key of the bench.
    claimed : bool
        Each requirement under as many faults as it claims to survive; else under none.
    only : str
        Id of the one requirement to judge; empty for all.
    example : bool
        Do not judge it, but find a run to where its premise occurs.
    """

    key: str
    claimed: bool = False
    only: str = ""
    example: bool = False


@dataclass(frozen=True)
class Judged:
    """What came of one requirement.

    Attributes
    ----------
    outcome : Outcome
    vacuous : bool
    says : str
        The verdict in words, with what was looked at.
    moves : tuple of str
        A shortest violating run, replayed beforehand; empty where there is none.
    loop_start : int or None
    """

    outcome: Outcome
    vacuous: bool
    says: str
    moves: tuple[str, ...] = ()
    loop_start: int | None = None


@dataclass
class Job:
    """A task on its way.

    Attributes
    ----------
    stage : str
        ``waiting``, ``running``, ``done``, ``failed`` or ``stopped``.
    says : str
        How far it is, or what became of it.
    looked : Looked or None
        What is worth a look, where everything was judged.
    """

    task: Task
    stage: str = "waiting"
    says: str = "waiting for the one before it"
    findings: Mapping[str, Judged] = field(default_factory=dict)
    looked: Looked | None = None
    process: Any = None
    wanted: bool = True

    @property
    def is_open(self) -> bool:
        """Whether something is still to come."""
        return self.stage in ("waiting", "running")


class Jobs:
    """All jobs of a server; the same task is judged once.

    Parameters
    ----------
    limits : Limits
        For each exploration of a job.
    """

    def __init__(self, limits: Limits = LIMITS) -> None:
        self._limits = limits
        self._jobs: dict[Task, Job] = {}
        self._one_at_a_time = threading.Lock()
        self._lock = threading.Lock()
        self._ended = False

    def find(self, task: Task) -> Job | None:
        """The job of a task, if it was ever started."""
        return self._jobs.get(task)

    def judged(self, task: Task, id_: str) -> Judged | None:
        """What came of a requirement, where that task has judged it."""
        job = self.find(task)
        return None if job is None else job.findings.get(id_)

    def start(self, task: Task, model: Model) -> Job:
        """Judge `task` unless that was or is being done."""
        with self._lock:
            job = self._jobs.get(task)
            if job is not None and job.stage in ("waiting", "running", "done"):
                return job
            job = Job(task)
            self._jobs[task] = job
            closed = [t for t, old in self._jobs.items() if not old.is_open]
            for old in closed[: max(0, len(self._jobs) - _KEPT_JOBS)]:
                del self._jobs[old]
        threading.Thread(target=self._follow, args=(job, model), daemon=True).start()
        return job

    def stop(self, task: Task) -> None:
        """End a job; what it found so far is not kept."""
        with self._lock:
            job = self._jobs.get(task)
            if job is None or not job.is_open:
                return
            job.wanted = False
            job.stage, job.says = "stopped", "stopped; no verdict"
        self._end(job)

    def end(self) -> None:
        """End every job, for good."""
        self._ended = True
        for task, job in list(self._jobs.items()):
            self.stop(task)
            if job.process is not None:
                job.process.join(2)

    @staticmethod
    def _end(job: Job) -> None:
        process = job.process
        if process is not None and process.is_alive():
            process.terminate()

    def _follow(self, job: Job, model: Model) -> None:
        with self._one_at_a_time:
            with self._lock:
                if self._ended or not job.wanted:
                    return
                job.stage, job.says = "running", "starting"
            # A fresh process: a fork of a server with threads could take a held lock along.
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe(duplex=False)
            arguments = (theirs, model, job.task, self._limits, cores.in_use())
            process = context.Process(target=work, args=arguments, daemon=True)
            try:
                process.start()
            except OSError as error:
                job.stage = "failed"
                job.says = f"the judging process cannot be started: {error.strerror}"
                return
            job.process = process
            theirs.close()
            # It may have been stopped while it was being started; nothing listens then.
            _listen(job, ours)
            if job.stage == "stopped":
                self._end(job)
            process.join(5)
            self._end(job)
            if job.is_open:
                job.stage, job.says = "failed", "the judging process ended without an answer"


def _listen(job: Job, connection: Connection) -> None:
    while job.is_open:
        try:
            kind, content = connection.recv()
        except (EOFError, OSError):
            return
        if not job.wanted:
            return
        if kind == "progress":
            job.says = content
        elif kind == "looked":
            job.looked = content
        elif kind == "done":
            job.findings = content
            job.says, job.stage = "", "done"
        else:
            job.says, job.stage = content, "failed"


def work(
    connection: Connection, model: Model, task: Task, limits: Limits, n_threads: int | None = None
) -> None:
    """Judge `task` and send what is found; the whole life of a judging process."""
    cores.use(n_threads)
    # Ctrl-C is for the server, which ends this process in its turn.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        only = (task.only,) if task.only else ()
        report = _reporter(connection.send)
        if task.example:
            found_run = find_example(model, task.only, limits, report)
            connection.send(("done", {task.only: found_run}))
            return
        judge, engine = verify_claims if task.claimed else verify, AutomaticEngine()
        asked = () if only else questions_for(model).queries
        found = judge(model, engine, only=only, limits=limits, progress=report, beside=asked)
        if asked:
            cut = found.exploration.limit
            connection.send(("looked", look(model, found.beside, cut, engine, limits, report)))
        connection.send(("done", {f.requirement.id: judged(found, f) for f in found.findings}))
    except DeclinedError as reason:
        connection.send(("failed", f"no engine takes this model: {reason}"))
    except MemoryError:
        connection.send(("failed", "undecided: out of memory"))
    except BrokenPipeError:
        return
    except Exception as error:
        connection.send(("failed", defect_in_words(error)))


def _reporter(send: Callable[[tuple[str, str]], None]) -> Callable[[Progress], None]:
    last = [0.0]

    def report(now: Progress) -> None:
        if time.monotonic() - last[0] >= _PROGRESS_EVERY_S:
            last[0] = time.monotonic()
            send(("progress", f"{now.stage}: {now.n_states:,} states, {now.seconds:.0f} s"))

    return report


def find_example(
    model: Model, id_: str, limits: Limits = LIMITS, progress: ProgressSink | None = None
) -> Judged:
    """A run to where the premise of a requirement occurs: a requirement at work.

    Of several parts of a premise, the one that takes the longest run is shown.
    """
    built = build(model)
    asked = ask(built.system, built.requirements[id_])
    queries = [
        Reach(premise.where, premise.along if isinstance(premise, Occurs) else ())
        for premise in asked.premises
    ]
    explored = AutomaticEngine().explore(asked.system, queries, limits, progress)
    runs = [answer.witness for answer in explored.answers if answer.witness is not None]
    if not runs:
        is_cut = explored.limit is not None
        says = f"undecided: {explored.limit}" if is_cut else "its premise never occurs"
        return Judged(Outcome.UNDECIDED if is_cut else Outcome.HOLDS, not is_cut, says)
    happenings = replay_run(built, max(runs, key=len))
    moves = tuple(happening.move for happening in happenings)
    return Judged(Outcome.HOLDS, False, f"a run of {len(moves)} steps to its premise", moves)


def judged(verification: Verification, finding: Finding) -> Judged:
    """A finding as plain data."""
    verdict, run = finding.verdict, finding.run
    model = verification.built.model
    under = "" if finding.run_class == FAULT_FREE else f", {finding.run_class.says}"
    if str(model.between_scans) != BY_DEFAULT:
        under += f", {model.between_scans.says}"
    moves: tuple[str, ...] = ()
    if verdict.outcome is Outcome.VIOLATED and run is not None:
        moves = tuple(happening.move for happening in run.happenings)
        says = f"violated: a shortest run has {len(moves)} steps{under}"
    elif finding.is_too_late:
        says = f"{finding.says}: {finding.why(model)}{under}"
    elif verdict.vacuous:
        says = f"vacuous: {finding.why(model)}; {verdict.n_states:,} states"
    elif verdict.outcome is Outcome.UNDECIDED:
        says = f"undecided: {verdict.limit}; {verdict.n_states:,} states{under}"
    else:
        says = f"holds; premise in {verdict.n_premise:,} of {verdict.n_states:,} states{under}"
    return Judged(
        finding.outcome,
        verdict.vacuous,
        says,
        moves,
        None if run is None else run.loop_start,
    )
