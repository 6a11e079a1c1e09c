"""ISO 13849-1, Annex K, Table K.1: every printed figure and letter, and what confirms them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from fractions import Fraction

import pytest

from interlock.reliability.performance_level import Category, Coverage, pfhd_band
from interlock.reliability.pfhd import tabled_pfhd
from interlock.reliability.table_k1 import TABLE_K1, Column

# ISO 13849-1:2015, Table K.1 (from memory; the tests below are what confirms it). MTTFd of each
# channel in years, then PFHd per hour with the level: categories B and 1 | 2, DCavg low |
# 2, medium | 3, low | 3, medium | 4, high.
PRINTED = """
   3  3.80E-05 a  2.58E-05 a  1.99E-05 a  1.26E-05 a  6.09E-06 b  -
 3.3  3.46E-05 a  2.33E-05 a  1.79E-05 a  1.13E-05 a  5.41E-06 b  -
 3.6  3.17E-05 a  2.13E-05 a  1.62E-05 a  1.03E-05 a  4.86E-06 b  -
 3.9  2.93E-05 a  1.95E-05 a  1.48E-05 a  9.37E-06 b  4.40E-06 b  -
 4.3  2.65E-05 a  1.76E-05 a  1.33E-05 a  8.39E-06 b  3.89E-06 b  -
 4.7  2.43E-05 a  1.60E-05 a  1.20E-05 a  7.58E-06 b  3.48E-06 b  -
 5.1  2.24E-05 a  1.47E-05 a  1.10E-05 a  6.91E-06 b  3.15E-06 b  -
 5.6  2.04E-05 a  1.33E-05 a  9.87E-06 b  6.21E-06 b  2.80E-06 c  -
 6.2  1.84E-05 a  1.19E-05 a  8.80E-06 b  5.53E-06 b  2.47E-06 c  -
 6.8  1.68E-05 a  1.08E-05 a  7.93E-06 b  4.98E-06 b  2.20E-06 c  -
 7.5  1.52E-05 a  9.75E-06 b  7.10E-06 b  4.45E-06 b  1.95E-06 c  -
 8.2  1.39E-05 a  8.87E-06 b  6.43E-06 b  4.02E-06 b  1.74E-06 c  -
 9.1  1.25E-05 a  7.94E-06 b  5.71E-06 b  3.57E-06 b  1.53E-06 c  -
  10  1.14E-05 a  7.18E-06 b  5.14E-06 b  3.21E-06 b  1.36E-06 c  -
  11  1.04E-05 a  6.44E-06 b  4.53E-06 b  2.81E-06 c  1.18E-06 c  -
  12  9.51E-06 b  5.84E-06 b  4.04E-06 b  2.49E-06 c  1.04E-06 c  -
  13  8.78E-06 b  5.33E-06 b  3.64E-06 b  2.23E-06 c  9.21E-07 d  -
  15  7.61E-06 b  4.53E-06 b  3.01E-06 b  1.82E-06 c  7.44E-07 d  -
  16  7.13E-06 b  4.21E-06 b  2.77E-06 c  1.67E-06 c  6.76E-07 d  -
  18  6.34E-06 b  3.68E-06 b  2.37E-06 c  1.41E-06 c  5.67E-07 d  -
  20  5.71E-06 b  3.26E-06 b  2.06E-06 c  1.22E-06 c  4.85E-07 d  -
  22  5.19E-06 b  2.93E-06 c  1.82E-06 c  1.07E-06 c  4.21E-07 d  -
  24  4.76E-06 b  2.65E-06 c  1.62E-06 c  9.47E-07 d  3.70E-07 d  -
  27  4.23E-06 b  2.32E-06 c  1.39E-06 c  8.04E-07 d  3.10E-07 d  -
  30  3.80E-06 b  2.06E-06 c  1.21E-06 c  6.94E-07 d  2.65E-07 d  9.54E-08 e
  33  3.46E-06 b  1.85E-06 c  1.06E-06 c  5.94E-07 d  2.30E-07 d  8.57E-08 e
  36  3.17E-06 b  1.67E-06 c  9.39E-07 d  5.16E-07 d  2.01E-07 d  7.77E-08 e
  39  2.93E-06 c  1.53E-06 c  8.40E-07 d  4.53E-07 d  1.78E-07 d  7.11E-08 e
  43  2.65E-06 c  1.37E-06 c  7.34E-07 d  3.87E-07 d  1.54E-07 d  6.37E-08 e
  47  2.43E-06 c  1.24E-06 c  6.49E-07 d  3.35E-07 d  1.34E-07 d  5.76E-08 e
  51  2.24E-06 c  1.13E-06 c  5.80E-07 d  2.93E-07 d  1.19E-07 d  5.26E-08 e
  56  2.04E-06 c  1.02E-06 c  5.10E-07 d  2.52E-07 d  1.03E-07 d  4.73E-08 e
  62  1.84E-06 c  9.06E-07 d  4.43E-07 d  2.13E-07 d  8.84E-08 e  4.22E-08 e
  68  1.68E-06 c  8.17E-07 d  3.90E-07 d  1.84E-07 d  7.68E-08 e  3.80E-08 e
  75  1.52E-06 c  7.31E-07 d  3.40E-07 d  1.57E-07 d  6.62E-08 e  3.41E-08 e
  82  1.39E-06 c  6.61E-07 d  3.01E-07 d  1.35E-07 d  5.79E-08 e  3.08E-08 e
  91  1.25E-06 c  5.88E-07 d  2.61E-07 d  1.14E-07 d  4.94E-08 e  2.74E-08 e
 100  1.14E-06 c  5.28E-07 d  2.29E-07 d  1.01E-07 d  4.29E-08 e  2.47E-08 e
