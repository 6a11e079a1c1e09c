"""ISO 13849-1, Annex K, Table K.1: PFHd of the designated architectures, every printed row.

Source
------
ISO 13849-1:2015, Table K.1 (from memory). Checked: the columns are smooth, categories B and 1 are
1/(8760·MTTFd), a model of two channels comes near categories 3 and 4, and the bands of the
figures are the printed letters (`tests/known/test_table_k1.py`).
"""

from __future__ import annotations

from interlock.reliability.performance_level import Category, Coverage

Column = tuple[Category, Coverage]

# The heads of the columns. One serves categories B and 1, where coverage plays no part.
_COLUMNS: tuple[Column, ...] = (
    (Category.ONE, Coverage.NONE),
    (Category.TWO, Coverage.LOW),
    (Category.TWO, Coverage.MEDIUM),
    (Category.THREE, Coverage.LOW),
    (Category.THREE, Coverage.MEDIUM),
    (Category.FOUR, Coverage.HIGH),
)

# MTTFd of each channel in years, then PFHd per hour in the order of `_COLUMNS`.
_ROWS: tuple[tuple[float | None, ...], ...] = (
    (3, 3.80e-5, 2.58e-5, 1.99e-5, 1.26e-5, 6.09e-6, None),
    (3.3, 3.46e-5, 2.33e-5, 1.79e-5, 1.13e-5, 5.41e-6, None),
    (3.6, 3.17e-5, 2.13e-5, 1.62e-5, 1.03e-5, 4.86e-6, None),
    (3.9, 2.93e-5, 1.95e-5, 1.48e-5, 9.37e-6, 4.40e-6, None),
    (4.3, 2.65e-5, 1.76e-5, 1.33e-5, 8.39e-6, 3.89e-6, None),
    (4.7, 2.43e-5, 1.60e-5, 1.20e-5, 7.58e-6, 3.48e-6, None),
    (5.1, 2.24e-5, 1.47e-5, 1.10e-5, 6.91e-6, 3.15e-6, None),
    (5.6, 2.04e-5, 1.33e-5, 9.87e-6, 6.21e-6, 2.80e-6, None),
    (6.2, 1.84e-5, 1.19e-5, 8.80e-6, 5.53e-6, 2.47e-6, None),
    (6.8, 1.68e-5, 1.08e-5, 7.93e-6, 4.98e-6, 2.20e-6, None),
    (7.5, 1.52e-5, 9.75e-6, 7.10e-6, 4.45e-6, 1.95e-6, None),
    (8.2, 1.39e-5, 8.87e-6, 6.43e-6, 4.02e-6, 1.74e-6, None),
    (9.1, 1.25e-5, 7.94e-6, 5.71e-6, 3.57e-6, 1.53e-6, None),
    (10, 1.14e-5, 7.18e-6, 5.14e-6, 3.21e-6, 1.36e-6, None),
    (11, 1.04e-5, 6.44e-6, 4.53e-6, 2.81e-6, 1.18e-6, None),
    (12, 9.51e-6, 5.84e-6, 4.04e-6, 2.49e-6, 1.04e-6, None),
    (13, 8.78e-6, 5.33e-6, 3.64e-6, 2.23e-6, 9.21e-7, None),
    (15, 7.61e-6, 4.53e-6, 3.01e-6, 1.82e-6, 7.44e-7, None),
    (16, 7.13e-6, 4.21e-6, 2.77e-6, 1.67e-6, 6.76e-7, None),
    (18, 6.34e-6, 3.68e-6, 2.37e-6, 1.41e-6, 5.67e-7, None),
    (20, 5.71e-6, 3.26e-6, 2.06e-6, 1.22e-6, 4.85e-7, None),
    (22, 5.19e-6, 2.93e-6, 1.82e-6, 1.07e-6, 4.21e-7, None),
    (24, 4.76e-6, 2.65e-6, 1.62e-6, 9.47e-7, 3.70e-7, None),
    (27, 4.23e-6, 2.32e-6, 1.39e-6, 8.04e-7, 3.10e-7, None),
    (30, 3.80e-6, 2.06e-6, 1.21e-6, 6.94e-7, 2.65e-7, 9.54e-8),
    (33, 3.46e-6, 1.85e-6, 1.06e-6, 5.94e-7, 2.30e-7, 8.57e-8),
    (36, 3.17e-6, 1.67e-6, 9.39e-7, 5.16e-7, 2.01e-7, 7.77e-8),
    (39, 2.93e-6, 1.53e-6, 8.40e-7, 4.53e-7, 1.78e-7, 7.11e-8),
    (43, 2.65e-6, 1.37e-6, 7.34e-7, 3.87e-7, 1.54e-7, 6.37e-8),
    (47, 2.43e-6, 1.24e-6, 6.49e-7, 3.35e-7, 1.34e-7, 5.76e-8),
    (51, 2.24e-6, 1.13e-6, 5.80e-7, 2.93e-7, 1.19e-7, 5.26e-8),
    (56, 2.04e-6, 1.02e-6, 5.10e-7, 2.52e-7, 1.03e-7, 4.73e-8),
    (62, 1.84e-6, 9.06e-7, 4.43e-7, 2.13e-7, 8.84e-8, 4.22e-8),
    (68, 1.68e-6, 8.17e-7, 3.90e-7, 1.84e-7, 7.68e-8, 3.80e-8),
    (75, 1.52e-6, 7.31e-7, 3.40e-7, 1.57e-7, 6.62e-8, 3.41e-8),
    (82, 1.39e-6, 6.61e-7, 3.01e-7, 1.35e-7, 5.79e-8, 3.08e-8),
    (91, 1.25e-6, 5.88e-7, 2.61e-7, 1.14e-7, 4.94e-8, 2.74e-8),
    (100, 1.14e-6, 5.28e-7, 2.29e-7, 1.01e-7, 4.29e-8, 2.47e-8),
)

