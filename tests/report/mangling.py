"""What forums, pages and e-mail do to a text, for the tests of whatever must outlive them."""

from __future__ import annotations

import html
import random
import re
from collections.abc import Callable

Mangling = Callable[[str, random.Random], str]


def smart_quotes(text: str, rng: random.Random) -> str:
    text = re.sub(r'(^|\s)"', "\\1\u201c", text).replace('"', "\u201d")
    return text.replace("'", "\u2019")


def dashes(text: str, rng: random.Random) -> str:
    return text.replace("--", "\u2014").replace(" - ", " \u2013 ").replace("...", "\u2026")


def emoji(text: str, rng: random.Random) -> str:
    faces = {":)": "\U0001f642", ":D": "\U0001f603", "8)": "\U0001f60e", "(c)": "\u00a9"}
    for letters, face in faces.items():
        text = text.replace(letters, face)
    return re.sub(r"(?<!\S)(XD|xD|8D)(?!\S)", "\U0001f606", text)


def fractions(text: str, rng: random.Random) -> str:
    text = re.sub(r"\b(\d+)x(\d+)\b", "\\1\u00d7\\2", text)
    return re.sub(r"\b1/2\b", "\u00bd", text).replace("+-", "\u00b1")


def links(text: str, rng: random.Random) -> str:
    text = re.sub(r"(https?://\S+)", r'<a href="\1">\1</a>', text)
    return re.sub(r"@(\w+)", r'<a class="mention">@\1</a>', text)


def collapsed(text: str, rng: random.Random) -> str:
    return re.sub(r"[ \t]+", " ", text)


def on_one_line(text: str, rng: random.Random) -> str:
    return re.sub(r"\s+", " ", text)


def stripped(text: str, rng: random.Random) -> str:
    return "\n".join(line.strip() for line in text.split("\n"))


def trailing(text: str, rng: random.Random) -> str:
    return "\n".join(line + " " * rng.randrange(3) for line in text.split("\n"))


def tabs(text: str, rng: random.Random) -> str:
    return "\n".join("\t" * rng.randrange(3) + line for line in text.split("\n"))


def blank_lines(text: str, rng: random.Random) -> str:
    return "\n".join(line + "\n" * rng.randrange(3) for line in text.split("\n"))


def quoted(text: str, rng: random.Random) -> str:
    mark = rng.choice(["> ", ">> ", "| ", ">"])
    return "\n".join(mark + line for line in text.split("\n"))


def crlf(text: str, rng: random.Random) -> str:
    return text.replace("\n", rng.choice(["\r\n", "\r"]))


def escaped(text: str, rng: random.Random) -> str:
    return html.escape(text)


def page(text: str, rng: random.Random) -> str:
    lines = "<br>\n".join(html.escape(line) for line in text.split("\n"))
    return f'<div class="post"><p style="color: red">{lines}</p></div>'


def hard_blanks(text: str, rng: random.Random) -> str:
    return text.replace(" ", rng.choice(["\u00a0", "&nbsp;", "&#160;", "  "]))


def invisible(text: str, rng: random.Random) -> str:
    return re.sub(r"([A-Za-z0-9]{40})", "\\1" + rng.choice(["\u200b", "\u00ad", "<wbr>"]), text)


def wrapped(text: str, rng: random.Random) -> str:
    width = rng.randrange(20, 64)
    end = rng.choice(["\n", "=\n", " \n"])
    return re.sub(rf"([A-Za-z0-9]{{{width}}})(?=[A-Za-z0-9])", "\\1" + end, text)


def no_final_line_end(text: str, rng: random.Random) -> str:
    return text.rstrip("\n")


def fenced(text: str, rng: random.Random) -> str:
    return f"[code]\n{text}\n[/code]" if rng.random() < 0.5 else f"```\n{text}\n```"


MANGLINGS: tuple[Mangling, ...] = (
    smart_quotes,
    dashes,
    emoji,
    fractions,
    links,
    collapsed,
    on_one_line,
    stripped,
    trailing,
    tabs,
    blank_lines,
    quoted,
    crlf,
    escaped,
    page,
    hard_blanks,
    invisible,
    wrapped,
    no_final_line_end,
    fenced,
)


def mangled(text: str, seed: int) -> str:
    rng = random.Random(seed)
    for mangling in rng.sample(MANGLINGS, rng.randrange(3, 8)):
        text = mangling(text, rng)
    return text
