"""The strokes that every picture is drawn with, as SVG text."""

from html import escape

from diagnostics.wiring import Style

TOP, BOTTOM = 40, 84  # px from the top of a row to the edges of a box
TWO_WIRE, FOUR_WIRE = (52, 72), (45, 53, 63, 81)  # px from the top of a row to each conductor
OUTLINE = 'fill="none" stroke="currentColor" stroke-width="2"'
CORNER = 5  # px by which the corners of a box are rounded


def write_svg(size: tuple[int, int], parts: list[str], *, dark: bool) -> str:
    """Return drawn parts on a ground of their own, in light or in dark; ``size`` in px."""
    ink, ground = ("#f0f3f2", "#18242a") if dark else ("#15232b", "#fbfaf6")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0]} {size[1]}" width="{size[0]}" '
        f'height="{size[1]}" font-family="sans-serif" color="{ink}" fill="{ink}">'
    )
    fill = f'fill="{ground}"'
    return f"{head}{draw_rect(0, 0, *size, fill)}{''.join(parts)}</svg>"


def draw_line(x1: int, y1: int, x2: int, y2: int) -> str:
    """Return a conductor or an edge."""
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="currentColor" stroke-width="2"/>'


def draw_rect(x: float, y: float, width: float, height: float, look: str, corner_px: int = CORNER) -> str:
    """Return a rectangle with rounded corners."""
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="{corner_px}" {look}/>'


def draw_text(x: float, y: float, text: str, size: int, *, bold: bool = False) -> str:
    """Return a line of text about its middle."""
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}"{weight} text-anchor="middle">{escape(text)}</text>'


def draw_box(x: int, width: int, corner_px: int = CORNER) -> str:
    """Return the outline of a box in its row."""
    return draw_rect(x, TOP, width, BOTTOM - TOP, OUTLINE, corner_px)


def draw_resistor(x: int, middle: int, top: int, bottom: int) -> str:
    """Return a resistor across two lines, its ends on them."""
    leads = f'<path d="M{x} {top}H{middle}M{x} {bottom}H{middle}" {OUTLINE}/>'
    return leads + draw_rect(middle - 8, top, 16, bottom - top, OUTLINE)


def find_lines(style: Style) -> tuple[int, ...]:
    """Return the conductors of a wiring style, px from the top of their row."""
    return FOUR_WIRE if style.has_power_pair else TWO_WIRE


def find_size(text: str) -> int:
    """Return the size of letters (px) that fits a text into its box."""
    return 22 if len(text) < 3 else 17 if len(text) < 6 else 14


def shift(place: tuple[int, int], drawn: str) -> str:
    """Return what was drawn, moved to its place."""
    x, y = place
    return f'<g transform="translate({x} {y})">{drawn}</g>'
