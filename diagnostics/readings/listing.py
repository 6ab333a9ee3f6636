"""Every measurement that a loop offers, in a fixed order, and the one that a case or a caller names."""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

from diagnostics.circuit import STANDBY, Mode, list_liftable, parse_mode
from diagnostics.errors import FaultError, find_nearest
from diagnostics.faults import list_going_on
from diagnostics.wiring import EARTH, UNUSED, Chain, Channel, Detector, Loop, Zone

from .data import read_table
from .measurement import Measurement, build_lamp, build_test
from .swap import find_neighbour


def list_lifted_pairs(loop: Loop) -> list[tuple[str, str]]:
    """Return the terminals whose field wires are lifted for ohms: the zone's, or those of a module's own loop."""
    behind = loop.module_chain
    reported_on = {behind.spec.zone, behind.spec.co_zone} if behind and len(loop.chains) > 1 else set()
    zones = [] if behind and len(loop.chains) == 1 else [z for z in loop.zones if z.name not in reported_on]
    pairs: list[Channel | Zone] = [*(loop.module.channels if loop.module else ()), *zones]
    cores = [(f"panel.{c.spec.zone}{side}", f"panel.{c.back}{side}") for c in loop.chains if c.back for side in "+-"]
    return [*((p.plus, p.minus) for p in pairs), *cores]


def list_earth_pairs(loop: Loop) -> tuple[tuple[str, str], ...]:
    """Return each conductor that is metered to earth with panel and battery off, and earth.

    Those of the zones are lifted for it; those of the detector supply stay where they are.
    """
    lifted = [pair for pair in list_lifted_pairs(loop) if pair in loop.meter_points]
    fed = [loop.pairs[run] for run in list_liftable(loop) if run in loop.pairs]
    starts = [loop.by_name[name].a for pair in fed for name in pair]
    return tuple((core, EARTH) for core in dict.fromkeys([*(t for pair in lifted for t in pair), *starts]))


def find_lifted_mode(loop: Loop, plus: str = "") -> Mode:
    """Return how a pair is metered lifted: a supervision relay's contact needs the detector supply left on.

    ``plus`` names the pair; it only matters where there are several.
    """
    channels = loop.module.channels if loop.module else ()
    inside = next((c for c in channels if c.plus == plus), None)
    zone = plus.removeprefix("panel.").rstrip("+-")
    chain = loop.module_chain if inside else loop.find_chain(zone) if plus else loop.chains[0]
    supervised = chain is not None and bool(chain.end_relay)
    if supervised and chain and inside:
        supervised = inside.label == chain.last.senses
    return Mode("lifted_supply_on") if supervised else Mode("lifted")


@lru_cache(maxsize=64)
def list_measurements(loop: Loop) -> tuple[Measurement, ...]:
    """Return every measurement that this loop offers, in a fixed order; kept, since each reading of a case asks."""
    beside = {d.name: count for chain in loop.chains for d, count in _count_beside(chain)}
    at_detectors = (m for d in loop.detectors for m in _list_at_detector(loop, d, beside[d.name]))
    return (*_list_at_panel(loop), *at_detectors, *_list_opened(loop), *_list_split(loop))


def _list_opened(loop: Loop) -> list[Measurement]:
    """List where cable can be opened to see whether an earth fault lies beyond; on class A the return is off too."""
    some = _list_cuts(loop) if loop.earth else ()
    return [
        Measurement("earth_opened", m, at=m.detector, place=m.detector, is_sought=_is_sought(m.detector, loop))
        for m in some
    ]


def _list_split(loop: Loop) -> list[Measurement]:
    """List where cable can be opened to look back: the volts that arrive, once nothing beyond draws on them."""
    arriving = {
        m: [pair for pair in loop.meter_points if pair[0].startswith(f"{m.detector}.in")] for m in _list_cuts(loop)
    }
    return [_build_volts(pair, loop, mode) for mode, pairs in arriving.items() for pair in pairs]


