"""Published reports that were forged, or only look so: what a recheck must not let pass.

Each forgery is made by hand from the files that `run -o` writes.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
from test_recheck import RECEIPT, TEXT, bench, once, statuses, step  # noqa: F401

from effband.recheck import recheck
from effband.report.armour import armoured, read_block
from effband.report.published import found
from effband.report.receipt import canonical
from effband.report.rechecked import DIFFERS, NOT_COMPARED, document
from effband.report.writing import write_set

pytestmark = pytest.mark.usefixtures("once")
BEGIN = "BEGIN EFFBAND FORMAT 1 BLOCK\n"
LIE = "eta is 99.0 %, between 98 and 99 %"


def resealed(text: str, versions: dict[str, Any]) -> str:
    """Return a report whose receipt tells of other versions, sealed anew."""
    files = read_block(text).files
    told = json.loads(files[RECEIPT])
    old = told.pop("receipt_sha256")
    told["versions"] |= versions
    told["receipt_sha256"] = hashlib.sha256(canonical(told)).hexdigest()
    start, end = text.index(BEGIN), text.index("END EFFBAND")
    block = armoured({**files, RECEIPT: canonical(told)})
    whole = text[:start] + block + text[end:].split("\n", 1)[1]
    return whole.replace(old[:12], told["receipt_sha256"][:12])


@pytest.mark.parametrize("versions", [{"effband": "0.0.9"}, {"engine": 1}, {"numpy": "1.0"}])
@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("eta is 35.0 %, between 34.0", "eta is 39.0 %, between 38.0"),
        ("[b]supported", "[b]contradicted"),
        ("at least 33 %:", "at least 13 %:"),
        ("put in is wall", "put in is sun"),
    ],
)
def test_an_old_version_does_not_switch_the_comparison_off(
    versions: dict[str, Any], was: str, now: str
) -> None:
    text = bench().text("forum.txt")
    assert was in text
    done = recheck(resealed(text.replace(was, now), versions))
    assert statuses(done)["printed"] == DIFFERS


@pytest.mark.parametrize("versions", [{"effband": "0.0.9"}, {"engine": 1}])
def test_what_else_an_old_version_words_otherwise_is_no_agreement(
    versions: dict[str, Any],
) -> None:
    text = bench().text("forum.txt").replace("The value is the mean", "The value is no mean", 1)
    done = recheck(resealed(text, versions))
    assert statuses(done)["printed"] == NOT_COMPARED
    assert document(done)["agrees"] is None


STYLE = "<style>.sentence{font-size:0}.sentence::after{content:'eta is 99 %'}</style>"


@pytest.mark.parametrize(
    "forge",
    [
        lambda page: page + STYLE,
        lambda page: "<!doctype html>" + STYLE + page,
        lambda page: f"<!doctype html><p>{LIE}</p><div hidden>{page}</div>",
        lambda page: f"<!doctype html><p>{LIE}</p><!-- {page} -->",
        lambda page: "<html>" + page.removeprefix("<!doctype html>").replace("</head>", STYLE),
        lambda page: page.replace("</style>", ".sentence{font-size:0}</style>"),
        lambda page: page.replace(BEGIN, f'{BEGIN}<div class="x">\U0001d7eb</div>\n'),
        lambda page: page.replace("<strong>supported", "<del>supported"),
    ],
)
def test_a_page_counts_as_a_whole(forge: Any) -> None:
    page = bench().text("report.html")
    forged = forge(page)
    assert forged != page
    assert DIFFERS in statuses(recheck(forged)).values()


def test_blanks_around_a_page_are_nobodys_fault() -> None:
    assert statuses(recheck("\n  " + bench().text("report.html") + "\n\n")) == {}


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (BEGIN, BEGIN + "\U0001d5d6\U0001d5ee\n"),
        (BEGIN, BEGIN + '<b title="99 %">\n'),
        ("EFFBAND FORMAT 1 BLOCK\n", "EFFBAND <input value=99> FORMAT 1 BLOCK\n"),
    ],
)
def test_nothing_is_strewn_into_a_block(was: str, now: str) -> None:
    text = bench().text("forum.txt")
    assert statuses(recheck(text.replace(was, now, 1)))["read"] == DIFFERS


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("[b]Claims[/b]", "[quote=No: it is 99 %, see above][/quote]\n[b]Claims[/b]"),
        ("[b]Claims[/b]", "<b correction: it is 99 %>\n[b]Claims[/b]"),
        ("[b]Claims[/b]", "<style> it is 99 % </style>\n[b]Claims[/b]"),
        ("[b]supported", "[b]~~supported~~"),
        ("eta is 35.0", "eta is - 35.0"),
        ("35.0 %", "3\u20755.0 %"),
        ("- holds in", "- \u202eholds in"),
        ("useful_now / put_in", "useful_now * put_in"),
        ("useful_now * time", "useful_now - time"),
        ("  cold: {value", "  #cold: {value"),
    ],
)
def test_what_a_reader_of_a_post_sees_otherwise(was: str, now: str) -> None:
    text = bench().text("forum.txt")
    assert was in text
    assert statuses(recheck(text.replace(was, now, 1)))["printed"] == DIFFERS


def test_words_around_are_counted() -> None:
    done = recheck(f"It gives 99 % I think.\n{bench().text('forum.txt')}\nBye, all 3.\n")
    assert statuses(done) == {}
    assert "before it 5 words, 1 of them numbers" in step(done, "printed").beside[0]
    assert "behind it 3 words, 1 of them numbers" in step(done, "printed").beside[0]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "Hello all, my lamp.\n\n" + text,
        lambda text: text.split("\n", 1)[1],
        lambda text: "Hello.\n\n" + "".join(f"> {line}\n" for line in text.split("\n")),
    ],
)
def test_markdown_within_a_post_agrees(change: Any) -> None:
    assert statuses(recheck(change(bench().text("report.md")))) == {}


def test_a_case_that_speaks_of_a_block_agrees(tmp_path: Path) -> None:
    mark = "BEGIN EFFBAND FORMAT 1 BLOCK " + "a" * 30
    text = TEXT.replace("# notes:", f"# {mark} END EFFBAND FORMAT 1 BLOCK\n# notes:")
    text = text.replace("8D for +-2 W", mark)
    write_set(tmp_path / "set", bench(text).files)
    for name in ("report.md", "report.html", "forum.txt", ""):
        assert statuses(recheck(found(str(tmp_path / "set" / name)))) == {}


def test_a_folder_with_a_face_that_holds_no_report(tmp_path: Path) -> None:
    write_set(tmp_path / "set", bench().files)
    post = tmp_path / "set" / "forum.txt"
    text = post.read_text()
    post.write_text(f"{LIE}\n" + text[text.index(BEGIN) :])
    assert statuses(recheck(found(str(tmp_path / "set"))))["printed"] == DIFFERS


def test_a_result_holds_no_keys_but_ours(tmp_path: Path) -> None:
    write_set(tmp_path / "set", bench().files)
    place = tmp_path / "set" / "result.json"
    told = json.loads(place.read_text())
    told["ranking_crosscheck"] = {"note": LIE}
    place.write_text(json.dumps(told))
    assert statuses(recheck(found(str(tmp_path / "set"))))["printed"] == DIFFERS