"""
# The same for category 4 above 100 years; the 2006 edition stopped at 100.
PRINTED_ABOVE_100 = """
110: 2.23E-08 e; 120: 2.03E-08 e; 130: 1.87E-08 e; 150: 1.61E-08 e; 160: 1.50E-08 e;
180: 1.33E-08 e; 200: 1.19E-08 e; 220: 1.08E-08 e; 240: 9.81E-09 e; 270: 8.67E-09 e;
300: 7.76E-09 e; 330: 7.04E-09 e; 360: 6.44E-09 e; 390: 5.94E-09 e; 430: 5.38E-09 e;
470: 4.91E-09 e; 510: 4.52E-09 e; 560: 4.11E-09 e; 620: 3.70E-09 e; 680: 3.37E-09 e;
750: 3.05E-09 e; 820: 2.79E-09 e; 910: 2.51E-09 e; 1000: 2.28E-09 e; 1100: 2.07E-09 e;
1200: 1.90E-09 e; 1300: 1.75E-09 e; 1500: 1.51E-09 e; 1600: 1.42E-09 e; 1800: 1.26E-09 e;
2000: 1.13E-09 e; 2200: 1.03E-09 e; 2300: 9.85E-10 e; 2400: 9.44E-10 e; 2500: 9.06E-10 e
"""

SINGLE = (Category.ONE, Coverage.NONE)
LOW_2, MEDIUM_2 = (Category.TWO, Coverage.LOW), (Category.TWO, Coverage.MEDIUM)
LOW_3, MEDIUM_3 = (Category.THREE, Coverage.LOW), (Category.THREE, Coverage.MEDIUM)
HIGH_4 = (Category.FOUR, Coverage.HIGH)
COLUMNS = (SINGLE, LOW_2, MEDIUM_2, LOW_3, MEDIUM_3, HIGH_4)
LEAST_DC = {Coverage.NONE: 0.0, Coverage.LOW: 0.6, Coverage.MEDIUM: 0.9, Coverage.HIGH: 0.99}


def printed() -> dict[Column, list[tuple[float, float, str]]]:
    """By column, each row's years, figure and letter, as the text above has them."""
    read: dict[Column, list[tuple[float, float, str]]] = {column: [] for column in COLUMNS}
    for line in PRINTED.split("\n")[1:-1]:
        years, *cells = line.split()
        # Where category 4 has no figure its column holds a dash alone.
        pairs = list(zip(cells[::2], cells[1::2], strict=False))
        for column, (figure, letter) in zip(COLUMNS, pairs, strict=False):
            read[column].append((float(years), float(figure), letter))
    for entry in PRINTED_ABOVE_100.strip().split(";"):
        years, figure, letter = entry.replace(":", " ").split()
        read[HIGH_4].append((float(years), float(figure), letter))
    return read


CELLS = [(column, *row) for column, rows in printed().items() for row in rows]


def test_the_table_has_239_figures() -> None:
    # 38 rows to 100 years in five columns, 14 of category 4, and 35 above 100 years.
    assert len(CELLS) == 5 * 38 + 14 + 35
    assert sum(len(rows) for rows in TABLE_K1.values()) == len(CELLS)


@pytest.mark.parametrize(("column", "years", "figure", "letter"), CELLS)
def test_each_row_gives_its_printed_figure_and_letter(
    column: Column, years: float, figure: float, letter: str
) -> None:
    category, coverage = column
    found = tabled_pfhd(category, LEAST_DC[coverage], years)
    assert (found.pfhd_per_h, found.row_years) == (figure, years)
    assert pfhd_band(found.pfhd_per_h).letter == letter


@pytest.mark.parametrize(("column", "years", "figure", "letter"), CELLS)
def test_just_below_a_row_the_row_before_it_counts(
    column: Column, years: float, figure: float, letter: str
) -> None:
    category, coverage = column
    below = Fraction(str(years)) - Fraction(1, 10**30)
    rows = [row for row, _ in TABLE_K1[column]]
    if years == rows[0]:
        with pytest.raises(ValueError, match="MTTFd"):
            tabled_pfhd(category, LEAST_DC[coverage], below)
        return
    found = tabled_pfhd(category, LEAST_DC[coverage], below)
    assert found.row_years == rows[rows.index(years) - 1]
    assert found.next_row_years == years
    assert found.pfhd_per_h > figure


