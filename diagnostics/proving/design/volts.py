"""Volts where they must suffice: at detectors, the module and the supervision relay, and at a latch that must hold."""

from collections.abc import Iterator, Mapping

from diagnostics.wiring import Loop, build_part

from .chains import Stretch
from .corners import Case, Pair, Reach, find_reaches, hold_alarm
from .rows import NO_CEILING, Row


def check_volts(loop: Loop, stretch: Stretch) -> Iterator[Row]:
    """Yield the volts at the worst detector, the module and the supervision relay: on mains, and at the battery's end.

    Detectors fed by the pair that they report on lose their volts to the first in alarm, so they are held to their
    minimum in standby, and one at a time to what keeps them latched.
    """
    names = [d.name for d in stretch.detectors]
    end_v = build_part(loop.site.panel.profile, loop.site.panel.values, "panel").number("battery_end_v")
    alarm = hold_alarm(names)
    cases = {"standby": Case(), "battery": Case(battery_v=end_v)}
    if not stretch.spec.style.is_two_wire:
        cases |= {"alarm": Case(alarm), "battery_alarm": Case(alarm, end_v)}
    for condition, case in cases.items():
        places = [(d.name, (d.plus, d.minus), d.powered_v, "minimum_v") for d in stretch.detectors]
        relays = [r for r in loop.relays if r.name == "module" or r.name.startswith("endrelay")]
        holds = "drop_out_v" if case.edits else "pull_in_v"
        reaches = find_reaches(loop, [case], [(0, p[1]) for p in places] + [(0, (r.plus, r.minus)) for r in relays])
        yield min(
            (_build_volts(stretch, place, condition, reach) for place, reach in zip(places, reaches, strict=False)),
            key=lambda row: row.margin,
        )
        for relay, reach in zip(relays, reaches[len(places) :], strict=True):
            least_v = relay.drop_out_v if case.edits else relay.pull_in_v
            yield _build_volts(stretch, (relay.name, (relay.plus, relay.minus), least_v, holds), condition, reach)
    if stretch.spec.style.is_two_wire:
        yield _check_latch(loop, stretch)


def _build_volts(stretch: Stretch, place: tuple[str, Pair, float, str], condition: str, reach: Reach) -> Row:
    name, _, least_v, limit = place
    spec, is_detector = stretch.spec, name.startswith("det")
    part = "module" if name == "module" else "end_relay"
    path = stretch.find_path(name) if is_detector else ("loops", stretch.number, part)
    values = spec.module.values if part == "module" else spec.end_relay.values if spec.end_relay else {}
    given = limit in (_find_values(stretch, name) if is_detector else values)
    return Row(
        "volts", name, condition, "V", reach, least_v, NO_CEILING, limit, given, path, name if is_detector else ""
    )


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
