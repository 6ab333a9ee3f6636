"""How the search narrowed down, as a picture: a bar for the complaint and for each reading, the leading repairs in it.

A letter stands in every part of a bar that is wide enough, and names it in the list below: colour is never alone.
"""

from collections.abc import Sequence
from html import escape
from textwrap import wrap

from diagnostics.reasoning import Stage

from .strokes import write_svg
from .words import Words, format_percent, say

MOST_NAMED = 4
_WIDE, _TEXT_HIGH, _BAR_HIGH, _GAP = 368, 17, 24, 12  # px
_LONGEST_LINE = 50  # signs
_LETTER_PX, _SHARE_PX = 16, 58  # widths from which a part holds its letter, and its share
_FILLS = ("#f2b866", "#9cc7dd", "#b5d3a0", "#d9bce4")
_REST, _INK = "none", "#15232b"
Repair = tuple[str, str]


def list_named(stages: Sequence[Stage]) -> tuple[Repair, ...]:
    """Return the repairs that the bars name, the likeliest now first: those that ever held most."""
    most: dict[Repair, float] = {}
    for stage in stages:
        for repair, share in stage.shares.items():
            most[repair] = max(most.get(repair, 0.0), share)
    ever = sorted(most, key=lambda repair: -most[repair])[:MOST_NAMED]
    return tuple(sorted(ever, key=lambda repair: -stages[-1].shares.get(repair, 0.0)))


def name_causes(stages: Sequence[Stage], words: Words) -> tuple[tuple[str, str], ...]:
    """Return letter and words of each repair that the bars name, and of all else together."""
    named = list_named(stages)
    told = [(_letter(n), words.repair(repair)) for n, repair in enumerate(named)]
    return (*told, ("·", say("timeline_rest", words.region)))


def render_timeline(stages: Sequence[Stage], labels: Sequence[str], *, dark: bool) -> str:
    """Return the picture as SVG: ``labels`` say what was told at each stage. ``describe_timeline`` says it in words."""
    named, parts, top = list_named(stages), list[str](), _GAP
    for stage, label in zip(stages, labels, strict=True):
        for line in wrap(label, _LONGEST_LINE):
            parts.append(f'<text x="4" y="{top + 12}" font-size="13">{escape(line)}</text>')
            top += _TEXT_HIGH
        parts += _draw_bar(stage, named, top)
        top += _BAR_HIGH + _GAP
    return write_svg((_WIDE, top), parts, dark=dark)


def _draw_bar(stage: Stage, named: Sequence[Repair], top: int) -> list[str]:
    parts, left = list[str](), 4.0
    whole = _WIDE - 8
    for n, repair in enumerate(named):
        share = stage.shares.get(repair, 0.0)
        width = whole * share
        place = f'x="{left:.1f}" y="{top}" width="{width:.1f}" height="{_BAR_HIGH}"'
        parts.append(f'<rect {place} fill="{_FILLS[n]}" stroke="{_INK}"/>')
        told = f"{_letter(n)} {format_percent(share)}" if width >= _SHARE_PX else _letter(n)
        if width >= _LETTER_PX:
            parts.append(
                f'<text x="{left + width / 2:.1f}" y="{top + 17}" font-size="13" font-weight="bold" '
                f'text-anchor="middle" fill="{_INK}">{told}</text>'
            )
        left += width
    frame = f'<rect x="4" y="{top}" width="{whole}" height="{_BAR_HIGH}" fill="{_REST}" stroke="currentColor"/>'
    return [*parts, frame]


def describe_timeline(stages: Sequence[Stage], labels: Sequence[str], words: Words) -> str:
    """Return the picture in words, stage by stage, for those who cannot see it."""
    told = [f"{label}: {_tell_leader(stage, words)}." for stage, label in zip(stages, labels, strict=True)]
    return " ".join(told)


def _tell_leader(stage: Stage, words: Words) -> str:
    repair = max(stage.shares, key=lambda r: stage.shares[r])
    return f"{words.repair(repair).rstrip('.')} {format_percent(stage.shares[repair])}"


def _letter(number: int) -> str:
    return "ABCD"[number]
