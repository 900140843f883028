"""The words and numbers that a published text prints, laid beside those that it should print.

What forums, mail and pages do to a text is undone on both sides first: tags, entities, quotes,
dashes, faces, fractions, signs and blanks. Every word that is left is compared, and so every
number, and those signs that no forum takes or adds, unless a file is as it was saved. Only tags
that are known to show nothing are left out; what else looks like one is read as words.
What stands before the first of a report's words and behind its last is somebody's own: counted.
"""

from __future__ import annotations

import bisect
import difflib
import html
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from effband.report.armour import around_blocks

LONGEST = 8_000_000  # characters beside blocks and pictures; the longest report has a tenth
LEAST_SHARE = 0.2  # of a report's words, below which a text does not hold it
MOSTLY = 0.5  # the same, of one more copy
MOST_COPIES = 20  # before one block
MOST_SHOWN = 12  # words of one change
AROUND = 5  # words shown before and behind a change
_FINE = 250_000  # pairs of words that are laid beside each other one by one
_SPLIT = 20  # letters of a word that a forum may have cut

_PICTURE_DATA = re.compile("data:image/png;base64,[A-Za-z0-9+/=]*")
_IMAGE = re.compile(r"<img\b[^<>]*>", re.IGNORECASE)
_ALT = re.compile(r"""\balt=(?:"([^"]*)"|'([^']*)')""", re.IGNORECASE)
_NO_TEXT = re.compile(r"<(style|script)\b[^<>]*>", re.IGNORECASE)
_COMMENT = re.compile("<!--[ a-z]{0,60}-->")
_QUIET = (
    r"""(?:\s+(?:class|href|rel|id|lang|dir|tabindex|scope|open|name|content|charset)"""
    r"""(?:=(?:"[^"<>]{0,400}"|'[^'<>]{0,400}'|[\w./:#-]{1,200}))?){0,6}\s*/?>"""
)
_INLINE = re.compile(
    rf"</?(?:a|abbr|b|bdi|code|em|font|i|mark|small|span|strong|u|wbr){_QUIET}", re.IGNORECASE
)
_TAG = re.compile(
    r"<!doctype html>|</?(?:article|blockquote|body|br|cite|details|dd|div|dl|dt|figcaption|figure"
    r"|h[1-6]|head|hr|html|li|main|meta|ol|p|pre|section|style|summary|table|tbody|td|tfoot|th"
    rf"|thead|title|tr|tt|ul){_QUIET}",
    re.IGNORECASE,
)
_PAGE_META = re.compile(r"""<meta (?:charset|http-equiv|name)="[^<>]{0,200}">""")
_BBCODE = re.compile(
    r"""\[/?(?:b|code|quote)\]|\[quote=["']?[A-Za-z_][\w.-]{0,30}["']?\]""", re.IGNORECASE
)
_LIKE_A_MARK = re.compile(r"</?[A-Za-z!][^<>]*>|&#?[A-Za-z0-9]{1,32};?")
_A_BLANK = re.compile(r"(?:\\?\s)+")
_ANY_BLANK = "(?:\\s|&(?:amp;){0,3}(?:nbsp|#160);)+"
_BLANKS = re.compile(_ANY_BLANK)
_ENDLESS = re.compile("&#[0-9A-Fa-fXx]{9,}")  # no character's number
_KEPT = str.maketrans("<&", "\ue000\ue001")
_CLOSING = re.compile(r"\A[\s>|]*(?:\[/code\]|`{3,})")  # what was opened before a block
_GIVEN_BACK = str.maketrans("\ue000\ue001\ue003", "<&-")
_ONE_KIND = str.maketrans(
    dict.fromkeys('\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b"`', "'")
    | dict.fromkeys("\u2014\ue003", "-")
    | {"\ue000": "<", "\ue001": "&", "\u2026": "..."}
)
_UNEVEN = re.compile(r"[\s>|*=\\]+|(?<=-)-+|'(?=')")
_UNSEEN = re.compile("[\u200b-\u200d\u2060\u00ad\ufeff]")
_FACES = {"\U0001f642": ":)", "\U0001f603": ":D", "\U0001f60e": "8)", "\U0001f606": "XD"}
_PLAIN = str.maketrans(
    {"\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4", "\u00d7": "x", "\u00a9": "(c)"}
    | dict.fromkeys("\u2010\u2011\u2012\u2013\u2212", "-")
    | _FACES
)
_LAUGHING = re.compile(r"(?<!\S)(?:xD|8D)(?!\S)")
_DASHES = re.compile("-{2,}|\u2014")
_PLUS_MINUS = re.compile(r"\+/?-")
_TURNS = "\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c"  # the direction of what is read
_LIFTED = re.compile("[\u00b2\u00b3\u00b9\u2070-\u209c]")  # above or below the line
_ARROWS = (("<->", "\u2194"), ("->", "\u2192"), ("<-", "\u2190"))
# a minus apart from its number; where one is lost it was a bullet or a dash
_LONE_MINUS = re.compile(r"(?<=[\w,])[\s>|]+(?:-{1,2}|[\u2013\u2212\u2014])[\s>|]+(?=[0-9])")
_NUMBER = r"(?:(?<![\w.)\]])-)?[0-9]+(?:[.,][0-9]+)*(?:[eE][-+]?[0-9]+)?(?!\w)"
_SIGNS = rf"~~|[%\u00b0\u00b1+/^<\ue000\ue003\u2190\u2192\u2194{_TURNS}]"
_WORDS = re.compile(rf"{_NUMBER}|\w+|{_SIGNS}")
_ALL = re.compile(rf"{_NUMBER}|\w+|\S")
_DIGIT = re.compile("[0-9]")


