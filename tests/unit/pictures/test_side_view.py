"""Side views: the picture of one state, for the eye and in words."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.model.load import load
from interlock.pictures.side_view import load_side_view
from interlock.pictures.svg import number, width_of
from interlock.replay.player import Player

MODELS = Path(__file__).parents[3] / "models"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def landing_gear() -> Player:
    player = Player(load(MODELS / "landing-gear"))
    player.play("scan")
    return player


def test_a_model_without_a_drawing_gets_a_schematic_of_every_machine(landing_gear: Player) -> None:
    view = load_side_view(landing_gear.model)
    root = ElementTree.fromstring(view.draw(landing_gear.seen(), title="At the start"))
    words = {element.text for element in root.iter(f"{SVG}text")}
    assert set(landing_gear.model.machines) <= words
    assert "At the start" in words


def test_a_picture_tells_its_state_in_words_to_who_cannot_see_it(landing_gear: Player) -> None:
    view = load_side_view(landing_gear.model)
    root = ElementTree.fromstring(view.draw(landing_gear.seen(), title="At the start"))
    assert root.get("role") == "img"
    told = {element.get("id"): element.text for element in root if element.get("id")}
    labels = (root.get("aria-labelledby") or "").split()
    assert told[labels[0]] == "At the start"
    for name, label in landing_gear.shown().items():
        if name in landing_gear.model.machines:
            says = landing_gear.model.machines[name].says or name
            assert f"{says}: {label}" in told[labels[1]]


def test_ids_of_two_pictures_in_one_page_differ_by_their_prefix(landing_gear: Player) -> None:
    view = load_side_view(landing_gear.model)
    first, second = (view.draw(landing_gear.seen(), title="t", prefix=p) for p in ("a-", "b-"))
    ids = [set(re.findall(r' id="([^"]+)"', text)) for text in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_numbers_and_labels_draw_the_same_picture(landing_gear: Player) -> None:
    view = load_side_view(landing_gear.model)
    by_label = view.draw(landing_gear.seen(), title="t")
    numbers = {name.upper(): value for name, value in landing_gear.state().items()}
    numbers |= {name.upper(): value for name, value in landing_gear.outputs().items()}
    assert view.draw(numbers, title="t") == by_label


def test_a_missing_value_is_an_error_and_no_picture(landing_gear: Player) -> None:
    view = load_side_view(landing_gear.model)
    values = landing_gear.seen()
    del values[next(iter(landing_gear.model.machines))]
    with pytest.raises(KeyError):
        view.draw(values, title="t")


def test_a_title_with_markup_is_shown_as_it_is(landing_gear: Player) -> None:
    title = 'a < b & "c" \x00 \u202e'
    root = ElementTree.fromstring(
        load_side_view(landing_gear.model).draw(landing_gear.seen(), title=title)
    )
    assert (root[0].text or "").startswith('a < b & "c"')


def test_coordinates_have_no_more_digits_than_can_be_seen() -> None:
    assert [number(v) for v in (1 / 3, -0.001, 10, 100.0, 2.5)] == ["0.33", "0", "10", "100", "2.5"]


def test_texts_are_taken_for_rather_too_wide_than_too_narrow() -> None:
    # Advance widths of Helvetica in thousandths: Adobe Core 14 AFM files (from memory).
    advance = {"A": 667, "W": 944, "a": 556, "i": 222, "m": 833, "0": 556, "_": 556, " ": 278}
    for char, thousandths in advance.items():
        assert width_of(char, 1000) >= thousandths