def _list_cuts(loop: Loop) -> list[Mode]:
    """List the modes in which a loop is cut in two, detector by detector; on class A the return is off too."""
    back = {d.name for chain in loop.chains if chain.back for d in chain.detectors}
    return [Mode("cut_off" if n in back else "opened", n) for n in list_going_on(loop)]


def _count_beside(chain: Chain) -> list[tuple[Detector, int]]:
    """Return with each detector how many others of its loop can be seen to go dark; 0 where that tells nothing."""
    told = chain.has_order and all(d.shows_power for d in chain.detectors)
    return [(d, len(chain.detectors) - 1 if told else 0) for d in chain.detectors]


def _list_at_panel(loop: Loop) -> list[Measurement]:
    zones = [z.name for z in loop.zones] if len(loop.zones) > 1 else ["panel"]
    first = loop.site.zones[loop.zones[0].name]
    known = {z: Mode("known_resistor", resistance_ohm=loop.site.zones.get(z, first).end_resistor) for z in zones}
    found = [Measurement("panel_shows", at=z) for z in zones]
    found += [_build_volts(pair, loop) for pair in (*loop.meter_points, *loop.earth_points)]
    for pair in list_lifted_pairs(loop):
        lifted = find_lifted_mode(loop, pair[0])
        found += [Measurement("ohms", lifted, red=r, black=b) for r, b in (pair, pair[::-1])]
    found += [Measurement("ohms", Mode("lifted"), red=red, black=black) for red, black in list_earth_pairs(loop)]
    found += [Measurement("known_resistor", known[z], at=z) for z in zones]
    found += [*_list_bare(loop), *_list_known(loop, known)]
    found += [Measurement(kind, at="panel") for kind in ("supply_lamps", "event_log", "settings", "look")]
    used = [z.name for z in loop.zones if z.senses != UNUSED]
    found += [Measurement(kind, at=name) for kind in ("ac_volts", "overnight") for name in used]
    if loop.earth:
        found.append(Measurement("earth_lamp", at="panel"))
        found += [Measurement("earth_lifted", Mode("pair_lifted", pair), at=pair) for pair in list_liftable(loop)]
    found.append(Measurement("volts", Mode("on_battery"), red=loop.battery.plus, black=loop.battery.minus))
    found += _list_in_reset(loop)
    found += [Measurement("look", at="module")] if loop.module else []
    return [*found, *_list_walks(loop)]


def _list_bare(loop: Loop) -> list[Measurement]:
    """List the volts of each zone with its wires lifted and the supply left on: what the panel gives, what the field.

    A class A zone keeps its end resistor, which is on the panel's own terminals.
    """
    some = [z for z in loop.zones if z.name in set(list_liftable(loop))]
    sides = [(z, pair) for z in some for pair in ((z.plus, z.minus), (f"field.{z.name}+", f"field.{z.name}-"))]
    return [_build_volts(pair, loop, Mode("pair_lifted", z.name)) for z, pair in sides]


def _list_known(loop: Loop, known: Mapping[str, Mode]) -> list[Measurement]:
    """List the volts of each zone with its right resistor in place of the field: what the panel gives under load."""
    first = known.get("panel")
    return [_build_volts((z.plus, z.minus), loop, first or known[z.name]) for z in _list_with_bare_screws(loop)]


def _list_with_bare_screws(loop: Loop) -> list[Zone]:
    """List the zones whose screws are bare once the wires are lifted."""
    back = {chain.spec.zone for chain in loop.chains if chain.back}
    return [z for z in loop.zones if z.name in set(list_liftable(loop)) - back]


