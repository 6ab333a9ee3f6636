"""Two heads change places in the referee's world: what lives in a head goes along, what it hangs on stays.

Which is which is common practice, no source; how often, invented.
"""

from .outside import PREFIX
from .panel import mode_states
from .people import find_tested, lamp_word
from .world import World, build_world

# Shares of faults of a head that go with it; the others sit in base, wires or air of the place.
GOES = {
    "detector_dead": 0.9, "detector_stuck": 0.75, "dust_cover": 1.0, "sensor_failed": 1.0, "end_of_life": 1.0,
    "contact_never_closes": 0.9, "wrong_kind": 1.0,
}  # fmt: skip
SAT_BADLY = ("head_off", "head_not_home")  # whoever swaps heads turns both home
WORDS = {
    (True, False): "this_place", (False, True): "other_place", (True, True): "both_places",
    (False, False): "neither_place",
}  # fmt: skip


def find_swapped(world: World, here: str, there: str) -> str:
    """Return which of two places is dark, in alarm, or reports nothing once their heads have changed places."""
    if world.fault == "healthy" or world.fault.startswith(PREFIX):
        after = world
    else:
        moved = [text for fault in world.fault.split(",") if (text := _move(world, fault, {here: there, there: here}))]
        fault = ",".join(moved) or "healthy"
        after = build_world(world.line, world.site, fault, world.seed, world.spreads, world.solver)
    signs = [_find_sign(after, name) for name in (here, there)]
    worst = "alarm" if "alarm" in signs else "silent"  # a head in alarm takes the volts from the others on its pair
    return WORDS[signs[0] == worst, signs[1] == worst]


def _move(world: World, fault: str, other: dict[str, str]) -> str:
    """Return a fault after the swap, as text; empty where the swap has cured it."""
    kind, _, place = fault.partition("@")
    if place not in other:
        return fault
    if kind in SAT_BADLY:
        return ""
    goes = float(world.draw("swap", fault).uniform()) < GOES.get(kind, 0.0)
    return f"{kind}@{other[place]}" if goes else fault


def _find_sign(world: World, name: str) -> str:
    """Return *alarm*, *silent* for dark or without a report, or nothing; a lamp that rests dark says no more by it."""
    rows = world.line.list_rows("measurements", world.site)
    shows_power = any(row["measurement"] == "lamp" and row["at"] == name for row in rows)
    lamp = lamp_word(world, mode_states(world, "standby"), name)
    if lamp == "alarm":
        return lamp
    return "silent" if (lamp == "dark" and shows_power) or find_tested(world, name) == "no_report" else ""
