"""For everybody: by keyboard, in narrow windows, with assistive technology; for nobody else."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.model.load import load
from tests.browser.conftest import Opener, does, is_in, shows, until
from tests.support.hostile import LONGEST, hostile
from tests.support.models import shipped
from tests.support.served import served

TABS = ("program", "run", "requirements", "signals", "faults", "sentence", "lessons", "about")
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def test_the_ramp_is_lowered_by_keyboard_alone(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    for button, key in (("hold-panel-1", "Enter"), ("hold-panel-3", " ")):
        for _ in range(60):
            if page.evaluate("document.activeElement.id") == button:
                break
            page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.id") == button
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"
        page.keyboard.down(key)
        shows(page, f"#{button} small", "held")
        if key == " ":
            is_in(page, "ramp", "lowered")
        page.keyboard.up(key)
        shows(page, "#controls legend", "now NONE")
        assert page.evaluate("document.activeElement.id") == button


def test_the_keyboard_stays_at_the_machine_that_was_moved(opened: Opener, wren: str) -> None:
    page = opened(wren)
    page.locator("#people button", has_text="releases the cab's park brake").focus()
    page.keyboard.press("Enter")
    is_in(page, "cabpark", "OFF")
    until(page, "document.activeElement.textContent.startsWith('sets the cab')")
    page.keyboard.press("Enter")
    is_in(page, "cabpark", "ON")


def test_tabs_are_chosen_with_the_arrow_keys(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    page.focus("#tab-program")
    for tab in TABS[1:]:
        page.keyboard.press("ArrowRight")
        assert page.evaluate("document.activeElement.id") == f"tab-{tab}"
        assert page.is_visible(f"#panel-{tab}")
    page.keyboard.press("ArrowRight")
    assert page.is_visible("#panel-program")


def test_changes_are_spoken(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    does(page, "drives off")
    shows(page, "#spoken", "vehicle parked → driving")


@pytest.mark.parametrize("tab", TABS)
def test_in_a_narrow_window_nothing_sticks_out(opened: Opener, ramp: str, tab: str) -> None:
    page = opened(ramp, 400, 800)
    page.click(f"#tab-{tab}")
    assert page.evaluate(WIDER) == 0


def test_wren_fits_into_a_narrow_window_with_an_explanation(opened: Opener, wren: str) -> None:
    page = opened(wren, 400, 800)
    page.locator("#people button.refused", has_text="moves off at walking pace").click()
    shows(page, "#why", "does not happen")
    assert page.evaluate(WIDER) == 0
    box = page.locator("#why").bounding_box()
    assert box is not None
    assert box["y"] < 800  # brought into view


@pytest.mark.parametrize(
    ("model", "width", "tabs"),
    [
        pytest.param("ramp", 1280, TABS, marks=pytest.mark.slow),
        ("ramp", 400, ("program", "sentence")),
        pytest.param("wren", 1280, ("run",), marks=pytest.mark.slow),
    ],
)
def test_no_rule_of_accessibility_that_can_be_checked_is_broken(
    opened: Opener, request: pytest.FixtureRequest, model: str, width: int, tabs: tuple[str, ...]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = opened(request.getfixturevalue(model), width)
    page.locator("button.refused").first.dispatch_event("click")
    shows(page, "#why", "does not happen")
    for tab in tabs:
        page.click(f"#tab-{tab}")
        found = axe.run(page).response["violations"]
        broken = [f"{v['id']}: {n['html'][:120]}" for v in found for n in v["nodes"]]
        assert not broken, f"{tab} at {width}"


def test_another_origin_cannot_change_the_run(opened: Opener, ramp: str) -> None:
    page = opened(ramp)
    with served(shipped("ramp")) as elsewhere:
        # The other page knows even the token; its browser tells on it all the same.
        token = page.get_attribute('meta[name="bench-token"]', "content")
        other = page.context.new_page()
        other.goto(elsewhere)
        refused = other.evaluate(
            """async ([address, token]) => {
                try {
                    const answer = await fetch(address + "do", {
                        method: "POST", mode: "no-cors", credentials: "include",
                        headers: {"Content-Type": "text/plain"},
                        body: JSON.stringify({act: "move", move: "vehicle: parked to driving"}),
                    });
                    return answer.type;
                } catch (error) { return "blocked"; }
            }""",
            [ramp, token],
        )
        assert refused in ("opaque", "blocked")
    page.click("#tab-run")
    page.reload()
    is_in(page, "vehicle", "parked")


def test_a_rebound_name_gets_nothing(chromium: object, ramp: str) -> None:
    context = chromium.new_context()  # type: ignore[attr-defined]
    page = context.new_page()
    answer = page.goto(ramp.replace("127.0.0.1", "rebound.example"))
    assert answer is not None
    assert answer.status == 403
    assert "Loading ramp" not in page.content()
    assert not context.cookies()
    context.close()


HOSTILE = "</script><img src=x onerror=alert(1)><svg onload=alert(2)>"
# Hebrew, right to left; nothing that turns the direction of what surrounds it is allowed.
RIGHT_TO_LEFT = "מנעול הרמפה פתוח בדרך"


@pytest.mark.parametrize("width", [1280, 400])
def test_hostile_texts_of_a_model_are_shown_and_do_nothing(
    opened: Opener, tmp_path: Path, width: int
) -> None:
    text = f"{HOSTILE} {RIGHT_TO_LEFT} {'x' * 600}"
    with served(load(hostile(tmp_path, text))) as address:
        # A dialog or an error of a script would fail the test.
        page = opened(address, width)
        page.check("#sticky")
        page.locator(".hold").first.click()
        shows(page, "#alarm", "R is violated now")
        # The lamp lets the plant move on by itself, and what moves takes a refusal away.
        is_in(page, LONGEST, f"{LONGEST}1")
        until(page, "document.querySelector('.rest') !== null")
        page.locator("#people button").first.click()
        shows(page, "#why", HOSTILE)
        for tab in TABS:
            if page.locator(f"#tab-{tab}").count():
                page.click(f"#tab-{tab}")
                assert page.evaluate(WIDER) == 0, tab
        assert page.locator("img[src=x], svg[onload]").count() == 0
        assert HOSTILE in page.locator("h1").inner_text()
