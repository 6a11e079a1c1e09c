"""The program's text with values."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.commands.operate.bench import Bench
from interlock.model.load import load
from tests.support.benches import bench
from tests.support.gate import gate, written


@pytest.mark.parametrize("name", ["ramp", "landing-gear-untimed", "outriggers"])
def test_the_pieces_of_a_listing_are_the_texts_of_all_files(name: str) -> None:
    opened = bench(name)
    assert {sheet.text for sheet in opened.listing.sheets} == set(
        opened.model.program_texts.values()
    )
    for sheet in opened.listing.sheets:
        lines = ("".join(piece.text for piece in line) for line in sheet.lines)
        assert "\n".join(lines) == sheet.text


def test_names_have_values_and_words_in_comments_have_none() -> None:
    ramp = bench("ramp")
    pieces = [piece for line in ramp.listing.sheets[0].lines for piece in line]
    assert {piece.name for piece in pieces if piece.name} == {
        v.name.casefold() for v in ramp.model.program.variables
    }
    comments = [piece for piece in pieces if piece.kind == "comment"]
    assert any("pump keeps itself running" in piece.text for piece in comments)


def test_a_line_shows_what_it_assigns_after_the_scan() -> None:
    ramp = bench("ramp")
    _, scanned = ramp.scan(ramp.system.initial, ramp.at_power_up().memory)
    sheet = ramp.listing.sheets[0]
    lines = sheet.text.split("\n")
    for assigned, value in (("secured", True), ("red", False)):
        line = next(n for n, text in enumerate(lines, 1) if text.startswith(f"{assigned} :="))
        [(name, shown)] = ramp.listing.assigned(sheet.place(line), scanned)
        assert (name, shown.text, shown.truth) == (assigned, str(value).upper(), value)
        assert sheet.place(line) in scanned.executed
        mark = f'<b class="t">{name}</b>' if value else f'<span class="f">{name}</span>'
        assert ramp.listing.html(sheet, line, scanned).startswith(mark)
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


def test_in_a_block_values_stand_beside_the_line_by_instance() -> None:
    legs = bench("outriggers")
    _, scanned = legs.scan(legs.system.initial, legs.at_power_up().memory)
    [block] = [sheet for sheet in legs.listing.sheets if sheet.file == "leg.st"]
    # A name in the block's text is another variable in each instance: none has a value there.
    assert not [piece for line in block.lines for piece in line if piece.name]
    line = next(n for n, text in enumerate(block.text.split("\n"), 1) if "carries :=" in text)
    told = dict(legs.listing.assigned(block.place(line), scanned))
    assert [name for name in told if name.endswith(".carries")] == [
        f"legs[{n}].carries" for n in range(1, 5)
    ]
    assert block.place(line) in scanned.executed
    [root] = [sheet for sheet in legs.listing.sheets if sheet.file == legs.listing.file]
    assert root is legs.listing.sheets[0]
    # The same number in the root's file is another line.
    assert {place.split(":")[0] for place in scanned.executed} > {root.file}


def test_what_elaboration_puts_in_between_is_not_shown() -> None:
    legs = bench("outriggers")
    scanned = legs.at_power_up()
    for sheet in legs.listing.sheets:
        for line in range(1, len(sheet.lines) + 1):
            assert "@" not in "".join(
                n for n, _ in legs.listing.assigned(sheet.place(line), scanned)
            )


def test_a_real_that_is_computed_of_an_input_is_shown_as_the_number(tmp_path: Path) -> None:
    st = (
        "PROGRAM P\nVAR_INPUT raw : INT; END_VAR\nVAR_OUTPUT q : BOOL; END_VAR\n"
        "VAR bar : REAL; END_VAR\nbar := INT_TO_REAL(raw) * 0.5 - 5.0;\n"
        "q := bar > 20.0 OR bar < 1.0;\nEND_PROGRAM\n"
    )
    yaml = "title: P\ncontroller: controller.st\nrequirements:\n  R1: {says: on, can_still: q}\n"
    opened = Bench(load(written(tmp_path, yaml, st)))
    _, scanned = opened.scan(opened.system.initial, opened.at_power_up().memory)
    raw = scanned.values["raw"]
    assert scanned.values["bar"] == raw * 0.5 - 5.0
    assert opened.listing.show("bar", scanned.values["bar"]).text == repr(raw * 0.5 - 5.0)
