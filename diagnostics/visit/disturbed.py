"""What this visit asked to be lifted, bridged or taken off, and has not seen put back."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from diagnostics.cases import Case, Reading
from diagnostics.circuit import STANDBY
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_measurement
from diagnostics.wiring import EARTH, Loop

from .marks import BACK, was_told


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A set-up that stands, and since when; None where the reading has no moment."""

    measurement: Measurement
    since: datetime | None


def find_disturbances(case: Case, loop: Loop) -> tuple[Disturbance, ...]:
    """Return what still stands disturbed, once each, in the order it was done.

    A reading counts whether or not the complaint was there: the wire was lifted all the same.
    """
    back = {a.caution: a.at for a in case.acknowledged if a.caution.startswith(BACK)}
    found: dict[str, Disturbance] = {}
    for reading in case.readings:
        measurement = _parse(reading, loop)
        if measurement is None or was_told(reading):
            continue
        mark, since = name_disturbance(measurement), reading.taken_at
        names = (mark, _name_by_ends(measurement), _name_as_before(measurement))
        seen = [back[name] for name in names if name in back]
        put_back_since = any(since is None or at >= since for at in seen)
        if "put_back" in measurement.cautions and not put_back_since:
            found.setdefault(mark, Disturbance(measurement, since))
    return tuple(found.values())


First = Literal["power", "known_off", "pair_on", "stays", "back"]
_RETURN = re.compile(r"(?<=\d)r$")  # zone1r is where zone1 comes home
_OFF_SCREWS = frozenset({"lifted", "lifted_supply_on", "pair_lifted", "known_resistor"})


def find_first(case: Case, loop: Loop, m: Measurement) -> tuple[First, ...]:
    """Return what is to be done before a step because of the step before it, in order; nothing where all is back.

    A *known* resistor is to be *off*, the *pair on* its screws, or it *stays* lifted; *power* comes on again last. All
    else, a head or wires at a detector, goes *back* as it was unless the next step wants it just so.
    """
    before = _parse(case.readings[-1], loop) if case.readings else None
    standing = {name_disturbance(d.measurement) for d in find_disturbances(case, loop)}
    if before is None or "put_back" not in before.cautions or name_disturbance(before) not in standing:
        return ()
    if before.mode.word not in _OFF_SCREWS:
        return () if before.mode == m.mode and before.mode != STANDBY else ("back",)
    stays = m.mode.word in _OFF_SCREWS and _find_pair(m) == _find_pair(before)
    known: tuple[First, ...] = ()
    if before.mode.word == "known_resistor" and m.mode.word != "known_resistor":
        known = ("known_off",)
    power: tuple[First, ...] = ("power",) if before.mode.is_powered_down and not m.mode.is_powered_down else ()
    return (*known, "stays" if stays else "pair_on", *power)


def _find_pair(m: Measurement) -> str:
    """Return the zone, or the run, whose pair is off its screws."""
    return m.mode.detector or m.red.partition(".")[2].rstrip("+-") or m.at


def _parse(reading: Reading, loop: Loop) -> Measurement | None:
    """Return the measurement of a reading; None in a record of another program, of which nothing can be said."""
    try:
        return parse_measurement(reading.measurement, loop, reading.where)
    except DiagnosticsError:
        return None


def name_disturbance(m: Measurement) -> str:
    """Return the name under which it is noted that what a measurement disturbed is back: both polarities share one.

    Ohms and volts of different pairs are put back one by one; a lifted pair is one, read at its screws or its wires,
    between them or to earth, and with the pair that comes home where there is one.
    """
    zones = {_RETURN.sub("", end.replace("field.", "panel.")[:-1]) for end in (m.red, m.black) if end != EARTH}
    if m.kind != "ohms" or len(zones) != 1:
        return _name_by_ends(m)
    (zone,) = zones
    return f"{BACK}ohms {zone}+,{zone}-"


def _name_by_ends(m: Measurement) -> str:
    """Return the name by the terminals of a measurement; records of earlier programs use it for any ohms."""
    screws = [terminal.replace("field.", "panel.") for terminal in (m.red, m.black)]
    known = " known" if m.mode.word == "known_resistor" and m.kind == "volts" else ""
    return f"{BACK}{m.kind} {m.at or ','.join(sorted(screws))}{known}"


def _name_as_before(m: Measurement) -> str:
    """Return the name that records of earlier programs use: one for all pairs."""
    return f"{BACK}{m.kind} {m.at}"
