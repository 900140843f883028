"""What the tests of this folder share: cases from text, and trials worked out anew.

`uniforms` is written from the format's description of the random numbers (section 10), not from
the code under test, so that a change of the stream key is noticed.
"""

from __future__ import annotations

import hashlib
import textwrap
from pathlib import Path

import numpy as np

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.propagate.engine import BLOCK, Counts, Engine
from effband.propagate.ranking import Line, rank
from effband.propagate.summary import Summary, summarise

PROJECT = Path(__file__).resolve().parents[2]
WREN = PROJECT / "cases" / "wren_bench.yaml"
TRIALS_PURPOSE = 0


def case_of(*parts: str) -> Case:
    """Return the case that texts say, its first two lines added."""
    text = "effband: 1\ntitle: invented for a test\n" + "".join(map(textwrap.dedent, parts))
    return understand(parse_case(text.encode(), "case.yaml"))


def results(**formulas: str) -> str:
    """Return the section `results:` with ratios without unit."""
    lines = [f"  {name}: {{formula: '{f}', unit: 1, is: ratio}}" for name, f in formulas.items()]
    return "\n".join(["results:", *lines, ""])


def uniforms(name: str, trials: int, seed: int = 1) -> np.ndarray:
    """Return the uniforms of a source: seed, purpose, SHA-256 of the prefixed name, block."""
    digest = hashlib.sha256(f"{len(name.encode())}:{name}".encode()).digest()
    words = np.frombuffer(digest[:16], dtype=">u4").tolist()
    blocks = []
    for block in range(-(-trials // BLOCK)):
        key = (TRIALS_PURPOSE, *words, block)
        stream = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))
        blocks.append(stream.random(min(BLOCK, trials - block * BLOCK)))
    return np.concatenate(blocks)


def drawn(case: Case, name: str, trials: int, seed: int = 1) -> np.ndarray:
    """Return a source's values in every trial."""
    (source,) = [source for source in case.sources if source.name == name]
    return source.distribution.quantile(uniforms(name, trials, seed))


def counted(case: Case, trials: int, seed: int = 1, **options: int) -> tuple[Counts, ...]:
    return Engine(case, seed, trials, **options).run()


def summaries_of(
    case: Case, trials: int, seed: int = 1, probability: float = 0.95, **options: int
) -> tuple[Summary, ...]:
    """Return the summaries of outputs, none of which depends on degrees of freedom."""
    counts = Engine(case, seed, trials, probability=probability, **options).run()
    return tuple(summarise(count, probability, np.inf, "") for count in counts)


def ranked(case: Case, seed: int = 1, trials: int = 20_000) -> list[dict[str, Line]]:
    """Return the lines of every output's ranking by the names of their items."""
    summaries = summaries_of(case, trials, seed)
    found = rank(case, seed, 0.95, summaries)
    return [{line.item.name: line for line in each.lines} for each in found]


def digest(counts: tuple[Counts, ...]) -> str:
    """Return one hash over everything counted and summed."""
    found = hashlib.sha256()
    for each in counts:
        numbers = [
            each.low,
            each.width,
            each.smallest,
            each.largest,
            each.shift,
            each.scale,
            *each.sums.ravel(),
            float(each.above_ceiling),
            float(each.trials),
        ]
        found.update(np.array(numbers).tobytes())
        found.update(np.ascontiguousarray(each.batches, dtype=np.int64).tobytes())
        found.update(np.ascontiguousarray(each.lanes).tobytes())
    return found.hexdigest()
