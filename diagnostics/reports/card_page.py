"""The values card as a page of at most 80 columns, as JSON, and as a page to print."""

import textwrap
from collections.abc import Sequence
from datetime import date
from typing import Any

from diagnostics.units import OVER, format_quantity
from diagnostics.wiring import Loop, Site, build_loop

from .card import Amount, Card, CardPair, CardRow, EndResistor, PathRow, build_card
from .learn import tell_panel
from .objects import round_number
from .page import Markup, put, put_typed, render_facts, render_page, render_table, tag, tell_page
from .word_table import Region
from .words import Words, format_wait

WIDTH = 80
_COLUMNS = (24, 18, 24, 12)
_PATH = (27, 17, 17, 17)
_MOST_SHARE = 0.9  # of a value: beyond it a range says more than ±
Object = dict[str, Any]


class _Told:
    """The words of one card for one region."""

    def __init__(self, card: Card, words: Words, region: Region) -> None:
        self.card, self.words, self.region = card, words, region

    def phrase(self, key: str, **told: str) -> str:
        return tell_page("card", key, self.region, **told)

    def pair(self, red: str, black: str) -> str:
        """Return two terminals; what both are of is said once."""
        one, two = self._terminal(red), self._terminal(black)
        first, _, owner = one.partition(" of ")
        return f"{first} to {two}" if owner and two.endswith(f" of {owner}") else f"{one} to {two}"

    def _terminal(self, name: str) -> str:
        """Return a terminal by the number of its detector; rooms would break the columns."""
        detector = self.words.loop.find_detector(name.partition(".")[0])
        told = self.words.terminal(name)
        return told.replace(f" ({detector.label})", "") if detector and detector.label else told

    def row(self, row: CardRow) -> tuple[str, str, str, str]:
        detector = row.mode.partition(":")[2]
        name = self.words.detector(detector).partition(" (")[0] if detector else ""
        shows = self.words.answer(row.state) if row.state else ""
        told = self.phrase(row.condition, first=name, last=name)
        return told, _tell(row.volts), _tell_both(row.ohms), shows

    def path(self, row: PathRow) -> tuple[str, str, str, str]:
        return self.pair(row.red, row.black), _tell(row.standby), _tell(row.during_reset), _tell(row.alarm)

    def end(self, end: EndResistor) -> str:
        place = self.words.place(end.place)
        if end.detector:
            place = self.phrase("end_at", place=place, number=end.detector.removeprefix("det"))
        spread = 2 * end.spread_percent / 100 * end.resistance_ohm
        value, spread_told = (format_quantity(v, "ohm", d) for v, d in ((end.resistance_ohm, 3), (spread, 2)))
        return self.phrase("end", value=value, spread=spread_told, place=place)

    def waits(self) -> list[tuple[str, str]]:
        return [(self.phrase(key), self.phrase("within", time=format_wait(s))) for key, s in self.card.settling]

    def how_ohms(self, pair: CardPair) -> str:
        if not any(row.ohms for row in pair.rows):
            return self.phrase("lifted_not")
        return self.phrase("ohms_how", how=self.phrase(pair.lifted))

    def pair_title(self, pair: CardPair) -> str:
        told = self.pair(pair.red, pair.black)
        return told if pair.zone else f"{told} ({self.phrase('module')})"

    def last(self) -> str:
        return f"detector {self.words.loop.chains[-1].last.name.removeprefix('det')}"


def _tell(amount: Amount) -> str:
    value = format_quantity(amount.value, amount.unit, 4 if amount.unit == "V" else 3)
    if amount.value == OVER:
        return value
    if amount.unit == "ohm" and 2 * amount.sd > _MOST_SHARE * amount.value:  # below zero there are no ohms
        return f"up to {format_quantity(amount.value + 2 * amount.sd, amount.unit, 2)}"
    return f"{value} ± {format_quantity(2 * amount.sd, amount.unit, 2)}"


def _tell_both(ohms: Sequence[Amount]) -> str:
    """Return ohms of both polarities: one value where both say the same, one error where both have the same unit."""
    told = list(dict.fromkeys(_tell(a) for a in ohms))
    if len(told) < 2:
        return "".join(told)
    (one, _, _), (two, _, error) = (text.partition(" ± ") for text in told)
    if not error or one.split()[-1] != two.split()[-1]:
        return " / ".join(told)
    return f"{one.split()[0]} / {two} ± {format_quantity(2 * max(a.sd for a in ohms), 'ohm', 2)}"


def _build_told(loop: Loop, region: Region) -> _Told:
    return _Told(build_card(loop), Words(loop, "technician", region), region)


def render_card_text(loop: Loop, region: Region = "north_america") -> str:
    """Return the values card as plain text, no line longer than 80 columns."""
    told = _build_told(loop, region)
    lines = [*_wrap(f"{told.phrase('title')}: {told.card.name}"), "", *_wrap(" ".join(_list_notes(told)))]
    heads = [told.phrase(key) for key in ("condition", "volts", "ohms", "shows")]
    for pair in told.card.pairs:
        lines += ["", *_wrap(told.pair_title(pair).upper()), *_lay(_COLUMNS, heads)]
        lines += [line for row in pair.rows for line in _lay(_COLUMNS, told.row(row))]
        lines += _wrap(told.how_ohms(pair), "  ")
    path_heads = [told.phrase(key, last=told.last()) for key in ("volts", "standby", "during_reset", "in_alarm")]
    lines += ["", _path_title(told).upper(), *_lay(_PATH, path_heads)]
    lines += [line for row in told.card.path for line in _lay(_PATH, told.path(row))]
    lines += ["", told.phrase("ends").upper(), *(line for end in told.card.ends for line in _wrap(told.end(end), "  "))]
    lines += ["", told.phrase("settling").upper(), *(line for wait in told.waits() for line in _lay((46, 30), wait))]
    return "\n".join([*lines, "", *_wrap(tell_page("page", "outranked", region))]) + "\n"


