"""A small picture of each wiring style, to choose from."""

from diagnostics.wiring import Style

from .strokes import (
    BOTTOM,
    OUTLINE,
    draw_box,
    draw_line,
    draw_rect,
    draw_resistor,
    draw_text,
    find_lines,
    write_svg,
)
from .words import say


def render_style(style: Style, *, dark: bool) -> str:
    """Return a small picture of a wiring style: panel, three detectors, what sits at the end."""
    lines = find_lines(style)
    first = say("picture_module") if style.is_module else say("picture_panel")
    gaps = ((50, 90), (130, 160), (200, 230), (270, 300))
    comes_back = style is Style.CLASS_A_ZONE
    parts = [draw_line(start, y, end, y) for start, end in gaps for y in lines if end < 300 or y in lines[-2:]]
    parts += [draw_box(4, 46), *(draw_box(x, 40) for x in (90, 160, 230))]
    parts += _draw_way_back(lines) if comes_back else [draw_resistor(300, 330, lines[-2], lines[-1])]
    end_at = (60, 121) if comes_back else (330, 96)
    parts += [draw_text(27, 67, first, 13), draw_text(*end_at, say("picture_end"), 13)]
    parts += [draw_text(x + 20, 68, str(n), 18) for n, x in enumerate((90, 160, 230), 1)]
    return write_svg((360, 124 if comes_back else 100), parts, dark=dark)


def _draw_way_back(lines: tuple[int, ...]) -> list[str]:
    """Return the two conductors from the last detector back to the panel, and the resistor across them there."""
    ways = zip(lines[-2:], (320, 306), (104, 92), (18, 36), strict=True)
    paths = [f'<path d="M300 {y}H{x}V{low}H{home}V{BOTTOM}" {OUTLINE}/>' for y, x, low, home in ways]
    return [*paths, draw_rect(54, 92, 12, 12, OUTLINE)]
