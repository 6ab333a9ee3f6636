"""Volts where they must suffice: at detectors, the module and the supervision relay, and at a latch that must hold."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from diagnostics.source import TreePath
from diagnostics.wiring import Loop, build_part, find_detector_part, lift_limits

from .chains import Stretch, list_worst_alarm
from .corners import Case, Pair, Reach, find_reaches, hold_alarm
from .rows import NO_CEILING, NO_FLOOR, Row


@dataclass(frozen=True, slots=True)
class _Place:
    """Terminals, the volts that they need or may have, which value says so, whether the site gives it, and where."""

    name: str
    ends: Pair
    limit_v: float
    limit: str
    given: bool
    path: TreePath


def check_volts(loop: Loop, stretch: Stretch) -> Iterator[Row]:
    """Yield the volts at the worst detector, the module and the supervision relay: on mains, and at the battery's end.

    Detectors fed by the pair that they report on lose their volts to the first in alarm, so they are held to their
    minimum in standby, and one at a time to what keeps them latched. That an output gives out is told as its load, so
    here it gives what is asked.
    """
    if stretch.is_contacts:
        return
    end_v = build_part(loop.site.panel.profile, loop.site.panel.values, "panel").number("battery_end_v")
    alarm = hold_alarm(list_worst_alarm(loop))
    cases = {"standby": Case(), "battery": Case(battery_v=end_v)}
    if not stretch.spec.style.is_two_wire:
        cases |= {"alarm": Case(alarm), "battery_alarm": Case(alarm, end_v)}
    lifted = lift_limits(loop)
    for condition, case in cases.items():
        places = [*_list_detectors(stretch), *_list_relays(loop, stretch, alarmed=bool(case.edits))]
        reaches = find_reaches(lifted, [case], [(0, place.ends) for place in places])
        rows = [_build_row(place, condition, reach) for place, reach in zip(places, reaches, strict=True)]
        count = len(stretch.detectors)
        yield min(rows[:count], key=lambda row: row.margin)
        yield from rows[count:]
    if stretch.spec.style.is_two_wire:
        yield _check_latch(loop, stretch)
    yield from _check_most(lifted, stretch)


def _check_most(loop: Loop, stretch: Stretch) -> Iterator[Row]:
    """Yield the most volts that a detector, and the module, have in standby: not beyond what each is made for."""
    places = [
        _Place(
            d.name, (d.plus, d.minus), find_detector_part(stretch.spec, told).number("maximum_v"), "maximum_v",
            "maximum_v" in told.values, stretch.find_path(d.name),
        )
        for d, told in zip(stretch.detectors, stretch.spec.all_detectors, strict=True)
    ]  # fmt: skip
    if stretch.spec.style.is_module:
        part, path = stretch.spec.module, ("loops", stretch.number, "module")
        most_v = build_part(part.profile, part.values, "module").number("maximum_v")
        ends = ("module.in+", "module.in-")
        places.append(_Place("module", ends, most_v, "maximum_v", "maximum_v" in part.values, path))
    reaches = find_reaches(loop, [Case()], [(0, place.ends) for place in places])
    rows = [
        Row(
            "most_volts", place.name, "standby", "V", reach, NO_FLOOR, place.limit_v, place.limit, place.given,
            place.path, place.name if place.name != "module" else "",
        )
        for place, reach in zip(places, reaches, strict=True)
    ]  # fmt: skip
    count = len(stretch.detectors)
    yield min(rows[:count], key=lambda row: row.margin)
    yield from rows[count:]


def _list_detectors(stretch: Stretch) -> Iterator[_Place]:
    for d in stretch.detectors:
        given = "minimum_v" in _find_values(stretch, d.name)
        yield _Place(d.name, (d.plus, d.minus), d.powered_v, "minimum_v", given, stretch.find_path(d.name))


def _list_relays(loop: Loop, stretch: Stretch, *, alarmed: bool) -> Iterator[_Place]:
    """Yield the module and the supervision relay: they must pull in in standby, and may not let go in alarm."""
    spec, limit = stretch.spec, "drop_out_v" if alarmed else "pull_in_v"
    parts = {"module": ("module", spec.module)} if spec.style.is_module else {}
    parts |= {stretch.relay: ("end_relay", spec.end_relay)} if spec.end_relay else {}
    for r in loop.relays:
        if r.name in parts:
            key, part = parts[r.name]
            least_v = r.drop_out_v if alarmed else r.pull_in_v
            path = ("loops", stretch.number, key)
            yield _Place(r.name, (r.plus, r.minus), least_v, limit, limit in part.values, path)


def _build_row(place: _Place, condition: str, reach: Reach) -> Row:
    detector = place.name if place.name.startswith("det") else ""
    return Row(
        "volts", place.name, condition, "V", reach, place.limit_v, NO_CEILING, place.limit, place.given, place.path,
        detector,
    )  # fmt: skip


def _find_values(stretch: Stretch, detector: str) -> Mapping[str, str]:
    return stretch.spec.all_detectors[[d.name for d in stretch.detectors].index(detector)].values


def _check_latch(loop: Loop, stretch: Stretch) -> Row:
    """Return the volts that are left to the worst detector while it alone is in alarm: enough to stay latched."""
    cases = [Case(hold_alarm([d.name])) for d in stretch.detectors]
    reaches = find_reaches(loop, cases, [(n, (d.plus, d.minus)) for n, d in enumerate(stretch.detectors)])
    rows = (
        Row(
            "latch", d.name, "alarm", "V", reach, d.release_v, NO_CEILING, "release_v",
            "release_v" in _find_values(stretch, d.name), stretch.find_path(d.name), d.name,
        )
        for d, reach in zip(stretch.detectors, reaches, strict=True)
    )  # fmt: skip
    return min(rows, key=lambda row: row.margin)
