"""``verify --watch``: what is saved is judged again, and only what is otherwise is told.

Pauses are acts of a script here, and the last one is Ctrl-C, so nothing waits for a clock.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest

from interlock.base.interrupt import is_stopping
from interlock.cli.main import run
from interlock.commands.verify.judging import Judged, judge
from interlock.commands.verify.tell_changes import Telling
from interlock.commands.verify.watch import Watch
from interlock.engines import make
from interlock.model.load import load
from interlock.model.model import Model
from interlock.telling.terminal import Terminal
from tests.support.gate import GATE_ST, GATE_YAML, written

Act = Callable[[], object]
BROKEN = GATE_ST.replace("shut AND NOT drive", "NOT drive")
COMMENTED = GATE_ST.replace("lamp :=", "(* a comment *)\n\n  lamp   :=")
WRONG = GATE_ST.replace("lamp := shut", "lamp := shutt")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return written(tmp_path / "gate")


def save(file: Path, text: str) -> Act:
    return lambda: file.write_text(text, encoding="utf-8")


def press() -> None:
    os.kill(os.getpid(), signal.SIGINT)


class Watched:
    """A watch over a folder that goes through acts, one after the other, and then ends."""

    def __init__(self, folder: Path, strict: bool = False) -> None:
        self.folder, self.strict = folder, strict
        self.n_judged = 0
        self.acts: list[Act | None] = []
        self.while_judging: list[Act] = []
        self._out = StringIO()

    def watch(self, *acts: Act) -> int:
        # A pause in which nothing is done shows that a file is whole.
        for act in acts:
            self.acts += [act, None, None, None]
        console = Terminal(file=self._out, color_system=None, width=120)
        seconds = iter(range(1_000))
        noon = datetime(2026, 1, 1, 12)
        telling = Telling(console, lambda: noon + timedelta(seconds=next(seconds)))
        return Watch(lambda: load(self.folder), self._judge, telling, self._pause).run()

    @property
    def said(self) -> str:
        return re.sub(r"\s+", " ", self._out.getvalue())

    @property
    def rounds(self) -> list[str]:
        """What was told of each reading but the first, without times."""
        told = self.said.rpartition(" Ended.")[0]
        return re.split(r" \d\d:\d\d:\d\d saved", told)[1:]

    def _pause(self, _seconds: float) -> None:
        act = self.acts.pop(0) if self.acts else press
        if act is not None:
            act()

    def _judge(self, model: Model) -> Judged:
        self.n_judged += 1
        if self.while_judging:
            self.while_judging.pop(0)()
        return judge(model, make("reference"), "none", strict=self.strict)


def test_a_verdict_that_becomes_another_is_told_with_a_run_and_ends_with_its_code(
    folder: Path,
) -> None:
    watched = Watched(folder)
    assert watched.watch(save(folder / "controller.st", BROKEN)) == 1
    (told,) = watched.rounds
    assert told.startswith(": controller.st ")
    assert "R1 the lamp tells the truth holds -> violated" in told
    assert "R1 violated: the lamp tells the truth" in told
    assert "the gate leaves its stop" in told
    assert "3 holds, 1 violated; before, 12:00:00: 4 holds." in told
    assert "R2" not in told
    assert watched.said.endswith("3 holds, 1 violated. ")


def test_what_is_mended_is_told_without_a_run(folder: Path) -> None:
    (folder / "controller.st").write_text(BROKEN)
    watched = Watched(folder)
    assert watched.watch(save(folder / "controller.st", GATE_ST)) == 0
    (told,) = watched.rounds
    assert "R1 the lamp tells the truth violated -> holds" in told
    assert "leaves its stop" not in told


def test_requirements_that_are_new_gone_or_ask_something_else_are_told(folder: Path) -> None:
    changed = GATE_YAML.replace("R3: {says: open only", "R5: {says: open only").replace(
        "can_still: gate = SHUT}", "can_still: gate = SHUT AND NOT button}"
    )
    watched = Watched(folder)
    assert watched.watch(save(folder / "model.yaml", changed)) == 0
    (told,) = watched.rounds
    assert "R5 open only after the button new: holds" in told
    assert "R3 open only after the button gone; holds" in told
    assert "R4 it can always be shut asks otherwise: holds" in told
    assert "R1" not in told
    assert "R2" not in told


def test_another_run_to_the_same_violation_is_told_with_it(folder: Path) -> None:
    (folder / "controller.st").write_text(BROKEN)
    watched = Watched(folder)
    otherwise = GATE_ST.replace("shut AND NOT drive", "drive")
    assert watched.watch(save(folder / "controller.st", otherwise)) == 1
    (told,) = watched.rounds
    assert "R1 the lamp tells the truth violated, by another run" in told
    assert "a shortest run" in told


def test_comments_and_layout_explore_nothing(folder: Path) -> None:
    watched = Watched(folder)
    commented = "# a comment\n" + GATE_YAML.replace("title: Gate", "title:   Gate")
    assert (
        watched.watch(
            save(folder / "controller.st", COMMENTED), save(folder / "model.yaml", commented)
        )
        == 0
    )
    assert watched.n_judged == 1
    for told in watched.rounds:
        assert "Nothing that means anything is otherwise" in told
        assert "The verdicts are those of 12:00:00: 4 holds." in told
    assert len(watched.rounds) == 2


MEANT = {
    "a survived fault": ("judged: after scan", "judged: after scan, survives: 1"),
    "what is said": ("says: the lamp tells the truth", "says: the lamp tells it"),
    "a fault": ("sensor: shut, stuck: 'TRUE'}", "sensor: shut, stuck: 'FALSE'}"),
    "a hazard": ("says: caught in the gate", "says: caught"),
    "an assumption": ("title: Gate", "title: Gate\nassumptions: [somebody is there]"),
    "an alarm": ("lamp: {lamp: green}", "lamp: {lamp: green, announces: true}"),
    "a human error": (
        "{from: BETWEEN, to: OPEN, when: drive",
        "{by: human, from: SHUT, to: OPEN, says: forced}\n      - "
        "{from: BETWEEN, to: OPEN, when: drive",
    ),
}


@pytest.mark.parametrize("what", MEANT)
def test_whatever_else_is_told_or_decides_is_judged_anew(folder: Path, what: str) -> None:
    old, new = MEANT[what]
    assert old in GATE_YAML
    watched = Watched(folder)
    watched.watch(save(folder / "model.yaml", GATE_YAML.replace(old, new, 1)))
    assert watched.n_judged == 2, watched.said


def test_a_bound_of_other_milliseconds_is_judged_anew_though_its_scans_are_the_same(
    folder: Path,
) -> None:
    bound = "leads_to: NOT drive OR button, within: 239 ms}"
    timed = GATE_YAML.replace("leads_to: gate = SHUT OR button}", bound)
    timed = timed.replace("plant:", "run: {scan_ms: 20}\nplant:", 1)
    timed = timed.replace(
        "lamp: {lamp", "drive: {delay_ms: 185, delay_assumed: true}\n  lamp: {lamp"
    )
    (folder / "model.yaml").write_text(timed)
    watched = Watched(folder)
    assert watched.watch(save(folder / "model.yaml", timed.replace("239 ms", "221 ms"))) == 1
    assert "R2 the gate falls shut again holds -> violated (too late)" in watched.rounds[0]


def test_mistakes_are_told_with_places_and_the_verdicts_stay(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "controller.st").write_text(BROKEN)
    watched = Watched(folder)
    program = folder / "controller.st"
    # The exit code is that of the last verdicts, whatever stands in the files at the end.
    assert watched.watch(save(program, WRONG), save(program, BROKEN), save(program, WRONG)) == 1
    mistaken, same, _ = watched.rounds
    assert "The verdicts are those of 12:00:00, before the mistakes: 3 holds, 1 viol" in mistaken
    assert "Nothing that means anything is otherwise" in same
    assert watched.n_judged == 1
    err = capsys.readouterr().err
    assert f"{program}:5:9: 'shutt' is not declared" in err
    assert "did you mean 'shut'" in err


def test_mistakes_from_the_start_are_bad_input_until_they_are_mended(folder: Path) -> None:
    (folder / "controller.st").write_text(WRONG)
    watched = Watched(folder)
    assert watched.watch() == 2
    assert "There is no verdict yet." in watched.said
    watched = Watched(folder)
    assert watched.watch(save(folder / "controller.st", GATE_ST)) == 0
    assert watched.n_judged == 1


def test_what_is_worth_a_look_and_new_is_told_and_may_decide_the_code(folder: Path) -> None:
    # The system is what it was; only what is worth a look is otherwise.
    twice = GATE_ST.replace("lamp :=", "lamp := TRUE;\nlamp :=")
    watched = Watched(folder, strict=True)
    assert watched.watch(save(folder / "controller.st", twice)) == 1
    (told,) = watched.rounds
    assert "Worth a look, and new" in told
    assert "controller.st:5" in told
    assert "Ends with 1 because of --strict alone" in told


def test_what_is_saved_while_judging_begins_anew_and_the_old_answer_is_dropped(
    folder: Path,
) -> None:
    program = folder / "controller.st"
    watched = Watched(folder)

    def saved_and_seen() -> None:
        program.write_text(BROKEN)
        deadline = time.monotonic() + 20
        while not is_stopping():
            assert time.monotonic() < deadline, "nothing gives the work up"

    watched.while_judging = [saved_and_seen]
    assert watched.watch(lambda: None) == 1
    assert watched.n_judged == 2
    # The first answers, whatever they were, were never told.
    begins = "12:00:00 saved while judging, which begins anew: controller.st Gate"
    assert watched.said.strip().startswith(begins)
    assert "undecided" not in watched.said
    assert not is_stopping()


def test_what_is_given_up_is_judged_even_if_the_files_are_what_they_were(folder: Path) -> None:
    program = folder / "controller.st"
    watched = Watched(folder)

    def there_and_back() -> None:
        program.write_text(BROKEN)
        while not is_stopping():
            pass
        program.write_text(GATE_ST)

    watched.while_judging = [there_and_back]
    assert watched.watch(lambda: None) == 0
    assert watched.n_judged == 2
    assert "4 holds" in watched.said


def test_ctrl_c_while_judging_ends_with_the_code_of_the_verdicts_before(folder: Path) -> None:
    (folder / "controller.st").write_text(BROKEN)
    watched = Watched(folder)
    watched.while_judging = [lambda: None, press]
    assert watched.watch(save(folder / "controller.st", GATE_ST)) == 1
    assert watched.n_judged == 2
    assert watched.said.endswith("Ended. The verdicts are those of 12:00:00: 3 holds, 1 violated. ")


def test_ctrl_c_before_any_verdict_is_undecided(folder: Path) -> None:
    watched = Watched(folder)
    watched.while_judging = [press]
    assert watched.watch() == 3
    assert "There is no verdict yet." in watched.said


def test_ctrl_c_pressed_twice_ends_at_once_and_no_otherwise(folder: Path) -> None:
    (folder / "controller.st").write_text(BROKEN)
    watched = Watched(folder)

    def press_twice() -> None:
        press()
        press()
        pytest.fail("the second press did not end it")

    watched.while_judging = [lambda: None, press_twice]
    assert watched.watch(save(folder / "controller.st", GATE_ST)) == 1
    assert watched.said.endswith("Ended. The verdicts are those of 12:00:00: 3 holds, 1 violated. ")
    assert not is_stopping()


def test_files_that_come_to_a_folder_of_the_program_count(tmp_path: Path) -> None:
    folder = written(tmp_path / "gate", GATE_YAML.replace("controller.st", "program"))
    (folder / "program").mkdir()
    (folder / "controller.st").rename(folder / "program" / "controller.st")
    light = "FUNCTION_BLOCK Light VAR_INPUT a : BOOL; END_VAR END_FUNCTION_BLOCK"
    calling = GATE_ST.replace(
        "END_VAR\ndrive", "END_VAR\nVAR l : Light; END_VAR\nl(a := shut);\ndrive"
    )
    watched = Watched(folder)
    watched.watch(
        save(folder / "program" / "notes.txt", "of no matter"),
        save(folder / "program" / "light.st", light),
        save(folder / "program" / "controller.st", calling),
        (folder / "program" / "light.st").unlink,
    )
    assert [told.split(" ")[1:3] for told in watched.rounds] == [
        ["light.st", "(new)"],
        ["controller.st", watched.rounds[1].split(" ")[2]],
        ["light.st", "(gone)"],
    ]


def test_a_touched_file_is_as_it_was(folder: Path) -> None:
    watched = Watched(folder)
    watched.watch(lambda: os.utime(folder / "controller.st", (1, 1)))
    assert watched.rounds == []


def test_a_file_of_the_same_size_and_time_is_noticed_after_some_looks(folder: Path) -> None:
    program = folder / "controller.st"

    def save_unseen() -> None:
        seen = program.stat()
        program.write_text(GATE_ST.replace("NOT drive", "NOT shut "))
        assert program.stat().st_size == seen.st_size
        os.utime(program, ns=(seen.st_atime_ns, seen.st_mtime_ns))

    watched = Watched(folder)
    watched.watch(save_unseen, *[lambda: None] * 4)
    assert watched.n_judged == 2


def test_a_file_is_read_once_it_is_whole(folder: Path) -> None:
    program = folder / "controller.st"
    watched = Watched(folder)
    watched.acts = [save(program, ""), save(program, BROKEN[:50]), save(program, BROKEN), None]
    assert watched.watch() == 1
    assert len(watched.rounds) == 1
    assert watched.n_judged == 2


def test_a_model_that_another_one_revises_is_watched_with_it(folder: Path, tmp_path: Path) -> None:
    revision = tmp_path / "revision"
    revision.mkdir()
    (revision / "model.yaml").write_text("title: Other\nrevises: ../gate\nchanges: [nothing]\n")
    watched = Watched(revision)
    assert watched.watch(save(folder / "controller.st", BROKEN)) == 1


def test_a_folder_that_goes_and_comes_back_is_waited_for(folder: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    watched = Watched(folder)
    assert watched.watch(lambda: folder.rename(away), lambda: away.rename(folder)) == 0
    assert "before the mistakes" in watched.rounds[0]
    assert "Nothing that means anything is otherwise" in watched.rounds[1]


def test_a_reading_that_the_system_refuses_is_a_mistake(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    watched = Watched(folder)
    telling = Telling(Terminal(file=StringIO()))

    def vanishing() -> Model:
        raise FileNotFoundError(2, "No such file or directory", "model.svg")

    assert Watch(vanishing, watched._judge, telling, watched._pause).run() == 2
    assert capsys.readouterr().err == "model.svg: cannot be read: No such file or directory\n"


def test_neither_mistakes_nor_names_of_files_can_break_a_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = StringIO()
    telling = Telling(Terminal(file=out, color_system=None))
    telling.mistakes(["no requirement 'a\nb'"])
    telling.saved(["a\nb.st", "[bold]c.st"], while_judging=False)
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert len(out.getvalue().strip().splitlines()) == 3
    assert "[bold]c.st" in out.getvalue()


ONCE: Sequence[Sequence[str]] = [
    ["--json", "-"],
    ["--junit", "out.xml"],
    ["--sarif", "out.sarif"],
    ["--evidence", "out"],
    ["--runs", "out"],
    ["--ledger"],
    ["--every-signal"],
]


@pytest.mark.parametrize("option", ONCE, ids=lambda option: option[0])
def test_what_is_for_one_verification_is_refused_in_one_line(
    folder: Path, option: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(folder), "--watch", *option]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert (
        err.splitlines()[-1]
        == f"Error: {option[0]} is for one verification; leave it or --watch out"
    )


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--only", "R9"], "no requirement 'R9'"),
        (["--engine", "simbolic"], "did you mean 'symbolic'?"),
    ],
)
def test_what_is_wrong_with_the_command_is_no_matter_of_waiting(
    folder: Path, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(folder), "--watch", *arguments]) == 2
    assert says in capsys.readouterr().err
    assert run(["verify", str(folder / "nowhere"), "--watch"]) == 2


def test_a_process_of_its_own_tells_what_is_saved_and_ends_by_ctrl_c(folder: Path) -> None:
    command = [sys.executable, "-m", "interlock", "verify", str(folder), "--watch", "--plain"]
    options = ["--faults", "none", "--engine", "reference"]
    with subprocess.Popen(
        [*command, *options], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "Ctrl-C ends" in line:
                break
        (folder / "controller.st").write_text(BROKEN)
        said = ""
        for line in process.stdout:
            said += line
            if "before, " in line:
                break
        process.send_signal(signal.SIGINT)
        said += process.stdout.read()
        assert process.wait(60) == 1
    assert "holds -> violated" in said
    assert "Ended. The verdicts are those of" in said
    assert "Traceback" not in said
