"""Small files that would make a careless reader work, or print, without end."""

from __future__ import annotations

import pytest
from attack import LONGEST_SECONDS, PRELUDE, RESULT, attempt, complete, within

from effband.case.resolve import understand
from effband.case.text import DEEPEST, LARGEST_FILE, MOST_NODES, parse_case
from effband.problems import CaseError

MOST_PRINTED = 200  # characters of a line that is shown, however long it is in the case
MOST_SAID = 500  # of any line of a message


def sections(name: str, lines: list[str]) -> str:
    return complete(f"{name}:\n" + "".join(f"  {line}\n" for line in lines))


def bomb_of_aliases() -> str:
    rows = ["a0: &a0 [x]"]
    rows += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 11)]
    return "\n".join(rows) + "\n"


def bomb_of_merges() -> str:
    rows = ["a0: &a0 {x: 1}"]
    rows += [f"a{i}: &a{i} {{<<: [*a{i - 1}, *a{i - 1}]}}" for i in range(1, 25)]
    return "\n".join(rows) + "\n"


REFUSED: dict[str, tuple[str, str]] = {
    # name: the case, and the first line of what is said
    "aliases of aliases": (
        bomb_of_aliases(),
        "case.yaml:1:5: error: an anchor (&a0) is not allowed",
    ),
    "merges of merges": (
        bomb_of_merges(),
        "case.yaml:1:5: error: an anchor (&a0) is not allowed",
    ),
    "brackets 500 deep": (
        complete("about: " + "[" * 500 + "]" * 500 + "\n"),
        "case.yaml:3:27: error: nested more than 20 deep",
    ),
    "brackets 100 000 deep": (
        complete("about: " + "[" * 100_000 + "\n"),
        "case.yaml:3:27: error: nested more than 20 deep",
    ),
    "braces 40 000 deep": (
        complete("about: " + "{a: " * 40_000 + "\n"),
        "case.yaml:3:84: error: nested more than 20 deep",
    ),
    "indents 600 deep": (
        "\n".join(" " * i + "a:" for i in range(600)),
        "case.yaml:21:21: error: nested more than 20 deep",
    ),
    "brackets alone": (
        "[" * 200_000,
        "case.yaml:1:1: error: a case is a list of `key: value` lines",
    ),
    "braces alone": ("{" * 200_000, "case.yaml:1:2: error: a key must be a word"),
    "question marks": ("? " * 100_000, "case.yaml:1:3: error: a key must be a word"),
    "dashes": ("- " * 100_000, "case.yaml:1:1: error: a case is a list of `key: value` lines"),
    "documents": (
        "---\n" * 50_000,
        "case.yaml:2:1: error: a case is a list of `key: value` lines",
    ),
    "directives": (
        "%a\n" * 50_000,
        "case.yaml:1:1: error: a % directive is not allowed",
    ),
    "quotes that never close": (
        'a: "' + "x\n" * 100_000,
        "case.yaml:1:4: error: YAML cannot be read here: found unexpected end of stream",
    ),
    "more than 20 000 values": (
        complete("about: [" + "x," * 25_000 + "]\n"),
        f"case.yaml:3:{len('about: [') + 2 * (MOST_NODES - 4) + 1}: error: "
        f"more than {MOST_NODES} values",
    ),
    "a key of 100 000 letters": (
        complete("? " + "x" * 100_000 + "\n: 1\n"),
        "case.yaml:3:3: error: a key of more than 80 letters",
    ),
    "a number of 5 000 digits": (
        complete("inputs: {a: {value: " + "7" * 5_000 + " kg, plus_minus: 1 kg}}\n"),
        "case.yaml:3:21: error: this is too long for a quantity",
    ),
    "a seed of 5 000 digits": (
        complete("settings: {seed: " + "7" * 5_000 + "}\n"),
        f"case.yaml:3:18: error: {'7' * 40!r} is too long for a number",
    ),
    "a seed of 100 000 digits and a letter": (
        complete("settings: {seed: " + "7" * 100_000 + "x}\n"),
        f"case.yaml:3:18: error: {'7' * 40!r} is too long for a number",
    ),
    "100 000 hexadecimal digits": (
        complete("settings: {seed: 0x" + "f" * 100_000 + "}\n"),
        f"case.yaml:3:18: error: {'0x' + 'f' * 38!r} is too long for a number",
    ),
    "a claim of 100 000 words": (
        complete("claims: [{result: g, says: between " + "1 and " * 20_000 + "1}]\n"),
        "case.yaml:3:28: error: text of more than 2000 characters",
    ),
    "greater of greater of": (
        complete("instruments: {m: {accuracy: " + "greater of " * 100 + "1 V}}\n"),
        "case.yaml:3:29: error: `greater of` needs two terms",
    ),
    "a formula of 2 001 characters": (
        sections("formulas", ["f: " + "1+" * 1_000 + "1"]),
        "case.yaml:4:6: error: text of more than 2000 characters",
    ),
    "a formula of 501 parts": (
        sections("formulas", ["f: " + "1+" * 250 + "1"]),
        f"case.yaml:4:{6 + 500}: error: more than 500 parts",
    ),
    "parentheses 200 deep": (
        sections("formulas", ["f: " + "(" * 200 + "1" + ")" * 200]),
        "case.yaml:4:46: error: nested too deep",
    ),
    "signs 400 deep": (
        sections("formulas", ['f: "' + "-" * 400 + '1"']),
        "case.yaml:4:47: error: nested too deep",
    ),
    "powers 200 deep": (
        sections("formulas", ["f: 1" + "**1" * 200]),
        "case.yaml:4:126: error: nested too deep",
    ),
    "calls 100 deep": (
        sections("formulas", ["f: " + "sqrt(" * 100 + "1" + ")" * 100]),
        "case.yaml:4:206: error: nested too deep",
    ),
    "a circle of 3 000 formulas": (
        sections("formulas", [f"a{i}: a{(i + 1) % 3_000}" for i in range(3_000)]),
        "case.yaml:4:7: error: formulas go round in a circle: a0 -> a1 -> ",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused_at_once(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    case, first = REFUSED[name]
    outcome = attempt(case, capsys)
    assert outcome.code == 1
    said = outcome.stderr.splitlines()
    if name.startswith("a circle"):
        assert said[0].startswith(first)
        assert len(said[0]) < 1_000  # a long circle is not told in full
    else:
        assert said[0] == first


@pytest.mark.parametrize("name", sorted(set(REFUSED) - {"a circle of 3 000 formulas"}))
def test_prints_little_of_a_long_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    outcome = attempt(REFUSED[name][0], capsys)
    assert max(map(len, outcome.stderr.splitlines())) <= MOST_PRINTED


def test_caret_stays_under_a_long_line(capsys: pytest.CaptureFixture[str]) -> None:
    outcome = attempt(complete("settings: {seed: 0x" + "f" * 100_000 + "}\n"), capsys)
    _, line, caret, _ = outcome.stderr.rstrip("\n").split("\n")
    assert line == "    settings: {seed: 0x" + "f" * 141
    assert caret == " " * 21 + "^" * 143


ACCEPTED = {
    "an accuracy of 3 000 terms": complete(
        "instruments: {m: {accuracy: " + "1 % of reading + " * 3_000 + "1 V}}\n"
    ),
    "19 000 values": complete("about: [" + "x," * 18_900 + "]\n"),
    "one line of 200 000": complete("about: " + "x" * 200_000 + "\n"),
    "text of 3 000 lines": complete("about: |\n" + ("  " + "x y " * 20 + "\n") * 2_900),
    "4 000 comments": PRELUDE + ("# " + "x" * 60 + "\n") * 4_000 + RESULT,
    "combining marks without end": complete("about: e" + "\u0301" * 50_000 + "\n"),
    "3 000 inputs": sections(
        "inputs", [f"a{i}: {{value: 5 kg, plus_minus: 1 kg}}" for i in range(3_000)]
    ),
    "a formula of 500 parts": sections("formulas", ["f: " + "1+" * 249 + "1"]),
    "formulas that fork 40 times": sections(
        "formulas",
        [
            *(f"a{i}: a{i + 1} + b{i + 1}" for i in range(40)),
            *(f"b{i}: a{i + 1} * b{i + 1}" for i in range(40)),
            *("a40: 1", "b40: 0"),
        ],
    ),
}


@pytest.mark.parametrize("name", ACCEPTED)
def test_large_but_good(name: str) -> None:
    with within(LONGEST_SECONDS):
        understand(parse_case(ACCEPTED[name].encode(), "case.yaml"))


DEEP = {
    "a chain of 3 000 formulas": sections(
        "formulas", [*(f"a{i}: a{i + 1}" for i in range(3_000)), "a3000: 2"]
    ),
    "a chain of 200 formulas": sections(
        "formulas", [*(f"a{i}: a{i + 1} + 1" for i in range(200)), "a200: 2"]
    ),
    "a chain of long formulas": sections(
        "formulas", [*(f"a{i}: a{i + 1}" + " + 1" * 240 for i in range(8)), "a8: 2"]
    ),
}


@pytest.mark.parametrize("name", DEEP)
def test_deep_chains_are_worked_out_or_refused(name: str) -> None:
    with within(LONGEST_SECONDS):
        try:
            understand(parse_case(DEEP[name].encode(), "case.yaml"))
        except CaseError as error:
            refused = error
        else:
            return
    assert all(problem.place is not None for problem in refused.problems)


LONG_WORDS = {
    "a truth": "inputs: {a: {value: 1 kg, plus_minus: 1 kg, log_only: WORD}}\n",
    "an accuracy": "instruments: {m: {accuracy: WORD}}\n",
    "an evidence": "inputs: {a: {value: 1 kg, plus_minus: 1 kg, evidence: WORD}}\n",
    "a kind": "inputs: {a: {value: 1 kg, plus_minus: 1 kg, reads: WORD}}\n",
    "a fraction": "instruments: {m: {accuracy: 1 kg, readable_to: WORD}}\n",
    "a headline": "headline: WORD\n",
    "an instrument": "inputs: {a: {value: 1 kg, instrument: WORD}}\n",
    "a claim": "claims: [{result: g, says: WORD}]\n",
    "a cost": "upgrades: {u: {repeats: 5, cost: WORD}}\n",
    "a ceiling": "results: {g: {formula: standard_gravity, unit: m/s^2, ceiling: WORD}}\n",
    "a unit": "results: {g: {formula: standard_gravity, unit: WORD}}\n",
    "a key": "inputs: {a: {value: 1 kg, plus_minus: 1 kg, WORD: 1}}\n",
}


@pytest.mark.parametrize("length", [70, 1_900, 50_000])
@pytest.mark.parametrize("name", LONG_WORDS)
def test_long_words_are_not_repeated_in_full(
    name: str, length: int, capsys: pytest.CaptureFixture[str]
) -> None:
    outcome = attempt(complete(LONG_WORDS[name].replace("WORD", "x" * length)), capsys)
    assert outcome.code == 1
    assert max(map(len, outcome.stderr.splitlines())) <= MOST_SAID


def test_formulas_that_fork_over_runs() -> None:
    lines = [f"  a{i}: a{i + 1} + b{i + 1}\n  b{i}: a{i + 1} - b{i + 1}\n" for i in range(30)]
    case = complete(
        "runs:\n  readings: {t: {unit: s, plus_minus: 1 s}}\n  rows: {one: {t: 5}, two: {t: 6}}\n"
        "formulas:\n" + "".join(lines) + "  a30: t\n  b30: t\n"
    )
    with within(LONGEST_SECONDS):
        understand(parse_case(case.encode(), "case.yaml"))


def test_a_table_of_200_runs() -> None:
    columns = [f"c{i}" for i in range(10)]
    declared = "".join(f"    {c}: {{unit: V, instrument: meter}}\n" for c in columns)
    rows = "".join(
        f"    r{j}: {{{', '.join(f'{c}: {j % 20}' for c in columns)}}}\n" for j in range(200)
    )
    case = (
        PRELUDE
        + "instruments: {meter: {accuracy: 1 % of span, span: [0 V, 20 V], digit: 0.01 V}}\n"
        + f"runs:\n  readings:\n{declared}  rows:\n{rows}"
        + f"results: {{r: {{formula: {' + '.join(columns)}, unit: V}}}}\n"
    )
    with within(LONGEST_SECONDS):
        understand(parse_case(case.encode(), "case.yaml"))


MANY_PROBLEMS = {
    "units": sections(
        "inputs", [f"a{i}: {{value: 5 kgs, plus_minus: 1 kg}}" for i in range(1_000)]
    ),
    "keys": sections("inputs", [f"a{i}: {{value: 5 kg, plusminus: 1 kg}}" for i in range(1_000)]),
    "names": sections("formulas", [f"a{i}: tank_volum{i} + 1" for i in range(1_000)]),
    "keys of one entry": complete(
        "inputs: {a: {value: 5 kg, " + ", ".join(f"k{i}: 1" for i in range(1_000)) + "}}\n"
    ),
}


@pytest.mark.parametrize("name", MANY_PROBLEMS)
def test_a_thousand_problems(name: str) -> None:
    with within(LONGEST_SECONDS), pytest.raises(CaseError) as refused:
        understand(parse_case(MANY_PROBLEMS[name].encode(), "case.yaml"))
    problems = refused.value.problems
    assert len(problems) >= 1_000
    places = [problem.place for problem in problems]
    assert None not in places
    assert places == sorted(places, key=lambda place: place or 0)
    line = 3 if name == "keys of one entry" else 4
    assert places[0] is not None
    assert places[0].line == line


def test_largest_file(capsys: pytest.CaptureFixture[str]) -> None:
    case = complete("")
    filled = case + "#" * (LARGEST_FILE - len(case))
    assert attempt(filled, capsys).code == 0
    outcome = attempt(filled + "#", capsys)
    assert outcome.code == 1
    assert outcome.stderr == (
        "case.yaml: error: the case is larger than 256 KiB\n"
        "  help: keep logger data in a CSV file beside it\n"
    )


def test_deepest_is_still_read() -> None:
    levels = DEEPEST - 2  # the case itself, and the text inside
    case = complete("about: " + "[" * levels + "x" + "]" * levels + "\n")
    understand(parse_case(case.encode(), "case.yaml"))
    deeper = complete("about: " + "[" * (levels + 1) + "x" + "]" * (levels + 1) + "\n")
    with pytest.raises(CaseError):
        parse_case(deeper.encode(), "case.yaml")
