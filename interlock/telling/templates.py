"""Pages made from templates: every text is escaped, and a name that is not given is an error."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interlock import __version__
from interlock.base.visible import made_visible

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

_LONG = 24
_PACKAGE = Path(__file__).parents[1]


def rendered(template: str, **given: Any) -> str:
    """The page that a template of the package makes of what is given.

    Parameters
    ----------
    template : str
        Path of the file from the folder of the package, with ``/`` between folders.
    **given
        What it names; ``version`` is that of interlock.
    """
    return environment().get_template(template).render(version=__version__, **given) + "\n"


@cache
def environment() -> Environment:
    """The one way in which pages are made here."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(_PACKAGE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    made.filters["own"] = own_words
    return made


def own_words(text: str) -> Markup:
    """Words of a model, which may run from right to left and leave their surroundings alone."""
    from markupsafe import Markup

    shown = made_visible(text)
    # Only such words may be broken anywhere: others would be torn where columns are narrow.
    is_long = any(len(word) > _LONG for word in shown.split())
    return Markup('<bdi class="long">{}</bdi>' if is_long else "<bdi>{}</bdi>").format(shown)


def as_is(html: str) -> Markup:
    """HTML that was made here and is not escaped once more."""
    from markupsafe import Markup

    return Markup(html)


def _shown(value: Any) -> Any:
    return made_visible(value) if type(value) is str else value