@dataclass(frozen=True)
class Change:
    """A place where a text prints something else.

    Attributes
    ----------
    printed, wanted
        What stands there, and what should; empty where nothing does.
    before, behind
        The words around it.
    """

    printed: str
    wanted: str
    before: str
    behind: str


@dataclass(frozen=True)
class Printed:
    """How a text compares with what it should print.

    Attributes
    ----------
    found
        Whether the text holds the report at all.
    numbers, words
        How many of each stand there as they should.
    exact
        Whether it stands there letter for letter.
    changes
        Where something else stands.
    copies
        How often the report stands there.
    before, between, behind
        How many words stand around it that are somebody's own, and how many of them are numbers.
    more
        Whether there are more copies than were looked at.
    """

    found: bool
    numbers: int = 0
    words: int = 0
    exact: bool = False
    changes: tuple[Change, ...] = ()
    copies: int = 1
    before: tuple[int, int] = (0, 0)
    between: tuple[int, int] = (0, 0)
    behind: tuple[int, int] = (0, 0)
    more: bool = False


@dataclass(frozen=True)
class Wanted:
    """A face as it should be, made ready to be compared with texts.

    Attributes
    ----------
    text
        As it was written, without blocks and the data of pictures.
    tokens
        Its words, numbers and signs.
    strict
        Whether every sign counts, as in a file that was saved.
    marked
        Whether the face is written in marks of HTML.
    source
        Whether it is compared as it stands, with its marks.
    kept
        What looks like a mark and is text of the user's.
    """

    text: str
    tokens: tuple[str, ...]
    strict: bool
    marked: bool
    source: bool
    kept: re.Pattern[str] | None


def as_source(text: str) -> Wanted:
    """Return a face that is compared as it stands, such as a file of Markdown that was saved."""
    written = _letters(around_blocks(text)[0])
    return Wanted(written, tuple(_ALL.findall(written)), True, False, True, None)


def as_seen(text: str, marked: bool, strict: bool = False) -> Wanted:
    """Return a face that is compared as a reader sees it.

    Parameters
    ----------
    text
        As it was written.
    marked
        Whether it is written in marks of HTML; Markdown has some as well.
    strict
        Whether every sign counts.
    """
    seen = written = _letters(around_blocks(text)[0])
    if marked:
        seen = _unescaped(_without_tags(seen))
    likes = sorted({*_LIKE_A_MARK.findall(seen)}, key=len, reverse=True)
    patterns = (_A_BLANK.sub(lambda _: _ANY_BLANK, re.escape(like)) for like in likes)
    kept = re.compile("|".join(patterns)) if likes else None
    seen = _smoothed(_keep(seen, kept))
    return Wanted(
        written, tuple((_ALL if strict else _WORDS).findall(seen)), strict, marked, False, kept
    )


