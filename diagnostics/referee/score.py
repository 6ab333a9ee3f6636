"""Whether a repair is of the planted fault: the remedy of its kind, at the run, detector, output or end it sits at."""

from .line import Line, Row
from .people import find_loop_number
from .plants import Plant

AT_THE_END = ("fit_end_resistor", "move_end_resistor", "fit_end_relay", "swap_end_relay")


def find_run(place: str) -> str:
    """Return the run, detector, output, zone or end of a place: one pair of hands mends all of it there."""
    if place.startswith("run det") or place == "run module":
        place = place.removeprefix("run ") + ".in"
    run = place.removeprefix("run ")
    if run in ("panel", "reset", "cabinet"):
        return "cabinet"
    return run.rstrip("+-").removesuffix("_a").removesuffix("_b").removesuffix("_power").removesuffix("_contact")


def is_planted(fault: str, plant: Plant) -> bool:
    """Tell whether a fault of the engine's is the planted kind and place, whatever its value."""
    kind, _, place = fault.partition("@")
    return kind.partition("=")[0] == plant.kind and place == plant.place


def has_right_hands(line: Line, plant: Plant, remedy: str | None, place: str) -> bool:
    """Tell whether this repair at this place mends the planted fault."""
    if remedy != line.find_kind(plant.site, plant.kind)["remedy"]:
        return False
    if remedy in AT_THE_END:
        return find_loop(plant, place) == find_loop(plant, plant.place)
    one, _, other = plant.place.partition(".det")  # two loops that touch are parted at either run
    return find_run(place) in {find_run(name) for name in (one, f"det{other}" if other else one)}


def find_loop(plant: Plant, place: str) -> int:
    """Return the number of the loop that a place at an end or a detector is of; 1 where there is one loop only."""
    part = place.removeprefix("run ").split(".", maxsplit=1)[0]
    if part.startswith("det"):
        return find_loop_number(plant.site, part) or 1
    digits = part.removeprefix("end").removeprefix("zone")
    return int(digits) if digits.isdigit() else 1


def is_named(diagnosis: Row, plant: Plant) -> bool:
    """Tell whether the planted kind and place is a candidate that is left."""
    return any(is_planted(candidate["fault"], plant) for candidate in diagnosis["candidates"])
