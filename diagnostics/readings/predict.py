"""What one described loop shows under given faults in one mode: every reading, the panel, the discrete states."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.circuit import (
    Mode,
    Settled,
    build_mode_edits,
    build_steps,
    find_powered,
    read_meter,
    solve_batch,
    to_ohms,
)
from diagnostics.faults import Fault, build_all_edits
from diagnostics.units import OVER
from diagnostics.wiring import Loop

from .data import Meter, read_table
from .forecast import build_meter_input, find_leads
from .listing import list_earth_pairs, list_lifted_pairs
from .measurement import EARTH_LAMP, Measurement, find_seen_instead
from .meter import find_sd, show_value
from .states import find_earth_off, find_zone_chances


@dataclass(frozen=True, slots=True)
class PredictedReading:
    """One reading: as the meter shows it, ideal (no meter, V only), and one sd with the meter's own error (V or Ω).

    ``instead`` is the word for what is seen where the part is not there, and then nobody reads anything; "" elsewhere.
    """

    measurement: Measurement
    value: float
    ideal: float
    sd: float
    instead: str = ""


@dataclass(frozen=True, slots=True)
class Prediction:
    """A loop in one mode. ``panel`` says what each zone shows, None while it is being reset.

    ``earth`` is what the panel says of earth faults, None where it watches for none or is off.
    """

    readings: tuple[PredictedReading, ...]
    panel: dict[str, str | None]
    earth: str | None
    states: dict[str, str]
    chatter: tuple[str, ...]


def settle_mode(loop: Loop, faults: Sequence[Fault], mode: Mode) -> Settled:
    """Return the loop with its faults, settled in a mode; one column."""
    edits = (*build_all_edits(loop, faults), *build_mode_edits(mode, loop))
    return solve_batch(loop, [edits], build_steps(mode, loop))


def predict_mode(loop: Loop, faults: Sequence[Fault], mode: Mode, meter: Meter | None = None) -> Prediction:
    """Return every reading that this mode allows: ohms of the lifted pair, or volts where there is supply.

    Raises
    ------
    PhysicsError
        The circuit has no balance of volts and currents.
    """
    settled = settle_mode(loop, faults, mode)
    found = list_mode_measurements(loop, mode)
    told = (predict_reading(settled, m, meter or read_table().meter) for m in found)
    readings = tuple(replace(r, instead=find_seen_instead(r.measurement, loop, faults) or "") for r in told)
    return Prediction(readings, show_zones(settled), show_earth(settled), show_states(settled), settled.chatter[0])


def list_mode_measurements(loop: Loop, mode: Mode) -> list[Measurement]:
    """Return the meter readings that a mode allows; ohms never on a pair that is fed."""
    ohms = [
        Measurement("ohms", mode, red=r, black=b) for pair in list_lifted_pairs(loop) for r, b in (pair, pair[::-1])
    ]
    points = (*loop.meter_points, *loop.earth_points, *loop.zone_earth_points)
    volts = [Measurement("volts", mode, red=r, black=b) for r, b in points]
    if mode.is_powered_down:
        return ohms + [Measurement("ohms", mode, red=r, black=b) for r, b in list_earth_pairs(loop)]
    return [*volts, *ohms] if mode.word == "lifted_supply_on" else volts


def predict_reading(settled: Settled, m: Measurement, meter: Meter) -> PredictedReading:
    """Return one reading of a settled loop of one column."""
    red, black = find_leads(m, settled.network.loop)
    source = build_meter_input(m, meter)
    shown = read_meter(settled, [(red, black)], source)
    if m.kind == "ohms":
        shown = to_ohms(shown, source)
        value = float(shown.volts[0, 0])
        over = show_value(value, "ohm", meter) == OVER
        sd = 0.0 if over else float(np.hypot(np.sqrt((shown.slopes**2).sum()), find_sd(value, "ohm", meter)))
        return PredictedReading(m, show_value(value, "ohm", meter), OVER if over else value, sd)
    value = float(shown.volts[0, 0])
    sd = float(np.hypot(np.sqrt((shown.slopes**2).sum()), find_sd(value, "V", meter)))
    return PredictedReading(m, show_value(value, "V", meter), float(settled.volts(red, black)[0]), sd)


def show_zones(settled: Settled) -> dict[str, str | None]:
    """Return what the panel shows for each zone; None while it holds the zone down for a reset, is off or starved."""
    loop = settled.network.loop
    found: dict[str, str | None] = {}
    for zone in loop.zones:
        held_down = bool(settled.signal("panel.reset")[0]) and f"dropped.{zone.name}" in loop.by_name
        tokens, chance = find_zone_chances(settled, zone.name, exact=True)
        off = held_down or bool(settled.signal("panel.down")[0]) or _is_panel_dead(settled)
        found[zone.name] = None if off else tokens[int(np.argmax(chance[0]))]
    return found


def show_earth(settled: Settled) -> str | None:
    """Return what the panel says of earth faults: *right* or *earth_trouble*; None where it says nothing."""
    watch = settled.network.loop.earth
    if watch is None or bool(settled.signal("panel.down")[0]) or _is_panel_dead(settled):
        return None
    return EARTH_LAMP[int(find_earth_off(settled, watch)[0] > watch.off_v)]


def _is_panel_dead(settled: Settled) -> bool:
    """Return whether the battery carries the panel, and has too few volts for it."""
    battery = settled.network.loop.battery
    starved = bool(settled.volts(battery.plus, battery.minus)[0] < battery.runs_from_v)
    return bool(settled.signal("panel.on_battery")[0]) and starved


def show_states(settled: Settled) -> dict[str, str]:
    """Return powered, dark or latched for each detector, operated or released for each relay.

    A dry contact is latched while it is closed, and else at rest: it has no supply.
    """
    powered = find_powered(settled)
    found = {}
    for d in settled.network.loop.detectors:
        latched = bool(settled.signal(f"{d.name}.latched")[0])
        awake = "at rest" if d.is_contact else "powered" if powered[d.name][0] else "dark"
        found[d.name] = "latched" if latched else awake
    for relay in settled.network.loop.relays:
        found[relay.name] = "operated" if settled.signal(f"{relay.name}.operated")[0] else "released"
    return found