def compare(text: str, face: Wanted) -> Printed:
    """Return how a text compares with a face.

    A text may hold the report several times, as where a post is quoted; every one counts.
    """
    whole: list[Printed] = []
    more = False
    own: list[str] = []
    spans: list[tuple[int, int]] = []
    for number, part in enumerate(around_blocks(text)):
        part = _CLOSING.sub("", part) if number else part
        tokens = (_ALL if face.strict else _WORDS).findall(_seen(part, face))
        copies = list(_copies(part, tokens, face))
        more = more or len(copies) == MOST_COPIES
        whole += [each for each, _ in copies]
        spans += [(len(own) + start, len(own) + end) for _, (start, end) in reversed(copies)]
        own += tokens
    if not whole:
        return Printed(False)
    starts, ends = [0, *(end for _, end in spans)], [*(start for start, _ in spans), len(own)]
    gaps = [
        own[start:end]
        for start, end in zip(
            starts, (max(s, e) for s, e in zip(starts, ends, strict=True)), strict=True
        )
    ]
    between = [word for gap in gaps[1:-1] for word in gap]
    return Printed(
        True,
        min(each.numbers for each in whole),
        min(each.words for each in whole),
        all(each.exact for each in whole),
        tuple(change for each in whole for change in each.changes),
        len(whole),
        _counted(gaps[0]),
        _counted(between),
        _counted(gaps[-1]),
        more,
    )


def _counted(words: Sequence[str]) -> tuple[int, int]:
    """Return how many words there are, and how many of them are numbers."""
    known = [word for word in words if word[0].isalnum() or word[1:]]
    return len(known), sum(bool(_DIGIT.search(word)) for word in known)


def best(text: str, faces: Iterable[Wanted]) -> Printed:
    """Return how a text compares with the one of several faces that it is most like."""
    tried = []
    for face in faces:
        tried.append(compare(text, face))
        if tried[-1].found and not tried[-1].changes:
            return tried[-1]
    return min(tried, key=lambda each: (not each.found, len(each.changes), -each.words))


def words_of(text: str) -> list[str]:
    """Return the words and numbers that a reader of a text sees, of whatever face it is."""
    face = Wanted("", (), False, False, False, None)
    return [word for part in around_blocks(text) for word in _WORDS.findall(_seen(part, face))]


def lacking(text: str, lines: Sequence[Sequence[str]]) -> list[str]:
    """Return which of some lines do not stand in a text, word behind word.

    Each line is given in the several ways in which it may be written; the first is returned.
    """
    face = as_seen("\n".join(way for ways in lines for way in ways), marked=False)
    parts = ("\n".join(["", *_WORDS.findall(_seen(p, face)), ""]) for p in around_blocks(text))
    stream = "\n".join(parts)

    def stands(line: str) -> bool:
        sought = _WORDS.findall(_smoothed(_keep(line, face.kept)))
        return "\n".join(["", *sought, ""]) in stream

    return [ways[0] for ways in lines if not any(map(stands, ways))]


def other_lines(text: str, wanted: str, copies: int) -> list[str]:
    """Return which lines of preformatted text do not stand in a text sign for sign.

    Blanks, quoting, stars and the kinds of quotes and dashes do not count.

    Parameters
    ----------
    text
        What was found.
    wanted
        What should stand there.
    copies
        How often.
    """
    likes = as_seen(wanted, marked=False)
    own = "\n".join(_even(_seen(part, likes)) for part in around_blocks(text))
    lines = [_smoothed(_keep(line, likes.kept)) for line in wanted.split("\n")]
    if own.count("".join(map(_even, lines))) >= copies:
        return []
    lost, at = [], 0
    for line in lines:
        where = own.find(_even(line), at)
        if where < 0:
            lost.append(line.translate(_GIVEN_BACK).strip())
        else:
            at = where + len(_even(line))
    return lost or [wanted.strip().split("\n")[0]]


def _even(text: str) -> str:
    return _UNEVEN.sub("", text.translate(_ONE_KIND))


def too_long(text: str) -> bool:
    """Return whether a text is longer than can be compared in reasonable time."""
    return sum(len(_PICTURE_DATA.sub("", part)) for part in around_blocks(text)) > LONGEST


def _letters(text: str) -> str:
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _PICTURE_DATA.sub("", text).strip()


# -- what is seen of a text ------------------------------------------------------------------------


def _seen(text: str, face: Wanted) -> str:
    """Return what a reader sees of a text, whatever forum, mail or page it went through."""
    text = _letters(text)
    if face.source:
        return text
    if not face.marked:
        text = _keep(text, face.kept)
    for _ in range(6):
        before = text
        text = _keep(_unescaped(_without_tags(text)), face.kept)
        if text == before:
            break
    return _smoothed(text)


