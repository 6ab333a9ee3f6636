"""Pictures of a loop as SVG text: pure functions of what they show, readable on a phone, in light and in dark.

A picture has a ground of its own, so that it can be read on whatever it lies; shade, symbol and percentage say the same
thing thrice.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from textwrap import wrap

from diagnostics.readings import Measurement, find_leads
from diagnostics.wiring import Chain, Detector, Loop

from .shares import SOMEWHERE, UNPLACED
from .strokes import (
    BOTTOM,
    CORNER,
    OUTLINE,
    TOP,
    TWO_WIRE,
    draw_box,
    draw_line,
    draw_rect,
    draw_resistor,
    draw_text,
    find_lines,
    find_size,
    shift,
    write_svg,
)
from .words import Words, format_percent, say

LEAST_SHARE = 0.03
_QUIET_SHARE = 0.15  # of a whole loop beside others: below it one box is enough
LONGEST_WHOLE = 24  # detectors; longer loops are folded, so that a phone shows them in a few rows
_MOST_TOLD = 6  # boxes that the text beside the picture names
_STRETCHES, _MOST_APART = 8, 4  # stretches that a folded loop is cut into, and suspects that stay boxes of their own
_PER_ROW, _WIDE = 3, 120
_MARGIN = 8  # px at the right, for a lead on the last box of a row
_RUN, _BOX = 50, 62  # px of the run before a box, and of the box
_ROUND = 22  # px by which the corners of what has no place are rounded
_SHADE, _DEEPEST = "#e07b00", 0.6  # deeper shades would swallow the letters on them
_LONGEST_LABEL, _LABEL_LINES = 13, 2  # signs in a line under a box, and lines
_LABEL_Y, _LINE_HIGH = 103, 14  # px from the top of a row to the first line under a box, and from line to line
_ABOVE, _BELOW = 12, 6  # px that stay free over a box that nothing stands over, and under the last line of a row
_END = {False: "picture_end", True: "picture_back"}


@dataclass(frozen=True, slots=True)
class _Cell:
    """One box of the chain: its spot, the spot of the run that leads to it (or ""), its big and its small text.

    ``lines`` are the conductors, px from the top of its row; ``begins`` where nothing leads to it, ``ends`` where
    nothing goes on. ``holds`` are the detectors of a stretch that is folded into one box; empty for a box of its own.
    ``is_apart`` is no place along the wiring at all: a detector that nobody has found yet.
    """

    spot: str
    run: str
    big: str
    small: str
    lines: tuple[int, ...] = TWO_WIRE
    begins: bool = False
    ends: bool = False
    holds: tuple[str, ...] = ()
    is_zone: bool = False
    is_apart: bool = False


def render_loop(loop: Loop, shares: Mapping[str, float], next_: Measurement | None, *, dark: bool) -> str:
    """Return the loop as SVG: panel, runs, detectors, end resistor; suspects; where the leads go next.

    ``shares`` are probabilities by spot, as ``find_shares`` gives them. The chain is wrapped in rows of three; in a
    long loop neighbours that nothing marks out are folded into one box with their range and their summed share.
    ``describe_picture`` says the same in words.
    """
    cells = _list_cells(loop, shares, next_)
    summed = _sum_shares(loop, shares, cells)
    leads, framed = _find_next(cells, loop, next_)
    places, high = _place(cells, summed, framed)
    drawn = [_draw_cell(place, cell, summed) for place, cell in zip(places, cells, strict=True)]
    drawn += [_draw_frame(places[n], cells[n]) for n in framed]
    drawn += [_draw_lead(places[n], x, y, lead) for (n, x, y), lead in leads]
    return write_svg((_WIDE * _PER_ROW + _MARGIN, high), drawn, dark=dark)


def describe_picture(loop: Loop, shares: Mapping[str, float], next_: Measurement | None, words: Words) -> str:
    """Return what the picture shows, box by box with the same shares, for those who cannot see it."""
    cells = _list_cells(loop, shares, next_)
    summed = sorted(_sum_shares(loop, shares, cells).items(), key=lambda item: -item[1])
    named = {c.spot: _name_cell(c, words) for c in cells} | {c.run: words.spot(c.run) for c in cells if c.run}
    some = [f"{named[spot]} {format_percent(p)}" for spot, p in summed if p >= LEAST_SHARE and spot in named]
    return say(
        "picture_alt",
        count=str(len(loop.detectors)),
        suspects=", ".join(some[:_MOST_TOLD]) or say("picture_none"),
        next="-" if next_ is None else words.name(next_),
    )


def _name_cell(cell: _Cell, words: Words) -> str:
    if cell.holds and not cell.is_zone:
        first, last = (spot.removeprefix("det") for spot in (cell.holds[0], cell.holds[-1]))
        return say("picture_stretch", first=first, last=last)
    return words.spot(UNPLACED if cell.is_apart else cell.spot)


def _list_cells(loop: Loop, shares: Mapping[str, float], next_: Measurement | None) -> list[_Cell]:
    """Return the boxes of one loop after the other; that of the panel stands first, a zone's before its own loop."""
    several = len(loop.chains) > 1
    lines = find_lines((loop.fed or loop.chains)[0].spec.style)
    has_relay = any(r.name == "reset" for r in loop.relays)
    cells = [_Cell("panel", "", say("picture_panel"), "", lines, begins=True, ends=several and not has_relay)]
    if has_relay:
        cells.append(_Cell("reset", "", "R", say("picture_reset"), lines, ends=several))
    apart = _find_apart(loop, shares, next_)
    pointed = _find_pointed(loop, next_)
    usual = partial(_fold, apart=apart) if len(loop.detectors) > LONGEST_WHOLE else list[_Cell]
    quiet = [c for c in loop.chains if several and pointed.isdisjoint(_list_spots(c)) and _is_quiet(loop, c, shares)]
    for chain in loop.chains:
        folds = chain in quiet and len(quiet) < len(loop.chains)
        cells += [_fold_chain(chain)] if folds else _list_chain(chain, usual, several=several)
    if sum(share for spots, share in shares.items() if SOMEWHERE in _split(spots)) >= LEAST_SHARE:
        cells.append(_Cell(SOMEWHERE, "", "?", say("picture_somewhere"), begins=True, ends=True, is_apart=True))
    return cells


