"""``interlock export --as xml``: programs in the exchange format, in text and drawn."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.exchange.files import load_project, read_files
from interlock.exchange.writing.files import Written, write_exchange
from interlock.st.layout import Settings, Timers
from interlock.st.trial import difference
from tests.support.exchange_schema import check_schema
from tests.support.models import MODELS, shipped

WAYS = ("", "ladder", "blocks")
PROGRAMS = Path(__file__).parents[3] / "programs"
# One of each: comments, addresses, what has no drawing, blocks, a choice, a condition in another.
MIXED = """(* Of the whole. *)
PROGRAM Main
VAR_INPUT
  door AT %IX0.1 : BOOL;  (* of the door *)
  // of the level
  level : INT;
END_VAR
VAR_OUTPUT lamp AT %QX0.0 : BOOL; high, low, kept : BOOL; n : INT; END_VAR
VAR late : TON; i, sum : INT; END_VAR
(* of the lamp *)
lamp := door AND NOT (high OR level > 3) OR NOT door AND low;
late(IN := door, PT := T#2s, Q => high);
FOR i := 1 TO 3 DO  // of the loop
  sum := sum + i;
END_FOR;
IF door THEN
  kept := TRUE;
  IF level = 2 THEN n := level; END_IF;
ELSIF low THEN
  kept := FALSE; n := 4;
ELSE
  n := n + 1;
END_IF;
CASE level OF
  1, 2: low := TRUE;
  3..5: low := high;
ELSE low := FALSE;
END_CASE;
END_PROGRAM
"""


def written(text: str, drawn: str) -> Written:
    texts = {"main.st": text}
    return write_exchange(read_files(texts), "Main", drawn=drawn, texts=texts)


@pytest.mark.parametrize("name", ["ramp", "ramp-drawn", "landing-gear-untimed", "outriggers"])
def test_a_program_as_text_means_the_same(name: str, tmp_path: Path) -> None:
    file = tmp_path / "out.xml"
    assert run(["export", str(MODELS / name), "--as", "xml", "-o", str(file)]) == 0
    text = file.read_text(encoding="utf-8")
    check_schema(text)
    project = shipped(name).project
    assert project is not None
    assert load_project({"out.xml": text}, project.root).program == shipped(name).program


@pytest.mark.parametrize(
    ("name", "drawn"),
    [("ramp", "ladder"), ("ramp", "blocks"), ("outriggers", "blocks"), ("tail-lift", "ladder")],
)
def test_a_program_that_was_drawn_does_the_same(name: str, drawn: str, tmp_path: Path) -> None:
    file = tmp_path / "out.xml"
    asked = ["export", str(MODELS / name), "--as", "xml", "--draw", drawn, "-o", str(file)]
    assert run(asked) == 0
    text = file.read_text(encoding="utf-8")
    check_schema(text)
    assert f"<{'LD' if drawn == 'ladder' else 'FBD'}>" in text
    # What is executed is found again, also where a task runs several programs.
    again = load_project({"out.xml": text})
    assert difference(shipped(name).program, again.program, n_scans=100) is None


def test_how_long_a_timer_runs_is_tried_with_timers_that_count() -> None:
    text = (
        "PROGRAM Main\nVAR_INPUT door : BOOL; END_VAR\nVAR_OUTPUT lamp : BOOL; END_VAR\n"
        "VAR late : TON; END_VAR\nlate(IN := door, PT := T#2s);\n"
        "lamp := late.ET > T#1s;\nEND_PROGRAM\n"
    )
    one, other = (
        load_project({"main.st": text.replace("T#1s", bound)}).program
        for bound in ("T#1s", "T#500ms")
    )
    counted = Settings(timers=Timers.COUNTED)
    assert difference(one, one, settings=counted) is None
    found = difference(one, other, settings=counted)
    assert found is not None
    assert found.name == "lamp"


@pytest.mark.parametrize("drawn", WAYS)
def test_comments_and_addresses_are_kept_and_what_cannot_be_drawn_is_told(drawn: str) -> None:
    found = written(MIXED, drawn)
    check_schema(found.text)
    for said in ("Of the whole.", "of the door", "of the level", "of the lamp", "of the loop"):
        assert said in found.text
    assert 'address="%IX0.1"' in found.text
    before, after = load_project({"main.st": MIXED}), load_project({"main.xml": found.text})
    assert difference(before.program, after.program, n_scans=300) is None
    told = [(place.line, says) for place, says in found.told]
    assert told == ([(13, "a FOR has no drawing and is text")] if drawn else [])
    assert ('typeName="Text_1"' in found.text) == bool(drawn)


def test_networks_stand_one_below_the_other_in_the_order_of_the_text() -> None:
    project = check_schema(written(MIXED, "ladder").text)
    assert project.types is not None
    assert project.types.pous is not None
    body = project.types.pous.pou[0].body[0].ld
    assert body is not None
    heights = [float(coil.position.y) for coil in body.coil]  # type: ignore[union-attr]
    assert heights == sorted(heights)


def test_a_call_in_a_condition_stays_where_it_is_evaluated() -> None:
    text = (
        "FUNCTION_BLOCK B VAR_IN_OUT x : INT; END_VAR\nIF x > 2 THEN RETURN; END_IF;\nx := x + 1;"
        "\nIF NOT (x = 2) THEN RETURN; END_IF; x := 5;\nEND_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR b : B; END_VAR\nb(x := n);\nEND_PROGRAM\n"
    )
    for drawn in WAYS:
        after = load_project({"main.xml": written(text, drawn).text})
        before = load_project({"main.st": text})
        assert difference(before.program, after.program, n_scans=20) is None


def test_what_the_format_has_no_word_for_is_refused_by_name() -> None:
    inner = "FUNCTION_BLOCK B END_FUNCTION_BLOCK\n"
    twice = f"NAMESPACE Lib\n{inner}END_NAMESPACE\n{inner}"
    said = r"main.st:2:1: the namespace Lib of B, which is declared elsewhere as well, is not"
    with pytest.raises(InputError, match=said):
        written(twice, "")
    text = (
        "TYPE P : STRUCT x : BOOL; END_STRUCT; END_TYPE\n"
        "TYPE Q EXTENDS P : STRUCT y : BOOL; END_STRUCT; END_TYPE\n"
    )
    with pytest.raises(InputError, match=r"the structure Q extends P, which is not written"):
        written(text, "")


def test_drawing_goes_with_the_exchange_format_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["export", str(MODELS / "ramp"), "--as", "st", "--draw", "ladder"]) == 2
    assert "--draw goes with --as xml" in capsys.readouterr().err


CHARTS = [
    file
    for file in sorted(PROGRAMS.rglob("*.st"))
    if "INITIAL_STEP" in file.read_text(encoding="utf-8", errors="replace")
]


@pytest.mark.parametrize("file", CHARTS, ids=lambda file: file.stem)
def test_a_chart_in_text_is_drawn_as_a_chart_and_does_the_same(file: Path) -> None:
    texts = {file.name: file.read_text(encoding="utf-8")}
    before = load_project(texts)
    found = write_exchange(read_files(texts), before.root, texts=texts)
    check_schema(found.text)
    assert "<SFC>" in found.text
    after = load_project({"chart.xml": found.text}, before.root)
    assert difference(before.program, after.program, n_scans=150) is None
