"""The receipt: the same study gives the same one, any change breaks its hash, and it reads back.

Its numbers are held to closed forms of the case below: a rectangular law of half-width h has
u = h/sqrt(3) and 95 % between -0.95 h and 0.95 h.
"""

from __future__ import annotations

import copy
import getpass
import hashlib
import html
import json
import math
import platform
import random
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from effband import study as studies
from effband.problems import CaseError
from effband.report.armour import (
    CASE,
    FORUM,
    MOST_BYTES,
    RECEIPT,
    BadBlock,
    LeftOut,
    armoured,
    read_armoured,
    read_block,
)
from effband.report.receipt import (
    HONESTY,
    canonical,
    case_block,
    read_receipt,
    receipt,
    receipt_text,
    short,
)
from effband.report.writing import parts, write_set
from effband.study import Study

CASE_TEXT = """\
effband: 1
title: receipt bench
inputs:
  useful: {value: 70 W, plus_minus: 2 W, evidence: guess}
  other_way: {value: 90 W, plus_minus: 1 W}
  put_in: {constant: 200 W}
  warm: {value: 20 degC, plus_minus: 1 K}
  thrice: {repeats: [7.72, 7.80, 7.75], unit: s}
runs:
  file: data/runs.csv
  readings:
    time: {unit: s, plus_minus: 0.5 s}
formulas:
  useful_now: useful
  other_now: other_way
results:
  eta: {formula: useful_now / put_in, unit: "%", boundary: {in: wall, out: lamp}}
  warm: {formula: warm, unit: degC}
  thrice: {formula: thrice, unit: s}
  work: {formula: useful_now * time, unit: kJ}
cross_checks:
  twice: [useful_now, other_now]
claims:
  - {result: eta, says: at least 34.5 %}
  - {result: eta, says: at most 30 %}
settings: {trials: 50000, seed: 7}
"""
TABLE = b"run,time\r\nshort,60\r\nlong,600\r\n"

Json = dict[str, Any]


def written(folder: Path, text: str | bytes = CASE_TEXT, name: str = "bench.yaml") -> str:
    """Write the case and its table; return its name."""
    (folder / "data").mkdir(parents=True, exist_ok=True)
    (folder / "data" / "runs.csv").write_bytes(TABLE)
    file = folder / name
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return str(file)


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return studies.run(studies.load(written(tmp_path_factory.mktemp("receipt"))))


def of(found: Json, result: str, run: str | None = None) -> Json:
    (one,) = [each for each in found["results"] if (each["result"], each["run"]) == (result, run)]
    return dict(one)


# -- what it says ------------------------------------------------------------------------------


def test_the_numbers_are_those_of_closed_forms(study: Study) -> None:
    found = receipt(study)
    for result, value, half, unit in (("eta", 35.0, 1.0, "%"), ("warm", 20.0, 1.0, "degC")):
        one = of(found, result)
        se = one["simulation_uncertainty"]
        assert one["unit"] == unit
        assert abs(one["mean"] - value) < 4 * se["mean"]
        assert abs(one["median"] - value) < 4 * se["median"]
        assert abs(one["standard_uncertainty"] - half / math.sqrt(3)) < (
            4 * se["standard_uncertainty"]
        )
        assert abs(one["interval"]["low"] - (value - 0.95 * half)) < 4 * se["low"]
        assert abs(one["interval"]["high"] - (value + 0.95 * half)) < 4 * se["high"]
        # sd of a mean of n is u/sqrt(n).
        assert se["mean"] == pytest.approx(half / math.sqrt(3 * 50_000), rel=0.02)
    assert of(found, "eta")["beyond_ceiling"] == 0.0
    assert of(found, "warm")["beyond_ceiling"] is None
    assert of(found, "work", "long")["mean"] == pytest.approx(42.0, abs=0.02)


def test_no_variance_is_null(study: Study) -> None:
    # Three repeats leave two degrees of freedom, for which Student's t has no variance.
    one = of(receipt(study), "thrice")
    assert one["standard_uncertainty"] is None
    assert one["simulation_uncertainty"]["standard_uncertainty"] is None
    assert one["interval"]["low"] < 7.72