def _split(spots: str) -> list[str]:
    """Return the spots of an entry of shares: one, or those of several faults at once."""
    return spots.split(" + ")


def _find_pointed(loop: Loop, next_: Measurement | None) -> set[str]:
    """Return the places that the next step leads to, zones and the end of a loop that is walked along among them."""
    if next_ is None:
        return set()
    leads = find_leads(next_, loop) if next_.red else ()
    walked = loop.find_chain(next_.place) if next_.place != "panel" else None
    touched = [part.rstrip("+-") for lead in leads for part in lead.split(".")]
    return {next_.at, next_.place, *touched, *([walked.end] if walked else [])}


def _is_quiet(loop: Loop, chain: Chain, shares: Mapping[str, float]) -> bool:
    """Return whether hardly a suspect is in this loop, all of its places together."""
    inside = {name for spot in _list_spots(chain) for name in (spot, f"run {spot}")}
    return (
        sum(share for key, share in shares.items() if any(find_cell(spot, loop) in inside for spot in _split(key)))
        < _QUIET_SHARE
    )


def _list_chain(chain: Chain, fold: Callable[[list[_Cell]], list[_Cell]], *, several: bool) -> list[_Cell]:
    """Return the boxes of one loop; ``fold`` makes stretches of its detectors, or leaves them as they are."""
    lines = find_lines(chain.spec.style)
    label = f"{say('picture_zone')} {chain.spec.zone.removeprefix('zone')}"
    cells = [_Cell(chain.spec.zone, "", _name_zone(chain), label, lines, begins=True, is_zone=True)] if several else []
    if chain.spec.style.is_module:
        cells.append(_Cell("module", "run module.in", "M", say("picture_module"), lines))
    own = [_Cell(d.name, f"run {d.name}", d.name.removeprefix("det"), _tell_room(d), lines) for d in chain.detectors]
    return [
        *cells,
        *fold(own),
        _Cell(chain.end, f"run {chain.back}" * bool(chain.back), "", say(_END[bool(chain.back)]), lines, ends=True),
    ]


