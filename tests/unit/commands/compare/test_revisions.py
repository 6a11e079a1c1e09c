"""Several revisions of one model, each compared by itself and told side by side."""

from __future__ import annotations

import json
import os
import signal
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from interlock.base.errors import NoClusterError
from interlock.base.pool import spread
from interlock.cli.main import run
from interlock.commands.compare.revisions import Asked, compare_each
from interlock.commands.compare.tell_revisions import to_json
from interlock.commands.compare.verdicts import minimal_sets
from interlock.judgement.fault_sets import RequirementSets
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.models import MODELS

LAMP = "lamp := shut AND NOT drive;"
RAMP = MODELS / "ramp"
BROKEN = [MODELS / "ramp-broken" / name for name in ("pin-alone", "lamp-from-command")]


def gates(folder: Path, **programs: str) -> list[str]:
    """The gate and changes of its program, by name."""
    old = written(folder / "old")
    return [str(old), *(str(written(folder / n, GATE_YAML, st)) for n, st in programs.items())]


def test_each_is_told_as_it_is_told_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    alone = []
    for one in (*BROKEN, RAMP):
        run(["compare", str(RAMP), str(one), "--json", "-"])
        alone.append(json.loads(capsys.readouterr().out))
    args = ["compare", str(RAMP), *map(str, BROKEN), str(RAMP), "-o", str(tmp_path), "--plain"]
    assert run(args) == 1
    told = capsys.readouterr().out
    data = json.loads((tmp_path / "revisions.json").read_text(encoding="utf-8"))
    assert [one["comparison"] for one in data["revisions"]] == alone
    assert [one["outcome"] for one in data["revisions"]] == ["violated", "violated", "holds"]
    assert data["outcome"] == "violated"
    folders = sorted(file.name for file in tmp_path.iterdir() if file.is_dir())
    assert folders == ["1-pin-alone", "2-lamp-from-command", "3-ramp"]
    for number, folder in enumerate(folders):
        own = json.loads((tmp_path / folder / "impact.json").read_text(encoding="utf-8"))
        assert own == alone[number]
    rows = [" ".join(line.split()) for line in told.splitlines()]
    assert any(row.startswith("1 pin-alone worse: R1, R2 ") for row in rows)
    assert any(row.startswith("3 ramp the same verdicts none none 0 ") for row in rows)
    behind = "Outputs: nothing was compared behind the first difference of an output that moves"
    assert any(row.startswith(f"- 1: {behind}") for row in rows)


def test_the_worst_of_them_decides_the_exit_code(tmp_path: Path) -> None:
    lying = GATE_ST.replace(LAMP, "lamp := NOT drive;")
    args = gates(tmp_path, same=GATE_ST, lying=lying)
    assert run(["compare", *args, "--plain"]) == 1
    assert run(["compare", args[0], args[1], args[1], "--plain"]) == 0


