"""What a case gives at the numbers as written, without any spread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from effband.case.model import Case
from effband.case.program import TRANSPARENT

# The arithmetic of the program for numpy, on numbers here and on arrays in the trials.
UFUNCS: dict[str, Any] = {
    "add": np.add,
    "subtract": np.subtract,
    "multiply": np.multiply,
    "divide": np.divide,
    "power": np.power,
    "negative": np.negative,
    "abs": np.absolute,
    "minimum": np.minimum,
    "maximum": np.maximum,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "log": np.log,
    "log10": np.log10,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "asin": np.arcsin,
    "acos": np.arccos,
    "atan": np.arctan,
    "atan2": np.arctan2,
}


def values_as_written(
    case: Case, steps: Sequence[int], instead: Mapping[int, float] | None = None
) -> list[float]:
    """Return the values of steps, SI, every source at its nominal; they may not be finite.

    `instead` gives steps another value than their own.
    """
    nominal = {source.name: source.nominal for source in case.sources}
    values: dict[int, float] = dict(instead or {})
    with np.errstate(all="ignore"):
        for at in case.program.needed_for(steps):
            if at in values:
                continue
            step = case.program.steps[at]
            inputs = [np.float64(values[i]) for i in step.inputs]
            if step.op == "constant":
                assert isinstance(step.detail, float)
                values[at] = step.detail
            elif step.op == "source":
                values[at] = nominal[str(step.detail)]
            elif step.op == "curve":  # an instrument's error, which is around 0
                values[at] = 0.0
            elif step.op == "dependent":
                assert isinstance(step.detail, tuple)
                values[at] = step.detail[1]
            elif step.op in TRANSPARENT:
                values[at] = inputs[0]
            else:
                values[at] = UFUNCS[step.op](*inputs)
    return [float(values[step]) for step in steps]
