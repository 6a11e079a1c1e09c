"""Where values go: assignments over scalars, copies of whole variables, temporaries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.callees import Callees
from interlock.st.elaborate.reading import all_read_by, read_by, written_by
from interlock.st.elaborate.shapes import (
    Array,
    Bit,
    Block,
    Bound,
    Indexed,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Structure,
    Unknown,
    leaves,
    located,
)
from interlock.st.elaborate.state import Frame, UnknowableError

_BOOL = "BOOL"


class Writing(Callees):
    """Assigns."""

    # Temporaries

    def temporary(self, name: str, type_: sx.TypeRef, place: Place) -> sx.Name:
        """A new variable that does not outlive the scan."""
        made = sx.Name(f"{name}@{self.reading.number()}", place)
        self.reading.declarations.append(
            sx.Declaration("VAR_TEMP", False, (made,), type_, None, place)
        )
        return made

    def temporaries(self, name: str, shape: Shape, place: Place) -> Located:
        """As `temporary`, of any shape."""
        type_ = sx.TypeRef(_BOOL, None, None, place)
        like = sx.Declaration("VAR_TEMP", False, (), type_, None, place)
        return self.add(f"{name}@{self.reading.number()}", shape, None, Frame(None, {}), like)

    def operands(
        self, expressions: Iterable[sx.Expression], frame: Frame, out: list[sx.Statement]
    ) -> list[sx.Expression]:
        """Several values that belong together, from left to right."""
        found: list[sx.Expression] = []
        unknown: UnknowableError | None = None
        for e in expressions:
            before = len(out)
            try:
                found.append(self.value(e, frame, out))
            except UnknowableError as reason:
                # What the others call is done all the same.
                unknown = unknown or reason
            if len(out) > before:
                read = {name for f in found[:-1] for name in read_by(f)}
                self._refuse_a_change(out[before:], read, e.place)
        if unknown is not None:
            raise unknown
        return found

    def _refuse_a_change(
        self, called: Iterable[sx.Statement], read: set[str], place: Place
    ) -> None:
        """What a call changes is not read elsewhere in its statement: controllers differ there."""
        both = sorted(read & {path for path in written_by(called) if "@" not in path})
        if both:
            says = (
                f"this call changes '{both[0]}', which the same statement reads elsewhere; "
                "call it in a statement of its own"
            )
            raise self.reading.refuse(place, says)

    def refuse_entwined(
        self,
        at: Reference,
        found: Sequence[sx.Statement],
        valued: Sequence[sx.Statement],
        place: Place,
    ) -> None:
        """Refuse an assignment whose outcome depends on whether its index or its value comes first.

        Parameters
        ----------
        at : Reference
            Where it goes.
        found, valued : sequence of syntax.Statement
            What finding that place calls, and what is done from there to the end.
        place : Place
        """
        own = tuple(part.path for part in located(at))
        inner = tuple(f"{path}." for path in own)
        calls = [
            s for s in valued if not all(p in own or p.startswith(inner) for p in written_by((s,)))
        ]
        self._refuse_a_change(calls, set(_indexes_of(at)), place)
        self._refuse_a_change(found, set(all_read_by(valued)), place)

    def fixed(self, at: Reference, out: list[sx.Statement]) -> Reference:
        """`at` with its index worked out now, so that it stays where it leads."""
        if not isinstance(at, Indexed):
            return at
        known: dict[sx.Expression, sx.Name] = {}

        def fix(part: Reference) -> Reference:
            if not isinstance(part, Indexed) or isinstance(part.index, sx.Opaque):
                return part
            if isinstance(part.index, sx.Name) and part.index.text.startswith("index@"):
                known[part.index] = part.index
            if part.index not in known:
                type_ = sx.TypeRef("DINT", None, None, part.place)
                known[part.index] = self.temporary("index", type_, part.place)
                out.append(sx.Assign(known[part.index], part.index, part.place))
            return replace(
                part, index=known[part.index], choices=tuple(fix(c) for c in part.choices)
            )

        return fix(at)

    # Targets

    def target(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference:
        """Where an assignment to `e` goes."""
        at = self.reached(e, frame, out)
        if at is None:
            assert isinstance(e, sx.Name)
            if "." in e.text and self.project.type(e.text.rpartition(".")[0]) is None:
                raise self.undeclared(e, frame)
            # The checker says what is wrong with a name that nothing is known of.
            return Located(e.text, Scalar(sx.TypeRef(_BOOL, None, None, e.place)))
        return at

    def assign_to(
        self,
        target: sx.Expression,
        value: sx.Expression,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign a value over scalars."""
        self.write(self.target(target, frame, out), value, out, place)

    def assign(
        self,
        at: Reference,
        value: sx.Expression,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign a value as written, of any shape; where it has no meaning, nor has the target."""
        try:
            if isinstance(value, sx.Call) and self._is_enabled_standard(value, frame, place):
                self._assign_enabled(at, value, frame, out, place)
                return
            if isinstance(at.shape, Scalar):
                self.want(value, at.shape.type.name)
                self.write(at, self.value(value, frame, out), out, place)
                return
            if isinstance(at.shape, Standard | Block):
                self.write(at, sx.Truth(False, place), out, place)
            if isinstance(value, sx.Call):
                source = self.called(value, frame, out)
            elif not isinstance(value, sx.Name | sx.Member | sx.Element | sx.Direct | sx.Pointed):
                # A text or a date, or what is computed of some, tells why it is not known.
                source = self.value(value, frame, out)
            else:
                found = self.property_value(value, frame, out)
                source = found or self.reference(value, frame, out) or value
            if not isinstance(source, Located | Indexed):
                raise self.reading.refuse(place, "one value cannot be assigned to many")
            self.copy(at, source, out, place)
        except UnknowableError as reason:
            self.lose(at, reason)
            self.reading.note(place, f"left out: it depends on {reason.why}")

    def _is_enabled_standard(self, e: sx.Call, frame: Frame, place: Place) -> bool:
        """Whether a standard function is called with EN or ENO."""
        named = {a.name.upper() for a in e.named} | {o.name.upper() for o in e.outputs}
        return (
            bool(named & {"EN", "ENO"}) and self.callee(e.function, e.on, frame, [], place) is None
        )

    def _assign_enabled(
        self,
        at: Reference,
        e: sx.Call,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign what a standard function gives, or the first value of the type without EN."""
        if not isinstance(at.shape, Scalar):
            raise self.reading.refuse(place, "one value cannot be assigned to many")
        given = next((a.value for a in e.named if a.name.upper() == "EN"), sx.Truth(True, place))
        flag = self.temporary("EN", sx.TypeRef(_BOOL, None, None, place), place)
        out.append(sx.Assign(flag, self.value(given, frame, out), place))
        named = tuple(a for a in e.named if a.name.upper() != "EN")
        taken = tuple(o for o in e.outputs if o.name.upper() != "ENO")
        inner: list[sx.Statement] = []
        self.assign(at, replace(e, named=named, outputs=taken), frame, inner, place)
        otherwise: list[sx.Statement] = []
        self.write(at, self.default(at.shape), otherwise, place)
        branch = sx.Branch(flag, tuple(inner), place)
        out.append(sx.If((branch,), tuple(otherwise), place))
        for output in e.outputs:
            if output.name.upper() == "ENO":
                self.assign_to(output.target, flag, frame, out, output.place)

    def lose_written(self, statements: Iterable[sx.Statement], reason: UnknowableError) -> None:
        """What `statements` write has no value that is known."""
        for path in written_by(statements):
            self.reading.mark(path, reason.place, reason.why)

    def lose(self, at: Reference, reason: UnknowableError) -> None:
        """What `at` leads to has no value that is known."""
        for part in located(at):
            for leaf in leaves(part.path, part.shape):
                self.reading.mark(leaf.path, reason.place, reason.why)

    def copy(self, to: Reference, source: Reference, out: list[sx.Statement], place: Place) -> None:
        """Assign a variable of any shape to one of the same shape."""
        if isinstance(to.shape, Unknown):
            self.copy_foreign(to, source, out, place)
            return
        if isinstance(source.shape, Unknown):
            self.lose(to, UnknowableError(place, source.shape.why))
            return
        if isinstance(to.shape, Bound):
            self.bind_to(to, source, out, place)
            return
        if isinstance(to.shape, Scalar) and isinstance(source.shape, Scalar):
            try:
                self.write(to, self.read(source, sx.Name("", place)), out, place)
            except UnknowableError as reason:
                self.lose(to, reason)
            return
        # What is copied first may be what the index is worked out from.
        to, source = self.fixed(to, out), self.fixed(source, out)
        pairs = self._parts(to, source, place)
        for inner_to, inner_source in pairs:
            self.copy(inner_to, inner_source, out, place)

    def copy_foreign(
        self, to: Reference, source: Reference, out: list[sx.Statement], place: Place
    ) -> None:
        """Assign a whole variable of a type that is not in the files."""
        raise NotImplementedError

    def _parts(
        self, to: Reference, source: Reference, place: Place
    ) -> list[tuple[Reference, Reference]]:
        a, b = to.shape, source.shape
        if isinstance(a, Structure) and isinstance(b, Structure) and a.name == b.name:
            names = [member.name for member in a.fields]
            return [(self.member(to, n, place), self.member(source, n, place)) for n in names]
        if isinstance(a, Array) and isinstance(b, Array):
            sizes = [[hi - lo for lo, hi in shape.limits] for shape in (a, b)]
            if sizes[0] == sizes[1]:
                return self._elements(to, a, source, b, place)
        raise self.reading.refuse(place, "these are not of the same type")

    def _elements(
        self, to: Reference, a: Array, source: Reference, b: Array, place: Place
    ) -> list[tuple[Reference, Reference]]:
        def numbers(shape: Array, offsets: tuple[int, ...]) -> list[sx.Expression]:
            values = [lo + o for (lo, _), o in zip(shape.limits, offsets, strict=True)]
            return [
                sx.Number(v, place) if v >= 0 else sx.Unary("-", sx.Number(-v, place), place)
                for v in values
            ]

        found = []
        for offsets in _offsets([hi - lo + 1 for lo, hi in a.limits]):
            left = self._element(to, numbers(a, offsets), place)
            right = self._element(source, numbers(b, offsets), place)
            found.append((left, right))
        return found

    def write(
        self, at: Reference, value: sx.Expression, out: list[sx.Statement], place: Place
    ) -> None:
        """Assign a value over scalars where `at` leads."""
        raise NotImplementedError

    def writable(self, at: Located) -> str:
        """The path to assign to; an input of the root that is assigned gets a copy."""
        if at.path in self.reading.outer:
            self.reading.found.written.add(self.reading.outer[at.path])
        if at.path in self.reading.inputs:
            self.reading.found.copied.add(at.path)
        return at.path

    def for_each(
        self,
        at: Reference,
        act: Callable[[Reference, list[sx.Statement]], None],
        out: list[sx.Statement],
    ) -> None:
        """Do something with the one place that `at` leads to when it is executed."""
        if not isinstance(at, Indexed):
            act(at, out)
            return
        if isinstance(at.index, sx.Opaque):
            lost: list[sx.Statement] = []
            for choice in at.choices:
                self.for_each(choice, act, lost)
            self.lose_written(lost, UnknowableError(at.index.place, at.index.text))
            self.reading.note(at.place, f"left out: it depends on {at.index.text}")
            return
        branches = []
        for number, choice in enumerate(at.choices, at.first):
            body: list[sx.Statement] = []
            self.for_each(choice, act, body)
            value = sx.Number(abs(number), at.place)
            first = value if number >= 0 else sx.Unary("-", value, at.place)
            branches.append(
                sx.CaseBranch((sx.Label(first, None, at.place),), tuple(body), at.place)
            )
        last = at.first + len(at.choices) - 1
        says = f"the index is outside {at.first}..{last}"
        outside = (sx.Defect(says, at.place),)
        out.append(sx.Case(at.index, tuple(branches), outside, at.place))


def _offsets(sizes: Sequence[int]) -> list[tuple[int, ...]]:
    if not sizes:
        return [()]
    return [(n, *rest) for n in range(sizes[0]) for rest in _offsets(sizes[1:])]


def _indexes_of(at: Reference) -> Iterator[str]:
    """The names that the indexes leading to `at` read."""
    match at:
        case Indexed():
            yield from read_by(at.index)
            for choice in at.choices:
                yield from _indexes_of(choice)
        case Bit():
            yield from _indexes_of(at.base)
        case _:
            pass
