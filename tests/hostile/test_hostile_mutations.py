"""A good case, spoiled in 3 000 ways: it is understood, or every problem has a place."""

from __future__ import annotations

import random
from pathlib import Path

from attack import controls_in, within

from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.problems import CaseError

CASE = Path(__file__).parents[2] / "cases" / "wren_bench.yaml"
SEED = 20_260_514
MUTATIONS = 3_000
SLOWEST = 2.0
PIECES = [
    *"{}[]:,#&*!|>'\"%@`-?~ \n\t",
    *(
        "---\n",
        "...\n",
        "%YAML 1.1\n",
        "<<: ",
        "&a ",
        "*a ",
        "!!int ",
        "!x ",
        "? ",
        "- ",
        ": ",
        "\r\n",
    ),
    *(
        "null",
        "true",
        "no",
        "~",
        "1e999",
        "-1",
        "0",
        "1e-3",
        ".5",
        "010",
        "0x1f",
        "nan",
        "12:59",
        "3,5",
    ),
    *(
        " %",
        " bar",
        " degC",
        " Hz",
        " K",
        " points",
        " of value",
        " of span",
        " digits",
        "**2",
        "**",
        "()",
    ),
    *(
        "absolute(",
        "log(",
        "in_run(",
        "mean_of_runs(",
        "receiver_exergy(",
        "p_start",
        "volume",
        "light",
    ),
    *(
        "note: x",
        "label: y",
        "also: {plus_minus: 1 %}",
        "shared: true",
        "exact: true",
        "optional: true",
    ),
    *(
        "constant: 1",
        "low: 1",
        "high: 2",
        "repeats: [1, 2]",
        "shape: trapezoidal",
        "instrument: multimeter",
    ),
    *(
        "\u202e",
        "\ufeff",
        "\x00",
        "\x1b",
        "\xa0",
        "\u0301",
        "é",
        "−",
        "\U0001f600",
        "\x85",
        "\u2028",
    ),
    *("\\e", "\\0", "\\ud800", "\\U00110000", "\\x9b", '"\\', "\\\n"),
]


def spoil(text: str, dice: random.Random) -> str:
    """Return the text with one to four mutations of characters, pieces, lines or words."""
    for _ in range(dice.randint(1, 4)):
        at = dice.randint(0, len(text))
        kind = dice.randint(0, 7)
        lines = text.split("\n")
        if kind == 0:
            text = text[:at] + dice.choice(PIECES) + text[at:]
        elif kind == 1:
            text = text[:at] + text[at + dice.randint(1, 8) :]
        elif kind == 2:
            text = text[:at] + dice.choice(PIECES) + text[at + dice.randint(1, 6) :]
        elif kind == 3:
            del lines[dice.randrange(len(lines))]
            text = "\n".join(lines)
        elif kind == 4:
            lines.insert(dice.randrange(len(lines)), dice.choice(lines))
            text = "\n".join(lines)
        elif kind == 5:
            line = dice.randrange(len(lines))
            lines[line] = dice.choice(["", " ", "  "]) + lines[line].lstrip(" ")
            text = "\n".join(lines)
        elif kind == 6:
            words = text.split(" ")
            words[dice.randrange(len(words))] = dice.choice(words)
            text = " ".join(words)
        else:
            i, j = sorted((at, dice.randint(0, len(text))))
            text = text[: i + 40] + text[i : min(j, i + 200)] + text[i + 40 :]
    return text


def test_mutations() -> None:
    good = CASE.read_text(encoding="utf-8")
    dice = random.Random(SEED)
    refused = understood = 0
    for _ in range(MUTATIONS):
        spoiled = spoil(good, dice)
        data = spoiled.encode("utf-8", "surrogatepass")
        try:
            with within(SLOWEST):
                understand(parse_case(data, "case.yaml"))
            understood += 1
        except CaseError as error:
            refused += 1
            check(error)
        except Exception as error:
            message = f"{type(error).__name__}: {error} escapes from\n{spoiled}"
            raise AssertionError(message) from error
    assert refused > 1_500
    assert understood > 100


def check(error: CaseError) -> None:
    """Assert that every problem has a place in the file, in order, and says something."""
    lines = error.text.split("\n")
    places = []
    for problem in error.problems:
        assert problem.place is not None, problem
        assert problem.what, problem
        assert problem.remedy, problem
        assert problem.place.length >= 1, problem
        places.append((problem.place.line, problem.place.column))
        if error.text:
            assert 1 <= problem.place.line <= len(lines), problem
            # one column beyond the end is where something is missing
            assert 1 <= problem.place.column <= len(lines[problem.place.line - 1]) + 1, problem
    assert places
    assert places == sorted(places)
    said = str(error)
    assert not controls_in(said)
    for stray in ("None", "np.float64", "<class", "object at 0x", "pydantic", "type="):
        assert stray not in said.split("\n")[0], said
