"""A rating as JSON: the same bytes for the same input. Figures are not rounded."""

from __future__ import annotations

import json
from typing import Any

from interlock import __version__
from interlock.base.files import sha256
from interlock.commands.rating import tell as rating_text
from interlock.commands.rating.figures import ChannelFigures, Rate, replaced_after, years_of
from interlock.commands.rating.file import Part, Rating, SafetyFunction
from interlock.commands.rating.study import Rated


def to_json(rating: Rating, rated: tuple[Rated, ...]) -> str:
    """Every function with its claim, its figures and what speaks against it.

    Parameters
    ----------
    rating : Rating
    rated : tuple of Rated
    """
    data = {
        "interlock": __version__,
        "title": rating.title,
        "inputs": {
            name.replace("\\", "/").rsplit("/", 1)[-1]: sha256(text)
            for name, text in rating.sources.items()
        },
        "edition": rating.edition,
        "notes": list(rating_text.NOTES),
        "assumptions": list(rating.assumptions),
        "functions": [_function(one) for one in rated],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _function(one: Rated) -> dict[str, Any]:
    function, worked = one.function, one.worked
    simplified, series, test = worked.simplified, worked.series, worked.test
    return {
        "id": function.id,
        "says": function.says,
        "requirements": list(function.requirements),
        "hazard": function.hazard,
        "required_level": None if one.required is None else one.required.letter,
        "required_sil": one.required_sil,
        "claimed": _claimed(function),
        "parts": [_part(channel, part) for channel, part in rating_text.parts_of(function)],
        "channels": None if worked.channels is None else _channels(worked.channels),
        "simplified_procedure": simplified
        and {
            "level": None if simplified.level is None else simplified.level.letter,
            "why_not": simplified.why_not,
        },
        "test": test
        and {
            "tests_per_demand": float(test.tests_per_demand),
            "mttfd_years": float(test.mttfd_years),
        },
        "series": series
        and {
            "own": None if series.own is None else series.own.letter,
            "others": [
                {
                    "says": other.says,
                    "level": other.level.letter,
                    "count": other.count,
                    "source": other.source,
                    "assumed": other.assumed,
                }
                for other in function.series
            ],
            "level": None if series.level is None else series.level.letter,
            "why_not": series.why_not,
        },
        "iec62061": _iec62061(function, worked.iec62061),
        "iec61508": _iec61508(function, worked.iec61508),
        "against": rating_text.against(one),
        "undecided": list(one.undecided),
        "held_against_a_model": one.judged,
    }


def _claimed(function: SafetyFunction) -> dict[str, Any]:
    return {
        "category": None if function.category is None else function.category.value,
        "level": None if function.level is None else function.level.letter,
        "sil": function.sil,
        "ccf_points": function.ccf_points,
    }


def _part(channel: str, part: Part) -> dict[str, Any]:
    worn = replaced_after(part)
    return {
        "channel": channel,
        "says": part.says,
        "count": part.count,
        "mttfd_years": float(years_of(part)),
        "replace_after_years": None if worn is None else float(worn),
        "dc": part.dc,
        "source": part.source,
        "assumed": part.assumed,
    }


def _channels(channels: ChannelFigures) -> dict[str, Any]:
    pfhd = channels.pfhd
    return {
        "mttfd_years": float(channels.mttfd_years),
        "dc_avg": float(channels.dc_avg),
        "coverage": channels.coverage.name.lower(),
        "pfhd": pfhd
        and {
            "per_h": pfhd.pfhd_per_h,
            "column": pfhd.column,
            "row_years": pfhd.row_years,
            "next_row_years": pfhd.next_row_years,
            "source": pfhd.source,
        },
        "why_not": channels.why_not,
        "band": None if channels.band is None else channels.band.letter,
    }


def _iec62061(function: SafetyFunction, rate: Rate | None) -> dict[str, Any] | None:
    subsystem = function.subsystem
    if rate is None or subsystem is None:
        return None
    return {
        "architecture": subsystem.architecture,
        "per_h": rate.per_h,
        "sil_band": rate.sil,
        "beta": subsystem.beta,
        "beta_from": subsystem.beta_from,
        "proof_test_h": subsystem.proof_test_h,
        "diagnosis_h": subsystem.diagnosis_h,
    }


def _iec61508(function: SafetyFunction, rate: Rate | None) -> dict[str, Any] | None:
    voted = function.voted
    if rate is None or voted is None:
        return None
    channel = voted.channel
    return {
        "voting": voted.voting,
        "demand": voted.demand,
        "pfd": rate.on_demand,
        "pfh": rate.per_h,
        "sil_band": rate.sil,
        "rate_per_h": channel.rate_per_h,
        "dc": channel.dc,
        "beta": channel.beta,
        "beta_d": channel.beta_d,
        "proof_test_h": channel.proof_test_h,
        "mttr_h": channel.mttr_h,
        "mrt_h": channel.mrt_h,
        "source": voted.source,
        "assumed": voted.assumed,
    }