def _list_walks(loop: Loop) -> list[Measurement]:
    """List what a walk past the detectors shows, loop by loop."""
    chains = {find_walk(loop, chain): chain for chain in sorted(loop.chains, key=lambda c: c.end)}
    lamps = {at: chain for at, chain in chains.items() if not chain.first.is_contact}
    found = [Measurement(_WALK[c.has_order][0], at=at, visits=len(c.detectors)) for at, c in lamps.items()]
    shown = {at: chain for at, chain in chains.items() if all(d.shows_power for d in chain.detectors)}
    found += [Measurement(_WALK[c.has_order][1], at=at, visits=len(c.detectors)) for at, c in shown.items()]
    back = [(at, c) for at, c in shown.items() if c.back]
    return found + [Measurement(_WALK[c.has_order][1], RETURNED, at=at, visits=len(c.detectors)) for at, c in back]


RETURNED = Mode("return_lifted")
_WALK = {True: ("which_lit", "which_dark"), False: ("how_many_lit", "how_many_dark")}


def find_walk(loop: Loop, chain: Chain) -> str:
    """Return the place that a walk along a loop is told by: ``loop``, or its start where there are several."""
    return chain.start if len(loop.chains) > 1 else "loop"


def _build_volts(pair: tuple[str, str], loop: Loop, mode: Mode = STANDBY) -> Measurement:
    place = find_place(pair[0], loop)
    return Measurement("volts", mode, red=pair[0], black=pair[1], place=place, is_sought=_is_sought(place, loop))


def _is_sought(place: str, loop: Loop) -> bool:
    """Return whether nobody knows which detector this is: no order is known, and no room was found to be there."""
    detector, chain = loop.find_detector(place), loop.find_chain(place)
    return detector is not None and chain is not None and not chain.has_order and not detector.label


def _list_in_reset(loop: Loop) -> list[Measurement]:
    """List what is worth metering during the reset pulse: the supply path, the coil to be operated, the first load.

    A zone that feeds its detectors drops its own volts; one that is made for contacts does not.
    """
    feeding = {chain.spec.zone for chain in loop.chains if chain.spec.style.is_fed_by_zone}
    zones = [_build_volts((z.plus, z.minus), loop, Mode("during_reset")) for z in loop.zones if z.name in feeding]
    return [*zones, *_list_far_in_reset(loop), *(_list_supply_in_reset(loop) if loop.fed else [])]


def _list_far_in_reset(loop: Loop) -> list[Measurement]:
    """List the volts that are left at the last detector of a loop that its zone feeds, while the panel resets it."""
    last = [chain.last.name for chain in loop.chains if chain.spec.style.is_fed_by_zone]
    pairs = [pair for name in last for pair in loop.meter_points if pair[0].startswith(f"{name}.in")]
    return [_build_volts(pair, loop, Mode("during_reset")) for pair in pairs]


def _list_supply_in_reset(loop: Loop) -> list[Measurement]:
    loads = ["module.in" if chain.spec.style.is_module else f"{chain.first.name}.in+" for chain in loop.fed]
    starts = ("reset.", "panel.switched", "panel.reset", *loads)
    pairs = [(r, b) for r, b in loop.meter_points if r.startswith(starts) or b.startswith("panel.switched")]
    pulse = Mode("during_reset")
    found = [_build_volts(pair, loop, pulse) for pair in pairs]
    if not any(r.name == "reset" for r in loop.relays):
        return found
    return [*found, Measurement("listen", Mode("during_reset"), at="reset"), Measurement("look", at="reset")]


def _list_at_detector(loop: Loop, d: Detector, beside: int) -> list[Measurement]:
    name, sought = d.name, _is_sought(d.name, loop)
    off = Mode("head_off", name)
    found = [build_lamp(name)] if d.shows_power else []
    found.append(build_test(name))
    if not d.is_contact:
        found.append(Measurement("head_off", off, at=name, place=name))
    if beside:
        found.append(Measurement("dark_with_head_off", off, at=name, place=name, visits=beside))
    if neighbour := find_neighbour(loop, name):
        after = Mode("after_reset", name)
        found.append(Measurement("heads_swapped", after, at=name, place=name, beside=neighbour))
    found.append(Measurement("look", at=name, place=name))
    return [replace(m, is_sought=True) for m in found] if sought else found


