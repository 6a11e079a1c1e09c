"""Processes killed at any moment leave what was there before, or all of what was to be."""

from __future__ import annotations

import ctypes
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.base.folders import write_whole_folder
from interlock.cli.main import run
from interlock.evidence.folder import read_folder
from tests.support.forked import Forking, forking
from tests.support.gate import gate
from tests.support.models import MODELS

RAMP = MODELS / "ramp"


@pytest.fixture(scope="module")
def forked() -> Iterator[Forking]:
    with forking() as helper:
        yield helper


def moments(whole: float, times: int, seed: int) -> Iterator[float]:
    """Moments of a command that takes `whole` seconds, most near the end, where it writes files."""
    chosen = random.Random(seed)
    for _ in range(times):
        yield whole * (1 - chosen.random() ** 2 / 2)


def killed(
    forked: Forking, arguments: list[str], whole: float, times: int, seed: int
) -> Iterator[None]:
    """Run a command that takes `whole` seconds, kill it at random moments; yields after each."""
    for moment in moments(whole, times, seed):
        process = forked.start(arguments)
        time.sleep(moment)
        os.kill(process, signal.SIGKILL)
        forked.wait()
        yield


@pytest.mark.slow
def test_a_killed_verify_leaves_whole_json_and_whole_evidence(
    forked: Forking, tmp_path: Path
) -> None:
    file, folder = tmp_path / "out.json", tmp_path / "evidence"
    command = ["verify", str(RAMP), "--plain", "--json", str(file), "--evidence", str(folder)]
    for _ in killed(forked, command, forked.seconds_alone(command), 8, 1):
        assert json.loads(file.read_text())["requirements"]
        assert read_folder(folder).manifest.verdicts
    assert run(["recheck", str(folder), "--model", str(RAMP)]) == 0
    assert run(command) == 0
    left = {p.name for p in tmp_path.iterdir()}
    assert {"out.json", "evidence"} <= left
    assert not [name for name in left if name.endswith(".part")]


@pytest.mark.slow
def test_a_killed_first_verify_leaves_nothing_or_all(tmp_path: Path) -> None:
    def command(name: str) -> list[str]:
        arguments = ["verify", str(RAMP), "--evidence", str(tmp_path / name)]
        return [sys.executable, "-m", "interlock", *arguments]

    started = time.monotonic()
    subprocess.run(command("other"), check=False, capture_output=True)
    for number, moment in enumerate(moments(time.monotonic() - started, 3, 0)):
        with subprocess.Popen(command(str(number)), stdout=subprocess.DEVNULL) as process:
            time.sleep(moment)
            process.kill()
        folder = tmp_path / str(number)
        assert not folder.exists() or read_folder(folder).manifest.verdicts


@pytest.mark.slow
def test_a_killed_challenge_goes_on_and_finds_the_same(forked: Forking, tmp_path: Path) -> None:
    def command(folder: str, out: str) -> list[str]:
        sample = ["--sample", "6", "-j", "1"]
        files = ["-o", str(tmp_path / folder), "--json", str(tmp_path / out)]
        return ["challenge", str(RAMP), "--plain", *sample, *files]

    arguments = command("killed", "killed.json")
    for _ in killed(forked, arguments, forked.seconds_alone(command("alone", "alone.json")), 3, 2):
        pass
    codes = {run(command("killed", "killed.json")), run(command("whole", "whole.json"))}
    assert len(codes) == 1
    ours, known = (
        json.loads((tmp_path / name).read_text()) for name in ("killed.json", "whole.json")
    )
    assert ours == known