# Category 4 above 100 years, from the 2015 edition on: MTTFd in years, PFHd per hour.
_CATEGORY_4_ABOVE_100: tuple[tuple[float, float], ...] = (
    (110, 2.23e-8),
    (120, 2.03e-8),
    (130, 1.87e-8),
    (150, 1.61e-8),
    (160, 1.50e-8),
    (180, 1.33e-8),
    (200, 1.19e-8),
    (220, 1.08e-8),
    (240, 9.81e-9),
    (270, 8.67e-9),
    (300, 7.76e-9),
    (330, 7.04e-9),
    (360, 6.44e-9),
    (390, 5.94e-9),
    (430, 5.38e-9),
    (470, 4.91e-9),
    (510, 4.52e-9),
    (560, 4.11e-9),
    (620, 3.70e-9),
    (680, 3.37e-9),
    (750, 3.05e-9),
    (820, 2.79e-9),
    (910, 2.51e-9),
    (1000, 2.28e-9),
    (1100, 2.07e-9),
    (1200, 1.90e-9),
    (1300, 1.75e-9),
    (1500, 1.51e-9),
    (1600, 1.42e-9),
    (1800, 1.26e-9),
    (2000, 1.13e-9),
    (2200, 1.03e-9),
    (2300, 9.85e-10),
    (2400, 9.44e-10),
    (2500, 9.06e-10),
)


def _column(number: int) -> tuple[tuple[float, float], ...]:
    read = ((row[0], row[number]) for row in _ROWS)
    return tuple((years, pfhd) for years, pfhd in read if years is not None and pfhd is not None)


# By the head of a column, its rows: MTTFd in years, rising, and PFHd per hour.
TABLE_K1: dict[Column, tuple[tuple[float, float], ...]] = {
    head: _column(number) for number, head in enumerate(_COLUMNS, 1)
}
TABLE_K1[Category.FOUR, Coverage.HIGH] += _CATEGORY_4_ABOVE_100
