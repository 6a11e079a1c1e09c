"""``interlock operate MODEL``: the live bench page."""

from __future__ import annotations

import os
import sys
import webbrowser
from contextlib import suppress
from pathlib import Path

import click

from interlock.commands.exits import EXIT_HOLDS
from interlock.commands.options import jobs_option, print_line
from interlock.model.declined import load_for

_PORT = 8137


@click.command("operate")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=_PORT,
    show_default=True,
    help="Port on this machine; 0 takes any free one.",
)
@jobs_option
@click.option("--no-browser", is_flag=True, help="Open no browser, only tell the address.")
def command(model: Path, port: int, no_browser: bool) -> int:
    """Operate MODEL by hand in a browser: press, drive, let things fail, and see why not.

    The page is served to this machine only, until Ctrl-C. Nothing is written into MODEL's folder.
    It judges nothing by itself; what it judges when asked is told on the page.
    """
    try:
        from interlock.commands.operate.bench import BEYOND
        from interlock.commands.operate.serve import PortTakenError, bind, serve
    except ModuleNotFoundError as missing:
        name = (missing.name or "").split(".")[0]
        if name in ("starlette", "uvicorn"):
            said = f"'operate' needs {name}: pip install 'interlock[operate]'"
            raise click.ClickException(said) from None
        raise
    loaded = load_for("'operate'", model, *BEYOND)
    try:
        listening = bind(port)
    except PortTakenError as error:
        said = f"{error}; choose another with --port, or --port 0 for any free one"
        raise click.ClickException(said) from None
    print_line(f"making {loaded.title} ready …", err=True)

    def ready(address: str) -> None:
        print_line(f"operate {loaded.name} at {address} (Ctrl-C ends it)")
        if not no_browser and _has_display():
            webbrowser.open(address)

    with suppress(KeyboardInterrupt):
        serve(loaded, listening, ready)
    click.echo("\nstopped; nothing was written", err=True)
    return EXIT_HOLDS


def _has_display() -> bool:
    """Whether a browser could show anything: without a screen none is opened."""
    if sys.platform.startswith(("win", "darwin")):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
