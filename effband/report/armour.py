"""Files as a block of letters and digits that outlives a forum, an e-mail or a page.

    BEGIN EFFBAND FORMAT 1 BLOCK
    eNqVVU1v2zgQvetXDJJDPGiC2kB7aAHvokXbXhbYPfRWFAZFjSwuJFIlqSgG8uN3hqJkx...
    END EFFBAND FORMAT 1 BLOCK

The files are put one behind the other (`file BYTES NAME`, the bytes, a line end), deflated with
zlib and written in base64. Since `+` and `/` may be taken for markup, `Za` stands for `+`, `Zb`
for `/` and `Zc` for `Z`: the block holds letters and digits alone, so that no smiley, dash, quote,
link or fraction can arise in it. Each line is 60 of these and a check of four: `binascii.crc_hqx`
of the 60, begun at the line's number, in hexadecimal. It finds every changed character.

Reading drops whatever is no letter or digit. So quoting, blanks, line ends, tags and zero-width
characters do no harm, wherever they came in, and lines may be wrapped anew.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import html
import itertools
import re
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from effband.case.data_files import BadData, name_parts
from effband.problems import EffbandError, Place, Problem, render_all

FORMAT = 1
CASE, RECEIPT = "case.yaml", "receipt.json"  # no names for data
FORUM = 30_000  # characters that a post may spend on a block
MOST_BYTES = 5_000_000  # of all files together
MOST_FILES = 100
LARGEST_TEXT = 50_000_000  # characters that are searched
MOST_MARKS = 200

_DATA, _CHECK = 60, 4
_COLUMNS = _DATA + _CHECK
_SPARE = (("Z", "Zc"), ("+", "Za"), ("/", "Zb"))
# What may stand between the words of a mark: blanks, quoting, entities (escaped again), tags.
_BLANK = r"(?:[\s>*_|\u200b\ufeff\u00ad]|&(?:amp;){0,3}#?[A-Za-z0-9]{1,6};|<[^<>]{0,500}>){1,40}"
_MARK = re.compile(
    _BLANK.join(("(BEGIN|END)", "EFFBAND", "FORMAT", r"([0-9]{1,4})", "BLOCK")), re.IGNORECASE
)
_TAG = re.compile(r"<[^<>]{0,1000}>")
_FORUM_TAG = re.compile(
    r"""</?(?:br|wbr|p|div|span|code|pre|blockquote|tt)(?: class="[\w -]{0,80}")? ?/?>""",
    re.IGNORECASE,
)
_FORUM_ENTITY = re.compile("&(?:nbsp|#160|#xa0|shy|#173|#8203|#x200b|zwsp);", re.IGNORECASE)
_OF_FORUMS = re.compile(r"[\s>|*_=\u00a0\u00ad\u200b-\u200d\u2060\ufeff]+")
_OF_BLOCKS = re.compile(r"[A-Za-z0-9\s>|*_=\u00a0\u00ad\u200b-\u200d\u2060\ufeff]+")
_MARK_WORDS = re.compile(r"BEGIN|END|EFFBAND|FORMAT|BLOCK|\b[0-9]{1,4}\b", re.IGNORECASE)
_ENDLESS = re.compile("&#[0-9A-Fa-fXx]{9,}")  # no character's number
_LONG = re.compile("[A-Za-z0-9]{15}")  # the least block; where only words stand, one is spoken of
_OTHER = re.compile(r"[^A-Za-z0-9]+")
_HEAD = re.compile(rb"(?:file ([0-9]{1,9})|left out ([0-9]{1,12}) ([0-9a-f]{64})) ([^\n]{1,400})\n")
_AGAIN = "copy the block again, from its BEGIN line to its END line"


class BadBlock(EffbandError):
    """A text carries no block, or one that is damaged or refused.

    Attributes
    ----------
    what, remedy, place
        What is wrong, what to do, and where in the text; None when it is tied to no line.
    """

    def __init__(
        self, what: str, remedy: str, name: str, place: Place | None = None, text: str = ""
    ) -> None:
        self.what, self.remedy, self.place = what, remedy, place
        super().__init__(render_all([Problem(place, what, remedy)], name, text))


@dataclass(frozen=True)
class LeftOut:
    """A file that a block only names: its size in bytes and its hash."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Block:
    """What a block carries, by name, and the files that it only names."""

    files: dict[str, bytes] = field(repr=False)
    left_out: tuple[LeftOut, ...] = ()


