"""The numbers of a design check, each held against its limits, and what is complained of."""

from dataclasses import dataclass
from typing import Literal

from diagnostics.errors import Severity
from diagnostics.source import TreePath

from .capacity import Capacity
from .corners import Reach

Verdict = Literal["holds", "thin", "fails"]
NO_CEILING, NO_FLOOR = float("inf"), float("-inf")


@dataclass(frozen=True, slots=True)
class Row:
    """One number of the check: as described, and at the two corners of the tolerances, held against its limits.

    ``check`` is volts, most_volts, load, window, latch, carries or battery; ``at`` what it is of, ``condition`` when.
    ``limit`` names the value that it is held against (of *carries*: what gives out first), ``given`` says that the site
    file gives it. ``unit`` is V, A, Ah, or empty for a count. ``detector`` is the one for which it is worst, ``path``
    where the site file speaks of it.
    """

    check: str
    at: str
    condition: str
    unit: str
    reach: Reach
    floor: float
    ceiling: float
    limit: str
    given: bool
    path: TreePath
    detector: str = ""

    @property
    def margin(self) -> float:
        """Return how far the nearer corner is inside its limits; below zero it is outside."""
        return min(self.reach.low - self.floor, self.ceiling - self.reach.high)

    @property
    def verdict(self) -> Verdict:
        """Return whether it holds at both corners, only as described (thin), or not even so."""
        if self.margin >= 0:
            return "holds"
        return "thin" if self.floor <= self.reach.nominal <= self.ceiling else "fails"


@dataclass(frozen=True, slots=True)
class Flaw:
    """What the check complains of: a row that does not hold, or a silent defect by name; a note is about tolerances.

    ``fitted`` and ``carries`` are how many detectors are on the loop and how many it carries, where that matters.
    """

    code: str
    severity: Severity
    path: TreePath
    row: Row | None = None
    defect: str = ""
    fitted: int = 0
    carries: Capacity | None = None


@dataclass(frozen=True, slots=True)
class Design:
    """Every number of the check, and what is to be complained of."""

    rows: tuple[Row, ...]
    flaws: tuple[Flaw, ...]
