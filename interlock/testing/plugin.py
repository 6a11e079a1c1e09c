"""The pytest plugin: model files are collected, and each of their requirements is a test.

``pytest models/`` collects every ``model.yaml`` below. Its items are its requirements, its declared
pair (``expected: …``) and the procedures beside it. All items of one model share one exploration,
also under pytest-xdist, where they are sent to one process. A model that cannot be read is one item
that fails, whatever else was selected.

Only pytest itself is imported until a file of that name is met.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from interlock.testing.asked import JudgedElsewhere, ModelTests, Question
    from interlock.testing.studies import Contents, Options, Studies

_MODEL_FILE = "model.yaml"
_PAIR = "expected"
_UNDER = "expected under "
_PROCEDURE = "procedure "
_studies_key = pytest.StashKey["Studies"]()
_elsewhere_key = pytest.StashKey["JudgedElsewhere"]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of the plugin."""
    group = parser.getgroup("interlock", "models of interlock")
    group.addoption(
        "--interlock-faults",
        choices=["none", "claimed"],
        default="none",
        help="Judge each requirement without component faults (default), or under as many as it "
        "claims to survive.",
    )
    group.addoption(
        "--interlock-max-states", type=int, metavar="N", help="State limit of each exploration."
    )
    group.addoption(
        "--interlock-max-seconds", type=float, metavar="S", help="Time limit of each exploration."
    )
    group.addoption("--interlock-engine", default="auto", metavar="NAME", help="Engine to use.")
    group.addoption(
        "--interlock-scheduler",
        metavar="ADDRESS",
        help="Let the workers of a Dask cluster judge the models: tcp://host:port.",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Refuse an engine that there is not, and work that is spread twice."""
    spread_here = hasattr(config, "workerinput") or config.getoption("numprocesses", None)
    if spread_here and config.getoption("--interlock-scheduler"):
        raise pytest.UsageError("--interlock-scheduler spreads the models itself: leave out -n")
    name = config.getoption("--interlock-engine")
    if name == "auto":
        return
    from interlock.base.errors import nearest
    from interlock.judgement.engines import available

    if name not in available():
        raise pytest.UsageError(f"no engine '{name}'{nearest(name, available())}")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Collect model files."""
    if file_path.name != _MODEL_FILE or not _is_model(file_path, parent.config):
        return None
    return ModelFile.from_parent(parent, path=file_path)


def _is_model(file: Path, config: pytest.Config) -> bool:
    if config.args_source is pytest.Config.ArgsSource.ARGS:
        named = {Path(arg.partition("::")[0]).resolve() for arg in config.args}
        if file.resolve() in named or file.resolve().parent in named:
            return True
    from interlock.testing.recognise import is_model

    return is_model(file)


def _studies(config: pytest.Config) -> Studies:
    """The studies of this process; their explorations are shared by all items."""
    if _studies_key not in config.stash:
        from interlock.testing.studies import Studies

        config.stash[_studies_key] = Studies(_options(config))
    return config.stash[_studies_key]


def _options(config: pytest.Config) -> Options:
    from interlock.kernel.query import Limits
    from interlock.testing.studies import Options

    limits = Limits(
        config.getoption("--interlock-max-states"), config.getoption("--interlock-max-seconds")
    )
    faults, engine = (
        config.getoption("--interlock-faults"),
        config.getoption("--interlock-engine"),
    )
    return Options(faults, limits, engine)


class ModelFile(pytest.File):
    """A model file; collecting it reads and checks it."""

    contents: Contents
    wanted: frozenset[str] = frozenset()

    def collect(self) -> Iterator[pytest.Item]:
        """The items of the model, or one that tells what is wrong with it."""
        from interlock.base.errors import InputError
        from interlock.testing.studies import contents

        try:
            self.contents = contents(self.path)
        except InputError as error:
            at = error.mistakes[0].place
            yield UnreadableItem.about(self, (at.file, at.line), str(error))
            return
        self.wanted = frozenset(self.contents.requirements)
        for id_, place in self.contents.requirements.items():
            yield RequirementItem.of(self, id_, place)
        if self.contents.pair is not None:
            yield PairItem.of(self, _PAIR, self.contents.pair)
        for fault, place in self.contents.fault_places.items():
            yield FaultItem.of(self, f"{_UNDER}{fault}", place)
        for id_, place in self.contents.procedure_places.items():
            yield ProcedureItem.of(self, f"{_PROCEDURE}{id_}", place)

    def tests(self, asked: Iterable[ModelItem] = ()) -> ModelTests:
        """What `asked` of its items ask."""
        from interlock.testing.asked import ModelTests

        questions = tuple(item.question() for item in asked)
        return ModelTests(self.contents, self.wanted, questions)


class ModelItem(pytest.Item):
    """One thing about a model that is judged.

    What it asks is a word of `asked.Kind`; what it is called stands before the id in its name.
    """

    asks = ""
    called = ""

    def __init__(self, place: tuple[str, int] = ("", 1), **named: Any) -> None:
        super().__init__(**named)
        self.place = place

    @classmethod
    def of(cls, parent: ModelFile, name: str, place: tuple[str, int]) -> ModelItem:
        """The item called `name`, written at `place`."""
        item: ModelItem = cls.from_parent(parent, name=name, place=place)
        return item

    @property
    def file(self) -> ModelFile:
        """The model file that the item belongs to."""
        assert isinstance(self.parent, ModelFile)
        return self.parent

    def runtest(self) -> None:
        """Judge it; what is otherwise than it should be is a failure."""
        from interlock.base.errors import NoClusterError
        from interlock.testing.asked import judged

        elsewhere: JudgedElsewhere | None = self.config.stash.get(_elsewhere_key, None)
        try:
            if elsewhere is None:
                result = judged(_studies(self.config), self.file.tests(), self.question())
            else:
                result = elsewhere.result(self.file.path, self.question())
        except NoClusterError as lost:
            raise Surprise(str(lost)) from None
        for name, value in result.properties:
            self.user_properties.append((name, value))
        if not result.passes:
            raise Surprise(result.says)
        if result.untested:
            pytest.skip(result.says)

    def question(self) -> Question:
        """What it asks of the model."""
        from interlock.testing.asked import Kind, Question

        return Question(Kind(self.asks), self.name.removeprefix(self.called))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """A surprise is told in the trade's words, without Python's stack."""
        if isinstance(excinfo.value, Surprise):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Where it is written."""
        return Path(self.place[0]), self.place[1] - 1, f"{self.file.path.parent.name}: {self.name}"


class Surprise(Exception):  # noqa: N818 - told as it is; it is no defect of anything
    """A model does not do what it says of itself."""


class UnreadableItem(ModelItem):
    """A model that cannot be read: nothing of it can be judged."""

    says = ""

    @classmethod
    def about(cls, parent: ModelFile, place: tuple[str, int], says: str) -> ModelItem:
        """The item of a file whose mistakes are what `says` tells."""
        item = cls.of(parent, "model", place)
        assert isinstance(item, UnreadableItem)
        item.says = says
        return item

    def runtest(self) -> None:
        """Tell every mistake with its place."""
        raise Surprise(self.says)


class RequirementItem(ModelItem):
    """A requirement."""

    def __init__(self, **named: Any) -> None:
        super().__init__(**named)
        statement = self.file.contents.model.statements.get(self.name)
        if statement is not None:
            words = (*statement.hazards, statement.pattern.value)
            self.extra_keyword_matches.update(words)

    asks = "requirement"


class PairItem(ModelItem):
    """What a model is known to do to its requirements, all together."""

    asks = "pair"
    called = _PAIR


class FaultItem(ModelItem):
    """What a model is known to violate where one of its faults may strike."""

    asks = "under fault"
    called = _UNDER


class ProcedureItem(ModelItem):
    """A procedure, rehearsed as it is written."""

    asks = "procedure"
    called = _PROCEDURE


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Generator[None, None, None]:
    """Keep what cannot be read: whether it has what is selected nobody knows."""
    unreadable = [item for item in items if isinstance(item, UnreadableItem)]
    yield
    items += [item for item in unreadable if item not in items]


def pytest_collection_finish(session: pytest.Session) -> None:
    """Judge only the requirements that were selected, where no pair needs them all."""
    selected: dict[ModelFile, set[str]] = {}
    for item in session.items:
        if isinstance(item, ModelItem):
            selected.setdefault(item.file, set()).update(_needed(item))
    for file, ids in selected.items():
        file.wanted = frozenset(ids)
    address = session.config.getoption("--interlock-scheduler")
    if address and selected and not session.config.option.collectonly:
        _judge_elsewhere(session, address)


def _judge_elsewhere(session: pytest.Session, address: str) -> None:
    """Hand the tests of all models to the workers of a cluster."""
    from interlock.base.errors import NoClusterError
    from interlock.testing.asked import JudgedElsewhere
    from interlock.testing.studies import explored_with

    asked: dict[ModelFile, list[ModelItem]] = {}
    for item in session.items:
        if isinstance(item, ModelItem) and not isinstance(item, UnreadableItem):
            asked.setdefault(item.file, []).append(item)
    groups: dict[Path, list[tuple[Path, ModelTests]]] = {}
    for file, items in asked.items():
        tests = file.path, file.tests(items)
        groups.setdefault(explored_with(file.path.resolve()), []).append(tests)
    try:
        judged = JudgedElsewhere(_options(session.config), list(groups.values()), address)
    except NoClusterError as reason:
        raise pytest.UsageError(str(reason)) from None
    session.config.stash[_elsewhere_key] = judged


def pytest_unconfigure(config: pytest.Config) -> None:
    """Give up what the runner did not ask for: it ended early."""
    judged = config.stash.get(_elsewhere_key, None)
    if judged is not None:
        judged.end()


def _needed(item: ModelItem) -> Iterable[str]:
    if isinstance(item, RequirementItem):
        return [item.name]
    return item.file.contents.requirements if isinstance(item, PairItem) else []


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Send all items of a model to one process, where models are among what is to be tested."""
    if config.getoption("dist") not in ("load", "worksteal") or not any(
        _models_below(arg) for arg in config.args
    ):
        return None
    from xdist.scheduler import LoadScopeScheduling

    from interlock.testing.studies import explored_with

    root, shared = config.rootpath, {}

    class ByModel(LoadScopeScheduling):  # type: ignore[misc]
        """Items of other files are handed out one by one, as without this."""

        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            if not file.endswith(_MODEL_FILE):
                return nodeid
            if file not in shared:
                shared[file] = str(explored_with((root / file).resolve()))
            return shared[file]

    return ByModel(config, log)


def _models_below(arg: str) -> bool:
    path = Path(arg.partition("::")[0])
    return path.name == _MODEL_FILE or any(path.rglob(_MODEL_FILE))
