"""One circuit at a time in fifty digits: nodal equations, Gaussian elimination, a search of its own for segments.

It shares nothing with the solver but the loop: no star–mesh transform, no batch, no Newton with a line search, no dead
band. Slow and plain on purpose.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from mpmath import mp, mpf  # type: ignore[import-untyped]

from diagnostics.wiring import EARTH, Curve, Element, Loop

DIGITS = 50
MOST_TOGETHER = 8
MOST_CORNERS = 500

Row = list[mpf]
Branch = tuple[str, str, mpf, mpf]  # from, to, siemens, amperes at zero volts
Piece = tuple[mpf, mpf, mpf, mpf]  # low volts, high volts, siemens, amperes at zero volts


@dataclass(frozen=True, slots=True)
class Bend:
    """A curve between two terminals, as straight pieces from left to right."""

    a: str
    b: str
    pieces: Sequence[Piece]

    def across(self, volts: Mapping[str, mpf]) -> mpf:
        """Return the volts across it."""
        return volts[self.a] - volts[self.b]

    def find_piece(self, across: mpf, now: int) -> int:
        """Return the piece in which the volts lie; at a corner, the present one if it touches it."""
        if self.pieces[now][0] <= across <= self.pieces[now][1]:
            return now
        return next(n for n, (low, high, _, _) in enumerate(self.pieces) if low <= across <= high)

    def find_way(self, now: int, here: mpf, there: mpf) -> tuple[mpf, int]:
        """Return the share of the way to ``there`` at which the present piece ends, and on which side; 1 is all."""
        low, high = self.pieces[now][:2]
        if low <= there <= high:
            return mpf(1), 0
        corner, side = (high, 1) if there > high else (low, -1)
        return max((corner - here) / (there - here), mpf(0)), side


def solve_dense(loop: Loop, signals: Mapping[str, bool]) -> dict[str, float]:
    """Return the volts of every terminal to earth of one loop, its edits made, in one discrete state.

    Raises
    ------
    RuntimeError
        No set of segments fits the volts that it leads to.
    """
    with mp.workdps(DIGITS):
        volts = _search_segments([e for e in loop.elements if all(signals[g.signal] is g.when for g in e.gates)])
        return {terminal: float(v) for terminal, v in volts.items()}


def _search_segments(elements: Sequence[Element]) -> dict[str, mpf]:
    """Move all curves to the segments that their volts ask for; where that goes round in circles, walk."""
    bends = [Bend(e.a, e.b, list_pieces(e.curve)) for e in elements if e.curve is not None]
    lines = [(e.a, e.b, 1 / mpf(e.resistance_ohm), mpf(0)) for e in elements if e.resistance_ohm is not None]
    now = [e.home for e in elements if e.curve is not None]
    for _ in range(MOST_TOGETHER):
        volts = _solve_pieces(lines, bends, now)
        wanted = [bend.find_piece(bend.across(volts), n) for n, bend in zip(now, bends, strict=True)]
        if wanted == now:
            return volts
        now = wanted
    return _walk(lines, bends, volts)


def _solve_pieces(lines: Sequence[Branch], bends: Sequence[Bend], now: Sequence[int]) -> dict[str, mpf]:
    pieces = [(bend.a, bend.b, *bend.pieces[n][2:]) for n, bend in zip(now, bends, strict=True)]
    return solve_nodes([*lines, *pieces])


def _walk(lines: Sequence[Branch], bends: Sequence[Bend], start: dict[str, mpf]) -> dict[str, mpf]:
    """Go straight for each goal until the first corner, and cross only that one (Katzenelson 1965, from memory).

    The start is shaken by millivolts, so that alike detectors do not reach their corners together.
    """
    volts = {t: v + mpf(n * n % 97) / 97000 if t != EARTH else v for n, (t, v) in enumerate(start.items())}
    now = [bend.find_piece(bend.across(volts), 0) for bend in bends]
    for _ in range(MOST_CORNERS):
        goal = _solve_pieces(lines, bends, now)
        ways = [bend.find_way(n, bend.across(volts), bend.across(goal)) for n, bend in zip(now, bends, strict=True)]
        share, first, side = min((share, m, side) for m, (share, side) in enumerate(ways))
        if share >= 1:
            return goal
        volts = {t: v + share * (goal[t] - v) for t, v in volts.items()}
        now[first] += side
    raise RuntimeError("too many corners")


def list_pieces(curve: Curve) -> list[Piece]:
    """Return the straight pieces of a curve, from left to right."""
    points = [(mpf(v), mpf(i)) for v, i in curve.points]
    ends = [mpf("-inf"), *(v for v, _ in points), mpf("inf")]
    inner = [(i2 - i1) / (v2 - v1) for (v1, i1), (v2, i2) in pairwise(points)]
    slopes = [mpf(curve.before_s), *inner, mpf(curve.after_s)]
    anchors = [points[0], *points]
    return [(a, b, g, i - g * v) for (a, b), g, (v, i) in zip(pairwise(ends), slopes, anchors, strict=True)]


def solve_nodes(branches: Sequence[Branch]) -> dict[str, mpf]:
    """Return the volts of every node to earth."""
    nodes = list(dict.fromkeys(t for a, b, _, _ in branches for t in (a, b) if t != EARTH))
    row = {terminal: n for n, terminal in enumerate(nodes)}
    matrix = [[mpf(0)] * (len(nodes) + 1) for _ in nodes]
    for a, b, siemens, amperes in branches:
        for here, there, sign in ((a, b, 1), (b, a, -1)):
            if here == EARTH:
                continue
            matrix[row[here]][row[here]] += siemens
            matrix[row[here]][-1] -= sign * amperes
            if there != EARTH:
                matrix[row[here]][row[there]] -= siemens
    answer = _eliminate(matrix)
    return {terminal: answer[n] for terminal, n in row.items()} | {EARTH: mpf(0)}


def _eliminate(matrix: list[Row]) -> Row:
    """Solve by Gaussian elimination; zeros are stepped over, because most entries are."""
    size = len(matrix)
    for n in range(size):
        pivot = matrix[n]
        filled = [m for m in range(n, size + 1) if pivot[m]]
        for below in matrix[n + 1 :]:
            if below[n]:
                share = below[n] / pivot[n]
                for m in filled:
                    below[m] -= share * pivot[m]
    answer: Row = [mpf(0)] * size
    for n in reversed(range(size)):
        known = sum((matrix[n][m] * answer[m] for m in range(n + 1, size) if matrix[n][m]), mpf(0))
        answer[n] = (matrix[n][size] - known) / matrix[n][n]
    return answer
