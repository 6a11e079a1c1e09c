"""The shapes of quantities of the plant, and of what is read off them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.model.schema_fields import Expression, Name, Words

Number = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RateShape(_Shape):
    """How fast a quantity changes while something holds."""

    when: Expression | None = Field(
        None, description="While this holds, and nothing that is listed before; always if absent."
    )
    per_s: Pair = Field(
        description="Least and greatest change in a second; what falls has negative numbers."
    )
    says: Words | None = None
    source: Words | None = Field(None, description="Where the rates come from.")
    assumed: bool = Field(False, description="The rates are assumed; shown where they are used.")


class SwitchShape(_Shape):
    """A switch with hysteresis, such as a pressure switch, that a sensor may read."""

    says: Words = ""
    closes_at: Number = Field(description="It closes when the quantity passes this.")
    opens_at: Number = Field(description="It opens when the quantity comes back past this.")
    initial: Literal["open", "closed"] | None = Field(
        None, description="Where absent, closed where the first value lies beyond 'closes_at'."
    )


class QuantityShape(_Shape):
    """A quantity of the plant that changes steadily: a pressure, a position, an inclination.

    Formulas compare it with numbers: ``pressure >= 14``.
    """

    says: Words = ""
    unit: Words = ""
    from_: Number = Field(alias="from", description="It is never less.")
    to: Number = Field(description="It is never more.")
    initial: Number | None = Field(None, description="Where it is first; 'from' where absent.")
    steps: list[Number] = Field(
        default_factory=list,
        max_length=60,
        description="Numbers to tell apart besides those that the model compares it with.",
    )
    changes: list[RateShape] = Field(
        default_factory=list,
        description="The first whose 'when' holds is how it changes; where none does, it stands.",
    )
    switches: dict[Name, SwitchShape] = Field(default_factory=dict)


class ScaledShape(_Shape):
    """How a quantity becomes the number that the program reads, such as 0 to 27648."""

    range: Pair = Field(description="Between these values of the quantity …")
    counts: Pair = Field(description="… the input goes from the first number to the second.")
    lost: dict[Name, Number] = Field(
        default_factory=dict, description="By fault: what is read instead, as of a broken wire."
    )
    shifted: dict[Name, Number] = Field(
        default_factory=dict,
        description="By fault: how much is added to what is read, as by drift.",
    )