def armoured(
    files: Mapping[str, bytes], most: int | None = None, left_out: Iterable[LeftOut] = ()
) -> str:
    """Return files as a block.

    The order of the files changes nothing; another release of zlib may deflate otherwise.

    Parameters
    ----------
    files
        Their bytes by name. Where they are too large or too many, data files are left out, the
        largest first, then the receipt, and named with their size and hash; `read_block` says
        which. The case is never left out.
    most
        The characters that the block may have, such as `FORUM`.
    left_out
        Files that are left out already.

    Raises
    ------
    BadBlock
        When a name is refused, or the case alone is too large.
    """
    kept, out = dict(files), list(left_out)
    for name in (*kept, *(each.name for each in out)):
        _check_name(name, "the block")
    while True:
        packed = _packed(kept, out)
        if len(packed) <= MOST_BYTES and len(kept) <= MOST_FILES:
            text = _written(packed)
            if most is None or len(text) <= most:
                return text
            room = f"{len(text)} characters, and there is room for {most}"
        else:
            room = f"{len(packed)} bytes, and a block holds {MOST_BYTES}"
        if not kept.keys() - {CASE}:
            what = f"the case alone makes {room}"
            raise BadBlock(what, "publish the case file beside the report", "the block")
        name = max(kept.keys() - {CASE}, key=lambda name: (name != RECEIPT, len(kept[name]), name))
        gone = kept.pop(name)
        out.append(LeftOut(name, len(gone), hashlib.sha256(gone).hexdigest()))


def read_armoured(text: str, name: str = "the text") -> dict[str, bytes]:
    """Return the files of the block in a text; see `read_block`."""
    return read_block(text, name).files


