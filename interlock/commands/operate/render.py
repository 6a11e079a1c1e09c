"""The page and its parts as HTML; every text of a model is escaped."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from interlock.commands.operate import tabs, views
from interlock.commands.operate.desk import Desk
from interlock.commands.operate.drafts import sentence_form
from interlock.telling.templates import as_is, rendered

_TEMPLATES = "commands/operate/templates"
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
    "worth_a_look": tabs.worth_a_look,
    "run": tabs.run,
    "faults": tabs.faults,
    "sentences": tabs.sentences,
    "lessons": tabs.lessons,
}


def regions(desk: Desk) -> dict[str, str]:
    """Each part of the page by its name."""
    return {
        name: rendered(f"{_TEMPLATES}/{name}.html", **view(desk)).strip()
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
    # The parts are escaped already; they are the only text that is not escaped once more.
    parts = {name: as_is(text) for name, text in regions(desk).items()}
    return rendered(
        f"{_TEMPLATES}/page.html",
        parts=parts,
        token=token,
        model=desk.served.model,
        lessons=bool(desk.served.lessons),
        n_faults=len(desk.served.model.faults),
        **sentence_form(desk.served.model.timing is not None),
    )
