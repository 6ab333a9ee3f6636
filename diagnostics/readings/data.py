"""What can be measured, as data: tools, minutes, settling, cautions, and the meter."""

from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.source import Ohms, Seconds, Volts, parse_model, read_file

_FILE = Path(__file__).with_name("measurements.yaml")
Tool = Literal["meter", "tester", "resistor", "ladder"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class MeasurementKind(_Strict):
    """One kind of measurement; minutes of work without travel, settling in seconds, misread as a share.

    ``nights``: so often it is left over night, and another visit is made to read it.
    """

    about: str
    tools: tuple[Tool, ...]
    minutes: float
    settling: Seconds
    misread: float
    cautions: tuple[str, ...]
    nights: int = 0


class Travel(_Strict):
    """Minutes from place to place."""

    to_detector: float
    between_detectors: float
    back_to_panel: float
    each_visit: float
    search: float


class Meter(_Strict):
    """A hand meter: ± percent of reading + digits of a display with so many counts."""

    volts_percent: float
    volts_digits: float
    ohms_percent: float
    ohms_digits: float
    counts: int
    input_ohm: Ohms
    ohms_test_v: Volts
    ohms_source_ohm: Ohms
    ohms_over: Ohms


class Ghost(_Strict):
    """What a dead pair shows now and then: from which volts down it is dead, the share of ghosts, their mean size."""

    dead_v: Volts
    share: float
    size_v: Volts


class Seepage(_Strict):
    """What passes beside an open pair now and then: from which ohms up, share of readings, ohms, sd of their log."""

    from_ohm: Ohms
    share: float
    ohm: Ohms
    log_sd: float


class Night(_Strict):
    """One night of MIN/MAX: the share of faults that come in it, and from what on volts have moved."""

    comes: float
    moved_share: float
    moved_v: Volts


class Chatter(_Strict):
    """Shares of the moments in which a zone with AC on its pair shows trouble, and alarm, whatever its volts mean."""

    trouble: float
    alarm: float


class Table(_Strict):
    """The whole file.

    ``reset_cautions`` go with readings taken during a reset, ``battery_cautions`` with those on battery,
    ``return_cautions`` and ``return_minutes`` with those while the return wires of a class A loop are lifted,
    ``opened_cautions`` and ``opened_minutes`` with volts while what goes on from a detector is off;
    ``threshold_share`` is one sd of every threshold at which a part changes its state;
    ``stray_v`` one sd of what leads pick up by themselves; ``own_share`` the part of a meter's error that comes anew
    with every reading, the rest stays for a visit.
    """

    format: Literal["ohmward-measurements/1"]
    kinds: dict[str, MeasurementKind]
    reset_cautions: tuple[str, ...]
    battery_cautions: tuple[str, ...]
    return_cautions: tuple[str, ...]
    return_minutes: float
    opened_cautions: tuple[str, ...]
    opened_minutes: float
    lifted_cautions: tuple[str, ...]
    lifted_minutes: float
    known_minutes: float
    travel: Travel
    meter: Meter
    threshold_share: float
    stray_v: Volts
    own_share: float
    ghost: Ghost
    seepage: Seepage
    chatter: Chatter
    second_visit_minutes: float
    night: Night


@cache
def read_table() -> Table:
    """Return the table that ships with the package."""
    return parse_model(read_file(_FILE), Table)
