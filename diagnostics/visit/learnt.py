"""A panel's zone, learnt from what somebody typed: volts with nothing on its screws, then with known resistors."""

from collections.abc import Sequence
from dataclasses import dataclass

from diagnostics.errors import PhysicsError, QuantityError
from diagnostics.readings import (
    EVEN,
    MOST_12_V,
    Meter,
    Reading,
    Source,
    build_panel_part,
    find_limit,
    learn_source,
    read_table,
)
from diagnostics.units import has_colours, parse_bands, parse_quantity, parse_resistor
from diagnostics.wiring import PartSpec

USUAL_PERCENT = 5.0  # tolerance of a resistor of which nobody says more; common practice, no source
MOST_PERCENT = 20.0


@dataclass(frozen=True, slots=True)
class LearntZone:
    """What was read, the source it comes to, and the part for a site; ``part`` is None where it is no plain source."""

    readings: tuple[Reading, ...]
    source: Source
    part: PartSpec | None


def learn_zone(open_volts: str, known: Sequence[tuple[str, str]], profile: str = "") -> LearntZone:
    """Return what a zone is by its volts with nothing on it and with some resistors, as (resistor, volts) texts.

    ``profile`` is the panel that it is known to be of; else its own volts say whether that is one of 12 V or of 24 V.

    Raises
    ------
    QuantityError
        A text is no volts or no resistor, or one of a pair is missing.
    PhysicsError
        There are fewer than three readings, no source behaves as they say, or such a panel cannot have these volts.
    """
    meter = read_table().meter
    pairs = [(resistor, volts) for resistor, volts in known if resistor or volts]
    if not open_volts or any(not resistor or not volts for resistor, volts in pairs):
        raise PhysicsError(
            "three readings with three different loads are wanted",
            hint="volts with nothing on the terminals, then with two resistors of different values",
        )
    readings = (Reading(parse_quantity(open_volts, "V")), *(read_known(*pair, meter) for pair in pairs))
    source = learn_source(readings, meter)
    if profile == "panel_12v" and source.zone_v.value > MOST_12_V:
        raise PhysicsError(f"a panel of 12 V has no {open_volts} for a zone", hint="choose 24 V, or read it again")
    return LearntZone(readings, source, build_panel_part(source, None, profile) if source.line == "straight" else None)


def read_known(
    resistor: str, volts: str, meter: Meter, *, percent: float = USUAL_PERCENT, measured: bool = False
) -> Reading:
    """Return volts across a known resistor; its colours say their own tolerance, a meter what it is off by.

    Raises
    ------
    QuantityError
        A text is no volts or no resistor, or the tolerance none of a resistor.
    """
    ohm = parse_resistor(resistor)
    if ohm <= 0:
        raise QuantityError(f"{resistor!r} is no resistor to read volts across", text=resistor, unit="ohm")
    if not 0 <= percent <= MOST_PERCENT:
        raise QuantityError("a tolerance lies from 0 % to 20 %", text=f"{percent:g} %", unit="%")
    percent = parse_bands(resistor).tolerance_percent if has_colours(resistor) else percent
    share = float(find_limit(ohm, "ohm", meter)) / ohm if measured else percent / 100
    return Reading(parse_quantity(volts, "V"), ohm, EVEN * share)
