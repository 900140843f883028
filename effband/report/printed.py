"""The words and numbers that a published text prints, laid beside those that it should print.

What forums, mail and pages do to a text is undone on both sides first: tags, entities, quotes,
dashes, faces, fractions, signs and blanks. Every word that is left is compared, and so every
number; of signs only `%`, the degree and the sign of a number, unless a file is as it was saved.
What stands before the first of a report's words and behind its last is somebody's own.
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
ENOUGH = 0.98  # of a face's words, from which no other is tried
MOST_SHOWN = 12  # words of one change
AROUND = 5  # words shown before and behind a change
_FINE = 250_000  # pairs of words that are laid beside each other one by one
_SPLIT = 20  # letters of a word that a forum may have cut

_PICTURE_DATA = re.compile("data:image/png;base64,[A-Za-z0-9+/=]*")
_IMAGE = re.compile(r"<img\b[^<>]*>", re.IGNORECASE)
_ALT = re.compile(r"""\balt=(?:"([^"]*)"|'([^']*)')""", re.IGNORECASE)
_NO_TEXT = re.compile(r"<(style|script)\b[^<>]*>", re.IGNORECASE)
_COMMENT = re.compile("<!--[ a-z]{0,60}-->")
_INLINE = re.compile(
    r"</?(?:a|abbr|b|bdi|code|del|em|font|i|ins|mark|s|small|span|strong|u|wbr)(?=[\s/>])[^<>]*>",
    re.IGNORECASE,
)
_TAG = re.compile(r"</?[A-Za-z!][^<>]*>")
_BBCODE = re.compile(r"\[/?(?:b|code|quote)\]|\[quote=[^\]\n]{0,80}\]", re.IGNORECASE)
_LIKE_A_MARK = re.compile(r"</?[A-Za-z!][^<>]*>|&#?[A-Za-z0-9]{1,32};?")
_A_BLANK = re.compile(r"(?:\\?\s)+")
_ANY_BLANK = "(?:\\s|&(?:amp;){0,3}(?:nbsp|#160);)+"
_BLANKS = re.compile(_ANY_BLANK)
_ENDLESS = re.compile("&#[0-9A-Fa-fXx]{9,}")  # no character's number
_KEPT = str.maketrans("<&", "\ue000\ue001")
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
_NUMBER = r"(?:(?<![\w.)\]])-)?[0-9]+(?:[.,][0-9]+)*(?:[eE][-+]?[0-9]+)?(?!\w)"
_WORDS = re.compile(rf"{_NUMBER}|\w+|[%\u00b0]")
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
    """

    found: bool
    numbers: int = 0
    words: int = 0
    exact: bool = False
    changes: tuple[Change, ...] = ()


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
    whole = [each for part in around_blocks(text) for each in _copies(part, face)]
    if not whole:
        return Printed(False)
    return Printed(
        True,
        min(each.numbers for each in whole),
        min(each.words for each in whole),
        all(each.exact for each in whole),
        tuple(change for each in whole for change in each.changes),
    )


def best(text: str, faces: Iterable[Wanted]) -> Printed:
    """Return how a text compares with the one of several faces that it is most like."""
    tried = []
    for face in faces:
        tried.append(compare(text, face))
        if tried[-1].found and tried[-1].words >= ENOUGH * len(face.tokens):
            return tried[-1]
    return min(tried, key=lambda each: (not each.found, len(each.changes), -each.words))


def words_of(text: str) -> list[str]:
    """Return the words and numbers that a reader of a text sees, of whatever face it is."""
    face = Wanted("", (), False, False, False, None)
    return [word for part in around_blocks(text) for word in _WORDS.findall(_seen(part, face))]


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
    return _TAG.sub(" ", _INLINE.sub("", text))


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
    text = _UNSEEN.sub("", text).translate(_PLAIN)
    text = unicodedata.normalize("NFKC", _DASHES.sub(" \u2014 ", _PLUS_MINUS.sub("\u00b1", text)))
    return _LAUGHING.sub("XD", _BBCODE.sub(" ", text))


# -- two sequences of words ------------------------------------------------------------------------


def _copies(text: str, face: Wanted) -> Iterator[Printed]:
    """Yield how each copy of the report in a text compares, the last first."""
    own = (_ALL if face.strict else _WORDS).findall(_seen(text, face))
    exact = face.text in _letters(text)
    least = LEAST_SHARE
    for _ in range(MOST_COPIES):
        runs = list(_alike(own, face.tokens))
        same = sum(length for _, _, length in runs)
        if not runs or same < least * len(face.tokens):
            return
        right = (face.tokens[k] for _, at, n in runs for k in range(at, at + n))
        numbers = sum(bool(_DIGIT.search(word)) for word in right)
        yield Printed(True, numbers, same, exact, tuple(_changes(own, face.tokens, runs)))
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
    joined = "".join(right)
    if "".join(printed).replace("=", "") != joined:
        return False
    return len(joined) >= _SPLIT or not _DIGIT.search(joined)


def _shown(words: Sequence[str]) -> str:
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
