"""Ways of working: which of the offered measurements to take next.

All stop by one rule: when the engine has settled, or knows no measurement that would tell it more.

Each is a generator: it yields an offered measurement and is sent what was read.

* ``ours`` does what the engine asks for next;
* ``guide`` does what the finding guide of the complaint asks, then goes on as *half*;
* ``half`` measures volts at the middle detector of the stretch that is left and keeps the half whose far end is bad,
  then looks at and tests the detector it ended at, then all else, cheapest first; complaints that no stretch explains
  go through the panel's measurements first. For an earth it opens the cable there and sees whether the earth clears;
* ``cheapest`` takes the quickest measurement first, wherever it is;
* ``random`` takes any;
* ``knowing`` takes none: it knows what was planted, mends that and tests it, which nobody can do in fewer minutes.
"""

from collections.abc import Callable, Generator, Sequence

import numpy as np

from .answers import write_spot
from .line import Row

POLICIES = ("ours", "guide", "half", "cheapest", "random", "knowing")
AT_PANEL_FIRST = ("will_not_reset", "no_trouble_with_head_off", "none_report", "wrong_zone_reports", "supply_trouble")

Chooser = Generator[Row, str, None]


def choose_asked(rows: Sequence[Row], diagnosis: Callable[[], Row]) -> Chooser:
    """Take what the engine asks for; end when it asks for anything else than a measurement."""
    by_spot = {write_spot(row): row for row in rows}
    while (asked := diagnosis()["next"]) is not None and asked["action"] == "measure":
        yield by_spot[write_spot(asked)]


def choose_guided(rows: Sequence[Row], diagnosis: Callable[[], Row], rest: Chooser) -> Chooser:
    """Take what the guide asks for as long as it stands at a step, each measurement once; then work otherwise."""
    by_spot, taken = {write_spot(row): row for row in rows}, set[str]()
    spot = _find_guided(diagnosis())
    while spot and spot not in taken:
        taken.add(spot)
        yield by_spot[spot]
        spot = _find_guided(diagnosis())
    yield from rest


def _find_guided(told: Row) -> str:
    """Return the measurement that the guide asks for where it stands at a step, else nothing."""
    asked, guide = told["next"], told.get("guide")
    is_led = guide and guide["reached"] == "step" and asked is not None and asked["action"] == "measure"
    return write_spot(asked) if is_led else ""


def choose_any(rows: Sequence[Row], rng: np.random.Generator) -> Chooser:
    """Take all offered measurements in a drawn order."""
    for number in rng.permutation(len(rows)):
        yield rows[number]


def choose_cheapest(rows: Sequence[Row]) -> Chooser:
    """Take all offered measurements, the quickest first."""
    in_order = sorted(rows, key=lambda r: float(r["minutes_at_panel"]))
    for number in range(len(in_order)):
        yield in_order[number]


def choose_half(rows: Sequence[Row], symptom: str, count: int) -> Chooser:
    """Halve the loop by volts at the middle detector, look and test where that ends, then all else, cheapest first."""
    at_panel = sorted((r for r in rows if r["place"] == "panel"), key=lambda r: float(r["minutes_there"]))
    for row in at_panel if symptom in AT_PANEL_FIRST else ():
        yield row
    whole_v = _read_number((yield _find_head(rows)))
    low, high = 0, count
    while high - low > 1:
        middle = (low + high) // 2
        if symptom == "earth_trouble":
            is_good = yield from _open_at(rows, f"det{middle}")
        else:
            is_good = yield from _halve_at(rows, f"det{middle}", whole_v)
        low, high = (middle, high) if is_good else (low, middle)
    words = ("volts", "look", "lamp", "functional_test", "head_off")
    there = [row for word in words for row in rows if row["place"] == f"det{high}" and row["measurement"] == word]
    rest = sorted(rows, key=lambda r: float(r["minutes_at_panel"]))
    for row in (*there, *at_panel, *rest):
        yield row


def _read_number(value: str) -> float:
    return float(value.partition(" ")[0])


def _find_head(rows: Sequence[Row]) -> Row:
    """Return the volts at the head of the loop: a module's loop terminals where there is one, else the zone's."""
    volts = [row for row in rows if row["measurement"] == "volts"]
    return next((row for row in volts if row["red"].startswith("module.loop")), volts[0])


def _halve_at(rows: Sequence[Row], detector: str, whole_v: float) -> Generator[Row, str, bool]:
    """Measure the pairs that come into a detector; True when none differs from the whole by a tenth of it or a volt."""
    is_good = True
    for row in rows:
        if row["measurement"] == "volts" and row.get("red", "").startswith(f"{detector}.in"):
            value_v = _read_number((yield row))
            is_good = is_good and (abs(value_v - whole_v) < max(1.0, whole_v / 10) or value_v > whole_v)
    return is_good


def _open_at(rows: Sequence[Row], detector: str) -> Generator[Row, str, bool]:
    """Open the cable beyond a detector; True when the earth clears, so that it lies farther out, or nothing opens."""
    for row in rows:
        if row["measurement"] == "earth_opened" and row["at"] == detector:
            return (yield row) == "right"
    return True
