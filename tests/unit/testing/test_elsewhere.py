"""Tests of models that the workers of a cluster judge, one of which is killed on the way."""

from __future__ import annotations

import os
import shutil
import signal
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.testing.asked import JudgedElsewhere, Kind, ModelTests, Question, judged
from interlock.testing.studies import Options, Studies, contents
from tests.support.gate import GATE_YAML, written
from tests.support.models import MODELS

# Here and not within a test: what is imported while `pytester` is at work is taken away behind it.
distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
pytest_plugins = ["pytester"]

WORRIED = GATE_YAML + "expected: {violated: [R1]}\n"
NO_SUCH = Question(Kind.UNDER_FAULT, "F77")


def asked_of(folder: Path, *more: Question) -> ModelTests:
    """Every requirement of a model, and what more is asked."""
    given = contents(folder / "model.yaml")
    asked = (Question(Kind.REQUIREMENT, id_) for id_ in given.requirements)
    return ModelTests(given, frozenset(given.requirements), (*asked, *more))


@pytest.mark.slow
def test_a_cluster_judges_as_this_machine_does_whoever_dies(tmp_path: Path) -> None:
    worried = asked_of(written(tmp_path / "worried", WORRIED), Question(Kind.PAIR), NO_SUCH)
    ramp = asked_of(MODELS / "ramp")
    others = [asked_of(MODELS / "ramp-broken" / name) for name in ("pin-alone", "lost-bracket")]
    groups = [[("worried", worried)], [("ramp", ramp)], [(n, o) for n, o in enumerate(others)]]
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        elsewhere = JudgedElsewhere(Options(), groups, cluster.scheduler_address)
        broken = elsewhere.result("worried", NO_SUCH)
        os.kill(pids[0], signal.SIGKILL)
        for group in groups:
            studies = Studies()
            for key, tests in group:
                for question in tests.questions:
                    if question != NO_SUCH:
                        told = elsewhere.result(key, question)
                        assert told == judged(studies, tests, question)
        elsewhere.end()
    # Whatever goes wrong in one test is a failure of that one, and of no other.
    assert not broken.passes
    assert broken.says.startswith("internal error, not a verdict: KeyError: 'F77'")
    assert not elsewhere.result("worried", Question(Kind.PAIR)).passes


@pytest.mark.slow
def test_pytest_tells_what_a_cluster_judged_as_if_judged_here(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    shutil.copytree(MODELS / "ramp", pytester.path / "models" / "ramp")
    written(pytester.path / "models" / "worried", WORRIED)
    (written(pytester.path / "models" / "odd") / "model.yaml").write_text("plant: [\n")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        reports = []
        for options in ((), ("--interlock-scheduler", cluster.scheduler_address)):
            result = pytester.runpytest_subprocess("models", "--junitxml=out.xml", *options)
            assert result.ret == 1
            tree = ElementTree.parse(pytester.path / "out.xml")
            reports.append(
                {
                    case.get("name"): (
                        [failure.text for failure in case.iter("failure")],
                        [(p.get("name"), p.get("value")) for p in case.iter("property")],
                    )
                    for case in tree.iter("testcase")
                }
            )
    assert reports[0] == reports[1]
    assert any(failures for failures, _ in reports[1].values())


def test_a_cluster_and_processes_together_are_refused(pytester: pytest.Pytester) -> None:
    result = pytester.runpytest_subprocess("-n", "2", "--interlock-scheduler", "tcp://127.0.0.1:9")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*leave out -n*"])


def test_no_scheduler_is_told_before_anything_is_judged(pytester: pytest.Pytester) -> None:
    written(pytester.path / "gate")
    pytester.makeconftest("import interlock.base.cluster as c\nc._CONNECT_SECONDS = 1\n")
    result = pytester.runpytest_subprocess(".", "--interlock-scheduler", "tcp://127.0.0.1:9")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*no scheduler answers at tcp://127.0.0.1:9*"])