@pytest.mark.parametrize("column", COLUMNS)
def test_the_figures_of_a_column_fall_as_the_years_rise(column: Column) -> None:
    rows = TABLE_K1[column]
    for (years, figure), (more_years, less) in itertools.pairwise(rows):
        assert years < more_years
        assert figure > less


def test_more_coverage_or_a_higher_category_never_gives_a_worse_figure() -> None:
    for better, worse in zip(COLUMNS[1:], COLUMNS, strict=False):
        figures = dict(TABLE_K1[worse])
        for years, figure in TABLE_K1[better]:
            assert years > 100 or figure < figures[years], (better, years)


# How far a figure may be off the straight line through its neighbours, on logarithmic scales:
# rounding to three digits, and the curve. Where a band of MTTFd begins the columns have a kink; the
# last figure of category 3 with a low DC stands above its curve, in d and not in e.
BEND = 0.0055
KINK = {10: 0.013, 30: 0.013}
LAST_OF_LOW_3 = 0.017


@pytest.mark.parametrize("column", COLUMNS)
def test_the_columns_are_smooth(column: Column) -> None:
    rows = [(math.log(years), math.log(figure)) for years, figure in TABLE_K1[column]]
    for (x0, y0), (x1, y1), (x2, y2) in zip(rows, rows[1:], rows[2:], strict=False):
        years = round(math.exp(x1), 1)
        allowed = KINK.get(int(years), BEND)
        if (column, years) == (LOW_3, 91):
            allowed = LAST_OF_LOW_3
        between = y0 + (y2 - y0) * (x1 - x0) / (x2 - x0)
        assert abs(y1 - between) < allowed, years


@pytest.mark.parametrize(("years", "figure"), TABLE_K1[SINGLE])
def test_categories_b_and_1_are_the_failure_rate_itself(years: float, figure: float) -> None:
    # ISO 13849-1, Table K.1: equal to 1/(8760·MTTFd), with three digits. 3.8052 is printed as
    # 3.80, hence a little more than half of the last digit.
    rate = 1 / (8760 * years)
    last_digit = 10.0 ** (math.floor(math.log10(rate)) - 2)
    assert abs(figure - rate) < 0.52 * last_digit


BETA, MISSION_YEARS = 0.02, 20


def renewed_pfhd(lost_at_once: float, weakened: float, lost_then: float) -> float:
    """Mean rate of losses per hour over the mission, by a model with two states.

    Fine –lost_at_once→ lost, fine –weakened→ weak –lost_then→ lost; what is lost is renewed at
    once. Rates per year; nothing else is tested or renewed.
    """
    both = weakened + lost_then
    ends = both * MISSION_YEARS
    weak = weakened / both * (1 + math.expm1(-ends) / ends)
    return ((1 - weak) * lost_at_once + weak * lost_then) / 8760


def two_channels(years: float, dc: float) -> float:
    """Like channels; a failure that diagnosis misses stays until the other fails, too."""
    rate = 1 / years
    return renewed_pfhd(BETA * rate, 2 * (1 - BETA) * rate * (1 - dc), rate)


def one_channel_under_test(years: float, dc: float) -> float:
    """A channel and what tests it, with the same MTTFd; without a test every failure counts."""
    rate = 1 / years
    undetected = ((1 - BETA) * (1 - dc) + BETA) * rate
    return renewed_pfhd(undetected, (1 - BETA) * rate, rate)


@pytest.mark.parametrize(
    ("column", "model", "lowest", "highest"),
    [
        (LOW_2, one_channel_under_test, -0.015, 0.02),
        (MEDIUM_2, one_channel_under_test, -0.04, 0.02),
        (LOW_3, two_channels, -0.001, 0.27),
        (MEDIUM_3, two_channels, -0.015, 0.05),
        (HIGH_4, two_channels, -0.01, 0.016),
    ],
)
def test_a_model_of_the_architecture_comes_near_every_figure(
    column: Column, model: Callable[[float, float], float], lowest: float, highest: float
) -> None:
    # Follows from the models' assumptions; beta 2 % is what the table rests on (from memory).
    for years, figure in TABLE_K1[column]:
        off = model(years, LEAST_DC[column[1]]) / figure - 1
        assert lowest < off < highest, years


def test_the_2006_edition_ends_at_100_years() -> None:
    # ISO 13849-1:2006, Table K.1; the rows above 100 years came in 2015.
    assert tabled_pfhd(Category.FOUR, 0.99, 2500, edition=2006).row_years == 100
    assert tabled_pfhd(Category.FOUR, 0.99, 2500, edition=2006).next_row_years is None
    assert tabled_pfhd(Category.FOUR, 0.99, 2500).row_years == 2500
    assert tabled_pfhd(Category.THREE, 0.9, 2500).row_years == 100
