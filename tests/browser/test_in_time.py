"""A model with time on the bench page: time passes by itself and by hand, and is told."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.browser.conftest import Opener, does, is_in, shows, until
from tests.support.models import shipped
from tests.support.served import served


@pytest.fixture(scope="module")
def crossing() -> Iterator[str]:
    """Address of the level crossing on the bench."""
    with served(shipped("level-crossing")) as address:
        yield address


def test_a_train_comes_in_its_time_and_the_gate_before_it(opened: Opener, crossing: str) -> None:
    page = opened(crossing)
    page.click("#mode-hand")
    page.click("#tab-run")
    # Power-up and its scan take no time.
    shows(page, "#status output", "· 0 s")
    does(page, "a train is signalled")
    # The scan that follows is a second away.
    shows(page, "#status output", "· 1 s")
    page.locator("#plant .refused", has_text="the train gets to the road").evaluate(
        "b => b.click()"
    )
    shows(page, "#why", "it takes 30 s at least, and 1 s have passed")
    page.click("#let-wait")
    shows(page, "#status output", "· 2 s")
    page.click("#let-tick")
    shows(page, "#status output", "· 3 s")
    page.click("#mode-auto")
    is_in(page, "train", "on_the_road")
    is_in(page, "gate", "down")
    shows(page, "#status output", "· 30 s")
    until(page, "document.querySelector('.rest') !== null")
    lines = page.locator("ol.run li").all_inner_texts()
    assert any("27 s pass, with" in line for line in lines)
    assert any("30 s" in line and "the train gets to the road" in line for line in lines)
    page.click("#step-back")
    page.click("#step-back")
    assert page.locator("#alarm .alarm").count() == 0


def test_what_a_sentence_in_time_does_not_take_is_not_offered(
    opened: Opener, crossing: str
) -> None:
    page = opened(crossing)
    page.click("#tab-sentence")
    page.check("#say-after_scan")
    page.select_option("#say-pattern", "lasts")
    assert not page.is_visible("#say-after_scan")
    page.fill("#say-lasts", "gate = down")
    page.fill("#say-at_most", "1 s")
    page.click("#say")
    # What was ticked before is not sent along.
    shows(page, "#sentences .verdict", "violated")
    page.click("#tab-sentence")
    page.select_option("#say-pattern", "never")
    assert page.is_visible("#say-after_scan")
