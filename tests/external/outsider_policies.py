"""The policies that play in the outsider's world: which of the offered measurements to take next.

Each is a generator: it yields an offered measurement and is sent what was read.
"""

from collections.abc import Callable, Generator, Sequence

import numpy as np

from tests.external.outsider_line import Row

AT_PANEL_FIRST = ("will_not_reset", "no_trouble_with_head_off", "none_report", "wrong_zone_reports")
BETWEEN_MIN, BACK_MIN = 3.0, 1.5

Chooser = Generator[Row, str, None]


def spot(row: Row) -> tuple[str, ...]:
    """Return what makes a measurement the same one: kind, leads or place, mode."""
    return tuple(str(row.get(key, "")) for key in ("measurement", "red", "black", "at", "mode"))


def choose_asked(rows: Sequence[Row], diagnosis: Callable[[], Row]) -> Chooser:
    """Take what the program asks for; end when it asks for anything else than a measurement."""
    by_spot = {spot(row): row for row in rows}
    while (asked := diagnosis()["next"]) is not None and asked["action"] == "measure":
        yield by_spot[spot(asked)]


def choose_any(rows: Sequence[Row], rng: np.random.Generator) -> Chooser:
    """Take all offered measurements in a drawn order."""
    for number in rng.permutation(len(rows)):
        yield rows[number]


def choose_half(rows: Sequence[Row], symptom: str, count: int) -> Chooser:
    """Halve the loop by volts at the middle detector, look and test where that ends, then all else, cheapest first."""
    taken: set[tuple[str, ...]] = set()
    at_panel = sorted((r for r in rows if r["place"] == "panel"), key=lambda r: float(r["minutes_there"]))
    if symptom in AT_PANEL_FIRST:
        for row in at_panel:
            taken.add(spot(row))
            yield row
    whole_v = float((yield head_row(rows)).split()[0])
    low, high = 0, count
    while high - low > 1:
        middle = (low + high) // 2
        good = yield from halve_at(rows, f"det{middle}", whole_v)
        low, high = (middle, high) if good else (low, middle)
    words = ("volts", "look", "lamp", "functional_test", "head_off")
    there = [row for word in words for row in rows if row["place"] == f"det{high}" and row["measurement"] == word]
    rest = sorted(rows, key=lambda r: float(r["minutes_at_panel"]))
    for row in [*there, *at_panel, *rest]:
        if spot(row) not in taken:
            taken.add(spot(row))
            yield row


def head_row(rows: Sequence[Row]) -> Row:
    """Return the volts at the head of the loop: a module's loop terminals where there is one, else the zone's."""
    volts = [row for row in rows if row["measurement"] == "volts"]
    return next((row for row in volts if row["red"].startswith("module.loop")), volts[0])


def halve_at(rows: Sequence[Row], detector: str, whole_v: float) -> Generator[Row, str, bool]:
    """Measure the pairs that come into a detector; True when none differs from the whole by a tenth of it or a volt."""
    good = True
    for row in rows:
        if row["measurement"] == "volts" and row.get("red", "").startswith(f"{detector}.in"):
            value_v = float((yield row).split()[0])
            good = good and (abs(value_v - whole_v) < max(1.0, whole_v / 10) or value_v > whole_v)
    return good
