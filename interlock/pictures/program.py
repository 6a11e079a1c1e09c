"""The program of a model as it is drawn: ladder, blocks and charts, with the values of a state."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import PurePath

from interlock.base.errors import InputError, Place
from interlock.exchange.drawn_bodies import DrawnBody, DrawnNetwork, drawn_bodies
from interlock.exchange.files import ENDING
from interlock.exchange.known_types import KnownTypes, Scope
from interlock.exchange.signs import Sign
from interlock.exchange.units import variables_of
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.player import Player
from interlock.model.model import Model
from interlock.pictures.charts import draw_chart
from interlock.pictures.network_values import Value, Values
from interlock.pictures.networks import Shown, draw_networks
from interlock.pictures.picture import Picture
from interlock.st import syntax as sx
from interlock.st.parser import parse_expression
from interlock.st.types import label_of

Read = Callable[[str], Value]
"""The value of a variable of the program by its casefolded path; None where there is none."""
_DEEPEST = 8
STATE_NOTE = (
    "Values as they stand after the scan. A heavy line carries TRUE; what a wire carries is worked "
    "out from these values."
)


# So many networks of one scan are shown.
_MOST_DECIDING = 6


def deciding_of_run(model: Model, run: Replayed, prefix: str = "") -> list[str]:
    """The networks that decided what the last scan of a run changed, with the values after it.

    Parameters
    ----------
    model : Model
    run : Replayed
    prefix : str, optional
        Stands before their ids.
    """
    drawn = DrawnProgram(model)
    if not drawn:
        return []
    scans = [n for n, h in enumerate(run.happenings) if h.scan is not None and h.scan.decided]
    if not scans:
        return []
    player = Player(model)
    for happening in run.happenings[: scans[-1] + 1]:
        player.play(happening.move)
    last = run.happenings[scans[-1]].scan
    assert last is not None
    shown = {name.casefold() for name in model.outputs}
    places = [d.place for d in last.decided if d.name.casefold() in shown]
    return drawn.deciding(places[:_MOST_DECIDING], player.reading().get, prefix)


@dataclass(frozen=True)
class _Deciding:
    body: DrawnBody
    network: DrawnNetwork
    sign: Sign


class DrawnProgram:
    """What of a model's program is drawn.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._bodies: list[tuple[str, DrawnBody]] = []
        for name, content in model.program_texts.items():
            if PurePath(name).suffix.casefold() == ENDING:
                self._bodies += [(name, body) for body in drawn_bodies(content, name)]
        files: Sequence[sx.SourceFile] = model.project.files if model.project is not None else ()
        self._known = KnownTypes.of(files)
        self._units = {unit.name.casefold(): unit for file in files for unit in file.units}
        self._types = {v.name.casefold(): v.type for v in model.program.variables}
        self._paths: dict[str, list[str]] = {}
        root = model.project.root if model.project is not None else ""
        self._find_paths(root, "", 0)

    def __bool__(self) -> bool:
        return bool(self._bodies) or any(unit.chart is not None for unit in self._units.values())

    def _find_paths(self, unit_name: str, path: str, depth: int) -> None:
        """Note by which paths a unit's variables are named, and those of the blocks in it."""
        self._paths.setdefault(unit_name.casefold(), []).append(path)
        unit = self._units.get(unit_name.casefold())
        if unit is None or depth > _DEEPEST:
            return
        for declaration in unit.declarations:
            if declaration.type.name.casefold() in self._units:
                for name in declaration.names:
                    inner = f"{path}{name.text.casefold()}."
                    self._find_paths(declaration.type.name, inner, depth + 1)

    # Pictures of all

    def pictures(self, read: Read | None = None, ending: str = "") -> Iterator[Picture]:
        """A picture of each body and each chart; with values one for each instance.

        Parameters
        ----------
        read : callable, optional
            The state that is shown; none without it.
        ending : str, optional
            Last part of the pictures' names.
        """
        for _, body in self._bodies:
            for path in self._shown_paths(body.name, read):
                name = ".".join(filter(None, (path.rstrip("."), body.action)))
                title = ", ".join(filter(None, (body.unit, name)))
                shown = Shown(
                    title,
                    f"{len(body.networks)} networks.",
                    body.networks,
                    None if read is None else self._values(body.name, path, read),
                    notes=() if read is None else (STATE_NOTE,),
                )
                stem = "-".join(filter(None, ("networks", body.name, name, ending)))
                yield Picture(stem, f"networks of {title}", draw_networks(shown), is_svg=True)
        for unit in self._units.values():
            if unit.chart is None:
                continue
            for path in self._shown_paths(unit.name, read):
                title = ", ".join(filter(None, (f"{unit.kind} {unit.name}", path.rstrip("."))))
                stem = "-".join(filter(None, ("chart", unit.name, path.rstrip("."), ending)))
                svg = self.chart(unit.name, path, read)
                yield Picture(stem, f"chart of {title}", svg, is_svg=True)

    def _shown_paths(self, unit: str, read: Read | None) -> list[str]:
        found = self._paths.get(unit.casefold(), [])
        return found if read is not None and found else [""]

    def chart(self, unit_name: str, path: str, read: Read | None, prefix: str = "") -> str:
        """The chart of a unit, with the active steps of one of its instances."""
        unit = self._units[unit_name.casefold()]
        assert unit.chart is not None
        title = ", ".join(filter(None, (f"{unit.kind} {unit.name}", path.rstrip("."))))
        if read is None:
            return draw_chart(unit.chart, title, prefix=prefix)
        state = read

        def is_active(step: str) -> bool | None:
            value = state(f"{path}{step.casefold()}.x")
            return None if value is None else bool(value)

        note = "Steps that are active after the scan are filled and hold a dot."
        return draw_chart(unit.chart, title, is_active, [note], prefix)

    # What decided

    def deciding(self, places: Iterable[Place], read: Read, prefix: str = "") -> list[str]:
        """The networks with the elements at `places`, each once, with the values of a state."""
        found: list[str] = []
        seen: set[int] = set()
        for number, place in enumerate(places):
            at = self._at(place)
            if at is None or id(at.network) in seen:
                continue
            seen.add(id(at.network))
            path = (self._paths.get(at.body.name.casefold()) or [""])[0]
            shown = Shown(
                f"{at.body.unit}, network {at.network.number}",
                f"The network that decided, by {place.element}.",
                [at.network],
                self._values(at.body.name, path, read),
                at.sign,
                prefix=f"{prefix}{number}-",
                notes=(STATE_NOTE,),
            )
            found.append(draw_networks(shown))
        return found

    def _at(self, place: Place) -> _Deciding | None:
        for name, body in self._bodies:
            if PurePath(name).name != place.file_name or body.unit != place.unit:
                continue
            for network in body.networks:
                sign = network.elements.get(place.element)
                if sign is not None and network.lines.get(place.element) == place.line:
                    return _Deciding(body, network, sign)
        return None

    # Values

    def _values(self, unit_name: str, path: str, read: Read) -> Values:
        unit = self._units.get(unit_name.casefold())
        names: Mapping[str, sx.TypeRef] = {}
        if unit is not None:
            names = variables_of(unit, self._known)
        scope = Scope(self._known, dict(names))

        @cache
        def type_of(name: str) -> str:
            try:
                found = scope.type_of(parse_expression(name, locate=lambda _: Place("", 1, 1)))
            except InputError:
                return ""
            return "" if found is None else found.name.upper()

        def label(name: str, value: Value) -> str:
            exact = self._types.get(path + name.casefold())
            if exact is not None and isinstance(value, int):
                return label_of(exact, value)
            if type_of(name) == "BOOL":
                return "TRUE" if value else "FALSE"
            if type_of(name) == "TIME":
                return f"T#{value}ms"
            return str(value)

        return Values(
            lambda name: read(path + name.casefold()),
            label,
            lambda name: type_of(name) == "BOOL",
        )