@pytest.mark.slow
def test_a_killed_report_leaves_the_earlier_one_whole_and_nothing_half(
    forked: Forking, tmp_path: Path
) -> None:
    pytest.importorskip("weasyprint")

    # A small model: most of the time goes into its print.
    gate(tmp_path / "gate")
    written = tmp_path / "written"
    written.mkdir()

    def command(folder: str, *limits: str) -> list[str]:
        less = ["--leave-out", "diagrams,faults,matrix,procedures,rating"]
        return ["report", str(tmp_path / "gate"), "-o", str(written / folder), *less, *limits]

    limits = ("--max-states", "5")
    assert run(command("report")) == 0
    whole = forked.seconds_alone(command("later", *limits))
    earlier, later = contents(written / "report"), contents(written / "later")
    assert earlier.keys() == {"report.html", "report.pdf", "signals.xlsx"}
    for _ in killed(forked, command("report", *limits), whole, 3, 3):
        assert contents(written / "report") in (earlier, later)
    assert run(command("report", *limits)) == 3
    assert contents(written / "report") == later
    assert {file.name for file in written.iterdir()} == {"report", "later"}


FILES = {"a": b"1", "runs/b": b"2", "runs/c": b"3"}
DYING = f"""
import os, signal, sys
from pathlib import Path
from interlock.base.errors import InputError
from interlock.base.folders import write_whole_folder

n_left, write = int(sys.argv[2]), Path.write_bytes

def dying(file, content):
    global n_left
    if n_left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    n_left -= 1
    return write(file, content)

Path.write_bytes = dying
write_whole_folder(Path(sys.argv[1]), {FILES})
"""


def contents(folder: Path) -> dict[str, bytes]:
    files = (p for p in folder.rglob("*") if p.is_file())
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in files}


@pytest.mark.parametrize("before", [{}, {"a": b"0", "z": b"0"}], ids=["new", "replaced"])
@pytest.mark.parametrize("n_files", range(len(FILES) + 1))
def test_killed_between_two_files_it_leaves_the_folder_as_it_was(
    n_files: int, before: dict[str, bytes], tmp_path: Path
) -> None:
    folder = tmp_path / "evidence"
    if before:
        write_whole_folder(folder, before)
    ended = subprocess.run([sys.executable, "-c", DYING, str(folder), str(n_files)], check=False)
    is_whole = n_files == len(FILES)
    assert ended.returncode == (0 if is_whole else -signal.SIGKILL)
    assert contents(folder) == (FILES if is_whole else before)
    write_whole_folder(folder, FILES)
    assert [p.name for p in tmp_path.iterdir()] == ["evidence"]


def test_a_folder_is_replaced_at_once_and_leftovers_go(tmp_path: Path) -> None:
    folder = tmp_path / "evidence"
    write_whole_folder(folder, {"a": b"1", "runs/b": b"2"})
    left = tmp_path / ".evidence.interlock-999999999.part"
    left.mkdir()
    (left / "half").write_bytes(b"")
    write_whole_folder(folder, {"c": b"3"})
    assert [p.name for p in tmp_path.iterdir()] == ["evidence"]
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == {"c": b"3"}


def test_a_folder_is_replaced_where_the_system_cannot_exchange_two(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "evidence"
    write_whole_folder(folder, {"a": b"0"})
    left = tmp_path / ".evidence.interlock-999999999.part.part"
    left.mkdir()
    monkeypatch.delattr(ctypes, "CDLL")
    write_whole_folder(folder, FILES)
    assert contents(folder) == FILES
    assert [p.name for p in tmp_path.iterdir()] == ["evidence"]


def test_what_a_process_of_the_same_number_left_is_in_nobodys_way(tmp_path: Path) -> None:
    # In a container every run may have the same number.
    left = tmp_path / f".evidence.interlock-{os.getpid()}.part"
    left.mkdir()
    (left / "half").write_bytes(b"")
    write_whole_folder(tmp_path / "evidence", {"a": b"1"})
    assert [p.name for p in tmp_path.rglob("*")] == ["evidence", "a"]


def test_a_folder_stays_as_it_was_where_writing_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "evidence"
    write_whole_folder(folder, {"a": b"1"})

    def full(self: Path, content: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="evidence:1:1: cannot be written: No space"):
        write_whole_folder(folder, {"a": b"2"})
    monkeypatch.undo()
    assert (folder / "a").read_bytes() == b"1"
    assert [p.name for p in tmp_path.iterdir()] == ["evidence"]
