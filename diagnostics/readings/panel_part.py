"""What was learnt of a zone as a part of a site file: values to put in a generic panel, and how well they are known."""

from typing import Final

import numpy as np

from diagnostics.units import format_quantity
from diagnostics.wiring import PartSpec, build_part, read_parts

from .learn import Learnt, Source
from .windows import Windows

# How much of the spread that a listed panel has is left for another day: its supply and its meter are not the same
# then. Invented, as that of a baseline.
DRIFT: Final = 0.25
_DIGITS: Final = 4


# A zone below this is taken for one of a panel of 12 V, whose charger gives 14.5 V at most; a battery of 24 V ends its
# discharge at 20.4 V (common practice, no source).
MOST_12_V: Final = 16.0


def build_panel_part(source: Source, windows: Windows | None = None, profile: str = "") -> PartSpec:
    """Return the part for the ``panel:`` of a site file; what was not learnt stays as in the profile.

    Without a ``profile`` it is that of the system, 12 V or 24 V, which the zone's own volts make likely.

    Raises
    ------
    ValueError
        The source is no straight one: there are no values to put in.
    """
    if source.line != "straight":
        raise ValueError("no values of a source that is not straight")
    profile = profile or ("panel_12v" if source.zone_v.value < MOST_12_V else "panel_24v")
    learnt = {"zone_v": source.zone_v, "zone_ohm": source.zone_ohm}
    rows = read_parts().families["panel"].attributes
    values = {name: _write(one.value, rows[name].unit or "V") for name, one in learnt.items()}
    spreads = {name: _find_percent(one, rows[name].spread) for name, one in learnt.items()}
    return PartSpec(profile=profile, values=values | _list_windows(windows, profile), spreads=spreads)


def _write(value: float, unit: str) -> str:
    return format_quantity(value, unit, _DIGITS)


def _find_percent(learnt: Learnt, listed_percent: float) -> float:
    """Return one standard deviation in percent, upwards to two significant digits."""
    whole = float(np.hypot(100 * learnt.sd / learnt.value, DRIFT * listed_percent))
    return float(f"{whole * 1.005:.2g}")


def _list_windows(windows: Windows | None, profile: str) -> dict[str, str]:
    """Return the values of the edges that were found; a short that is shown as an alarm ends inside that window."""
    if windows is None:
        return {}
    found = {edge.name: edge.middle_v for edge in windows.edges}
    alarm_v = found.get("alarm_below_v")
    if "short_below_v" not in found and alarm_v and alarm_v <= build_part(profile).number("short_below_v"):
        found["short_below_v"] = alarm_v / 2
    states = {"short_state": windows.short_state} if windows.short_state else {}
    return {name: _write(volts, "V") for name, volts in found.items()} | states
