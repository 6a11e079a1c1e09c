"""A real browser: Debian's chromium, driven without anything from elsewhere."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NoReturn

import pytest

from tests.support.models import shipped
from tests.support.served import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    # A name of another site that leads here, as after DNS rebinding.
    "--host-resolver-rules=MAP rebound.example 127.0.0.1",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything here needs the browser."""
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


def _do_without(missing: str) -> NoReturn:
    # What is skipped where nobody looks at it would never be tested.
    if os.environ.get("CI"):
        pytest.fail(missing, pytrace=False)
    pytest.skip(missing)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests; each page has a context of its own."""
    found = shutil.which("chromium")
    if found is None:
        _do_without("chromium is not installed")
    try:
        from playwright import sync_api as playwright
    except ModuleNotFoundError:
        _do_without("playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()


def until(page: Page, condition: str, given: object = None) -> None:
    """Wait until an expression or a function of the page gives true.

    The page's own policy forbids what the driver's way of waiting does.
    """
    deadline = time.monotonic() + 15
    while not page.evaluate(condition, given):
        assert time.monotonic() < deadline, f"never so: {condition} {given}"
        page.wait_for_timeout(20)


def shows(page: Page, selector: str, text: str) -> None:
    """Wait until an element shows a text; where it never does, tell what was there instead."""
    from playwright.sync_api import TimeoutError as NeverSoError

    try:
        page.locator(selector).filter(has_text=text).first.wait_for(state="attached")
    except NeverSoError:
        there = page.locator(selector).all_text_contents()
        around = page.locator("#status, #trouble, #requirements p").all_text_contents()
        pytest.fail(f"{selector} never showed {text!r}: there is {there}, beside it {around}")


def is_in(page: Page, machine: str, state: str) -> None:
    """Wait until a machine is in a state."""
    row = f'#picture tr[data-machine="{machine}"][data-state="{state}"]'
    page.locator(row).wait_for(state="attached")


def does(page: Page, says: str) -> None:
    """Press the button of a move of a person, and wait until the page shows what it led to."""
    with page.expect_response(lambda answer: '"move"' in (answer.request.post_data or "")):
        page.locator("#people button.possible", has_text=says).first.click()
    # The answer has come; the page has put it in place before it is asked anything later.
    page.wait_for_timeout(20)


def holds(page: Page, button: str) -> None:
    """Press a button and keep it pressed."""
    page.locator(button).scroll_into_view_if_needed()
    page.locator(button).hover()
    page.mouse.down()


def lets_go(page: Page) -> None:
    """Let go of what is pressed, and wait until it has sprung back."""
    page.mouse.up()
    shows(page, "#controls legend", "now NONE")


Opener = Callable[..., "Page"]


@pytest.fixture
def opened(chromium: Browser) -> Iterator[Opener]:
    """Opens a page in a browser context of its own, and waits until all on it is at rest.

    Errors of scripts fail the test.
    """
    contexts = []
    complaints: list[str] = []

    def open_page(address: str, width: int = 1280, height: int = 900) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": height})
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
        page.goto(address)
        page.locator("#status output").wait_for()
        page.select_option("#pace", "90")
        until(page, "document.querySelector('.rest') !== null")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not complaints


@pytest.fixture(scope="session")
def legs() -> Iterator[str]:
    """Address of the crane on its outrigger legs, a program of several files."""
    with served(shipped("outriggers")) as address:
        yield address


@pytest.fixture(scope="session")
def ramp() -> Iterator[str]:
    """Address of the loading ramp on the bench."""
    with served(shipped("ramp")) as address:
        yield address


@pytest.fixture(scope="session")
def wren() -> Iterator[str]:
    """Address of Wren on the bench."""
    with served(shipped("wren")) as address:
        yield address
