"""The corpus of malformed inputs: each is refused, line by line with its place."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.cli.main import run
from tests.robust.corpus import FILE, changed, places, refusal, use

CORPUS = json.loads(FILE.read_text(encoding="ascii"))
RIGHT, CASES = CORPUS["right"], CORPUS["cases"]
LINE = re.compile(r"[^\n]+:[1-9]\d*:[1-9]\d*: [^\n]+")


def test_there_are_five_hundred_and_no_two_are_the_same() -> None:
    assert len({tuple(change) for *change, _ in CASES}) == len(CASES) >= 500


@pytest.mark.parametrize("base", RIGHT)
def test_without_its_change_each_is_right(base: str, tmp_path: Path) -> None:
    use(RIGHT, base, RIGHT[base], tmp_path / "model")


def check_refused(cases: list, folder: Path) -> None:  # type: ignore[type-arg]
    for *change, wanted in cases:
        lines = refusal(RIGHT, tuple(change), folder)
        assert lines, change
        assert all(LINE.fullmatch(line) for line in lines), (change, lines)
        assert places(lines, folder) == wanted, (change, lines)


def test_a_part_of_the_corpus_is_refused_at_its_places(tmp_path: Path) -> None:
    check_refused(CASES[::10], tmp_path / "model")


@pytest.mark.slow
def test_the_whole_corpus_is_refused_at_its_places(tmp_path: Path) -> None:
    check_refused(CASES, tmp_path / "model")


MODEL_CASES = [case for case in CASES if case[0].startswith("gate ")]


@pytest.mark.parametrize("case", MODEL_CASES[::14], ids=lambda c: f"{c[0]}-{c[1]}")
def test_the_command_ends_with_2_and_no_traceback(
    case: list,  # type: ignore[type-arg]
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tmp_path / "model"
    *change, wanted = case
    assert refusal(RIGHT, tuple(change), folder)
    assert run(["verify", str(folder)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert places(captured.err.splitlines(), folder) == wanted
    assert all(LINE.fullmatch(line) for line in captured.err.splitlines())


SETTINGS = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize(
    "base", ["gate model.yaml", "gate controller.st", "run.json", "mapping.yaml"]
)
@given(data=st.data())
@SETTINGS
def test_whatever_is_changed_there_is_a_model_or_a_line(
    base: str, data: st.DataObject, tmp_path: Path
) -> None:
    text = RIGHT[base]
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(len(text), start + 12)))
        other = data.draw(st.integers(0, len(text)))
        piece = data.draw(st.text(max_size=4) | st.just(text[other : other + 8]))
        text = changed({base: text}, (base, start, end, piece))
    lines: list[str] = []
    try:
        use(RIGHT, base, text.encode("utf-8", "replace").decode(), tmp_path / "model")
    except InputError as error:
        lines = [str(mistake) for mistake in error.mistakes]
    assert all(LINE.fullmatch(line) for line in lines), lines
