"""What the panel says beside its zones: of its mains, of its battery, and of earth.

It says them by its own data sheet, and the event log holds the gravest of all.
"""

import math

from .panel import mode_states, panel_shows
from .world import Signals, World, solve

EARTH_ENDS = ("panel.aux+", "panel.aux-")
BATTERY_ENDS = ("panel.battery+", "panel.battery-")


def find_supply_word(world: World) -> str:
    """Return what the panel says of its supply: mains before battery; it tries the battery by itself now and then."""
    standby = mode_states(world, "standby")
    if standby["panel.on_battery"]:
        return "mains_trouble"
    held, carries = (_across(world, mode_states(world, mode), BATTERY_ENDS) for mode in ("standby", "on_battery"))
    is_weak = carries < world.gauges["battery_low_v"] or held < world.gauges["charged_from_v"]
    return "battery_trouble" if is_weak else "right"


def find_earth_word(world: World, mode: str) -> str:
    """Return what the panel says of earth in a mode: right while earth lies near enough the middle of its supply."""
    volts = solve(world, mode_states(world, mode))
    off_v = abs(sum(volts[end] for end in EARTH_ENDS)) / 2
    return "earth_trouble" if off_v > world.gauges.get("earth_off_v", math.inf) else "right"


def find_logged(world: World) -> str:
    """Return the gravest entry of the log: of the zones, then of the supply, then of earth."""
    shown = panel_shows(world, mode_states(world, "standby"), "panel")
    if shown not in (None, "normal"):
        return "trouble_only" if shown == "trouble" else str(shown)
    if find_supply_word(world) != "right":
        return "supply_trouble"
    return "earth_trouble" if find_earth_word(world, "standby") != "right" else "nothing"


def _across(world: World, states: Signals, ends: tuple[str, str]) -> float:
    volts = solve(world, states)
    return volts[ends[0]] - volts[ends[1]]
