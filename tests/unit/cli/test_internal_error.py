"""A defect of ours is told as one, and never ends as a verdict, wherever it happens."""

from __future__ import annotations

import errno
import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import entry_points
from types import ModuleType

import click
import pytest

from interlock.base.errors import InputError, InternalError, Mistake, MistakeList, Place
from interlock.base.pool import spread
from interlock.cli.main import run
from interlock.commands.operate import judging
from tests.support.models import MODELS, shipped

Body = Callable[[], object]


def replaced(monkeypatch: pytest.MonkeyPatch, body: Body) -> None:
    """Let ``interlock doctor`` do something else."""

    @click.command("doctor")
    def command() -> object:
        return body()

    module = ModuleType("interlock.cli.doctor")
    module.command = command  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "interlock.cli.doctor", module)


def raising(error: BaseException) -> Body:
    def body() -> None:
        raise error

    return body


UNEXPECTED = [
    (KeyError("gone"), "KeyError: 'gone'"),
    (AssertionError(), "AssertionError"),
    (RecursionError("deep"), "RecursionError: deep"),
    (ZeroDivisionError("division by zero"), "ZeroDivisionError: division by zero"),
    (ValueError("two\nlines\u202e"), "ValueError: two lines<U+202E>"),
    (RuntimeError("x" * 5000), f"RuntimeError: {'x' * 200}"),
    (FileNotFoundError(errno.ENOENT, "No such file", "own.html"), "FileNotFoundError: "),
    (InternalError("the judge says otherwise"), "the judge says otherwise"),
]


@pytest.mark.parametrize(("error", "says"), UNEXPECTED)
def test_whatever_is_raised_is_one_line_and_4(
    error: Exception, says: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced(monkeypatch, raising(error))
    assert run(["doctor"]) == 4
    told = capsys.readouterr()
    assert told.out == ""
    first, second, end = told.err.split("\n")
    assert first.startswith(f"internal error, not a verdict: {says}")
    assert len(first) < 500
    assert (second, end) == ("please report it with the model's files", "")


def test_the_line_says_where_it_was_raised(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    replaced(monkeypatch, lambda: MistakeList(None))  # type: ignore[arg-type]
    assert run(["doctor"]) == 4
    assert "(cli/main.py:" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (KeyboardInterrupt(), "\nstopped; no verdict\n"),
        (click.Abort(), "stopped; no verdict\n"),
        (MemoryError(), "stopped; no verdict: out of memory\n"),
        (OSError(errno.ENOSPC, "No space left"), "stopped; no verdict: No space left\n"),
    ],
)
def test_what_is_no_defect_is_no_verdict_either(
    error: BaseException,
    says: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    replaced(monkeypatch, raising(error))
    assert run(["doctor"]) == 3
    assert capsys.readouterr().err == says


def test_a_mistake_of_the_user_stays_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mistakes = [Mistake(Place("m.yaml", 3, 4), "no")]
    replaced(monkeypatch, raising(InputError(mistakes)))
    assert run(["doctor"]) == 2
    assert capsys.readouterr().err == "m.yaml:3:4: no\n"


def test_a_command_that_cannot_be_imported_is_a_defect(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "interlock.cli.doctor", None)
    assert run(["doctor"]) == 4
    assert capsys.readouterr().err.startswith("internal error, not a verdict: ModuleNotFoundError")


def failing(item: int) -> int:
    """Fails in another process."""
    if item:
        raise {}[item]
    return item


def refusing(item: int) -> int:
    """Finds a mistake of the user in another process."""
    if item:
        raise InputError([Mistake(Place("m.yaml", item, 1), "no")])
    return item


@pytest.mark.parametrize(
    ("work", "code", "says"),
    [(failing, 4, "internal error, not a verdict: KeyError: "), (refusing, 2, "m.yaml:")],
)
def test_what_is_raised_in_another_process_is_told_as_here(
    work: Callable[[int], int],
    code: int,
    says: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    replaced(monkeypatch, lambda: list(spread(work, [0, 1, 2], 2, worth_seconds=-1)))
    assert run(["doctor"]) == code
    assert capsys.readouterr().err.startswith(says)


def test_mistakes_come_whole_out_of_another_process() -> None:
    error = InputError([Mistake(Place("b", 1, 2), "x"), Mistake(Place("a", 3, 4), "y")])
    back = pickle.loads(pickle.dumps(error))
    assert isinstance(back, InputError)
    assert back.mistakes == error.mistakes


class Sent:
    """Stands for the bench's end of a pipe."""

    def __init__(self) -> None:
        self.parts: list[tuple[str, str]] = []

    def send(self, part: tuple[str, str]) -> None:
        self.parts.append(part)


def test_the_judging_process_of_the_bench_says_what_went_wrong(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def gone(*_: object, **__: object) -> None:
        raise KeyError("gone")

    monkeypatch.setattr(judging, "verify", gone)
    monkeypatch.setattr(judging.signal, "signal", lambda *_: None)
    sent = Sent()
    judging.work(sent, shipped("ramp"), judging.Task("k"), judging.LIMITS)  # type: ignore[arg-type]
    ((kind, says),) = sent.parts
    assert kind == "failed"
    assert says.startswith("internal error, not a verdict: KeyError: 'gone'")


def test_the_console_script_ends_with_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (script,) = entry_points(group="console_scripts", name="interlock")
    replaced(monkeypatch, raising(KeyError("gone")))
    monkeypatch.setattr(sys, "argv", ["interlock", "doctor"])
    with pytest.raises(SystemExit) as end:
        script.load()()
    assert end.value.code == 4
    assert "Traceback" not in capsys.readouterr().err


MODULE = """
import runpy, sys
class Finder:
    def find_spec(self, name, path=None, target=None):
        if name == "interlock.cli.doctor":
            raise KeyError("gone")
sys.meta_path.insert(0, Finder())
sys.argv[1:] = ["doctor"]
runpy.run_module("interlock", run_name="__main__")
"""


@pytest.mark.parametrize("is_dev", [False, True])
def test_the_module_ends_with_it_and_shows_the_way_there_to_developers(is_dev: bool) -> None:
    options = ["-X", "dev"] if is_dev else []
    command = [sys.executable, *options, "-W", "ignore", "-c", MODULE]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 4
    assert done.stdout == ""
    assert "internal error, not a verdict: KeyError: 'gone'" in done.stderr
    assert ("Traceback" in done.stderr) is is_dev


@pytest.mark.parametrize("arguments", [["schema"], ["--help"], ["verify", str(MODELS / "ramp")]])
def test_a_reader_that_went_away_is_no_verdict(arguments: list[str]) -> None:
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "interlock", *arguments]
    with os.fdopen(write, "w") as out:
        done = subprocess.run(command, stdout=out, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (3, "")
