"""Side views: the picture of one state, for the eye and in words."""

from __future__ import annotations

import re
import shutil
import time
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.independent_judge.player import Player
from interlock.model.load import load
from interlock.pictures.side_view import SideView
from interlock.pictures.svg import number, width_of

MODELS = Path(__file__).parents[3] / "models"
SVG = "{http://www.w3.org/2000/svg}"


@cache
def started(name: str) -> Player:
    """The model after its first scan; tests play nothing more on it."""
    player = Player(load(MODELS / name))
    player.play("scan")
    return player


@pytest.fixture
def landing_gear() -> Player:
    return started("landing-gear-untimed")


def test_a_model_without_a_drawing_gets_a_schematic_of_every_machine(landing_gear: Player) -> None:
    view = SideView(landing_gear.model)
    root = ElementTree.fromstring(view.draw(landing_gear.seen(), title="At the start"))
    words = {element.text for element in root.iter(f"{SVG}text")}
    assert set(landing_gear.model.machines) <= words
    assert "At the start" in words


def test_a_picture_tells_its_state_in_words_to_who_cannot_see_it(landing_gear: Player) -> None:
    view = SideView(landing_gear.model)
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
    view = SideView(landing_gear.model)
    first, second = (view.draw(landing_gear.seen(), title="t", prefix=p) for p in ("a-", "b-"))
    ids = [set(re.findall(r' id="([^"]+)"', text)) for text in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_numbers_and_labels_draw_the_same_picture(landing_gear: Player) -> None:
    view = SideView(landing_gear.model)
    by_label = view.draw(landing_gear.seen(), title="t")
    numbers = {name.upper(): value for name, value in landing_gear.state().items()}
    numbers |= {name.upper(): value for name, value in landing_gear.outputs().items()}
    assert view.draw(numbers, title="t") == by_label


def test_a_missing_value_is_an_error_and_no_picture(landing_gear: Player) -> None:
    view = SideView(landing_gear.model)
    values = landing_gear.seen()
    del values[next(iter(landing_gear.model.machines))]
    with pytest.raises(KeyError):
        view.draw(values, title="t")


def test_a_title_with_markup_is_shown_as_it_is(landing_gear: Player) -> None:
    title = 'a < b & "c" \x00 \u202e'
    root = ElementTree.fromstring(
        SideView(landing_gear.model).draw(landing_gear.seen(), title=title)
    )
    assert (root[0].text or "").startswith('a < b & "c"')


def test_coordinates_have_no_more_digits_than_can_be_seen() -> None:
    assert [number(v) for v in (1 / 3, -0.001, 10, 100.0, 2.5)] == ["0.33", "0", "10", "100", "2.5"]


def test_texts_are_taken_for_rather_too_wide_than_too_narrow() -> None:
    # Advance widths of Helvetica in thousandths: Adobe Core 14 AFM files (from memory).
    advance = {"A": 667, "W": 944, "a": 556, "i": 222, "m": 833, "0": 556, "_": 556, " ": 278}
    for char, thousandths in advance.items():
        assert width_of(char, 1000) >= thousandths


COLOURS = re.compile(r' (?:stroke-width="[^"]*"|(?:fill|stroke)="(?!none|#fff(?:fff)?")[^"]*")')


def without_colours(svg: str) -> str:
    """A drawing as a black-and-white printer or a colour-blind eye may take it: shape and words.

    What is not drawn is left out, and every colour but white is one. A line that is a little wider
    tells nothing either.
    """
    root = ElementTree.fromstring(svg)
    for parent in reversed(list(root.iter())):
        for child in list(parent):
            is_empty = child.tag == f"{SVG}g" and not len(child)
            is_told = child.tag in (f"{SVG}title", f"{SVG}desc")
            if is_empty or is_told or child.get("display") == "none":
                parent.remove(child)
    return COLOURS.sub("", ElementTree.tostring(root, encoding="unicode"))


@pytest.mark.parametrize("name", ["ramp", "wren", "landing-gear-untimed"])
def test_every_state_of_everything_is_told_without_colours_and_in_words(name: str) -> None:
    player = started(name)
    view, seen = SideView(player.model), player.seen()
    for machine in player.model.machines.values():
        states = [{**seen, machine.name: state} for state in machine.states]
        pictures = {without_colours(view.draw(state, title="t")) for state in states}
        told = {view.words(state) for state in states}
        assert len(pictures) == len(told) == len(states), machine.name
    for output in player.model.outputs.values():
        states = [{**seen, output.name: value} for value in ("FALSE", "TRUE")]
        assert len({view.words(state) for state in states}) == 2, output.name


@pytest.mark.parametrize("name", ["ramp", "wren", "landing-gear-untimed"])
def test_every_lamp_is_told_without_colours(name: str) -> None:
    player = started(name)
    view, seen = SideView(player.model), player.seen()
    lamps = [o.name for o in player.model.outputs.values() if o.lamp or o.sounds]
    # Two channels light the green lamp of Wren together.
    groups = {
        frozenset(n for n in lamps if n.split("_")[0] == lamp.split("_")[0]) for lamp in lamps
    }
    for group in groups:
        states = [{**seen, **dict.fromkeys(group, value)} for value in ("FALSE", "TRUE")]
        pictures = {without_colours(view.draw(state, title="t")) for state in states}
        assert len(pictures) == 2, group


@pytest.mark.parametrize("name", ["ramp", "wren"])
def test_a_drawing_is_self_contained(name: str) -> None:
    player = started(name)
    svg = SideView(player.model).draw(player.seen(), title="t", prefix="p-")
    root = ElementTree.fromstring(svg)
    ids = {element.get("id") for element in root.iter()}
    for target in re.findall(r'(?:href="#|url\(#)([^")]+)', svg):
        assert target in ids
        assert target.startswith("p-")
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    assert not {e.tag for e in root.iter()} & {f"{SVG}style", f"{SVG}script", f"{SVG}image"}
    assert "style=" not in svg
    assert "\0" not in svg


def test_words_of_a_model_cannot_become_markup(tmp_path: Path) -> None:
    shutil.copytree(MODELS / "ramp", tmp_path / "ramp")
    file = tmp_path / "ramp" / "model.yaml"
    text = file.read_text("utf-8")
    hostile = text.replace("TRUE: pressed,", "TRUE: '</text><script>x</script>',")
    hostile = hostile.replace("The ramp is stowed,", "'</desc><script>y</script>',")
    assert hostile.count("<script>") == 2
    file.write_text(hostile, "utf-8")
    player = Player(load(tmp_path / "ramp"))
    svg = SideView(player.model).draw({**player.seen(), "stop": 1}, title="</title><script>")
    root = ElementTree.fromstring(svg)
    assert not [element for element in root.iter() if element.tag.endswith("script")]
    assert "</text><script>x</script>" in [element.text for element in root.iter()]


def test_a_hostile_prefix_stays_in_its_attribute() -> None:
    player = started("ramp")
    svg = SideView(player.model).draw(player.seen(), title="t", prefix='"><script>')
    root = ElementTree.fromstring(svg)
    assert not [element for element in root.iter() if element.tag.endswith("script")]


def test_the_tipped_body_is_drawn_tipped_and_said_to_be() -> None:
    player = started("wren")
    view = SideView(player.model)
    tipped = {**player.seen(), "slide": "T_RUN", "lift": "UP"}
    assert "BODY TIPS" in without_colours(view.draw(tipped, title="t"))
    assert "THE BODY TIPS" in view.words(tipped)
    assert "BODY TIPS" not in without_colours(view.draw(player.seen(), title="t"))


def test_a_fault_that_has_struck_shows_in_what_follows_from_it() -> None:
    player = started("wren")
    view = SideView(player.model)
    # A spool that sticks needs pressure: a welded pump contactor gives it.
    values = {**player.seen(), "lead": "PLUGGED", "slide_fwd": "TRUE", "load_valve": "TRUE"}
    assert view.draw(values, title="t") != view.draw({**values, "F23": 1}, title="t")


def test_the_text_of_a_drawn_state_is_the_one_that_was_looked_at() -> None:
    # To renew it: look at the picture, then write what `draw` gives into the file.
    player = started("ramp")
    drawn = SideView(player.model).draw(player.seen(), title="Start", prefix="s-")
    assert drawn == (Path(__file__).parent / "ramp-start.svg").read_text(encoding="utf-8")


def test_a_state_of_the_demo_vehicle_is_drawn_within_milliseconds() -> None:
    player = started("wren")
    view, seen = SideView(player.model), player.seen()
    view.draw(seen, title="t")
    begun = time.process_time()
    for _ in range(20):
        view.draw(seen, title="t")
    # About 1 ms; the bound leaves room for slow machines.
    assert (time.process_time() - begun) / 20 < 0.01
