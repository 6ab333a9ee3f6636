"""What this visit asked to be lifted, bridged or taken off, and has not seen put back."""

from dataclasses import dataclass
from datetime import datetime

from diagnostics.cases import Case
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_measurement
from diagnostics.wiring import Loop

from .marks import BACK


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
        try:
            measurement = parse_measurement(reading.measurement, loop, reading.where)
        except DiagnosticsError:
            continue  # a record of another program; nothing can be said of it
        mark, since = name_disturbance(measurement), reading.taken_at
        seen = [back[name] for name in (mark, _name_as_before(measurement)) if name in back]
        put_back_since = any(since is None or at >= since for at in seen)
        if "put_back" in measurement.cautions and not put_back_since:
            found.setdefault(mark, Disturbance(measurement, since))
    return tuple(found.values())


def name_disturbance(m: Measurement) -> str:
    """Return the name under which it is noted that what a measurement disturbed is back: both polarities share one.

    Ohms and volts of different pairs are put back one by one.
    """
    return f"{BACK}{m.kind} {m.at or ','.join(sorted((m.red, m.black)))}"


def _name_as_before(m: Measurement) -> str:
    """Return the name that records of earlier programs use: one for all pairs."""
    return f"{BACK}{m.kind} {m.at}"
