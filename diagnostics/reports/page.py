"""One printable page: words of their own, HTML built so that what a person typed can never be more than text."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from functools import cache
from html import escape
from pathlib import Path
from typing import Literal, NewType

from pydantic import BaseModel, ConfigDict

from diagnostics.source import parse_model, read_file

from .word_table import Region, localize, read_words

_FILE = Path(__file__).with_name("pages.yaml")
Markup = NewType("Markup", str)
Part = Literal["page", "record", "impairment", "card"]
# Controls that HTML forbids, halves of characters, and marks that turn the direction of what stands behind them.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]")
_STYLE = """
@page { margin: 12mm }
* { box-sizing: border-box }
body { font: 10pt/1.35 system-ui, sans-serif; color: #111; background: #fff; max-width: 186mm; margin: 0 auto;
  padding: 4mm 2mm; overflow-wrap: anywhere }
h1 { font-size: 17pt; margin: 0 0 1mm }
h2 { font-size: 11.5pt; margin: 4mm 0 1mm; border-bottom: 1px solid #777; break-after: avoid }
p, ul, dl { margin: 1mm 0 }
table { border-collapse: collapse; width: 100%; margin: 1mm 0 }
th, td { border: 1px solid #999; padding: .6mm 1.4mm; text-align: left; vertical-align: top; overflow-wrap: break-word }
th { background: #eee }
tr { break-inside: avoid }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .4mm 4mm }
dt { font-weight: 600 }
dd { margin: 0 }
.box { border: 2px solid #111; padding: 2mm 3mm; margin: 3mm 0; break-inside: avoid }
.small { font-size: 8.5pt }
.tight { font-size: 8.5pt; line-height: 1.2 }
.tight th, .tight td { padding: .4mm 1mm }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 0 5mm }
.two section { min-width: 0; break-inside: avoid }
@media (max-width: 140mm) { .two { grid-template-columns: 1fr } }
@media screen and (max-width: 140mm) { table { display: block; overflow-x: auto } }
.tight h2 { margin: 2.4mm 0 .6mm }
.day { white-space: nowrap }
.line { border-bottom: 1px solid #111; height: 9mm }
"""
_BARE = ("br", "meta")


class _Pages(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["ohmward-pages/1"]
    page: dict[str, str]
    record: dict[str, str]
    impairment: dict[str, str]
    card: dict[str, str]


@cache
def read_pages() -> _Pages:
    """Return the words of printed pages that ship with the package."""
    return parse_model(read_file(_FILE), _Pages)


def tell_page(part: Part, key: str, region: Region = "north_america", **told: str) -> str:
    """Return a sentence of a page with its facts filled in; raises KeyError for a key that is not there."""
    words: Mapping[str, str] = getattr(read_pages(), part)
    return localize(words[key], region).format(**read_words(region).regions[region], **told)


def tell_moment(moment: datetime | None, zone: tzinfo = UTC, region: Region = "north_america") -> str:
    """Return a moment with the clock it is told by: ``2026-03-14 10:42 UTC``, ``2026-03-14 05:42 EST (UTC-05:00)``."""
    if moment is None:
        return tell_page("page", "not_noted", region)
    here = moment.astimezone(zone)
    told = here.strftime("%Y-%m-%d %H:%M %Z").strip()
    offset = here.strftime("%z")
    return f"{told} (UTC{offset[:3]}:{offset[3:5]})" if here.utcoffset() else told


def put(text: object) -> Markup:
    """Return what is only text, whatever it holds; line ends become breaks, what cannot be printed a mark."""
    plain = _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", str(text))
    return Markup("<br>".join(escape(line) for line in plain.replace("\r", "").split("\n")))


def put_typed(text: object) -> Markup:
    """Return text that a person typed, its direction kept from what stands beside it."""
    return tag("bdi", put(text)) if str(text) else Markup("")


def tag(element: str, /, *inside: Markup, **attributes: str) -> Markup:
    """Return an element; attribute values are text as well, ``class_`` stands for ``class``."""
    told = "".join(f' {key.rstrip("_")}="{escape(value)}"' for key, value in attributes.items())
    start = f"<{element}{told}>"
    return Markup(start if element in _BARE else f"{start}{''.join(inside)}</{element}>")


def join(parts: Iterable[Markup]) -> Markup:
    """Return parts one after the other."""
    return Markup("\n".join(parts))


def render_table(heads: Sequence[str], rows: Iterable[Sequence[Markup]]) -> Markup:
    """Return a table with one line of heads."""
    top = tag("tr", *(tag("th", put(head), scope="col") for head in heads))
    return tag("table", tag("thead", top), tag("tbody", *(tag("tr", *(tag("td", c) for c in row)) for row in rows)))


def render_facts(pairs: Iterable[tuple[str, Markup]]) -> Markup:
    """Return names with what they are, one a line."""
    return tag("dl", *(join((tag("dt", put(name)), tag("dd", value))) for name, value in pairs if value))


def render_list(items: Iterable[Markup]) -> Markup:
    """Return a list."""
    return tag("ul", *(tag("li", item) for item in items))


def render_page(title: str, *body: Markup, tight: bool = False) -> str:
    """Return a whole page that asks nothing of any other computer."""
    safe = "default-src 'none'; style-src 'unsafe-inline'"
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{safe}">'),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", put(title)),
        Markup(f"<style>{_STYLE}</style>"),
    )
    inside = tag("body", Markup("\n"), join(body), class_="tight") if tight else tag("body", Markup("\n"), join(body))
    return f"<!doctype html>\n{tag('html', head, inside, lang='en')}\n"