def test_a_limit_leaves_each_of_them_undecided(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    args = gates(tmp_path, same=GATE_ST, other=GATE_ST)
    assert run(["compare", *args, "--max-states", "2", "--plain"]) == 3
    assert capsys.readouterr().out.count("Undecided: a limit was hit.") == 2


def test_a_mistake_in_one_of_them_is_told_before_anything_is_explored(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    args = gates(tmp_path, same=GATE_ST, wrong=GATE_ST.replace("pressed;", "presed;"))
    assert run(["compare", *args, "-o", str(tmp_path / "out")]) == 2
    shown = capsys.readouterr()
    assert "did you mean 'pressed'?" in shown.err
    assert not shown.out
    assert not (tmp_path / "out").exists()


def test_a_cluster_for_one_revision_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    args = gates(tmp_path, same=GATE_ST)
    assert run(["compare", *args, "--scheduler", "tcp://127.0.0.1:9"]) == 2
    assert "there is one NEW" in capsys.readouterr().err


def test_a_named_fault_may_be_one_of_any_of_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = GATE_YAML.splitlines(keepends=True)
    without = "".join(line for line in lines if not line.startswith("  F1:"))
    old, same = (str(written(tmp_path / name, without)) for name in ("old", "same"))
    more = str(written(tmp_path / "more"))
    assert run(["compare", old, same, more, "--fault", "F1", "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)["revisions"]
    assert [one["comparison"]["faults"] for one in found] == [["F1"], ["F1"]]
    gained = [
        [verdict["sets_gained"] for verdict in one["comparison"]["requirements"]] for one in found
    ]
    assert not any(gained[0])
    assert [["F1"]] in gained[1]


@pytest.mark.slow
def test_processes_and_a_cluster_find_the_same_whoever_dies(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    distributed = pytest.importorskip("distributed", reason="extra 'cluster' is not installed")
    old = load(RAMP / "model.yaml")
    revisions = [load(folder / "model.yaml") for folder in (*BROKEN, RAMP, *BROKEN)]
    asked = Asked("auto", False, Limits(max_seconds=600.0).from_now())
    alone = to_json(old, compare_each(old, revisions, asked))
    at_once = partial(spread, worth_seconds=0.0)
    monkeypatch.setattr("interlock.commands.compare.revisions.spread", at_once)
    assert to_json(old, compare_each(old, revisions, asked, n_processes=2)) == alone
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]

        def stage(n_done: int) -> None:
            if n_done == 1:
                os.kill(pids[0], signal.SIGKILL)

        address = cluster.scheduler_address
        found = compare_each(old, revisions, asked, scheduler=address, stage=stage)
        late = replace(asked, limits=Limits(max_seconds=0.0).from_now())
        cut_short = compare_each(old, revisions, late, scheduler=address)
    assert to_json(old, found) == alone
    assert {one.outcome for one in cut_short} == {Outcome.UNDECIDED}
    assert [one.title for one in cut_short] == [one.title for one in found]


def test_an_address_without_a_scheduler_is_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    monkeypatch.setattr("interlock.base.cluster._CONNECT_SECONDS", 1)
    old, *new = (load(Path(one) / "model.yaml") for one in gates(tmp_path, a=GATE_ST, b=GATE_ST))
    with pytest.raises(NoClusterError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        compare_each(old, new, Asked("auto", False, Limits()), scheduler="tcp://127.0.0.1:9")


def test_what_is_asked_of_the_model_before_is_found_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lying = GATE_ST.replace(LAMP, "lamp := NOT drive;")
    programs = {"same": GATE_ST, "lying": lying, "more": GATE_ST.replace(LAMP, "lamp := shut;")}
    old, *new = (load(Path(one) / "model.yaml") for one in gates(tmp_path, **programs))
    judged: list[str] = []
    struck: list[str] = []

    def verify_once(model: Model, *args: Any, **named: Any) -> Verification:
        judged.append(model.name)
        return verify(model, *args, **named)

    def minimal_sets_once(model: Model, **named: Any) -> dict[str, RequirementSets]:
        struck.append(model.name)
        return minimal_sets(model, **named)

    monkeypatch.setattr("interlock.commands.compare.study.verify", verify_once)
    monkeypatch.setattr("interlock.commands.compare.study.minimal_sets", minimal_sets_once)
    asked = Asked("auto", False, Limits(), ("F1",))
    found = compare_each(old, new, asked)
    assert sorted(judged) == sorted(struck) == ["lying", "more", "old", "same"]
    apart = [compare_each(old, [one], asked)[0] for one in new]
    assert to_json(old, found) == to_json(old, apart)


def test_a_revision_with_another_plant_is_compared_as_it_is_alone(tmp_path: Path) -> None:
    """What was asked of the model before for one plant is no answer to what another one asks."""
    moved = "from: [OPEN, BETWEEN], to: SHUT, when: NOT drive"
    assert moved in GATE_YAML
    blocked = GATE_YAML.replace(moved, "from: OPEN, to: SHUT, when: NOT drive")
    renamed = GATE_YAML.replace("gate = ", "leaf = ").replace("  gate:\n", "  leaf:\n")
    renamed = renamed.replace("machine: gate", "machine: leaf")
    old, same, *others = (
        load(written(tmp_path / str(n), yaml) / "model.yaml")
        for n, yaml in enumerate((GATE_YAML, GATE_YAML, blocked, renamed))
    )
    asked = Asked("auto", False, Limits())
    for order in ((same, *others), (*others, same)):
        apart = [compare_each(old, [one], asked)[0] for one in order]
        assert to_json(old, compare_each(old, order, asked)) == to_json(old, apart)
