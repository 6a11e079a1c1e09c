"""Judging in the background: the verdicts are those of verify, and a job can be ended."""

from __future__ import annotations

import errno
import time
from multiprocessing.context import SpawnProcess
from pathlib import Path

import pytest

from interlock.commands.operate.bench import key_of
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.judging import Job, Jobs, Task, find_example
from interlock.commands.operate.render import regions
from interlock.commands.operate.session import Session
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from tests.support.benches import bench
from tests.support.gate import gate
from tests.support.latch import latch
from tests.support.models import shipped, verified


def finished(jobs: Jobs, task: Task, name: str) -> Job:
    job = jobs.start(task, shipped(name))
    deadline = time.monotonic() + 60
    while job.is_open and time.monotonic() < deadline:
        time.sleep(0.02)
    return job


@pytest.fixture
def jobs() -> Jobs:
    return Jobs()


def test_a_job_comes_to_the_verdicts_and_runs_of_verify(jobs: Jobs) -> None:
    name = "ramp-broken/pin-alone"
    job = finished(jobs, Task(key_of(shipped(name))), name)
    assert job.stage == "done"
    expected = {f.requirement.id: f for f in verified(shipped(name), "enumerate").findings}
    assert job.findings.keys() == expected.keys()
    for id_, judged in job.findings.items():
        finding = expected[id_]
        assert judged.outcome is finding.verdict.outcome
        run = finding.run
        assert judged.moves == (tuple(h.move for h in run.happenings) if run else ())
        assert judged.says.startswith(finding.verdict.outcome.value)


def test_a_job_that_judges_all_tells_what_is_worth_a_look(jobs: Jobs, tmp_path: Path) -> None:
    """A move that only an exploration shows to be impossible, on the page before and after."""
    opens = ("when: latch = OUT}", "when: pull AND NOT button}")
    singly = ("plant:\n", "run: {between_scans: one in all}\nplant:\n")
    desk = Desk(ServedModel(latch(tmp_path, opens, singly), jobs))
    said = "model.yaml:14:38</span> <bdi>the move &#39;lid: SHUT to OPEN&#39; is never possible"
    assert "After “Judge all” this also tells" in regions(desk)["worth_a_look"]
    assert said not in regions(desk)["worth_a_look"]
    desk.judge()
    deadline = time.monotonic() + 60
    while desk.open_jobs() and time.monotonic() < deadline:
        time.sleep(0.02)
    assert said in regions(desk)["worth_a_look"]
    assert "After “Judge all”" not in regions(desk)["worth_a_look"]


def test_what_a_limit_cuts_short_is_undecided_with_the_limit() -> None:
    jobs = Jobs(Limits(max_states=20))
    job = finished(jobs, Task(key_of(shipped("ramp")), only="R1"), "ramp")
    assert job.findings["R1"].outcome is Outcome.UNDECIDED
    assert "states 20" in job.findings["R1"].says


def test_a_premise_that_never_occurred_is_called_vacuous(jobs: Jobs) -> None:
    name = "ramp-broken/dead-requirement"
    job = finished(jobs, Task(key_of(shipped(name)), only="R10"), name)
    assert job.findings["R10"].vacuous
    assert "vacuous" in job.findings["R10"].says


def test_an_example_is_a_run_to_where_the_premise_occurs() -> None:
    found = find_example(shipped("ramp"), "R3")
    session = Session(bench("ramp"))
    assert session.show(found.moves, None, "") is None
    session.go(len(found.moves))
    # R3: with the stop button pressed the pump is off, judged after each scan.
    assert session.bench.label(session.state, "stop") == "TRUE"
    assert session.bench.pending(session.state) == 0


def test_an_example_lies_inside_the_scope(tmp_path: Path) -> None:
    asked = "leads_to: gate = SHUT OR button", "leads_to: gate = SHUT, scope: {after: button}"
    model = gate(tmp_path, ("whenever: gate = OPEN AND NOT button", "whenever: NOT button"), asked)
    found = find_example(model, "R2")
    assert found.moves == ("scan", "button to TRUE", "scan", "button to FALSE")


def test_a_premise_that_never_occurs_has_no_example() -> None:
    found = find_example(shipped("ramp-broken/dead-requirement"), "R10")
    assert (found.moves, found.says) == ((), "its premise never occurs")


def test_a_stopped_job_has_no_verdict_and_its_process_is_gone(jobs: Jobs) -> None:
    task = Task(key_of(shipped("wren")))
    job = jobs.start(task, shipped("wren"))
    deadline = time.monotonic() + 30
    while job.process is None and time.monotonic() < deadline:
        time.sleep(0.01)
    jobs.stop(task)
    assert job.stage == "stopped"
    assert not job.findings
    while job.process.is_alive() and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not job.process.is_alive()


def test_a_process_that_cannot_be_started_is_told_and_the_next_job_goes_on(
    jobs: Jobs, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(_process: SpawnProcess) -> None:
        raise OSError(errno.ENOMEM, "Cannot allocate memory")

    task = Task(key_of(shipped("ramp")), only="R1")
    with monkeypatch.context() as patched:
        patched.setattr(SpawnProcess, "start", no_room)
        job = finished(jobs, task, "ramp")
    assert job.stage == "failed"
    assert job.says == "the judging process cannot be started: Cannot allocate memory"
    assert finished(jobs, task, "ramp").stage == "done"


def test_the_same_task_is_judged_once(jobs: Jobs) -> None:
    task = Task(key_of(shipped("ramp")), only="R1")
    first = jobs.start(task, shipped("ramp"))
    assert jobs.start(task, shipped("ramp")) is first
    jobs.end()
    assert not first.is_open
