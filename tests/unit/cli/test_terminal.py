"""How results look on a terminal, in a pipe and in a log."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.options import LOG_WIDTH

BROKEN = str(Path(__file__).parents[3] / "models" / "ramp-broken" / "pin-alone")
ESCAPE = "\x1b"


@pytest.fixture(autouse=True)
def environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)


def said(capsys: pytest.CaptureFixture[str], *options: str) -> str:
    assert run(["verify", BROKEN, "--only", "R1", *options]) == 1
    return capsys.readouterr().out


def test_in_a_pipe_there_are_no_colours_and_room_for_whole_lines(
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = said(capsys)
    assert ESCAPE not in text
    assert max(map(len, text.split("\n"))) == LOG_WIDTH


def test_colours_can_be_forced_and_forbidden(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert re.search(r"\x1b\[[0-9;]*31m", said(capsys))
    monkeypatch.setenv("NO_COLOR", "1")
    # https://no-color.org: no colour; bold is none.
    assert not re.search(r"\x1b\[[0-9;]*3[0-9]m", said(capsys))


def test_plain_is_plain_whatever_the_environment_says(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert ESCAPE not in said(capsys, "--plain")


def test_on_a_narrow_terminal_no_place_is_cut_off(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "72")
    text = said(capsys)
    assert max(map(len, text.split("\n"))) <= 72
    assert "…" not in text
    assert "each judged over 2,961 states, 22 deep" in text


@pytest.mark.parametrize("columns", ["40", "80", "109", "110", "200"])
def test_every_width_tells_the_verdict_and_the_requirement(
    columns: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    text = " ".join(said(capsys).split())
    assert "R1" in text
    assert "violated" in text
    assert "replayed on the model" in text
