"""The least and the largest case that a report must still read well for."""

from __future__ import annotations

BARE = """\
effband: 1
title: A sum
inputs:
  a: {value: 10 m, plus_minus: 1 m}
results:
  twice: {formula: 2 * a, unit: m}
"""


def many(results: int = 40, runs: int = 30) -> str:
    """Return a case of so many results in so many runs, and a dozen of instruments."""
    count = 12
    meters = "\n".join(
        f"  meter_{k}: {{accuracy: {1 + k % 3} % of reading, span: [0 W, 900 W], digit: 0.1 W}}"
        for k in range(count)
    )
    columns = "\n".join(f"    power_{k}: {{unit: W, instrument: meter_{k}}}" for k in range(count))
    rows = "\n".join(
        f"    run_{r:02d}: {{"
        + ", ".join(f"power_{k}: {100 + 7 * r + 3 * k}" for k in range(count))
        + "}"
        for r in range(runs)
    )
    told = "\n".join(
        f"  share_{k:02d}:\n    formula: power_{k % count} / taken * {1 + k / 100:.2f}\n"
        f'    unit: "%"\n    ceiling: 1000 %\n'
        f"    boundary: {{in: heat put in by burner {k % 2}, out: work at shaft {k % 3}}}"
        for k in range(results)
    )
    return (
        "effband: 1\ntitle: Many results of many runs\nheadline: share_07\ninstruments:\n"
        f"{meters}\ninputs:\n  taken: {{value: 900 W, plus_minus: 5 W, evidence: guess}}\n"
        f"runs:\n  readings:\n{columns}\n  rows:\n{rows}\nresults:\n{told}\n"
    )