def _fold_chain(chain: Chain) -> _Cell:
    """Return another loop that nothing marks out as one box: its zone, and how many detectors are on it."""
    return _Cell(
        spot=chain.spec.zone,
        run="",
        big=_name_zone(chain),
        small=say("picture_count", count=str(len(chain.detectors))),
        begins=True,
        ends=True,
        holds=_list_spots(chain),
        is_zone=True,
    )


def _list_spots(chain: Chain) -> tuple[str, ...]:
    """Return every spot that is drawn in the boxes of one loop and on the runs before them."""
    module = ("module", "module.in") if chain.spec.style.is_module else ()
    back = (chain.back,) if chain.back else ()
    return (chain.spec.zone, *module, *(d.name for d in chain.detectors), chain.end, *back)


def _name_zone(chain: Chain) -> str:
    return f"Z{chain.spec.zone.removeprefix('zone')}"


def _tell_room(d: Detector) -> str:
    return say("picture_spur", room=d.label).rstrip(": ") if d.on_spur else d.label


def _find_apart(loop: Loop, shares: Mapping[str, float], next_: Measurement | None) -> set[str]:
    """Return the detectors of a folded loop that stay boxes of their own: both ends, suspects, the next test point."""
    ends = {d.name for chain in loop.chains for d in (chain.first, chain.last)}
    cells = [
        find_cell(s, loop).removeprefix("run ") for key, p in shares.items() if p >= LEAST_SHARE for s in _split(key)
    ]
    suspects = [name for name in dict.fromkeys(cells) if loop.find_detector(name)]
    points = {terminal.partition(".")[0] for terminal in find_leads(next_, loop)} if next_ and next_.red else set()
    at = {next_.at, next_.place} if next_ else set()
    return ends | set(suspects[:_MOST_APART]) | points | at