def test_claims_and_cross_checks(study: Study) -> None:
    found = receipt(study)
    first, second = found["claims"]
    assert first["verdict"] == "not settled"  # 34.5 % is a quarter of the band from its lower end
    assert abs(first["probability"] - 0.75) < 4 * first["simulation_uncertainty"]
    assert first["simulation_uncertainty"] == pytest.approx(
        math.sqrt(0.75 * 0.25 / 50_000), rel=0.1
    )
    assert first["trials"] == 50_000
    assert (second["verdict"], second["probability"]) == ("contradicted", 0.0)
    (check,) = found["cross_checks"]
    (pair,) = check["pairs"]
    assert (check["verdict"], pair["verdict"]) == ("disagree", "disagree")
    assert -23.0 <= pair["interval"]["low"] < -20.0 < pair["interval"]["high"] <= -17.0


def test_with_what_it_was_made(study: Study) -> None:
    import matplotlib
    import numpy as np
    import scipy

    import effband

    found = receipt(study)
    assert found["effband-receipt"] == 1
    assert found["versions"] == {
        "effband": effband.__version__,
        "engine": studies.ENGINE_NUMBER,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "matplotlib": matplotlib.__version__,
        "os": platform.system(),
        "machine": platform.machine(),
    }
    assert found["settings"] == {
        "seed": 7,
        "trials": 50_000,
        "probability": 0.95,
        "digits": 1,
        "adaptive": False,
        "sampling": "random",
        "widen_guesses": None,
    }
    assert found["case"]["sha256"] == hashlib.sha256(CASE_TEXT.encode()).hexdigest()
    digest = hashlib.sha256(TABLE).hexdigest()
    assert found["data"] == [
        {"name": "data/runs.csv", "sha256": digest, "bytes": len(TABLE), "rows": 2}
    ]
    assert found["warnings"] >= len(study.remarks) > 0


def test_options_that_change_numbers_are_in_it(study: Study) -> None:
    case = study.case
    wide = studies.run(case, widen_guesses=2.0)
    assert receipt(wide)["settings"]["widen_guesses"] == 2.0
    quasi = studies.run(case, replace(case.settings, sampling="quasi", trials=65_536, digits=2))
    settings = receipt(quasi)["settings"]
    assert (settings["sampling"], settings["digits"]) == ("quasi", 2)
    assert len({short(receipt(each)) for each in (study, wide, quasi)}) == 3


def test_it_names_no_place_and_nobody(study: Study) -> None:
    text = receipt_text(receipt(study))
    folder = Path(study.case.text.file).parent
    for word in (str(folder), folder.name, platform.node(), getpass.getuser(), "bench.yaml"):
        assert word == "" or f'"{word}' not in text
    assert str(folder) not in text


# -- the same again ----------------------------------------------------------------------------


def test_the_same_study_gives_the_same_receipt_byte_for_byte(study: Study) -> None:
    assert receipt_text(receipt(study)) == receipt_text(receipt(study))
    assert case_block(study) == case_block(study)


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_another_run_elsewhere_gives_it_too(study: Study, workers: int, tmp_path: Path) -> None:
    file = written(tmp_path, name="called otherwise.yaml")
    again = studies.run(studies.load(file), workers=workers)
    assert receipt_text(receipt(again)) == receipt_text(receipt(study))
    assert case_block(again) == case_block(study)


def test_every_number_reads_back_equal(study: Study) -> None:
    found = receipt(study)
    assert json.loads(receipt_text(found)) == found
    kinds = {type(value) for _, value in leaves(found)}
    assert kinds == {str, int, float, bool, type(None)}
    assert isinstance(of(found, "eta")["mean"], float)


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[Any, Any]]:
    inner: Any = ()
    if isinstance(value, dict):
        inner = value.items()
    elif isinstance(value, list):
        inner = enumerate(value)
    else:
        yield path, value
    for key, each in inner:
        yield from leaves(each, (*path, key))


# -- hashes ------------------------------------------------------------------------------------


def test_keys_are_sorted_as_rfc_8785_says() -> None:
    # RFC 8785, 3.2.3 (from memory): the example of sorting by UTF-16 code units, where the
    # smiley (D83D DE00) stands before the Hebrew letter (FB33) although its number is larger.
    given = json.loads(
        r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With
        Dagesh", "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"}""".replace("\n        ", " ")
    )
    assert canonical(given).decode() == (
        '{"\\r":"Carriage Return","1":"One","\u0080":"Control",'
        '"\u00f6":"Latin Small Letter O With Diaeresis","\u20ac":"Euro Sign",'
        '"\U0001f600":"Emoji: Grinning Face","\ufb33":"Hebrew Letter Dalet With Dagesh"}'
    )


