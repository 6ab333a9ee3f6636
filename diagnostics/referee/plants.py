"""What is planted: a site, a kind, a place and a value, each drawn evenly, not by the weights of the engine."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .line import SITES, Line, find_style
from .spreads import read_spreads

STYLES = (
    "two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire", "dry_contacts", "class_a_zone",
    "two_loops",
)  # fmt: skip
CONTEXTS = ("new", "aged", "altered", "water")


@dataclass(frozen=True, slots=True)
class Plant:
    """A fault in a place of a site, what is told beside it, and the seed of its world.

    ``there`` is the share of the time in which the fault is there: below 1 it comes and goes.
    """

    site: Path
    fault: str
    context: str
    seed: tuple[int, ...]
    there: float = 1.0

    @property
    def contexts(self) -> str:
        """Return what is told beside the complaint, separated by commas."""
        return self.context if self.there >= 1.0 else f"{self.context}, comes_and_goes"

    @property
    def kind(self) -> str:
        """Return the kind without its value."""
        return self.fault.partition("@")[0].partition("=")[0]

    @property
    def place(self) -> str:
        """Return the place."""
        return self.fault.partition("@")[2]

    @property
    def text(self) -> str:
        """Return all of it in one line."""
        return f"{self.site.stem} {self.fault} {self.context} {self.seed}"


def list_sites(style: str) -> tuple[Path, ...]:
    """Return the referee's sites of a wiring style."""
    return tuple(site for site in SITES if find_style(site) == style)


def draw_plant(line: Line, style: str, seed: tuple[int, int]) -> Plant:
    """Draw site, then kind, then place, each evenly, then a value in ohms where the kind has one."""
    rng = np.random.default_rng([*seed, STYLES.index(style), 1])
    sites = list_sites(style)
    site = sites[rng.integers(len(sites))]
    fault = draw_fault(line, site, rng)
    return Plant(site, fault, str(rng.choice(CONTEXTS)), (*seed, STYLES.index(style)))


def draw_fault(line: Line, site: Path, rng: np.random.Generator) -> str:
    """Draw a kind, then a place, each evenly, then a value in ohms where the kind has one."""
    kinds = [row for row in line.list_rows("kinds", site) if row["places"]]
    kind = kinds[rng.integers(len(kinds))]
    place = kind["places"][rng.integers(len(kind["places"]))]
    value = f"={draw_ohm(line, kind['kind'], site, rng)}" if kind["value_unit"] else ""
    return f"{kind['kind']}{value}@{place}"


def draw_ohm(line: Line, kind: str, site: Path, rng: np.random.Generator) -> int:
    """Return a planted resistance in ohms: a common resistor that is not the right one, or a value of two digits."""
    planted = read_spreads().planted
    if kind not in planted.between_ohm:
        named = "panel_resistor." if kind.startswith("panel_resistor") else "end.resistor"
        right = next(e["value"] for e in line.export(site)["elements"] if e["name"].startswith(named))
        return int(rng.choice([ohm for ohm in planted.wrong_ohm if ohm != round(right)]))
    low, high = np.log(planted.between_ohm[kind])
    return int(float(f"{np.exp(rng.uniform(low, high)):.1e}"))
