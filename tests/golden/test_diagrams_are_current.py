"""The diagrams in the repository are those of the models in it.

Of what a renderer draws only the DOT text is compared, since what it makes of that may change with
its version.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.independent_judge.run_file import read_run
from interlock.model.load import load
from interlock.pictures.collection import draw_model, draw_saved_run

ROOT = Path(__file__).parents[2]
BROKEN = "ramp-broken/seal-in-survives-stop"
# Runs are only drawn where a requirement is violated; judging Wren takes a minute.
ALL_BUT_RUNS = ("machines", "conversions", "permissives", "matrix", "supplies", "side-view")


def current(name: str, kinds: tuple[str, ...]) -> dict[str, str]:
    model = load(ROOT / "models" / name)
    drawn = draw_model(model, catalogue()["symbolic"](), kinds)
    found = {f"{p.name}.{'svg' if p.is_svg else 'gv'}": p.text for p in drawn.pictures}
    for picture in drawn.pictures:
        found |= picture.tables
    return found


def is_no_rendering(file: Path) -> bool:
    """Whether a picture is written as it is, and not drawn from a text beside it."""
    return file.suffix == ".svg" and not file.with_suffix(".gv").exists()


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("ramp", (*ALL_BUT_RUNS, "memory")),
        (BROKEN, ("runs", "steps", "timing")),
        pytest.param("wren", ALL_BUT_RUNS, marks=pytest.mark.slow),
    ],
)
def test_the_diagrams_are_current(name: str, kinds: tuple[str, ...]) -> None:
    expected = current(name, kinds)
    folder = ROOT / "diagrams" / Path(name).name
    kept = {
        file.name: file.read_text(encoding="utf-8")
        for file in folder.iterdir()
        if file.suffix in (".gv", ".csv") or is_no_rendering(file)
    }
    only = " ".join(f"--only {kind}" for kind in kinds)
    again = f"run: interlock draw models/{name} {only}"
    assert sorted(kept) == sorted(expected), again
    for file, text in expected.items():
        assert kept[file] == text, f"{folder.name}/{file} is out of date; {again}"


@pytest.mark.parametrize("name", ["ramp", BROKEN, "wren"])
def test_every_text_has_its_drawing(name: str) -> None:
    folder = ROOT / "diagrams" / Path(name).name
    texts = {file.stem for file in folder.glob("*.gv")}
    assert texts
    assert texts == {file.stem for file in folder.glob("*.svg") if not is_no_rendering(file)}


def test_the_saved_run_of_the_shared_connector_violates_and_is_drawn_as_kept() -> None:
    # Found by: interlock verify models/wren-single/one-connector --only R06 (minutes).
    folder = ROOT / "diagrams" / "one-connector"
    model = load(ROOT / "models" / "wren-single" / "one-connector")
    saved = read_run(folder / "R06.json")
    assert saved.violates == ("R06",)
    again = (
        "run: interlock draw models/wren-single/one-connector --run diagrams/one-connector/R06.json"
    )
    for picture in draw_saved_run(model, "R06", saved):
        assert picture.text == (folder / f"{picture.name}.svg").read_text("utf-8"), again