def test_canonical_text_of_a_small_tree() -> None:
    # RFC 8785, 3.2.2.2 (from memory): control characters as \b \t \n \f \r or \u00xx, no more.
    tree = {"b": ["1.50", {"z": "", "a": '\x1f/\u20ac\t"\\'}], "a": {}}
    assert canonical(tree) == (
        b'{"a":{},"b":["1.50",{"a":"\\u001f/\xe2\x82\xac\\t\\"\\\\","z":""}]}'
    )
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical([math.nan])


def test_the_canonical_hash_is_worked_out_by_hand() -> None:
    plain = (
        '{"effband":"1","results":{"g":{"formula":"standard_gravity","unit":"m/s^2"}},"title":"t"}'
    )
    text = "effband: 1\ntitle: t\nresults: {g: {formula: standard_gravity, unit: m/s^2}}\n"
    tree = {
        "title": "t",
        "effband": "1",
        "results": {"g": {"unit": "m/s^2", "formula": "standard_gravity"}},
    }
    assert canonical(tree) == plain.encode()
    from effband.case.text import parse_case

    assert canonical(parse_case(text.encode(), "x").tree) == plain.encode()


MEANS_THE_SAME = {
    "line ends": CASE_TEXT.replace("\n", "\r\n").encode(),
    "a mark at the start": b"\xef\xbb\xbf" + CASE_TEXT.encode(),
    "a comment": "# a note\n" + CASE_TEXT.replace("runs:\n", "runs:   # measured twice\n", 1),
    "order of keys": CASE_TEXT.replace(
        "{value: 70 W, plus_minus: 2 W, evidence: guess}",
        "{evidence: guess, plus_minus: 2 W, value: 70 W}",
    ),
    "blanks and quotes": CASE_TEXT.replace("title: receipt bench", "title:   'receipt bench'  "),
    "layout": CASE_TEXT.replace(
        "  put_in: {constant: 200 W}\n", "  put_in:\n    constant: 200 W\n"
    ),
}


@pytest.mark.parametrize("what", MEANS_THE_SAME)
def test_the_same_meaning_in_another_file(study: Study, what: str, tmp_path: Path) -> None:
    again = receipt(studies.run(studies.load(written(tmp_path, MEANS_THE_SAME[what]))))
    before = receipt(study)
    assert again["case"]["sha256"] != before["case"]["sha256"]
    assert again["case"]["canonical_sha256"] == before["case"]["canonical_sha256"]
    assert again["results"] == before["results"]


@pytest.mark.parametrize(
    ("old", "new"),
    [("70 W", "70.0 W"), ("7.72, 7.80", "7.80, 7.72"), ("seed: 7", "seed: 8"), ("lamp", "lamps")],
)
def test_another_meaning_has_another_canonical_hash(old: str, new: str, tmp_path: Path) -> None:
    found = {
        canonical(studies.load(written(tmp_path, text)).text.tree)
        for text in (CASE_TEXT, CASE_TEXT.replace(old, new))
    }
    assert len(found) == 2


def test_the_seal_is_worked_out_by_hand(study: Study) -> None:
    found = receipt(study)
    rest = {key: value for key, value in found.items() if key != "receipt_sha256"}
    plain = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert found["receipt_sha256"] == hashlib.sha256(plain.encode()).hexdigest()
    assert short(found) == found["receipt_sha256"][:12]


def test_any_changed_value_breaks_the_seal(study: Study) -> None:
    found = receipt(study)
    count = 0
    for path, value in leaves(found):
        changed = copy.deepcopy(found)
        inner: Any = changed
        for key in path[:-1]:
            inner = inner[key]
        inner[path[-1]] = other(value)
        with pytest.raises(BadBlock) as caught:
            read_receipt(receipt_text(changed))
        kind = "another format" if path == ("effband-receipt",) else "its hash does not fit"
        assert kind in caught.value.what, path
        count += 1
    assert count > 80


