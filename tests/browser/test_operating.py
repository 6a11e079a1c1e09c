"""The bench page as a user has it: pressed, driven, explained, stepped."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import Opener, does, holds, is_in, lets_go, shows, until

if TYPE_CHECKING:
    from playwright.sync_api import Page


def holds_until(page: Page, button: str, *states: tuple[str, str]) -> None:
    """Hold a button until machines are in states, and let go."""
    holds(page, button)
    for machine, state in states:
        is_in(page, machine, state)
    lets_go(page)


@pytest.mark.slow
def test_wren_is_converted_from_articulated_to_rigid_by_pressing(opened: Opener, wren: str) -> None:
    page = opened(wren)
    shows(page, ".lamp.on", "green_feed")
    for says in ("switches the alignment mode on", "releases the cab's park brake"):
        does(page, says)
    does(page, "moves off at walking pace")
    does(page, "brings the wheels into line")
    does(page, "stops")
    does(page, "sets the cab's park brake")
    shows(page, ".lamp.on", "amber")
    does(page, "winds the legs down a little")
    does(page, "winds the legs down to the ground")
    does(page, "takes the air hoses off")
    does(page, "takes the electric plug off")
    does(page, "pulls the trailer's park valve")
    does(page, "pulls the fifth-wheel lever")
    does(page, "takes the lead from its cradle")
    does(page, "plugs the lead in")
    shows(page, ".lamp.on", "white")
    holds_until(page, "#hold-pendant-1", ("slide", "XFER"))
    holds_until(page, "#hold-pendant-3", ("lift", "UP"))
    does(page, "releases the cab's park brake")
    does(page, "moves off at walking pace")
    does(page, "draws the tractor out from under")
    does(page, "draws the tractor clear")
    does(page, "stops")
    does(page, "sets the cab's park brake")
    holds_until(page, "#hold-pendant-4", ("lift", "DOWN"))
    holds_until(page, "#hold-pendant-1", ("slide", "C_HOME"), ("lockC", "IN"), ("guard", "OUT"))
    does(page, "pulls the lead")
    does(page, "stows the lead in its cradle")
    does(page, "switches the alignment mode off")
    shows(page, ".lamp.on", "green_feed")
    shows(page, ".lamp.off", "red_1")
    assert page.locator("#alarm .alarm").count() == 0


def test_a_refused_move_is_explained_down_to_the_line(opened: Opener, wren: str) -> None:
    page = opened(wren)
    page.locator("#people button.refused", has_text="moves off at walking pace").click()
    shows(page, "#why", "does not happen")
    assert "creep is FALSE" in page.locator("#why").inner_text()
    assert "the cab's park brake is ON" in page.locator("#why").inner_text()
    page.locator("#why a.place").first.click()
    line = page.locator("tr.sought")
    assert line.is_visible()
    assert "creep" in line.inner_text()
    page.locator("#why-shut").click()
    until(page, "!document.querySelector('#why').firstElementChild")


def test_a_held_button_that_moves_nothing_says_why(opened: Opener, wren: str) -> None:
    page = opened(wren)
    does(page, "takes the lead from its cradle")
    does(page, "plugs the lead in")
    holds(page, "#hold-pendant-1")
    shows(page, "#why", "is_aligned is FALSE")
    lets_go(page)


def test_letting_go_beside_the_button_lets_go_of_it(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    holds(page, "#hold-panel-1")
    shows(page, "#controls legend", "now START")
    page.mouse.move(5, 5)
    lets_go(page)
    shows(page, ".outputs", "pump")


def test_a_button_springs_back_when_the_window_is_left(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    holds(page, "#hold-panel-2")
    shows(page, "#controls legend", "now RAISE")
    page.evaluate("window.dispatchEvent(new Event('blur'))")
    shows(page, "#controls legend", "now NONE")
    page.mouse.up()


def test_who_cannot_hold_may_click_twice(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.check("#sticky")
    page.click("#hold-panel-1")
    shows(page, "#controls legend", "now START")
    page.click("#hold-panel-3")
    is_in(page, "ramp", "lowered")
    page.click("#hold-panel-3")
    shows(page, "#controls legend", "now NONE")


def test_picked_by_hand_nothing_moves_that_was_not_picked(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.click("#mode-hand")
    until(page, "document.querySelector('#sticky').checked")
    page.click("#hold-panel-1")
    page.click("#hold-panel-3")
    shows(page, "#plant .possible", "the solenoid pulls the pin")
    page.wait_for_timeout(400)
    is_in(page, "pin", "in")
    page.locator("#plant .possible", has_text="the solenoid pulls the pin").click()
    is_in(page, "pin", "out")
    page.click("#mode-auto")
    is_in(page, "ramp", "lowered")


def test_going_back_and_on_shows_each_state_again(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.click("#hold-panel-1", delay=120)
    shows(page, "#status", "step 5 of 5")
    page.click("#step-back")
    page.click("#step-back")
    shows(page, "#status", "step 3 of 5")
    shows(page, "#controls legend", "now START")
    page.click("#step-last")
    shows(page, "#controls legend", "now NONE")
    page.click("#step-first")
    shows(page, "#status", "Power-up")
    page.focus("#step-slider")
    page.keyboard.press("End")
    shows(page, "#status", "step 5 of 5")


def test_a_fault_that_strikes_is_shown_and_its_signal_lies(opened: Opener, wren: str) -> None:
    page = opened(wren)
    page.click("#tab-faults")
    page.fill("#fault-filter", "trailer seat not")
    assert page.locator("#fault-rows tr:visible").count() == 1
    page.click("#fault-F04")
    shows(page, "#fault-rows tr.bad", "F04")
    page.click("#tab-signals")
    shows(page, "#signals tr.bad", "lies: TRUE is so")
    shows(page, ".lamp.on", "red_1")
    page.click("#tab-faults")
    page.click("#out-F04")
    shows(page, "#status .notice", "The same run without F04")
    shows(page, ".lamp.on", "green_feed")


def test_a_run_is_saved_and_opened_again(
    opened: Opener, ramp: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    page = opened(ramp)
    page.click("#hold-panel-1", delay=120)
    shows(page, "#status", "step 5 of 5")
    page.click("#tab-run")
    with page.expect_download() as download:
        page.click("#run-save")
    file = tmp_path_factory.mktemp("runs") / "run.json"
    download.value.save_as(file)
    page.click("#anew")
    shows(page, "#status", "of 1")
    page.set_input_files("#run-open", file)
    shows(page, "#status", "a run from a file")
    page.click("#step-last")
    shows(page, "#status", "step 5 of 5")
    file.write_text(file.read_text().replace("panel to START", "panel to STRAT"))
    page.set_input_files("#run-open", file)
    shows(page, "#status .notice", "did you mean 'panel to START'")


def test_two_browsers_at_once_do_not_disturb_each_other(opened: Opener, ramp: str) -> None:
    one, other = opened(ramp), opened(ramp)
    one.check("#sticky")
    one.click("#hold-panel-1")
    one.click("#hold-panel-3")
    other.locator("#people .possible", has_text="drives off").click()
    is_in(one, "ramp", "lowered")
    is_in(other, "vehicle", "driving")
    is_in(other, "ramp", "stowed")
    is_in(one, "vehicle", "parked")


def test_every_file_of_a_project_is_shown_and_can_be_changed(opened: Opener, legs: str) -> None:
    page = opened(legs)
    shows(page, "#program", "leg.st")
    line = page.locator('tr[data-line="leg.st:15"]')
    assert "ran" in (line.get_attribute("class") or "")
    assert "legs[2].carries FALSE" in line.inner_text()
    page.locator("#program button[data-of='leg.st']").click()
    text = page.input_value("#program-text")
    page.fill("#program-text", text.replace("NOT signals.loose AND ", ""))
    page.click("#program-try")
    shows(page, "#program", "changed, not written anywhere")
    saved = page.locator("#program a[download]")
    assert saved.count() == 1
    assert saved.get_attribute("download") == "leg.st"
