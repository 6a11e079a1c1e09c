"""Judging, following a run, lessons and sentences in the browser."""

from __future__ import annotations

from tests.browser.conftest import Opener, shows, until
from tests.support.models import shipped
from tests.support.served import served


def test_the_run_of_a_violation_is_played_step_by_step(opened: Opener) -> None:
    with served(shipped("ramp-broken/pin-alone")) as address:
        page = opened(address)
        page.click("#tab-requirements")
        page.click("#judge")
        shows(page, "#requirements .verdict", "violated: a shortest run has 13 steps")
        page.click("#follow-R1")
        shows(page, "#status", "step 0 of 13")
        assert page.locator("#alarm .alarm").count() == 0
        for number in range(1, 14):
            page.click("#step-on")
            shows(page, "#status output", f"step {number} of 13")
        shows(page, "#alarm", "R1 is violated now")
        shows(page, "#alarm", "the ramp drops on the road")
        shows(page, "#alarm", "Replayed and confirmed by the independent machine")
        shows(page, ".run .here", "drives off")


def test_a_lesson_is_mended_in_the_page_and_seen_to_hold(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.click("#tab-lessons")
    page.click("#lesson-pin_alone")
    shows(page, "#lessons", "What to do")
    page.click("#tab-program")
    page.click("#program-edit")
    text = page.input_value("#program-text")
    page.fill("#program-text", text.replace("secured := pin_in", "secured := ramp_hom AND pin_in"))
    page.click("#program-try")
    shows(page, "#program .mistakes", "did you mean 'ramp_home'")
    page.fill("#program-text", text.replace("secured := pin_in", "secured := ramp_home AND pin_in"))
    page.click("#program-try")
    shows(page, "#program", "changed, not written anywhere")
    page.click("#tab-lessons")
    shows(page, "#lessons .done", "Done")
    shows(page, "#lessons .done", "A lock is proved by the pin together with the place")
    page.click("#tab-requirements")
    shows(page, "#requirements", "holds.")
    page.click("#tab-lessons")
    page.click("#lesson-leave")
    until(page, "!document.querySelector('article.lesson')")


def test_a_sentence_is_checked_and_judged(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.click("#tab-sentence")
    page.fill("#say-never", "pump AND ramp = lowerd")
    page.click("#say")
    shows(page, "#sentences .mistakes", "never, column 17: 'lowerd'")
    assert page.get_attribute("#say-never", "aria-invalid") == "true"
    assert page.evaluate("document.activeElement.id") == "say-never"
    page.fill("#say-never", "pump AND ramp = lowered")
    page.keyboard.press("Enter")
    shows(page, "#sentences .verdict", "violated: a shortest run")
    page.click("#follow-own-0")
    shows(page, "#status", "violates: Never pump AND ramp = lowered")
    page.click("#tab-sentence")
    page.select_option("#say-pattern", "can_still")
    assert not page.is_visible("#say-scope")
    page.fill("#say-can_still", "ramp = lowered")
    page.click("#say")
    shows(page, "#sentences .verdict", "holds")