def other(value: Any) -> Any:
    if isinstance(value, bool) or value is None:
        return 1 if value is None else not value
    if isinstance(value, float):
        return math.nextafter(value, math.inf)
    return value + 1 if isinstance(value, int) else value + "x"


# -- carried and found -------------------------------------------------------------------------


def test_a_receipt_is_read_from_its_file(study: Study) -> None:
    found = receipt(study)
    text = receipt_text(found)
    assert read_receipt(text) == found
    assert read_receipt("\ufeff\n" + text.replace("\n", "\r\n")) == found


def test_it_lists_the_parts_of_a_set_outside_its_seal(study: Study, tmp_path: Path) -> None:
    files = {"report.md": b"report " + case_block(study).encode()}
    found = receipt(study)
    text = receipt_text(found, parts(files))
    write_set(tmp_path / "out", {**files, RECEIPT: text.encode()})
    kept = (tmp_path / "out" / RECEIPT).read_text(encoding="utf-8")
    assert json.loads(kept)["parts"] == parts(files)
    assert read_receipt(kept) == found
    assert read_receipt((tmp_path / "out" / "report.md").read_text(encoding="utf-8")) == found


def test_a_receipt_is_found_in_reports(study: Study) -> None:
    block, found = case_block(study), receipt(study)
    page = f'<!doctype html><body><h1>{{x}}</h1><pre class="b">{html.escape(block)}</pre></body>'
    markdown = f"# Report\n\n{HONESTY}\n\n```text\n{block}```\n"
    quoted = "\r\n".join(f"> {line}" for line in f"Hello :)\n[code]\n{block}[/code]".split("\n"))
    for text in (page, markdown, quoted, block):
        assert read_receipt(text) == found


def test_one_block_carries_everything_and_runs_again(study: Study, tmp_path: Path) -> None:
    files = read_armoured(case_block(study))
    assert files.keys() == {CASE, RECEIPT, "data/runs.csv"}
    assert files[CASE] == CASE_TEXT.encode()
    assert files["data/runs.csv"] == TABLE
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    again = studies.run(studies.load(str(tmp_path / CASE)))
    assert receipt(again) == read_receipt(case_block(study))


def test_the_bytes_are_carried_as_they_were(tmp_path: Path) -> None:
    raw = b"\xef\xbb\xbf" + CASE_TEXT.replace("\n", "\r\n").encode()
    again = studies.run(studies.load(written(tmp_path, raw)))
    assert read_armoured(case_block(again))[CASE] == raw
    (tmp_path / "bench.yaml").unlink()
    assert read_armoured(case_block(again))[CASE] == raw


@pytest.mark.parametrize("change", ["changed", "gone", "link"])
def test_data_that_is_no_longer_what_was_read(change: str, tmp_path: Path) -> None:
    again = studies.run(studies.load(written(tmp_path)))
    file = tmp_path / "data" / "runs.csv"
    if change == "changed":
        file.write_bytes(TABLE.replace(b"600", b"601"))
    else:
        shutil.move(file, tmp_path / "elsewhere.csv")
    if change == "link":
        file.symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(CaseError, match=r"bench\.yaml: error: .*runs\.csv"):
        case_block(again)


def test_data_called_like_another_part(tmp_path: Path) -> None:
    file = written(tmp_path, CASE_TEXT.replace("data/runs.csv", "receipt.json"))
    (tmp_path / "receipt.json").write_bytes(TABLE)
    with pytest.raises(CaseError, match="another part of the report"):
        case_block(studies.run(studies.load(file)))


def test_what_does_not_fit_a_post_is_named(tmp_path: Path) -> None:
    draws = "x\n" + "\n".join(f"{random.Random(k).random():.6f}" for k in range(20_000)) + "\n"
    text = (
        "effband: 1\ntitle: draws\ninputs:\n  x: {draws: {file: x.csv, column: x}, unit: W}\n"
        "results:\n  y: {formula: x, unit: W}\nsettings: {trials: 20000}\n"
    )
    file = written(tmp_path, text)
    (tmp_path / "x.csv").write_text(draws, encoding="utf-8", newline="\n")
    again = studies.run(studies.load(file))
    post = case_block(again, FORUM)
    assert len(post) <= FORUM < len(case_block(again))
    digest = hashlib.sha256(draws.encode()).hexdigest()
    assert read_block(post).left_out == (LeftOut("x.csv", len(draws), digest),)
    assert read_receipt(post) == receipt(again)
    # Data too large for any block is not read again.
    huge = replace(again.case.data[0], size=MOST_BYTES + 1, sha256="0" * 64)
    block = read_block(case_block(replace(again, case=replace(again.case, data=(huge,)))))
    assert block.left_out == (LeftOut("x.csv", MOST_BYTES + 1, "0" * 64),)


