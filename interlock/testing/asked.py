"""What the tests of a model ask, one by one; here, or by the workers of a cluster."""

from __future__ import annotations

from collections.abc import Generator, Hashable, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import partial

from interlock.base.errors import InternalError, defect_in_words
from interlock.kernel.query import DeclinedError
from interlock.testing.studies import Contents, Options, Result, Studies

_GIVEN_UP = Result(False, "undecided: the workers that judged it died again and again")


class Kind(Enum):
    """What a test is about."""

    REQUIREMENT = "requirement"
    PAIR = "pair"
    UNDER_FAULT = "under fault"
    PROCEDURE = "procedure"


@dataclass(frozen=True)
class Question:
    """One test of a model.

    Attributes
    ----------
    kind : Kind
    id : str
        Of the requirement, the fault or the procedure; empty for the pair.
    """

    kind: Kind
    id: str = ""


@dataclass(frozen=True)
class ModelTests:
    """The tests of one model.

    Attributes
    ----------
    contents : Contents
    wanted : frozenset of str
        The requirements that share an exploration.
    questions : tuple of Question
    """

    contents: Contents
    wanted: frozenset[str]
    questions: tuple[Question, ...]


def judged(studies: Studies, tests: ModelTests, question: Question) -> Result:
    """What came of one test; what is no verdict is a failure that says so."""
    try:
        return _judged(studies, tests, question)
    except DeclinedError as declined:
        return Result(False, f"the engine declines this model: {declined}")
    except InternalError as error:
        return Result(False, f"internal error, not a verdict: {error}")


def _judged(studies: Studies, tests: ModelTests, question: Question) -> Result:
    contents = tests.contents
    match question.kind:
        case Kind.REQUIREMENT:
            return studies.requirement(contents.model, question.id, tests.wanted)
        case Kind.PAIR:
            return studies.pair(contents.model)
        case Kind.UNDER_FAULT:
            return studies.under(contents.model, question.id)
        case Kind.PROCEDURE:
            assert contents.procedures is not None
            return studies.procedure(contents.model, contents.procedures, question.id)


class JudgedElsewhere:
    """Tests that the workers of a cluster judge, model by model, while the runner tells others.

    Parameters
    ----------
    options : Options
    groups : sequence of sequence of (key, ModelTests)
        Those of a group can share explorations, and are one task.
    address : str
        Of the scheduler.

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(
        self,
        options: Options,
        groups: Sequence[Sequence[tuple[Hashable, ModelTests]]],
        address: str,
    ) -> None:
        from interlock.base.cluster import Cluster

        self._groups = groups
        self._found: dict[tuple[Hashable, Question], Result] = {}
        tests = [tuple(one for _, one in group) for group in groups]
        self._answers: Generator[tuple[int, list[list[Result]] | None]] = Cluster(address).spread(
            partial(judge_group, options), tests
        )

    def result(self, key: Hashable, question: Question) -> Result:
        """What came of one test; waits for it.

        Raises
        ------
        NoClusterError
            Where the scheduler is lost.
        """
        while (key, question) not in self._found:
            place, results = next(self._answers)
            for at, (of, tests) in enumerate(self._groups[place]):
                given_up = Result(
                    False, "undecided: the workers that judged it died again and again"
                )
                for number, asked in enumerate(tests.questions):
                    told = given_up if results is None else results[at][number]
                    self._found[of, asked] = told
        return self._found[key, question]

    def end(self) -> None:
        """Give up what nobody has asked for yet."""
        self._answers.close()


def judge_group(options: Options, group: Sequence[ModelTests]) -> list[list[Result]]:
    """The results of every test of models that share explorations, in their order."""
    studies = Studies(options)
    return [[_told(studies, tests, question) for question in tests.questions] for tests in group]


def _told(studies: Studies, tests: ModelTests, question: Question) -> Result:
    try:
        return judged(studies, tests, question)
    except Exception as defect:  # One test with a defect of ours takes no other with it.
        return Result(False, defect_in_words(defect))
