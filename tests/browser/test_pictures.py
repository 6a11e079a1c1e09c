"""Pictures in a real browser, with whatever fonts this machine has."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from interlock.cli.main import run
from tests.support.models import MODELS

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# Pairs of texts that cover each other by more than a hair, and texts beyond the right edge.
CLASHES = """() => {
  const all = [...document.querySelectorAll('text')].filter(t => t.textContent.trim());
  const boxes = all.map(t => [t.textContent, t.getBoundingClientRect()]);
  const edge = document.documentElement.getBoundingClientRect().right;
  const found = boxes.filter(([, box]) => box.right > edge + 1).map(([text]) => text + ' | edge');
  boxes.forEach(([text, a], i) => boxes.slice(i + 1).forEach(([other, b]) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 1.5 && high > 0.4 * Math.min(a.height, b.height)) found.push(text + ' | ' + other);
  }));
  return found;
}"""
KINDS = ("machines", "conversions", "permissives", "matrix")


def test_no_text_runs_into_another_or_out_of_the_picture(chromium: Browser, tmp_path: Path) -> None:
    only = [word for kind in KINDS for word in ("--only", kind)]
    assert run(["draw", str(MODELS / "outriggers"), *only, "--output", str(tmp_path)]) == 0
    pictures = sorted(tmp_path.glob("*.svg"))
    assert len(pictures) > len(KINDS)
    page = chromium.new_page(viewport={"width": 2400, "height": 1600})
    clashes = {}
    for picture in pictures:
        page.goto(picture.as_uri())
        clashes[picture.name] = page.evaluate(CLASHES)
    page.close()
    assert clashes == {picture.name: [] for picture in pictures}