def test_the_benches_fit_a_post_with_their_receipts(wren: Study) -> None:
    assert len(case_block(wren, FORUM)) < 5_000
    assert read_block(case_block(wren, FORUM)).left_out == ()


# -- what is no receipt ------------------------------------------------------------------------


def sealed(found: Json) -> str:
    """Return a receipt as text, with the hash that fits, whatever it says."""
    rest = {key: value for key, value in found.items() if key != "receipt_sha256"}
    return receipt_text({**rest, "receipt_sha256": hashlib.sha256(canonical(rest)).hexdigest()})


def test_a_hash_that_fits_does_not_make_a_receipt(study: Study) -> None:
    found = receipt(study)
    assert read_receipt(sealed(found)) == found
    for path, value in leaves(found):
        a_text = isinstance(value, str) or path[-1] == "run"
        for wrong in ([], {}, 10**400, 5 if a_text else "x"):
            changed = copy.deepcopy(found)
            inner: Any = changed
            for key in path[:-1]:
                inner = inner[key]
            inner[path[-1]] = wrong
            text = receipt_text(changed) if path[-1] == "receipt_sha256" else sealed(changed)
            if wrong == 10**400 and isinstance(value, int) and not isinstance(value, bool):
                continue  # a whole number, if a large one
            with pytest.raises(BadBlock):
                read_receipt(text)
    for key in ("case", "data", "versions", "settings", "results", "claims", "cross_checks"):
        for wrong in ([1], {"a": 1}, {}, "", "text", None, 5):
            with pytest.raises(BadBlock):
                read_receipt(sealed({**found, key: wrong}))
    for key in found.keys() - {"receipt_sha256"}:
        with pytest.raises(BadBlock):
            read_receipt(sealed({k: v for k, v in found.items() if k != key}))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "{}",
        "{not json",
        '{"effband-receipt": 1}',
        '{"effband-receipt": 2}',
        '{"effband-receipt": 1, "effband-receipt": 1}',
        '{"effband-receipt": 1, "x": NaN}',
        '{"effband-receipt": 1, "x": 1e999}',
        '{"effband-receipt": 1, "x": "\\ud800"}',
        '{"effband-receipt": 1, "x": ' + "9" * 10_000 + "}",
        '{"effband-receipt": 1, "x": ' + "[" * 100_000 + "]" * 100_000 + "}",
        '{"effband-receipt": [], "receipt_sha256": {}}',
        armoured({CASE: b"x"}),
        armoured({CASE: b"x", RECEIPT: b"\xff"}),
        armoured({CASE: b"x", RECEIPT: b"[]"}),
        armoured({CASE: b"x", RECEIPT: b"null"}),
        armoured({CASE: b"x", RECEIPT: b""}),
    ],
    ids=lambda text: text[:40],
)
def test_no_receipt(text: str) -> None:
    with pytest.raises(BadBlock) as caught:
        read_receipt(text)
    assert caught.value.what
    assert caught.value.remedy


def test_20_000_mutations_of_a_receipt_never_end_in_a_traceback(study: Study) -> None:
    rng = random.Random(9)
    text = receipt_text(receipt(study))
    start = text.index('"results"')
    small = text[:start] + '"claims": []\n}\n'
    pieces = [
        "{",
        "}",
        "[",
        "]",
        '"',
        ",",
        ":",
        "1e999",
        "null",
        "NaN",
        "\\u",
        "-",
        "\x00",
        "9" * 50,
    ]
    refused = 0
    for _ in range(20_000):
        changed = small
        for _ in range(rng.randrange(1, 4)):
            at = rng.randrange(len(changed))
            changed = changed[:at] + rng.choice(pieces) + changed[at + rng.randrange(30) :]
        try:
            read_receipt(changed)
        except BadBlock:
            refused += 1
    assert refused == 20_000
