"""The program's text with values."""

from __future__ import annotations

import pytest

from tests.support.benches import bench


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
    line = next(
        n for n, text in enumerate(ramp.listing.text.split("\n"), 1) if "secured :=" in text
    )
    [(name, shown)] = ramp.listing.assigned(line, scanned)
    assert (name, shown.text, shown.truth) == ("secured", "TRUE", True)
    assert line in scanned.executed
    assert scanned.decided == ("controller.st:26", "controller.st:27")
