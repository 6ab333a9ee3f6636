"""What is measured again once a repair is made, and what a sound loop shows there."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from diagnostics.cases import Case, Reading
from diagnostics.circuit import STANDBY
from diagnostics.errors import DiagnosticsError
from diagnostics.faults import read_catalogue
from diagnostics.readings import Measurement, parse_measurement, predict_mode
from diagnostics.wiring import Loop, Site, build_loop

from .assess import understand
from .listener import find_listener

GENERIC_PANELS: Final = ("panel_24v", "panel_12v")  # the first is that of a site file that names none
_SDS: Final = 3.0  # *invented*: standard deviations of the sound loop within which a reading is right


@dataclass(frozen=True, slots=True)
class Recheck:
    """Volts to measure again, and between which readings (V) a sound loop lies.

    ``assumed``: nobody has given the values of this panel, so that the range is no fact.
    """

    measurement: Measurement
    low_v: float
    high_v: float
    assumed: bool = False

    def holds(self, value: float | str) -> bool:
        """Return whether a reading (V) is one of a sound loop."""
        return isinstance(value, float) and self.low_v <= value <= self.high_v


def list_rechecks(loop: Loop, repair: str) -> tuple[Recheck, ...]:
    """Return the zone volts to measure again after a repair, a class as a case keeps it.

    Nothing where only detectors are at fault: the zone reads the same with them. Nothing after a repair in plain words.
    """
    remedy, at, spot = repair.partition("@")
    if not at or all(_is_of_detectors(name) for name in remedy.split(" + ")):
        return ()
    own = loop.find_chain(spot.partition(" + ")[0].removeprefix("run ").partition(".")[0])
    chains = loop.chains if own is None else (own,)  # at the panel itself every loop was in reach
    zones = {zone for chain in chains for zone in (chain.spec.zone, chain.spec.co_zone) if zone}
    return tuple(r for r in _list_sound_zones(loop) if r.measurement.red.removeprefix("panel.").rstrip("+") in zones)


def _list_sound_zones(loop: Loop) -> list[Recheck]:
    """Return the volts of every wired zone on the sound loop."""
    zones = {zone for chain in loop.chains for zone in (chain.spec.zone, chain.spec.co_zone) if zone}
    pairs = {(f"panel.{zone}+", f"panel.{zone}-") for zone in zones}
    every = _list_sound(loop.site.model_dump_json())
    return [r for r in every if (r.measurement.red, r.measurement.black) in pairs]


def _is_of_detectors(remedy: str) -> bool:
    """Return whether a remedy is for faults of detectors alone; words that are no remedy ask for nothing."""
    return all(kind.family == "detector" for kind in read_catalogue().kinds.values() if kind.remedy == remedy)


@lru_cache(maxsize=8)
def _list_sound(site_json: str) -> tuple[Recheck, ...]:
    """Return every reading in standby on a sound loop with the range that it lies in."""
    site = Site.model_validate_json(site_json)
    readings, assumed = predict_mode(build_loop(site), (), STANDBY).readings, assumes_panel(site)
    return tuple(Recheck(r.measurement, r.value - _SDS * r.sd, r.value + _SDS * r.sd, assumed) for r in readings)


def assumes_panel(site: Site) -> bool:
    """Return whether a description says nothing of its panel, so that a generic one is assumed."""
    return not site.panel.values and not site.panel.spreads and site.panel.profile in GENERIC_PANELS


def is_assumed_24v(site: Site) -> bool:
    """Return whether nobody has said that the panel is one of 24 V, so that this is assumed of a generic one."""
    return assumes_panel(site) and not is_panel_12v(site)


def is_panel_12v(site: Site) -> bool:
    """Return whether the panel is described as one of 12 V."""
    return site.panel.profile == GENERIC_PANELS[1]


def list_case_rechecks(case: Case, loop: Loop) -> tuple[Recheck, ...]:
    """Return what is measured again after the repairs of a case that cured; nothing where nobody has a meter there.

    Beside the zone volts that the repair asks for: those that were read before it and were not a sound loop's.
    """
    if find_listener(case) == "caller" or (case.can is not None and "meter" not in case.can):
        return ()
    cured = [repair for repair in case.repairs if repair.cured]
    if not cured:
        return ()
    every = [r for repair in cured for r in list_rechecks(loop, repair.fault)]
    read = [r for r in case.readings if r.taken_at is None or r.taken_at < cured[-1].done_at]
    every += [r for r in _list_sound_zones(loop) if any(_is_other(one, loop, r) for one in read)]
    return tuple({r.measurement.key: r for r in every}.values())


def find_reread(case: Case, loop: Loop, recheck: Recheck) -> Reading | None:
    """Return the last reading of this kind since the last repair that cured, or None."""
    cured = [r.done_at for r in case.repairs if r.cured]
    since = [r for r in case.readings if r.taken_at and cured and r.taken_at >= max(cured)]
    return next((r for r in reversed(since) if _is_of(r, loop, recheck)), None)


def find_read_before(case: Case, loop: Loop, recheck: Recheck) -> float | str | None:
    """Return what these volts were read as last before the last repair that cured, where that is no sound loop's."""
    cured = [r.done_at for r in case.repairs if r.cured]
    before = [r for r in case.readings if cured and r.taken_at and r.taken_at < max(cured) and _is_of(r, loop, recheck)]
    value = understand(loop, before[-1]).value if before else None
    return None if value is None or recheck.holds(value) else value


def _is_other(reading: Reading, loop: Loop, recheck: Recheck) -> bool:
    """Return whether a reading is of these volts and not one of a sound loop."""
    return _is_of(reading, loop, recheck) and not recheck.holds(understand(loop, reading).value)


def _is_of(reading: Reading, loop: Loop, recheck: Recheck) -> bool:
    try:
        return parse_measurement(reading.measurement, loop, reading.where).set_up == recheck.measurement.set_up
    except DiagnosticsError:  # a record of another program, or of another description
        return False