def _fold(chain: list[_Cell], apart: set[str]) -> list[_Cell]:
    """Fold neighbours into stretches; none is longer than a share of the loop, so that a place is still seen."""
    longest = -(-len(chain) // _STRETCHES)
    folded: list[_Cell] = []
    waiting: list[_Cell] = []
    for cell in chain:
        if cell.spot in apart or len(waiting) == longest:
            folded += _fold_stretch(waiting)
            waiting = []
        if cell.spot in apart:
            folded.append(cell)
        else:
            waiting.append(cell)
    return [*folded, *_fold_stretch(waiting)]


def _fold_stretch(cells: list[_Cell]) -> list[_Cell]:
    if len(cells) < 2:
        return cells
    spots = tuple(c.spot for c in cells)
    return [
        _Cell(
            spot=f"stretch {spots[0]}",
            run="",
            big=f"{cells[0].big}–{cells[-1].big}",
            small=say("picture_count", count=str(len(cells))),
            lines=cells[0].lines,
            holds=spots,
        )
    ]


def _place(
    cells: Sequence[_Cell], shares: Mapping[str, float], framed: Sequence[int]
) -> tuple[list[tuple[int, int]], int]:
    """Return the corner of each box, and how high all rows are: a row is no higher than what stands in it."""
    places: list[tuple[int, int]] = []
    high = 0
    for first in range(0, len(cells), _PER_ROW):
        row = cells[first : first + _PER_ROW]
        marked = any(shares.get(spot, 0.0) >= LEAST_SHARE for cell in row for spot in (cell.spot, cell.run))
        top = 0 if marked else TOP - _ABOVE
        places += [(_WIDE * n, high - top) for n in range(len(row))]
        lowest = max(_find_lowest(cell, framed=first + n in framed) for n, cell in enumerate(row))
        high += lowest + _BELOW - top
    return places, high


def _find_lowest(cell: _Cell, *, framed: bool) -> int:
    """Return how far the words under a box reach, px from the top of its row; without any, its frame."""
    lines = len(_wrap_label(cell.small)) + framed
    return _LABEL_Y + _LINE_HIGH * (lines - 1) + 4 * framed if lines else BOTTOM + _ABOVE


def find_cell(spot: str, loop: Loop) -> str:
    """Return the box in which a place lies: zones in the panel, outputs in the module, end resistors at the end."""
    starts = {chain.spec.zone for chain in loop.chains} if len(loop.chains) > 1 else set()
    if spot in starts:
        return spot
    if spot in {z.name for z in loop.zones} or spot in {"field", "supply"}:
        return "panel"
    back = next((c for c in loop.chains if c.back and c.back == spot.removeprefix("run ")), None)
    if back is not None:
        return spot if spot.startswith("run ") else back.end
    if spot.startswith("end"):
        chain = loop.find_chain(spot)
        return chain.end if chain else "end"
    name = spot.removeprefix("run ")
    return spot if name.startswith("det") or spot == "run module.in" else name.partition(".")[0]


def _sum_shares(loop: Loop, shares: Mapping[str, float], cells: list[_Cell]) -> dict[str, float]:
    found: dict[str, float] = {}
    inside = {name: c.spot for c in cells for spot in c.holds for name in (spot, f"run {spot}")}
    for spots, share in shares.items():
        places = (find_cell(spot, loop) for spot in _split(spots))
        for cell in {inside.get(place, place) for place in places}:  # two faults in one box are there but once
            found[cell] = found.get(cell, 0.0) + share
    return found


def _draw_cell(place: tuple[int, int], cell: _Cell, shares: Mapping[str, float]) -> str:
    lines, corner_px = cell.lines, _ROUND if cell.is_apart else CORNER
    parts = [] if cell.begins else [draw_line(0, y, _RUN, y) for y in lines]
    if not cell.ends:
        parts += [draw_line(_RUN + _BOX, y, _WIDE, y) for y in lines]
    if cell.run:
        parts += _draw_share(2, _RUN - 6, shares.get(cell.run, 0.0))
    parts += _draw_share(_RUN, _BOX, shares.get(cell.spot, 0.0), corner_px=corner_px)
    middle = _RUN + _BOX // 2
    if not cell.big:
        parts.append(draw_resistor(_RUN, middle, lines[-2], lines[-1]))
    else:
        outline = _draw_tag() if cell.is_zone else draw_box(_RUN, _BOX, corner_px)
        parts += [outline, draw_text(middle, 69, cell.big, find_size(cell.big), bold=True)]
    if cell.holds and not cell.is_zone:
        parts.append(_draw_stack())
    lines_under = enumerate(_wrap_label(cell.small))
    parts += [draw_text(middle, _LABEL_Y + _LINE_HIGH * n, line, 14) for n, line in lines_under]
    return shift(place, "".join(parts))


def _draw_tag() -> str:
    """Return the outline of a zone: a tag that points where its loop begins, unlike any detector."""
    right, tip, half = _RUN + _BOX - 14, _RUN + _BOX, (TOP + BOTTOM) // 2
    return f'<path d="M{_RUN} {TOP}H{right}L{tip} {half}L{right} {BOTTOM}H{_RUN}z" {OUTLINE}/>'


def _draw_stack() -> str:
    """Return the edges of boxes that lie behind a folded one."""
    left, right, top, low = _RUN + 5, _RUN + _BOX + 5, TOP - 5, BOTTOM - 5
    return f'<path d="M{left} {TOP}V{top}H{right}V{low}H{right - 5}" {OUTLINE}/>'


def _draw_share(x: int, width: int, share: float, corner_px: int = CORNER) -> list[str]:
    """Return shade, triangles and percentage of one suspect; nothing for what is hardly suspected."""
    if share < LEAST_SHARE:
        return []
    count = 3 if share >= 0.5 else 2 if share >= 0.15 else 1
    middle = x + width / 2
    first = middle - 7 * (count - 1)
    marks = [
        f'<path d="M{first + 14 * n - 6:g} 34h12l-6 -11z" fill="{_SHADE}" stroke="currentColor"/>' for n in range(count)
    ]
    depth = 0.12 + (_DEEPEST - 0.12) * share
    look = f'fill="{_SHADE}" fill-opacity="{depth:.2f}"'
    shade = draw_rect(x, TOP, width, BOTTOM - TOP, look, corner_px)
    return [
        shade,
        *marks,
        draw_text(middle, 17, format_percent(share).replace("under ", "<").replace("over ", ">"), 15, bold=True),
    ]


def _find_next(
    cells: list[_Cell], loop: Loop, m: Measurement | None
) -> tuple[list[tuple[tuple[int, int, int], str]], list[int]]:
    """Return where the leads go, and which boxes are framed as next."""
    if m is None:
        return [], []
    if not m.red:
        spot = find_cell(m.at or m.place, loop)  # a walk along the loop has no one point
        return [], [n for n, cell in enumerate(cells) if cell.spot == spot][:1]
    named = zip(find_leads(m, loop), ("R", "B"), strict=True)
    leads = [(_find_point(terminal, cells, loop), lead) for terminal, lead in named]
    return leads, sorted({number for (number, _, _), _ in leads})


def _draw_frame(place: tuple[int, int], cell: _Cell) -> str:
    dashed = 'fill="none" stroke="currentColor" stroke-width="3" stroke-dasharray="7 4"'
    frame = draw_rect(_RUN - 6, TOP - 5, _BOX + 12, BOTTOM - TOP + 10, dashed)
    label = draw_text(_RUN + _BOX // 2, _find_lowest(cell, framed=True), f"▲ {say('picture_next')}", 14, bold=True)
    return shift(place, frame + label)


def _find_point(terminal: str, cells: list[_Cell], loop: Loop) -> tuple[int, int, int]:
    """Return the number of the cell and the place in it (px) where a lead touches a terminal."""
    owner, _, end = terminal.partition(".")
    inside = loop.module is not None and end.startswith("loop")
    zone = end.rstrip("+-") if owner in {"panel", "field"} else ""
    zone = zone if find_cell(zone, loop) == zone else ""  # a box of its own, where there are several loops
    spot = "module" if inside else zone or find_cell(owner, loop)
    spots = [c.spot for c in cells]
    number = spots.index(spot) if spot in spots else 0
    lines = cells[number].lines
    pair = lines[-2:] if end.endswith(("_a", "_b")) or "zone" in end else lines[:2]
    y = pair[1] if end.endswith(("-", "_b")) else pair[0]
    apart = {0: -6, 1: 6}[pair.index(y)] if len(lines) == 4 else 0
    x = _RUN + _BOX + 2 if spot in {"panel", "reset", zone} or "out" in end or inside else _RUN - 2
    return number, x, y + apart


def _draw_lead(place: tuple[int, int], x: int, y: int, lead: str) -> str:
    left, top = place
    fill = {"R": "#c01020", "B": "#111111"}[lead]
    circle = f'<circle cx="{left + x}" cy="{top + y}" r="10" fill="{fill}" stroke="#ffffff" stroke-width="2"/>'
    letter = draw_text(left + x, top + y + 5, lead, 14, bold=True).replace("<text", '<text fill="#ffffff"')
    return circle + letter


def _wrap_label(text: str) -> list[str]:
    """Return a label in the lines that fit under its box; what does not fit into them ends in an ellipsis."""
    return wrap(text, _LONGEST_LABEL, max_lines=_LABEL_LINES, placeholder="…")


def list_shortened(loop: Loop, shares: Mapping[str, float], next_: Measurement | None) -> tuple[str, ...]:
    """Return the names of the detectors whose room does not fit under its box: shown whole beside the picture."""
    boxes = [c.spot for c in _list_cells(loop, shares, next_) if "…" in "".join(_wrap_label(c.small))]
    return tuple(spot for spot in boxes if loop.find_detector(spot))
