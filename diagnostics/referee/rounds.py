"""The round of tests after a repair: how long it takes, and what fails first; and what is told with a complaint.

Whoever has repaired looks at the panel, tests the detectors touched, the farthest and one a kind, takes a head off and
lets the station confirm. The round ends with the first thing that is not as it should be, and that is known then.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from .answers import find_answer
from .line import Row
from .panel import NeverSettlesError
from .plants import Plant
from .world import World, build_world

# A complaint that somebody tells has been met somewhere: the measurement and the word that was met there.
MET_AS = {
    "one_does_not_report": ("functional_test", "no_report"),
    "some_do_not_report": ("functional_test", "no_report"),
    "wrong_zone_reports": ("functional_test", "reports_wrong_zone"),
    "will_not_reset": ("functional_test", "reports_and_stays"),
    "no_trouble_with_head_off": ("head_off", "normal"),
    "detectors_dark": ("lamp", "dark"),
}


@dataclass(frozen=True, slots=True)
class Round:
    """A round of tests: its minutes, and the measurement that failed with what it showed; None where all was right."""

    minutes: float
    failed: Row | None = None
    value: str = ""


def play_round(world: World, plant: Plant, place: str) -> Round:
    """Return the round of tests after a repair at a place, up to the first that the sound loop would not fail too."""
    sound = build_world(world.line, world.site, "healthy", world.seed, world.spreads, world.solver)
    minutes = 0.0
    for row, took in _list_round(world, place):
        minutes += took
        if row is None:
            continue
        try:
            shown, right = (find_answer(w, plant, row) for w in (world, sound))
        except NeverSettlesError:
            return Round(minutes)
        if shown not in (right, "None"):  # a panel may show what has no word here
            return Round(minutes, row, shown)
    return Round(minutes)


def find_round_minutes(world: World, place: str) -> float:
    """Return the minutes of a whole round, the same for every way of working."""
    return sum(took for _, took in _list_round(world, place))


def _list_round(world: World, place: str) -> Iterator[tuple[Row | None, float]]:
    """Yield what is looked at or tested in order, with its minutes and the way there; last, no measurement."""
    rows, ways = world.line.list_rows("measurements", world.site), world.spreads.minutes
    panel = [row for row in rows if row["measurement"] in ("panel_shows", "supply_lamps", "earth_lamp")]
    yield from ((row, 0.0) for row in panel if row["mode"] == "standby")  # a glance, while the tester is fetched
    kinds = {sense: name for name, sense in world.senses.items()}
    touched = {part for part in place.removeprefix("run ").split(".")[:1] if part in world.senses}
    last = list(world.senses)[-1]
    there = {row["at"]: row for row in rows if row["measurement"] == "functional_test"}
    for number, name in enumerate(sorted({*kinds.values(), *touched, last})):
        row = there[name]
        way = ways.between if number else row["minutes_at_panel"] - row["minutes_there"]
        yield row, way + row["minutes_there"]
    for row in rows:
        if row["measurement"] == "head_off" and row["at"] == last:
            yield row, row["minutes_there"]
    yield None, ways.back + ways.station


def find_still(world: World, plant: Plant, tested: Round, complaint: str) -> tuple[Row, str] | None:
    """Return what is known of a complaint after a round: the test that failed, else where somebody has met it."""
    return (tested.failed, tested.value) if tested.failed is not None else find_told(world, plant, complaint)


def find_told(world: World, plant: Plant, symptom: str) -> tuple[Row, str] | None:
    """Return where a complaint has been met, as a measurement with its word: the first such detector; None for none."""
    what, word = MET_AS.get(symptom, ("", ""))
    rows = (row for row in world.line.list_rows("measurements", world.site) if row["measurement"] == what)
    return next(((row, word) for row in rows if find_answer(world, plant, row) == word), None)
