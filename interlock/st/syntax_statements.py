"""The statements of Structured Text, as written."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Place
from interlock.st.syntax_expressions import (
    Expression,
    InputArgument,
    Name,
    OutputArgument,
    Target,
)


@dataclass(frozen=True)
class Assign:
    """``target := value;``."""

    target: Target
    value: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Branch:
    """A condition and what is done where it is the first that holds."""

    condition: Expression
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class If:
    """``IF … ELSIF … ELSE … END_IF;``."""

    branches: tuple[Branch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Label:
    """One value of a CASE branch, or a range of them."""

    first: Expression
    last: Expression | None
    place: Place = field(compare=False)


@dataclass(frozen=True)
class CaseBranch:
    """The labels of a CASE branch and what is done for them."""

    labels: tuple[Label, ...]
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Case:
    """``CASE … OF … ELSE … END_CASE;``."""

    selector: Expression
    branches: tuple[CaseBranch, ...]
    otherwise: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class For:
    """``FOR i := first TO last BY step DO … END_FOR;``."""

    variable: Name
    first: Expression
    last: Expression
    step: Expression | None
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class While:
    """``WHILE condition DO … END_WHILE;``."""

    condition: Expression
    body: tuple[Statement, ...]
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Repeat:
    """``REPEAT … UNTIL condition END_REPEAT;``."""

    body: tuple[Statement, ...]
    until: Expression
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Leave:
    """``EXIT``, ``CONTINUE`` or ``RETURN``, as `word` says."""

    word: str
    place: Place = field(compare=False)


@dataclass(frozen=True)
class Invoke:
    """The call of a function block's instance, of a function, a method or an action.

    Attributes
    ----------
    instance : Name
        What is called, as written; what follows `on` where that is given. An action or a method
        called without brackets is an Invoke without arguments, `bare`.
    on : Expression or None
        What it is called on where it is no plain name: ``legs[1]()`` has the Element and an
        instance with empty text, ``legs[1].Do()`` the Element and the instance ``Do``.
    """

    instance: Name
    inputs: tuple[InputArgument, ...]
    outputs: tuple[OutputArgument, ...]
    place: Place = field(compare=False)
    on: Expression | None = None
    bare: bool = False


@dataclass(frozen=True)
class Empty:
    """A semicolon by itself."""

    place: Place = field(compare=False)


@dataclass(frozen=True)
class Refused:
    """A statement that is well formed and has no meaning here, such as JMP.

    Attributes
    ----------
    says : str
        Why it is refused.
    text : str
        The statement, as written.
    """

    says: str
    place: Place = field(compare=False)
    text: str = ""


@dataclass(frozen=True)
class Defect:
    """To come here is a defect of the program; made by elaboration, never written.

    Attributes
    ----------
    says : str
        What is wrong, as in ``the loop runs more than 1000 times``.
    """

    says: str
    place: Place = field(compare=False)


Statement = Assign | If | Case | For | While | Repeat | Leave | Invoke | Empty | Refused | Defect