def _keep(text: str, kept: re.Pattern[str] | None) -> str:
    if kept is None:
        return text
    return kept.sub(lambda like: _BLANKS.sub(" ", like[0]).translate(_KEPT), text)


def _without_tags(text: str) -> str:
    text = "".join(_read(_PICTURE_DATA.sub("", text)))
    text = _IMAGE.sub(lambda tag: f" {_alt(tag[0])} ", _COMMENT.sub("", text))
    return _TAG.sub(" ", _PAGE_META.sub(" ", _INLINE.sub("", text)))


def _read(text: str) -> Iterator[str]:
    """Yield text without the styles and scripts of a page."""
    at, endless = 0, set[str]()
    for opened in _NO_TEXT.finditer(text):
        if opened.start() < at or opened[1] in endless:
            continue
        closed = text.find(f"</{opened[1]}", opened.end())
        if closed < 0:
            endless.add(opened[1])
            continue
        yield text[at : opened.start()]
        at = closed
    yield text[at:]


def _alt(tag: str) -> str:
    found = _ALT.search(tag)
    return "" if found is None else found[1] or found[2] or ""


def _unescaped(text: str) -> str:
    return html.unescape(_ENDLESS.sub(" ", text)) if "&" in text else text


def _smoothed(text: str) -> str:
    """Return text in one of the ways in which the same can be written."""
    for written, arrow in _ARROWS:
        text = text.replace(written, arrow)
    text = _LIFTED.sub(lambda sign: f"_{ord(sign[0]):x}", _UNSEEN.sub("", text)).translate(_PLAIN)
    text = _LONE_MINUS.sub(" \ue003 ", text)
    text = unicodedata.normalize("NFKC", _DASHES.sub(" \u2014 ", _PLUS_MINUS.sub("\u00b1", text)))
    return _LAUGHING.sub("XD", _BBCODE.sub(" ", text))


# -- two sequences of words ------------------------------------------------------------------------


def _copies(
    text: str, own: Sequence[str], face: Wanted
) -> Iterator[tuple[Printed, tuple[int, int]]]:
    """Yield how each copy of the report in a text compares and where it stands, the last first."""
    exact = face.text in _letters(text)
    least = LEAST_SHARE
    for _ in range(MOST_COPIES):
        runs = list(_alike(own, face.tokens))
        same = sum(length for _, _, length in runs)
        if not runs or same < least * len(face.tokens):
            return
        right = (face.tokens[k] for _, at, n in runs for k in range(at, at + n))
        numbers = sum(bool(_DIGIT.search(word)) for word in right)
        changes = tuple(_changes(own, face.tokens, runs))
        where = runs[0][0], runs[-1][0] + runs[-1][2]
        yield Printed(True, numbers, same, exact, changes), where
        # what stands before it may be its writer's own, or a copy in which something was changed
        own = own[: runs[0][0]]
        least = MOSTLY


def _changes(
    own: Sequence[str], should: Sequence[str], runs: Sequence[tuple[int, int, int]]
) -> Iterator[Change]:
    """Yield what stands between the stretches that are alike; own words around are no change."""
    last = (len(own), len(should), 0)
    i = j = 0
    for a, w, length in (*runs, last):
        printed, right = own[i:a], should[j:w]
        if j == 0:
            printed = printed[len(printed) - len(right) :] if right else []
        elif w == len(should) and length == 0:
            printed = printed[: len(right)]
        if (printed or right) and not _cut(printed, right):
            yield Change(
                _shown(printed),
                _shown(right),
                " ".join(should[max(0, j - AROUND) : j]),
                " ".join(should[w : w + AROUND]),
            )
        i, j = a + length, w + length


def _cut(printed: Sequence[str], right: Sequence[str]) -> bool:
    """Return whether words were only cut or joined, as where a forum takes the star in kg*m."""
    if [*right] == ["\ue003"] and not printed:
        return True
    joined = "".join(right)
    if "".join(printed).replace("=", "") != joined:
        return False
    return len(joined) >= _SPLIT or not _DIGIT.search(joined)


def _shown(words: Sequence[str]) -> str:
    words = [word.translate(_GIVEN_BACK) for word in words]
    if len(words) <= MOST_SHOWN:
        return " ".join(words)
    half = MOST_SHOWN // 2
    return " ".join([*words[:half], f"... ({len(words) - MOST_SHOWN} more) ...", *words[-half:]])


