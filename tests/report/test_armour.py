"""The block that carries a case: written, mangled as forums and e-mail do, and read back.

The blocks to read are also made here by hand, from the description alone: zlib and base64 of the
standard library, and a CRC worked out bit by bit, which is held to a published check value.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import html
import random
import re
import string
import textwrap
import time
import tracemalloc
import zlib
from email import policy
from email.message import EmailMessage

import pytest
from cmarkgfm import github_flavored_markdown_to_html
from cmarkgfm.cmark import Options
from mangling import MANGLINGS, Mangling, mangled, quoted

from effband.report.armour import (
    CASE,
    FORUM,
    LARGEST_TEXT,
    MOST_BYTES,
    MOST_FILES,
    RECEIPT,
    BadBlock,
    Block,
    LeftOut,
    armoured,
    read_armoured,
    read_block,
)

RAW_CASE = """\
effband: 1
title: "Wren" bench -- air to wire (c) ... 1/2 of 9x9 :) 8) :D
# notes: http://example.org @someone
inputs:
  p_start:  {value: 7.9 bar, range: [7.8 bar, 8.0 bar]}
"""
FILES = {CASE: RAW_CASE.encode(), "data/runs.csv": b"run,p\r\na,1.5\r\nb,2.5\r\n"}
SMALL = {CASE: b"effband: 1\ntitle: small bench\ninputs: {}\n", "runs.csv": b"run,p\r\na,1.5\r\n"}
BEGIN, END = "BEGIN EFFBAND FORMAT 1 BLOCK", "END EFFBAND FORMAT 1 BLOCK"
LETTERS = string.ascii_letters + string.digits


# -- a writer of our own, from the description -------------------------------------------------


def crc(data: bytes, start: int) -> int:
    """CRC-16 with the polynomial x^16 + x^12 + x^5 + 1, bit by bit."""
    register = start
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1) ^ (0x1021 if register & 0x8000 else 0)
            register &= 0xFFFF
    return register


def by_hand(packed: bytes, deflated: bytes | None = None) -> str:
    """Return bytes as a block, whatever they are."""
    deflated = zlib.compress(packed, 9) if deflated is None else deflated
    letters = base64.b64encode(deflated).decode().rstrip("=")
    letters = "".join({"+": "Za", "/": "Zb", "Z": "Zc"}.get(letter, letter) for letter in letters)
    return lettered(letters)


def lettered(letters: str) -> str:
    lines = [letters[at : at + 60] for at in range(0, len(letters), 60)]
    checked = [f"{line}{crc(line.encode(), k):04x}" for k, line in enumerate(lines, 1)]
    return "\n".join([BEGIN, *checked, END, ""])


def one(name: str, data: bytes = b"x") -> bytes:
    return f"file {len(data)} {name}\n".encode() + data + b"\n"


def refusal(text: str) -> BadBlock:
    with pytest.raises(BadBlock) as caught:
        read_armoured(text)
    assert caught.value.what
    assert caught.value.remedy
    return caught.value


def test_the_crc_of_this_file_is_the_published_one() -> None:
    # Check value of CRC-16/XMODEM, the CRC of "123456789": 31C3 (CRC catalogues, from memory).
    assert crc(b"123456789", 0) == 0x31C3


def test_a_block_is_what_the_description_says() -> None:
    packed = b"".join(one(name, FILES[name]) for name in sorted(FILES))
    assert armoured(FILES) == by_hand(packed)


def test_a_block_is_read_with_the_standard_library_alone() -> None:
    lines = armoured(FILES).splitlines()
    assert (lines[0], lines[-1]) == (BEGIN, END)
    letters = "".join(line[:-4] for line in lines[1:-1])
    letters = letters.replace("Za", "+").replace("Zb", "/").replace("Zc", "Z")
    packed = zlib.decompress(base64.b64decode(letters + "=" * (-len(letters) % 4)))
    assert (
        packed
        == (
            f"file {len(FILES[CASE])} case.yaml\n{RAW_CASE}\n"
            "file 21 data/runs.csv\nrun,p\r\na,1.5\r\nb,2.5\r\n\n"
        ).encode()
    )


# -- there and back ----------------------------------------------------------------------------


def test_what_was_put_in_comes_out() -> None:
    assert read_armoured(armoured(FILES)) == FILES


@pytest.mark.parametrize("seed", range(30))
def test_any_bytes_come_out(seed: int) -> None:
    rng = random.Random(seed)
    files = {
        f"f{k}/d\u00e9bit {k}.csv": rng.randbytes(rng.choice([0, 1, 2, 59, 3000])) for k in range(7)
    }
    assert read_armoured(armoured(files)) == files


def test_the_order_of_the_files_changes_nothing() -> None:
    assert armoured(dict(reversed(FILES.items()))) == armoured(FILES)


def test_nothing_but_letters_and_digits_in_64_columns() -> None:
    text = armoured({CASE: random.Random(1).randbytes(100_000)})
    lines = text.splitlines()[1:-1]
    assert {len(line) for line in lines[:-1]} == {64}
    assert len(lines[-1]) <= 64
    assert set("".join(lines)) == set(LETTERS)
    # What some software turns into something else, or takes for markup.
    odd = r":\)|8\)|\(c\)|--|\.\.\.|\[|\]|://|@|[<>&*_~`#|$^%=+/\\'\"-]|\b\d+x\d+\b|\b\d/\d\b"
    assert re.search(odd, text) is None


# -- mangling ----------------------------------------------------------------------------------


def post(block: str) -> str:
    return f'My bench -- see "below" :)\n\nIt isn\'t much...\n{block}\nBest, the builder 8)\n'


@pytest.mark.parametrize("mangling", MANGLINGS)
def test_each_mangling_alone(mangling: Mangling) -> None:
    for seed in range(5):
        text = mangling(post(armoured(FILES)), random.Random(seed))
        assert read_armoured(text) == FILES, text


def test_200_posts_mangled_in_many_ways_at_once() -> None:
    block = armoured(FILES)
    assert [k for k in range(200) if read_armoured(mangled(post(block), k)) != FILES] == []


@pytest.mark.parametrize("smart", [0, Options.CMARK_OPT_SMART])
@pytest.mark.parametrize("quote", ["", "> ", "- ", "    "])
def test_a_post_set_by_a_reference_renderer_of_markdown(smart: int, quote: str) -> None:
    text = "\n".join(quote + line for line in post(armoured(FILES)).split("\n"))
    page = github_flavored_markdown_to_html(text, options=smart)
    assert read_armoured(page) == FILES
    # The source of the page, shown on another page.
    assert read_armoured(html.escape(page)) == FILES


@pytest.mark.parametrize("coding", ["7bit", "quoted-printable"])
def test_a_post_sent_and_quoted_by_the_mail_library(coding: str) -> None:
    for width in (40, 72):
        letter = EmailMessage()
        body = textwrap.fill(post(armoured(FILES)), width)
        letter.set_content(textwrap.indent(body, "> "), cte=coding)
        sent = letter.as_bytes(policy=policy.SMTP).decode("ascii")
        assert read_armoured(sent) == FILES


def test_the_manglings_would_spoil_a_case_as_it_stands() -> None:
    assert [k for k in range(200) if RAW_CASE in mangled(post(RAW_CASE), k)] == []


# -- damage ------------------------------------------------------------------------------------


def test_every_changed_character_is_found_and_located() -> None:
    block = armoured(SMALL)
    lines = block.splitlines()
    assert len(lines) >= 4
    at = 0
    for number, line in enumerate(lines):
        for column, was in enumerate(line):
            marks = number in (0, len(lines) - 1)
            for now in LETTERS + " \n<>&-\u00e9\u200b":
                text = block[: at + column] + now + block[at + column + 1 :]
                if now == was:
                    continue
                if marks:  # found, unless it means the same: a small letter, another blank
                    with contextlib.suppress(BadBlock):
                        assert read_armoured(text) == SMALL
                    continue
                found = refusal(text)
                assert found.what == f"line {number} of the block is damaged", text
                assert found.place is not None
                assert found.place.line in (number + 1, number + 2), text
        at += len(line) + 1


def test_a_changed_mark_is_no_mark() -> None:
    block = armoured(SMALL)
    assert "no block" in refusal(block.replace("BEGIN", "BEG1N")).what
    assert "END line" in refusal(block.replace("END", "ENO")).what


def test_a_changed_line_end_is_found_where_it_matters() -> None:
    block = armoured(SMALL)
    for at, was in enumerate(block):
        if was == "\n":
            assert read_armoured(f"{block[:at]} {block[at + 1 :]}") == SMALL
    at = block.index("\n", len(BEGIN) + 1)
    assert refusal(f"{block[:at]}k{block[at + 1 :]}").what == "line 2 of the block is damaged"


def test_the_place_is_that_in_the_text() -> None:
    block = armoured(FILES).splitlines()
    block[3] = block[3].replace(block[3][10], "?", 1)
    text = "\r\n".join(["Hello", "", *(f"&gt; {line}" for line in block)])
    found = refusal(text)
    assert found.what == "line 3 of the block is damaged"
    assert found.place is not None
    assert found.place.line == 6
    assert str(found).startswith("the text:6:1: error: line 3 of the block is damaged\n")
    assert f"&gt; {block[3]}" in str(found)
    assert "help: copy the block again" in str(found)


@pytest.mark.parametrize("before", ["\r", "<br\n/>", "&#10;\n", "&#10;<b\n>", "\r\n"])
def test_the_place_counts_lines_as_an_editor_does(before: str) -> None:
    first, second, third, *rest = armoured(FILES).splitlines()
    found = refusal(f"{first}{before}{second}{before}{third[1:]}{before}" + "\n".join(rest))
    assert found.what == "line 2 of the block is damaged"
    assert found.place is not None
    assert found.place.line == 3


def test_marks_in_small_letters() -> None:
    block = armoured(FILES)
    text = block.replace(BEGIN, BEGIN.lower()).replace(END, END.title())
    assert read_armoured(text) == FILES


@pytest.mark.parametrize("change", ["lost", "doubled", "swapped"])
def test_lines_that_are_lost_doubled_or_swapped(change: str) -> None:
    lines = armoured({CASE: random.Random(2).randbytes(400)}).splitlines()
    if change == "lost":
        del lines[3]
    elif change == "doubled":
        lines.insert(3, lines[3])
    else:
        lines[3], lines[4] = lines[4], lines[3]
    expected = 4 if change == "doubled" else 3
    assert refusal("\n".join(lines)).what == f"line {expected} of the block is damaged"


def test_equal_lines_that_change_places_stand_under_other_checks() -> None:
    assert crc(b"A" * 60, 1) != crc(b"A" * 60, 2)


def test_cut_off_anywhere() -> None:
    block = armoured(FILES).rstrip("\n")
    last = block.index(f"\n{END}")
    for at in range(len(block)):
        refusal(block[:at])
        refusal(block[at + 1 :])
        if len(BEGIN) < at < last:
            refusal(f"{block[:at]}\n{END}")


def test_whole_lines_missing_at_the_end() -> None:
    lines = armoured({CASE: random.Random(4).randbytes(6000)}).splitlines()
    assert any(line[:60].endswith("Z") for line in lines)  # half of a pair
    for kept in range(2, len(lines) - 2):
        found = refusal("\n".join([*lines[:kept], END]))
        assert found.what == "the end of the block is missing"
        assert found.place is not None
        assert found.place.line == kept


# -- several blocks ----------------------------------------------------------------------------


def test_a_post_that_is_quoted_holds_its_block_twice() -> None:
    block = armoured(FILES)
    again = quoted(block, random.Random(0))
    assert read_armoured(f"{again}\nThank you!\n{block}") == FILES


def test_two_blocks_that_differ_are_refused() -> None:
    text = armoured(FILES) + armoured(SMALL)
    assert refusal(text).what == "the text holds two blocks that carry different things"


def test_a_damaged_block_beside_a_whole_one_is_refused() -> None:
    lines = armoured(SMALL).splitlines()
    del lines[1]
    assert "damaged" in refusal(armoured(FILES) + "\n".join(lines)).what
    cut_off = armoured(SMALL).replace(END, "")
    assert "no END line" in refusal(cut_off + armoured(SMALL)).what
    assert "no END line" in refusal(armoured(SMALL) + cut_off).what


def test_an_empty_block_is_still_found() -> None:
    assert read_block(armoured({})) == Block({})


def test_marks_that_are_only_spoken_of() -> None:
    block = armoured(FILES)
    told = f'Copy the whole of it, from the line "{BEGIN}" down to and including the line "{END}".'
    assert read_armoured(f"{told}\n{block}") == FILES
    assert read_armoured(f"{block}\n{told}") == FILES
    assert read_armoured(f'It begins with "{BEGIN}" and goes on from there.\n{block}') == FILES


def test_no_block() -> None:
    for text in ("", "nothing here", BEGIN, f"{BEGIN}\n{END}", END + "\n" + BEGIN):
        assert refusal(text).what == "the text holds no block that carries a case"


def test_another_format() -> None:
    text = armoured(FILES).replace("FORMAT 1", "FORMAT 2")
    assert refusal(text).what == "the block is of another format than 1"


# -- what may be carried -----------------------------------------------------------------------


def test_a_bomb_is_refused_in_little_memory_and_time() -> None:
    bomb = zlib.compress(bytes(100_000_000), 9)
    assert len(bomb) < 98_000
    text = by_hand(b"", bomb)
    tracemalloc.start()
    start = time.perf_counter()
    try:
        found = refusal(text)
        seconds, peak = time.perf_counter() - start, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.what == "the block carries more than 5 MB"
    assert peak < 4 * MOST_BYTES
    assert seconds < 2.0


def test_the_largest_that_is_written_is_read() -> None:
    size = MOST_BYTES - len(one(CASE, b"")) - len(f"{MOST_BYTES}") + 1
    files = {CASE: bytes(size)}
    assert read_block(armoured(files)) == Block(files)
    with pytest.raises(BadBlock, match="the case alone makes 5000001 bytes"):
        armoured({CASE: bytes(size + 1)})


@pytest.mark.parametrize(
    "name",
    [
        "/etc/passwd",
        "../case.yaml",
        "a/../../b",
        "~/x",
        "C:/x",
        "C:x",
        "a\\b",
        "\\\\host\\share",
        "nul",
        "COM1.csv",
        "data/aux.csv",
        "a//b",
        "./a",
        "a.",
        "a ",
        "a\tb",
        "a\x1b[31mb",
        "a\u202eb",
        "a:b",
        "http://example.org/x.csv",
        "a" * 201,
        "cafe\u0301.csv",
        "*",
    ],
)
def test_names_that_mean_something_else_elsewhere(name: str) -> None:
    assert read_armoured(by_hand(one("fine.csv"))) == {"fine.csv": b"x"}
    refusal(by_hand(one(name)))
    refusal(by_hand(f"left out 5 {'0' * 64} {name}\n".encode()))
    with pytest.raises(BadBlock):
        armoured({CASE: b"", name: b"x"})


@pytest.mark.parametrize(
    "packed",
    [
        one("a") + one("a"),
        one("a") + b"left out 5 " + b"0" * 64 + b" a\n",
        b"file 9 a\nx\n",
        b"file 0 a\nx\n",
        b"file -1 a\nx\n",
        b"file 999999999 a\nx\n",
        b"file 1 \xff\nx\n",
        b"file 1 \nx\n",
        b"file 1 a",
        b"link 1 a\nx\n",
        b"left out 5 0123 a\n",
        one("a") + b"more",
        b"".join(one(f"f{k}") for k in range(MOST_FILES + 1)),
    ],
)
def test_what_is_not_in_form(packed: bytes) -> None:
    refusal(by_hand(packed))


def test_what_is_not_base64_or_not_deflated() -> None:
    long = "A" * 90
    assert "cannot be inflated" in refusal(lettered(long)).what
    assert "cannot be inflated" in refusal(lettered(long[:-1])).what
    assert "stands alone" in refusal(lettered(long + "Zx")).what
    deflated = zlib.compress(one("a", random.Random(3).randbytes(50)))
    assert "behind the end" in refusal(by_hand(b"", deflated + b"more")).what
    assert "cannot be inflated" in refusal(by_hand(b"", deflated[:-1] + b"\x00")).what


def test_too_long_a_text_and_too_many_marks() -> None:
    assert "characters" in refusal(" " * (LARGEST_TEXT + 1)).what
    start = time.perf_counter()
    assert "too many" in refusal(f"{BEGIN}\n" * 100_000).what
    assert time.perf_counter() - start < 2.0


@pytest.mark.parametrize(
    "text",
    ["BEGIN " * 100_000, "BEGIN" + "<" * 300_000, "BEGIN" + " <b>" * 100_000, "&gt;" * 200_000],
)
def test_texts_that_could_keep_a_search_busy(text: str) -> None:
    start = time.perf_counter()
    refusal(text)
    refusal(f"{BEGIN}\n{text}\n{END}")
    assert time.perf_counter() - start < 4.0


# -- what does not fit -------------------------------------------------------------------------


def test_data_that_does_not_fit_is_named_with_its_hash() -> None:
    logger = "\n".join(f"{k},{random.Random(k).random():.4f}" for k in range(8000)).encode()
    files = {**FILES, RECEIPT: b"{}", "logger.csv": logger}
    text = armoured(files, FORUM)
    assert len(text) <= FORUM
    assert len(armoured(files)) > FORUM
    block = read_block(text)
    assert block.files == {**FILES, RECEIPT: b"{}"}
    digest = hashlib.sha256(logger).hexdigest()
    assert block.left_out == (LeftOut("logger.csv", len(logger), digest),)


def test_a_hash_is_that_of_the_standard() -> None:
    # FIPS 180-4, the example of one block: "abc" (from memory).
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    full = {f"f{k}": b"" for k in range(MOST_FILES - 1)}
    (left,) = read_block(armoured({CASE: b"", "d.csv": b"abc", **full})).left_out
    assert left == LeftOut("d.csv", 3, known)


def test_data_goes_first_then_the_receipt_and_the_case_never() -> None:
    noise = {
        name: random.Random(name).randbytes(size)
        for name, size in {CASE: 900, RECEIPT: 3000, "a.csv": 700, "b.csv": 800}.items()
    }
    left = []
    most = len(armoured(noise))
    for _ in range(4):
        text = armoured(noise, most)
        left.append([each.name for each in read_block(text).left_out])
        most = len(text) - 1
    assert left == [[], ["b.csv"], ["a.csv", "b.csv"], ["a.csv", "b.csv", RECEIPT]]
    with pytest.raises(BadBlock, match=r"the case alone makes \d+ characters"):
        armoured(noise, 1000)


def test_more_files_than_a_block_holds() -> None:
    files = {CASE: b"x", **{f"f{k:03}": b"x" for k in range(MOST_FILES + 20)}}
    block = read_block(armoured(files))
    assert len(block.files) == MOST_FILES
    assert CASE in block.files
    assert {each.name for each in block.left_out} == files.keys() - block.files.keys()


# -- fuzz --------------------------------------------------------------------------------------


def changed(data: bytes, rng: random.Random) -> bytes:
    now = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        at, kind = rng.randrange(len(now) + 1), rng.randrange(4)
        if kind == 0:
            now[at:at] = rng.randbytes(rng.randrange(1, 4))
        elif kind == 1:
            del now[at : at + rng.randrange(1, 20)]
        elif kind == 2:
            now[at : at + 1] = rng.choice([b"&#", b"<", b">", b"\n", b"Z", b"&amp;", b"9" * 30])
        else:
            now[at:at] = now[at // 2 : at // 2 + rng.randrange(40)]
    return bytes(now)


def test_20_000_mutations_never_end_in_a_traceback() -> None:
    rng = random.Random(20)
    block = armoured(SMALL)
    packed = b"".join(one(name, SMALL[name]) for name in sorted(SMALL))
    deflated = zlib.compress(packed, 9)
    read = refused = 0
    said: set[str] = set()
    for k in range(20_000):
        if k % 3 == 0:
            text = changed(block.encode(), rng).decode("utf-8", "surrogateescape")
        elif k % 3 == 1:
            text = by_hand(changed(packed, rng))
        else:
            text = by_hand(b"", changed(deflated, rng))
        try:
            found = read_armoured(text)
        except BadBlock as error:
            refused += 1
            said.add(error.what)
        else:
            read += 1
            assert k % 3 == 1 or found == SMALL, text
    assert read > 500
    assert refused > 10_000
    assert len(said) > 12
    assert "".join(said).isprintable()


def test_numbers_without_end_in_entities() -> None:
    for number in ("9" * 5000, "x" + "f" * 5000, "0", "1114112", "55296"):
        refusal(f"{BEGIN}\n&#{number};{'A' * 80}\n{END}")
