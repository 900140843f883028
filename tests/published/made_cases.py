"""Case files that are too long to keep: written when a test asks for them.

NIST/ITL Statistical Reference Datasets, univariate summary statistics, NumAcc2 and NumAcc3
(public domain): one reading, then two that take turns 500 times. Data and certified values from
memory of the files: mean, standard deviation 0.1, lag-1 autocorrelation -0.999.
"""

from __future__ import annotations

from collections.abc import Callable

_TURNS = 500

_CASE = """\
# NIST/ITL Statistical Reference Datasets, univariate summary statistics, {name}: 1001 readings,
# from memory of the file. sqrt(1001) times the mean is as uncertain as one reading.
effband: 1
title: NIST StRD {name}

runs:
  readings:
    x: {{unit: 1, exact: true}}
    next_x: {{unit: 1, exact: true}}
    has_next: {{unit: 1, exact: true}}
  rows:
{rows}

inputs:
  repeated: {{unit: 1, repeats: [{readings}]}}
  count: {{constant: 1001}}

formulas:
  mean_x: mean_of_runs(x)
  squares: total_of_runs((x - mean_x) ** 2)
  products: total_of_runs(has_next * (x - mean_x) * (next_x - mean_x))

results:
  mean: {{formula: repeated, unit: 1, is: ratio}}
  one_reading: {{formula: repeated * sqrt(count), unit: 1, is: ratio}}
  lag_1: {{formula: products / squares, unit: 1, is: ratio}}
"""


def _numacc(name: str, first: str, low: str, high: str) -> str:
    """Return the case of one NumAcc data set, its readings as written."""
    readings = [first, *[low, high] * _TURNS]
    after = [*readings[1:], high]  # the last has no next one: any number, times 0
    rows = [
        f"    p_{at}: {{x: {x}, next_x: {after[at]}, has_next: {int(at < len(readings) - 1)}}}"
        for at, x in enumerate(readings)
    ]
    return _CASE.format(name=name, rows="\n".join(rows), readings=", ".join(readings))


MADE: dict[str, Callable[[], str]] = {
    "nist_numacc2.yaml": lambda: _numacc("NumAcc2", "1.2", "1.1", "1.3"),
    "nist_numacc3.yaml": lambda: _numacc("NumAcc3", "1000000.2", "1000000.1", "1000000.3"),
}