def find_place(terminal: str, loop: Loop) -> str:
    """Return where a terminal is: at the panel, at a detector, or with the end relay at the last one."""
    name = terminal.partition(".")[0]
    if name.startswith("endrelay"):
        return (loop.find_chain(name) or loop.chains[0]).last.name
    return name if loop.find_detector(name) else "panel"


def parse_measurement(kind: str, loop: Loop, where: dict[str, str]) -> Measurement:
    """Return the measurement that a case or a caller names: ``where`` has red and black, or at, and mode.

    Raises
    ------
    FaultError
        Not one of this loop's measurements; the hint says what there is.
    """
    kinds = read_table().kinds
    if kind not in kinds:
        near = find_nearest(kind, kinds)
        raise FaultError(
            f"no measurement {kind!r}",
            text=kind,
            hint=f"did you mean {near!r}?" if near else f"there are {', '.join(kinds)}",
        )
    red, black, at = (where.get(k, "") for k in ("red", "black", "at"))
    known = [m for m in (*list_measurements(loop), *_list_told(loop)) if m.kind == kind]
    given = where.get("mode")
    mode = parse_mode(given, loop) if given else None
    wanted = (red, black) if kind in {"volts", "ohms"} else (at, "")
    for m in known:
        leads = (m.red, m.black) if m.red else (m.at, "")
        same_leads = leads == wanted or (m.kind == "volts" and leads == (black, red))
        if same_leads and (mode is None or _is_same_mode(m, mode)):
            return m if leads == wanted else replace(m, red=red, black=black)
    raise FaultError(
        f"{kind} {' to '.join(x for x in wanted if x) or '(nowhere)'}"
        f"{' in mode ' + mode.text if mode else ''} is not a measurement of this loop",
        text=kind,
        hint=_suggest_place(known, wanted),
    )


def _list_told(loop: Loop) -> list[Measurement]:
    """List what is taken where it is told, and never asked for: a zone to earth, class A opened with its return on."""
    cut = [m for m in list_measurements(loop) if m.mode.word == "cut_off"]
    earthed = [_build_volts(pair, loop) for pair in loop.zone_earth_points]
    return [*earthed, *(replace(m, mode=Mode("opened", m.mode.detector)) for m in cut)]


def _is_same_mode(m: Measurement, mode: Mode) -> bool:
    """Return whether a mode as told is that of a measurement: a functional test may be told as its alarm."""
    if m.kind in {"functional_test", "heads_swapped"}:
        return mode.word in {"standby", "alarm", "after_reset"} and mode.detector in {"", m.at}
    if m.kind in {"head_off", "dark_with_head_off"}:
        return mode.word in {"standby", "head_off"} and mode.detector in {"", m.at}
    if m.kind == "listen":
        return mode.word in {"standby", "during_reset"}
    if m.kind in {"earth_lifted", "earth_opened"}:
        return mode in {STANDBY, m.mode}
    if m.kind == "known_resistor":
        return mode.word in {"standby", "known_resistor"}
    return m.mode == mode


def _suggest_place(known: list[Measurement], wanted: tuple[str, str]) -> str:
    places = sorted({m.red or m.at for m in known})
    near = find_nearest(wanted[0], places) if wanted[0] else None
    if near and near != wanted[0]:
        return f"did you mean {near!r}?"
    modes = sorted({m.mode.text for m in known if (m.red or m.at) == wanted[0]})
    if modes:
        partners = sorted({m.black for m in known if m.red == wanted[0]})
        return f"there it is taken in mode {', '.join(modes)}" + (
            f", black on {', '.join(partners)}" if partners != [""] else ""
        )
    return f"see: ohmward list measurements SITE; first places: {', '.join(places[:5])}"
