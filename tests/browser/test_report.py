"""The report opened as a file, with no network: found, read, played, for everybody."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from interlock.cli.main import run
from tests.browser.conftest import until
from tests.support.gate import written
from tests.support.hostile import hostile
from tests.support.models import MODELS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
HOSTILE = "</script></style><img src=x onerror=alert(1)><svg onload=alert(2)>"
# Hebrew, right to left.
RIGHT_TO_LEFT = "מנעול הרמפה פתוח בדרך"

Reader = Callable[..., "Page"]


@pytest.fixture
def read(chromium: Browser) -> Iterator[Reader]:
    """Opens a file without network; nothing may be asked for, said or refused meanwhile."""
    contexts = []
    heard: list[str] = []

    def open_file(file: Path, width: int = 1280, script: bool = True) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": 900}, java_script_enabled=script
        )
        context.set_offline(True)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: heard.append(str(error)))
        page.on("console", lambda message: heard.append(message.text))
        page.on("dialog", lambda dialog: (heard.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda asked: heard.append(asked.url) if asked.url != address else None)
        address = file.as_uri()
        page.goto(address)
        return page

    yield open_file
    for context in contexts:
        context.close()
    assert not heard


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Reports on a ramp, on a broken one, on a gate with faults, and on a hostile model."""
    folder = tmp_path_factory.mktemp("reports")
    text = f"{HOSTILE} {RIGHT_TO_LEFT} {'x' * 600}"
    models = {
        "ramp": MODELS / "ramp",
        "broken": MODELS / "ramp-broken" / "pin-alone",
        "gate": written(folder / "models" / "gate"),
        "hostile": hostile(folder / "models" / "hostile", text),
    }
    for name, model in models.items():
        run(["report", str(model), "-o", str(folder / name), "--no-pdf", "-j", "1"])
    return {name: folder / name / "report.html" for name in models}


def test_everything_about_a_hazard_is_two_clicks_away(
    read: Reader, reports: dict[str, Path]
) -> None:
    page = read(reports["broken"])
    page.get_by_role("navigation", name="Contents").get_by_role(
        "link", name="H2: the driver trusts a false green"
    ).click()
    article = page.get_by_role("article", name="H2: the driver trusts a false green")
    assert article.get_by_role("row").filter(has_text="Green tells the truth").count() == 1
    assert article.bounding_box()["y"] < 100  # type: ignore[index]
    article.get_by_role("link", name="R2 violated: Green tells the truth").first.click()
    until(page, "location.hash === '#run-R2'")
    assert page.locator("#run-R2").bounding_box()["y"] < 100  # type: ignore[index]


def test_a_run_is_played_by_keyboard_alone(read: Reader, reports: dict[str, Path]) -> None:
    page = read(reports["broken"])
    player = page.locator('.player[data-run="run-R1"]')
    story = page.locator("article", has=page.locator("#run-R1")).locator(".story")
    player.get_by_role("button", name="First").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Next"
    page.keyboard.press("Enter")
    told = player.locator("[aria-live]")
    assert told.inner_text().startswith(
        "Step 1 of 13: controller – scans – drive_enable on, green on"
    )
    assert told.inner_text().endswith("Outputs on: drive_enable, green.")
    page.keyboard.press("End")
    assert "Step 13 of 13: driver – drives off" in told.inner_text()
    assert "violated here" in told.inner_text()
    assert story.locator("tr.here th").inner_text() == "13"
    label = player.locator("[role=img]").get_attribute("aria-label")
    assert label is not None
    assert "The vehicle is driving" in label
    page.keyboard.press("ArrowLeft")
    assert "Step 12 of 13" in told.inner_text()
    story.get_by_role("button", name="Show step 8").press("Enter")
    assert "the ramp leaves its stowed place" in told.inner_text()
    assert page.evaluate("document.activeElement.getAttribute('aria-current')") == "step"
    page.keyboard.press("Tab")
    player.get_by_role("button", name="First").press("Home")
    assert "Step 0 of 13: at power-up" in told.inner_text()


def test_the_picture_of_each_step_is_that_of_the_side_view(
    read: Reader, reports: dict[str, Path]
) -> None:
    page = read(reports["broken"])
    player = page.locator('.player[data-run="run-R1"]')
    player.get_by_role("button", name="Last").click()
    shown = player.locator("svg text:visible").all_text_contents()
    assert "Driving" in shown
    assert "the ramp is not secured" in shown
    # Every player has ids of its own.
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))


def test_without_script_the_story_and_its_pictures_are_there(
    read: Reader, reports: dict[str, Path]
) -> None:
    page = read(reports["broken"], script=False)
    article = page.locator("article", has=page.locator("#run-R1"))
    assert article.get_by_role("row").filter(has_text="drives off").count() == 1
    assert article.locator(".stills svg").first.is_visible()
    assert article.locator("button").count() == 0


@pytest.mark.parametrize("name", ["ramp", "broken", "gate", "hostile"])
def test_in_a_narrow_window_nothing_sticks_out(
    name: str, read: Reader, reports: dict[str, Path]
) -> None:
    page = read(reports[name], 400)
    assert page.evaluate(WIDER) == 0


@pytest.mark.parametrize(
    ("name", "width"),
    [
        ("ramp", 1280),
        ("gate", 400),
        pytest.param("broken", 400, marks=pytest.mark.slow),
        pytest.param("hostile", 1280, marks=pytest.mark.slow),
    ],
)
def test_no_rule_of_accessibility_that_can_be_checked_is_broken(
    name: str, width: int, read: Reader, reports: dict[str, Path]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = read(reports[name], width)
    found = axe.run(page).response["violations"]
    assert not [f"{v['id']}: {n['html'][:160]}" for v in found for n in v["nodes"]]


def test_hostile_texts_are_shown_and_do_nothing(read: Reader, reports: dict[str, Path]) -> None:
    page = read(reports["hostile"])
    assert page.locator("img, [onload], [onerror]").count() == 0
    assert HOSTILE in page.locator("h1").inner_text()
    assert RIGHT_TO_LEFT in page.locator("h1").inner_text()
    assert page.evaluate(WIDER) == 0
    player = page.locator(".player").first
    player.get_by_text("This state in words").click()
    assert HOSTILE in player.locator("details").inner_text()