def _alike(own: Sequence[str], should: Sequence[str]) -> Iterator[tuple[int, int, int]]:
    """Yield the stretches that are alike: where in the one, where in the other, how long."""
    runs: list[tuple[int, int, int]] = []
    _between(own, should, (0, len(own)), (0, len(should)), (8, 3, 1), runs)
    joined: list[tuple[int, int, int]] = []
    for a, w, length in runs:
        if joined and joined[-1][0] + joined[-1][2] == a and joined[-1][1] + joined[-1][2] == w:
            joined[-1] = (*joined[-1][:2], joined[-1][2] + length)
        else:
            joined.append((a, w, length))
    yield from joined


def _between(
    own: Sequence[str],
    should: Sequence[str],
    at: tuple[int, int],
    of: tuple[int, int],
    sizes: Sequence[int],
    runs: list[tuple[int, int, int]],
) -> None:
    """Add the stretches that are alike in a part of each, by what stands once in both.

    `sizes` are the numbers of words by which a place is known, the surest first.
    """
    (a0, a1), (w0, w1) = at, of
    if w0 == w1:
        return
    if w0 == 0 and sizes and sizes[0] < 8:  # somebody's own words before and behind
        a0 = max(a0, a1 - 2 * (w1 - w0) - 50)
    if w1 == len(should) and sizes and sizes[0] < 8:
        a1 = min(a1, a0 + 2 * (w1 - w0) + 50)
    if a0 == a1:
        return
    if not sizes or (a1 - a0) * (w1 - w0) <= _FINE // 100:
        if (a1 - a0) * (w1 - w0) <= _FINE:
            runs.extend(_fine(own, should, (a0, a1), (w0, w1)))
        return
    i, j = a0, w0
    for a, w in _pinned(own, should, (a0, a1), (w0, w1), sizes[0]):
        if a < i or w < j:
            continue  # within the stretch before
        start = 0
        while a - start > i and w - start > j and own[a - start - 1] == should[w - start - 1]:
            start += 1
        end = 0
        while a + end < a1 and w + end < w1 and own[a + end] == should[w + end]:
            end += 1
        _between(own, should, (i, a - start), (j, w - start), sizes[1:], runs)
        runs.append((a - start, w - start, start + end))
        i, j = a + end, w + end
    _between(own, should, (i, a1), (j, w1), sizes[1:], runs)


def _fine(
    own: Sequence[str], should: Sequence[str], at: tuple[int, int], of: tuple[int, int]
) -> Iterator[tuple[int, int, int]]:
    """Yield what is alike word by word; before the report's first words the nearest counts."""
    some, others = own[slice(*at)], should[slice(*of)]
    back = of[0] == 0
    if back:
        some, others = some[::-1], others[::-1]
    matcher = difflib.SequenceMatcher(None, some, others, autojunk=False)
    found = [block for block in matcher.get_matching_blocks() if block.size]
    if not back:
        yield from ((at[0] + each.a, of[0] + each.b, each.size) for each in found)
        return
    for each in reversed(found):
        yield at[1] - each.a - each.size, of[1] - each.b - each.size, each.size


def _pinned(
    own: Sequence[str], should: Sequence[str], at: tuple[int, int], of: tuple[int, int], size: int
) -> list[tuple[int, int]]:
    """Return places of words that are rare enough to tell them, in one order in both (patience).

    Such words stand once in what should be there; of several places in the text the last counts.
    """
    here = {tuple(own[k : k + size]): k for k in range(at[0], at[1] - size + 1)}
    there = _once(should, of, size)
    pairs = sorted((here[key], w) for key, w in there.items() if key in here)
    # the longest chain that rises in both
    ends: list[int] = []
    piles: list[int] = []
    back: list[int] = []
    for k, (_, w) in enumerate(pairs):
        pile = bisect.bisect_left(ends, w)
        back.append(piles[pile - 1] if pile else -1)
        if pile == len(ends):
            ends.append(w)
            piles.append(k)
        else:
            ends[pile], piles[pile] = w, k
    chain = []
    k = piles[-1] if piles else -1
    while k >= 0:
        chain.append(pairs[k])
        k = back[k]
    return chain[::-1]


def _once(words: Sequence[str], within: tuple[int, int], size: int) -> dict[tuple[str, ...], int]:
    """Return where each run of so many words stands that stands there once."""
    found: dict[tuple[str, ...], int] = {}
    for k in range(within[0], within[1] - size + 1):
        key = tuple(words[k : k + size])
        found[key] = -1 if key in found else k
    return {key: k for key, k in found.items() if k >= 0}