def _list_notes(told: _Told, made: date | None = None) -> list[str]:
    """Return what the values rest on: computed, a panel that may be assumed, and of when."""
    when = told.phrase("made", date=made.isoformat()) if made else ""
    return [note for note in (told.phrase("how"), tell_panel(told.words.loop.site), when) if note]


def _path_title(told: _Told) -> str:
    zone_fed = not any(row.red.startswith("panel.") for row in told.card.path)
    return told.phrase("path_zone" if zone_fed else "path")


def _wrap(text: str, indent: str = "") -> list[str]:
    plain = " ".join(text.split())
    return textwrap.wrap(plain, WIDTH, initial_indent=indent, subsequent_indent=indent) or [""]


def _lay(widths: Sequence[int], cells: Sequence[str]) -> list[str]:
    """Return cells side by side, each wrapped in its own column of so many characters."""
    parts = [textwrap.wrap(cell, width - 1) or [""] for cell, width in zip(cells, widths, strict=True)]
    count = max(len(part) for part in parts)
    filled = [[*part, *[""] * (count - len(part))] for part in parts]
    return [
        "  " + "".join(f"{part[n]:{w}}" for part, w in zip(filled, widths, strict=True)).rstrip() for n in range(count)
    ]


def render_card(site: Site | Loop, region: Region = "north_america", made: date | None = None) -> str:
    """Return the values card as one self-contained HTML page for A4 or letter paper; ``made`` is its date.

    Raises
    ------
    SiteError
        The site cannot be wired.
    """
    told = _build_told(site if isinstance(site, Loop) else build_loop(site), region)
    title = told.phrase("title")
    parts = [
        tag("h1", put(title)),
        tag("p", tag("strong", put_typed(told.card.name))),
        tag("p", put(" ".join(_list_notes(told, made)))),
    ]
    pairs = [_render_pair(told, pair) for pair in told.card.pairs]
    kind = "two" if len(pairs) > 1 else "one"
    return render_page(
        f"{title}: {told.card.name}", *parts, tag("div", *pairs, class_=kind), *_render_rest(told), tight=True
    )


def _render_pair(told: _Told, pair: CardPair) -> Markup:
    heads = [told.phrase(key) for key in ("condition", "volts", "ohms", "shows")]
    rows = [told.row(row) for row in pair.rows]
    said = [n for n, _ in enumerate(heads) if any(row[n] for row in rows)]
    table = render_table([heads[n] for n in said], [[put(row[n]) for n in said] for row in rows])
    how = tag("p", put(told.how_ohms(pair)), class_="small")
    return tag("section", tag("h2", put(told.pair_title(pair))), table, how)


def _render_rest(told: _Told) -> list[Markup]:
    path_heads = [told.phrase(key, last=told.last()) for key in ("volts", "standby", "during_reset", "in_alarm")]
    return [
        tag("h2", put(_path_title(told))),
        render_table(path_heads, [[put(cell) for cell in told.path(row)] for row in told.card.path]),
        tag("div", _render_ends(told), _render_waits(told), class_="two"),
        tag("p", put(tell_page("page", "outranked", told.region)), class_="small"),
    ]


def _render_ends(told: _Told) -> Markup:
    return tag("section", tag("h2", put(told.phrase("ends"))), *(tag("p", put(told.end(e))) for e in told.card.ends))


def _render_waits(told: _Told) -> Markup:
    facts = render_facts((what, put(time)) for what, time in told.waits())
    return tag("section", tag("h2", put(told.phrase("settling"))), facts)


def build_card_object(loop: Loop) -> Object:
    """Return the values card as a JSON object."""
    card = build_card(loop)
    return {
        "format": "ohmward-card/1",
        "site": card.name,
        "pairs": [_build_pair(pair) for pair in card.pairs],
        "path": [
            {
                "red": row.red,
                "black": row.black,
                "standby": _build_amount(row.standby),
                "during_reset": _build_amount(row.during_reset),
                "alarm": _build_amount(row.alarm),
            }
            for row in card.path
        ],
        "end_resistors": [
            {
                "place": end.place,
                "detector": end.detector or None,
                "value": round_number(end.resistance_ohm),
                "sd": round_number(end.spread_percent / 100 * end.resistance_ohm, 6),
                "unit": "ohm",
            }
            for end in card.ends
        ],
        "settling": [{"after": what, "seconds": seconds} for what, seconds in card.settling],
    }


def _build_pair(pair: CardPair) -> Object:
    rows = [
        {
            "means": row.condition,
            "fault": row.fault or "healthy",
            "mode": row.mode,
            "volts": _build_amount(row.volts),
            "ohms": [_build_amount(a) for a in row.ohms],
            "panel": row.state,
        }
        for row in pair.rows
    ]
    where = {"red": pair.red, "black": pair.black, "zone": pair.zone or None, "ohms_mode": pair.lifted}
    return {**where, "rows": rows}


def _build_amount(amount: Amount) -> Object:
    return {"value": round_number(amount.value), "sd": round_number(amount.sd, 6), "unit": amount.unit}
