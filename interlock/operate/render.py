"""The page and its parts as HTML; every text of a model is escaped."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interlock import __version__
from interlock.operate import tabs, views
from interlock.operate.desk import Desk

if TYPE_CHECKING:
    from jinja2 import Environment

_TEMPLATES = Path(__file__).with_name("templates")
REGIONS: dict[str, Callable[[Desk], dict[str, Any]]] = {
    "alarm": views.alarm,
    "status": views.status,
    "picture": views.picture,
    "lamps": views.lamps,
    "controls": views.controls,
    "people": views.people,
    "plant": views.plant,
    "why": views.why,
    "program": tabs.program,
    "signals": tabs.signals,
    "requirements": tabs.requirements,
    "run": tabs.run,
    "faults": tabs.faults,
    "sentences": tabs.sentences,
    "lessons": tabs.lessons,
}


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def regions(desk: Desk) -> dict[str, str]:
    """Each part of the page by its name."""
    return {
        name: _environment().get_template(f"{name}.html").render(**view(desk)).strip()
        for name, view in REGIONS.items()
    }


def page(desk: Desk, token: str) -> str:
    """The whole page.

    Parameters
    ----------
    desk : Desk
    token : str
        What the page must show with everything that it asks for.
    """
    from markupsafe import Markup

    # The parts are escaped already; they are the only text that is not escaped once more.
    parts = {name: Markup(text) for name, text in regions(desk).items()}
    return (
        _environment()
        .get_template("page.html")
        .render(
            parts=parts,
            token=token,
            version=__version__,
            model=desk.hall.model,
            lessons=bool(desk.hall.lessons),
            n_faults=len(desk.hall.model.faults),
        )
    )
