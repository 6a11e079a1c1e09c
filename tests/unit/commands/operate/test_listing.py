"""The program's text with values."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.commands.operate.bench import Bench
from tests.support.benches import bench
from tests.support.gate import gate


@pytest.mark.parametrize("name", ["ramp", "landing-gear"])
def test_the_pieces_of_a_listing_are_the_text(name: str) -> None:
    listing = bench(name).listing
    assert (
        "\n".join("".join(piece.text for piece in line) for line in listing.lines) == listing.text
    )


def test_names_have_values_and_words_in_comments_have_none() -> None:
    ramp = bench("ramp")
    pieces = [piece for line in ramp.listing.lines for piece in line]
    assert {piece.name for piece in pieces if piece.name} == {
        v.name.casefold() for v in ramp.model.program.variables
    }
    comments = [piece for piece in pieces if piece.kind == "comment"]
    assert any("pump keeps itself running" in piece.text for piece in comments)


def test_a_line_shows_what_it_assigns_after_the_scan() -> None:
    ramp = bench("ramp")
    _, scanned = ramp.scan(ramp.system.initial, ramp.at_power_up().memory)
    lines = ramp.listing.text.split("\n")
    for assigned, value in (("secured", True), ("red", False)):
        line = next(n for n, text in enumerate(lines, 1) if text.startswith(f"{assigned} :="))
        [(name, shown)] = ramp.listing.assigned(line, scanned)
        assert (name, shown.text, shown.truth) == (assigned, str(value).upper(), value)
        assert line in scanned.executed
        mark = f'<b class="t">{name}</b>' if value else f'<span class="f">{name}</span>'
        assert ramp.listing.html(line, scanned).startswith(mark)
    assert scanned.decided == ("controller.st:26", "controller.st:27")


def test_values_are_shown_as_their_types_and_their_blocks_outputs_have_them(tmp_path: Path) -> None:
    changes = (
        ("PROGRAM Gate", "TYPE mode : (LOW, HIGH); END_TYPE\nPROGRAM Gate"),
        ("drive :=", "VAR t1 : TON; c1 : CTU; n : INT (0..9); m : mode; END_VAR\ndrive :="),
        ("lamp :=", "t1(IN := drive, PT := T#2s); c1(CU := drive, PV := 3); n := 7;\nlamp :="),
    )
    listing = Bench(gate(tmp_path, *changes)).listing
    shown = {name: listing.show(name, 1) for name in ("drive", "t1.Q", "t1.ET", "c1.CV", "n", "m")}
    assert {name: (s.text, s.truth) for name, s in shown.items()} == {
        "drive": ("TRUE", True),
        "t1.Q": ("TRUE", True),
        "t1.ET": ("1", None),
        "c1.CV": ("1", None),
        "n": ("1", None),
        "m": ("HIGH", None),
    }


def test_a_count_goes_on_where_no_state_of_the_system_tells_it_apart(tmp_path: Path) -> None:
    changes = (
        ("drive :=", "VAR c1 : CTU; tick : BOOL; END_VAR\ndrive :="),
        ("lamp :=", "c1(CU := tick, PV := 2); tick := NOT tick;\nlamp := c1.Q OR "),
    )
    gates = Bench(gate(tmp_path, *changes))
    state, scanned = gates.system.initial, gates.at_power_up()
    for _ in range(10):
        state, scanned = gates.scan(state, scanned.memory)
    assert (gates.system.named(state)["plc.c1.CV"], scanned.values["c1.cv"]) == (2, 5)