def read_block(text: str, name: str = "the text") -> Block:
    """Return what the block in a text carries.

    Parameters
    ----------
    text
        A page, a report, a post or an e-mail. A block may stand in it several times, as where a
        post is quoted; marks with nothing but words between them only speak of one.
    name
        What the text is called in messages.

    Raises
    ------
    BadBlock
        When there is no block, one is damaged, or two carry different things; nothing else is
        raised, whatever the text holds.
    """
    if len(text) > LARGEST_TEXT:
        what = f"the text has more than {LARGEST_TEXT} characters"
        raise BadBlock(what, "keep the part with the block", name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    found: list[Block] = []
    for stretch in _stretches(text, name):
        block = _unpacked(stretch)
        if found and block != found[0]:
            what = "the text holds two blocks that carry different things"
            raise stretch.bad(what, "keep the one that you mean")
        found.append(block)
    if not found:
        what = "the text holds no block that carries a case"
        remedy = f"look for the line BEGIN EFFBAND FORMAT {FORMAT} BLOCK and take all from it on"
        raise BadBlock(what, remedy, name)
    return found[0]


def around_blocks(text: str) -> list[str]:
    """Return what stands before, between and behind the blocks of a text, whole or damaged."""
    parts, at = [], 0
    marks = list(itertools.islice(_MARK.finditer(text), MOST_MARKS + 1))
    for begin, end in itertools.pairwise(marks):
        marked = (begin[1].upper(), end[1].upper()) == ("BEGIN", "END")
        if marked and _LONG.search(_plain(text[begin.end() : end.start()])):
            parts.append(text[at : begin.start()])
            at = end.end()
    return [*parts, text[at:]]


def strewn(text: str) -> str:
    """Return what stands in the blocks of a text and is no part of them, nor a forum's doing.

    Quoting, blanks, line ends and the few tags that part lines or words are a forum's.
    """
    found = []
    marks = list(itertools.islice(_MARK.finditer(text), MOST_MARKS + 1))
    for begin, end in itertools.pairwise(marks):
        if (begin[1].upper(), end[1].upper()) != ("BEGIN", "END"):
            continue
        if not _LONG.search(_plain(text[begin.end() : end.start()])):
            continue
        for mark in (begin, end):
            said = _MARK_WORDS.sub("", _bare(mark[0]))
            found.append(_OF_FORUMS.sub("", said))
        found.append(_OF_BLOCKS.sub("", _bare(text[begin.end() : end.start()])))
    return " ".join(" ".join(found).split())


def _bare(text: str) -> str:
    """Return text without the tags and entities that a forum or a renderer adds to a block."""
    for _ in range(5):
        before = text
        text = _FORUM_TAG.sub(" ", _FORUM_ENTITY.sub(" ", text)).replace("&amp;", "&")
        text = text.replace("&lt;", "<").replace("&gt;", ">")
        if text == before:
            break
    return text


def defused(text: str) -> str:
    """Return text in which no mark of a block is left; a point parts its first two words."""
    return _MARK.sub(lambda mark: f"{mark[1]}.{mark[0][len(mark[1]) :]}", text)


# -- writing -----------------------------------------------------------------------------------


def _packed(files: Mapping[str, bytes], left_out: Iterable[LeftOut]) -> bytes:
    parts = []
    for name in sorted(files):
        parts += [f"file {len(files[name])} {name}\n".encode(), files[name], b"\n"]
    for each in sorted(left_out, key=lambda each: each.name):
        parts.append(f"left out {each.size} {each.sha256} {each.name}\n".encode())
    return b"".join(parts)


def _written(packed: bytes) -> str:
    letters = base64.b64encode(zlib.compress(packed, 9)).decode().rstrip("=")
    for letter, spare in _SPARE:
        letters = letters.replace(letter, spare)
    cut = [letters[at : at + _DATA] for at in range(0, len(letters), _DATA)]
    lines = [line + _check(line, number) for number, line in enumerate(cut, 1)]
    marks = [f"{word} EFFBAND FORMAT {FORMAT} BLOCK" for word in ("BEGIN", "END")]
    return "\n".join([marks[0], *lines, marks[1]]) + "\n"


def _check(line: str, number: int) -> str:
    """Return the check of a line; the number begins it, so that lines cannot change places."""
    return f"{binascii.crc_hqx(line.encode(), number & 0xFFFF):04x}"


# -- reading -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Stretch:
    """What stands between two marks: its letters and digits, line by line, and the first line."""

    lines: list[str]
    line: int
    name: str
    text: str

    @property
    def letters(self) -> str:
        return "".join(self.lines)

    def bad(self, what: str, remedy: str = _AGAIN, at: int = 0) -> BadBlock:
        """Return the refusal, with the line in which a letter stands."""
        line = self.line
        for own in self.lines:
            if at < len(own):
                break
            at -= len(own)
            line += 1
        line = min(line, self.line + len(self.lines) - 1)
        shown = self.text.split("\n")[line - 1]
        return BadBlock(what, remedy, self.name, Place(line, 1, max(1, len(shown))), self.text)


def _stretches(text: str, name: str) -> Iterator[_Stretch]:
    marks = list(itertools.islice(_MARK.finditer(text), MOST_MARKS + 1))
    if len(marks) > MOST_MARKS:
        raise BadBlock("the text holds too many blocks", "keep the one that you mean", name)
    for at, mark in enumerate(marks):
        if mark[1].upper() != "BEGIN":
            continue
        after = marks[at + 1] if at + 1 < len(marks) else None
        end = len(text) if after is None else after.start()
        plain = _plain(text[mark.end() : end])
        if not _LONG.search(plain):
            continue
        lines = [_OTHER.sub("", line) for line in plain.split("\n")]
        stretch = _Stretch(lines, text.count("\n", 0, mark.end()) + 1, name, text)
        if {int(each[2]) for each in (mark, after) if each is not None} != {FORMAT}:
            what = f"the block is of another format than {FORMAT}"
            raise stretch.bad(what, "read it with the release of effband that wrote it")
        if after is None or after[1].upper() != "END":
            raise stretch.bad("the block has no END line", "take the text down to the END line")
        yield stretch


def _plain(text: str) -> str:
    """Return text without tags and entities, in the same lines."""
    for _ in range(4):
        before = text
        text = _TAG.sub(lambda tag: "\n" * tag[0].count("\n"), text)
        if "&" in text:
            text = _ENDLESS.sub(" ", text)
            lines = (html.unescape(line).replace("\n", " ") for line in text.split("\n"))
            text = "\n".join(lines)
        if text == before:
            break
    return text


def _unpacked(stretch: _Stretch) -> Block:
    letters = stretch.letters
    data = []
    for number, at in enumerate(range(0, len(letters), _COLUMNS), 1):
        line = letters[at : at + _COLUMNS]
        if line[-_CHECK:] != _check(line[:-_CHECK], number):
            raise stretch.bad(f"line {number} of the block is damaged", at=at)
        data.append(line[:-_CHECK])
    packed = _inflated("".join(data), stretch)
    files: dict[str, bytes] = {}
    left_out: list[LeftOut] = []
    seen: set[str] = set()
    at = 0
    while at < len(packed):
        head = _HEAD.match(packed, at)
        if head is None:
            raise stretch.bad("what the block carries is not in form")
        name = head[4].decode("utf-8", "backslashreplace")
        _check_name(name, stretch.name)
        if name in seen:
            raise stretch.bad(f"the block carries {name!r} twice")
        seen.add(name)
        at = head.end()
        if head[1] is None:
            left_out.append(LeftOut(name, int(head[2]), head[3].decode()))
            continue
        end = at + int(head[1])
        if packed[end : end + 1] != b"\n":
            raise stretch.bad(f"{name!r} is not as long as the block says")
        files[name] = packed[at:end]
        at = end + 1
        if len(files) > MOST_FILES:
            raise stretch.bad(f"the block carries more than {MOST_FILES} files")
    return Block(files, tuple(left_out))


def _inflated(letters: str, stretch: _Stretch) -> bytes:
    """Return the bytes behind the letters of a block, never more than a block may carry."""
    letters = letters.removesuffix("Z")  # half of a pair, where the end is missing
    if re.search("Z(?![abc])", letters):
        raise stretch.bad("a Z in the block stands alone")
    for letter, spare in reversed(_SPARE):
        letters = letters.replace(spare, letter)
    if len(letters) % 4 == 1:  # fewer bits than a byte has, where the end is missing
        letters = letters[:-1]
    inflating = zlib.decompressobj()
    try:
        packed = base64.b64decode(letters + "=" * (-len(letters) % 4), validate=True)
        data = inflating.decompress(packed, MOST_BYTES + 1)
    except zlib.error:
        raise stretch.bad("what the block carries cannot be inflated") from None
    if len(data) > MOST_BYTES:
        what = f"the block carries more than {MOST_BYTES // 1_000_000} MB"
        raise stretch.bad(what, "do not trust it: no such block was written by effband")
    if not inflating.eof:
        raise stretch.bad("the end of the block is missing", at=max(0, len(stretch.letters) - 1))
    if inflating.unused_data:
        raise stretch.bad("something stands behind the end of what the block carries")
    return data


def _check_name(name: str, where: str) -> None:
    try:
        name_parts(name)
    except BadData as error:
        raise BadBlock(error.what, error.remedy, where) from None
