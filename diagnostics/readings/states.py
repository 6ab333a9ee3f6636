"""Words out of volts: what panel, lamps and eyes show, as chances over hypotheses."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from diagnostics.circuit import Settled
from diagnostics.faults import Fault, find_end
from diagnostics.wiring import EARTH, Channel, EarthWatch, Loop, Zone

from .behind import find_gravest, find_leanings, lean
from .data import read_table
from .forecast import Forecast
from .measurement import (
    AC,
    AS_IT_SHOULD_BE,
    CLICKS,
    EARTH_LAMP,
    LAMPS,
    LOG,
    OVERNIGHT,
    SETTING_WRONG,
    STATES,
    SUPPLY,
    TESTS,
    Measurement,
    list_sights,
)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Chances = tuple[tuple[str, ...], Array]
_FLOOR_V = 0.02
NORMAL, TROUBLE, ALARM, SUPERVISORY = (STATES.index(s) for s in ("normal", "trouble", "alarm", "supervisory"))


def blur(chance: Array, misread: float) -> Array:
    """Mix in the share of answers that are wrong for no reason the model knows; rows still sum to 1."""
    blurred: Array = (1 - misread) * chance + misread / chance.shape[1]
    return blurred


def find_zone_chances(
    settled: Settled, name: str = "", *, exact: bool = False, spreads: Mapping[str, Array] | None = None
) -> Chances:
    """Return the chances of each state of a zone, (column, state).

    Without a name it is what the panel as a whole shows: alarm if any zone is, else supervisory, else trouble.
    ``exact`` takes thresholds as sharp. ``spreads`` are one sd (V) of the volts of each zone, and of
    each channel of a module, (column,).
    """
    zones = settled.network.loop.zones
    leanings = find_leanings(settled, spreads, _by_band) if spreads else {}
    may = leanings if name else {}
    each = [
        _find_one(settled, zone, (spreads or {}).get(zone.name, 0.0), may.get(zone.name), exact=exact) for zone in zones
    ]
    behind = settled.network.loop.module_chain
    if behind is not None and behind.spec.co_zone is not None:
        one, two = ([z.name for z in zones].index(n) for n in (behind.spec.zone, behind.spec.co_zone))
        swapped = settled.signal("panel.exchanged")[:, None]
        each[one], each[two] = np.where(swapped, each[two], each[one]), np.where(swapped, each[one], each[two])
    if name:
        return STATES, each[[z.name for z in zones].index(name)]
    normal = np.prod([c[:, NORMAL] for c in each], axis=0)
    at_most_trouble = np.prod([c[:, NORMAL] + c[:, TROUBLE] for c in each], axis=0)
    no_alarm = np.prod([1 - c[:, ALARM] for c in each], axis=0)
    shares = [normal, at_most_trouble - normal, 1 - no_alarm, no_alarm - at_most_trouble]
    whole: Array = np.clip(np.stack(shares, axis=1), 0.0, 1.0)
    gravest = find_gravest(leanings)
    return STATES, whole if gravest is None else lean(whole, *gravest)


def _find_one(
    settled: Settled, zone: Zone, spread_v: Array | float, may: tuple[Array, Array] | None, *, exact: bool
) -> Array:
    """Read a zone's volts by its bands, then do with it what the panel's memory and settings do.

    ``may`` is what a module tells the zone, and may tell it instead.
    """
    chance = _by_band(zone, settled.volts(zone.plus, zone.minus), spread_v, exact=exact)
    chance = lean(chance, *may) if may else chance
    chance[settled.signal(f"{zone.name}.latched")] = np.eye(len(STATES))[ALARM]
    faulty, verifies = settled.signal(f"{zone.name}.faulty"), settled.signal(f"{zone.name}.verifies")
    linked = settled.signal(f"{zone.name}.linked") if zone.comes_back else np.zeros_like(faulty)
    stale = settled.signal(f"{zone.name}.display") & ~settled.signal(f"{zone.name}.known")  # that step has a reset
    _pour(chance, NORMAL, TROUBLE, faulty | stale | linked)
    _pour(chance, TROUBLE, NORMAL, settled.signal(f"{zone.name}.unsupervised"))
    _pour(chance, ALARM, NORMAL, verifies)
    _pour(chance, ALARM, SUPERVISORY, settled.signal(f"{zone.name}.miskind"))
    if not exact:
        _chatter(chance, settled.signal(f"{zone.name}.uneasy") & ~settled.signal(f"{zone.name}.lifted"))
    chance[settled.signal(f"{zone.name}.bypassed")] = np.eye(len(STATES))[NORMAL]
    return chance


def _chatter(chance: Array, where: Flags) -> None:
    """Let a zone with AC on its pair trip and clear at random: shares of the moments at which it is looked at."""
    shares = read_table().chatter
    chance[where] *= 1 - shares.trouble - shares.alarm
    chance[where, TROUBLE] += shares.trouble
    chance[where, ALARM] += shares.alarm


def _pour(chance: Array, source: int, goal: int, where: Flags) -> None:
    chance[where, goal] += chance[where, source]
    chance[where, source] = 0.0


def _by_band(zone: Zone | Channel, across: Array, spread_v: Array | float, *, exact: bool = False) -> Array:
    """Spread the volts over the bands: the share of a threshold that is uncertain stands in the data."""
    sd = 1e-9 if exact else np.hypot(_find_threshold_sd(across), spread_v)
    chance = np.zeros((across.size, len(STATES)))
    for band in zone.bands:
        inside = ndtr((band.high_v - across) / sd) - ndtr((band.low_v - across) / sd)
        chance[:, STATES.index(band.state)] += inside
    whole: Array = chance / chance.sum(axis=1, keepdims=True)
    return whole


def _find_threshold_sd(across: Array) -> Array:
    sd: Array = read_table().threshold_share * np.abs(across) + _FLOOR_V
    return sd


def find_supply_chances(settled: Settled, on_battery: Settled) -> Chances:
    """Return the chances of what a panel says of its supply, (column, answer).

    ``on_battery`` is the same batch with mains taken off, as the panel tries its battery by itself. A mains trouble
    hides one of the battery: with mains away the battery's own volts tell.
    """
    battery = settled.network.loop.battery
    away = settled.signal("panel.on_battery").astype(np.float64)
    carries = on_battery.volts(battery.plus, battery.minus)
    held = settled.volts(battery.plus, battery.minus)
    carries_it = ndtr((carries - battery.low_v) / _find_threshold_sd(carries))
    charged = ndtr((held - battery.charged_from_v) / _find_threshold_sd(held))
    weak = (1 - away) * (1 - carries_it * charged)
    return SUPPLY, np.stack([1 - away - weak, away, weak], axis=1)


def find_earth_off(settled: Settled, watch: EarthWatch) -> Array:
    """Return how far earth lies off the middle between plus and minus, in volts, (column,)."""
    off: Array = np.abs(settled.volts(watch.plus, EARTH) + settled.volts(watch.minus, EARTH)) / 2
    return off


def find_earth_chances(settled: Settled, spread_v: Array | float = 0.0) -> Chances:
    """Return the chances of what a panel says of earth faults, (column, answer).

    ``spread_v`` is one sd of the volts from plus to earth. A panel that watches for none always says *right*.
    """
    watch = settled.network.loop.earth
    if watch is None:
        return EARTH_LAMP, np.repeat([[1.0, 0.0]], settled.columns.size, axis=0)
    sd = np.hypot(_find_threshold_sd(np.full(settled.columns.size, watch.off_v)), spread_v)
    told = ndtr((find_earth_off(settled, watch) - watch.off_v) / sd)
    return EARTH_LAMP, np.stack([1 - told, told], axis=1)


def find_log_chances(settled: Settled, supply: Array, earth: Array) -> Chances:
    """Return the chances of the gravest entry of the event log, (column, answer).

    ``supply`` as of the supply's lamps, ``earth`` as of the panel's words of earth faults. The log holds what the panel
    shows now: an alarm before a supervisory signal, that before a trouble of a zone, then of the supply, then of earth.
    """
    zones = find_zone_chances(settled)[1]
    quiet, fine = zones[:, NORMAL], supply[:, SUPPLY.index("right")]
    said = {
        "nothing": quiet * fine * earth[:, 0],
        "earth_trouble": quiet * fine * earth[:, 1],
        "trouble_only": zones[:, TROUBLE],
        "alarm": zones[:, ALARM],
        "supervisory": zones[:, SUPERVISORY],
        "supply_trouble": quiet * (1 - fine),
    }
    return LOG, np.stack([said[token] for token in LOG], axis=1)


def find_lamp_chances(settled: Settled, name: str, spread_v: Array | float = 0.0) -> Chances:
    """Return the chances of lit, dark and alarm for one detector's lamp, (column, lamp); one sd (V) of its volts."""
    lit = _powered_chance(settled, name, spread_v)
    latched = settled.signal(f"{name}.latched")
    chance = np.stack([lit, 1 - lit, np.zeros_like(lit)], axis=1)
    chance[latched] = [0.0, 0.0, 1.0]
    return LAMPS, chance


def _powered_chance(settled: Settled, name: str, spread_v: Array | float) -> Array:
    detector = next(d for d in settled.network.loop.detectors if d.name == name)
    across = settled.volts(detector.plus, detector.minus)
    across = np.abs(across) if detector.either_way else across
    there = ~settled.signal(f"{name}.dead") & ~settled.signal(f"{name}.head_off")
    sd = np.hypot(read_table().threshold_share * detector.powered_v, spread_v)
    return np.where(there, ndtr((across - detector.powered_v) / sd), 0.0)


def find_test_chances(before: Settled, alarmed: Settled, resetting: Settled, name: str) -> Chances:
    """Return the chances of each outcome of a functional test at one detector, (column, outcome).

    The alarm stays when the detector's latch is held through the reset pulse: its supply, taken from the loop in reset
    without an alarm, stays at or above the volts at which it lets go. (A latched detector draws more and only lowers
    them; a test holds this to the whole sequence of steps.) A report on another zone alone is one on the wrong zone;
    an alarm that stands on another loop is neither that nor in the way.
    """
    loop = alarmed.network.loop
    right, own = find_right_zone(loop, name), list_own_zones(loop, name)
    before_at = {z.name: find_zone_chances(before, z.name)[1][:, ALARM] for z in loop.zones}
    after_at = {z.name: find_zone_chances(alarmed, z.name)[1] for z in loop.zones}
    already = 1 - np.prod([1 - before_at[zone] for zone in own], axis=0)
    reports = after_at[right][:, ALARM]
    quiet = [
        1 - after_at[zone][:, [ALARM, SUPERVISORY]].sum(axis=1) * (zone in own or 1 - before_at[zone])
        for zone in after_at
    ]
    anywhere = 1 - np.prod(quiet, axis=0)
    stays = _is_held(alarmed, resetting, name)
    fresh, wrong = 1 - already, np.maximum(anywhere - reports, 0.0)
    none = 1 - reports - wrong
    chance = [fresh * reports * ~stays, fresh * reports * stays, fresh * none, already, fresh * wrong]
    return TESTS, np.stack(chance, axis=1)


def list_own_zones(loop: Loop, name: str) -> tuple[str, ...]:
    """Return the zones that the loop of a detector reports on; all of the panel where there is one loop."""
    chain = loop.find_chain(name) if len(loop.chains) > 1 else None
    own = (chain.spec.zone, chain.spec.co_zone) if chain else tuple(z.name for z in loop.zones)
    return tuple(zone for zone in own if zone is not None)


def find_right_zone(loop: Loop, name: str) -> str:
    """Return the zone on which a detector belongs: of those of its loop that for what it senses, or the first."""
    senses = next(d.senses for d in loop.detectors if d.name == name)
    chain = loop.find_chain(name) or loop.chains[0]
    own = [z for z in loop.zones if z.name in {chain.spec.zone, chain.spec.co_zone}]
    return next((z.name for z in own if z.senses == senses), chain.spec.zone)


def _is_held(alarmed: Settled, resetting: Settled, name: str) -> Flags:
    detector = next(d for d in alarmed.network.loop.detectors if d.name == name)
    across = resetting.volts(detector.plus, detector.minus)
    across = np.abs(across) if detector.either_way else across
    stays = (across >= detector.release_v) | alarmed.signal("panel.short_reset")
    held: Flags = alarmed.signal(f"{name}.latched") & stays & (not detector.is_contact)
    return held


def find_click_chances(before: Settled, resetting: Settled) -> Chances:
    """Return the chances that the reset relay is heard to move when the panel resets, (column, answer)."""
    moves = before.signal("reset.operated") != resetting.signal("reset.operated")
    return CLICKS, np.stack([moves, ~moves], axis=1).astype(np.float64)


def find_sight_chances(loop: Loop, m: Measurement, hypotheses: Sequence[tuple[Fault, ...]]) -> Chances:
    """Return the chance of each thing that depends on the fault alone, (hypothesis, token).

    What a look, a review of settings, or a meter on AC volts can find.
    """
    if m.kind == "settings":
        wrong = np.array([1 - np.prod([1 - f.data.settings_share for f in h]) for h in hypotheses])
        return (AS_IT_SHOULD_BE, SETTING_WRONG), np.stack([1 - wrong, wrong], axis=1)
    if m.kind == "ac_volts":
        there = np.array([find_ac(h, m.at) for h in hypotheses])
        return AC, np.stack([~there, there], axis=1).astype(np.float64)
    tokens = (AS_IT_SHOULD_BE, *list_sights())
    chance = np.zeros((len(hypotheses), len(tokens)))
    chance[:, 0] = 1.0
    for row, faults in enumerate(hypotheses):
        seen = [f for f in faults if f.data.sees.share and find_look_place(f, loop) == m.at]
        if seen:
            _add_sights(chance[row], tokens, seen)
    return tokens, chance


def find_ac(faults: Sequence[Fault], zone: str) -> bool:
    """Return whether AC from somewhere else lies on the pair of a zone."""
    return any(fault.kind == "foreign_ac" and fault.place == zone for fault in faults)


def find_night_chances(shown: Forecast, usual: Forecast, swings: Flags) -> Chances:
    """Return the chances of what MIN/MAX over a night show, (hypothesis, answer).

    ``shown`` are the zone's volts while the fault is there, ``usual`` those with nothing wrong, of one hypothesis; what
    both share cancels. A fault that comes and goes comes in one night with a share; one that stays shows all the same.
    """
    if shown.mean is None or usual.mean is None or shown.slopes is None or usual.slopes is None:
        raise TypeError("a night is told by volts")
    night = read_table().night
    off = shown.mean - usual.mean
    least = night.moved_share * np.abs(usual.mean) + night.moved_v
    sd = np.hypot(np.sqrt(((shown.slopes - usual.slopes) ** 2).sum(axis=0)), 0.25 * least)
    fell, rose = ndtr((-off - least) / sd), ndtr((off - least) / sd)
    fell, rose, swung = (night.comes * np.where(swings, own, share) for own, share in ((0, fell), (0, rose), (1, 0)))
    return OVERNIGHT, np.stack([1 - fell - rose - swung, fell, rose, swung], axis=1)


def _add_sights(row: Array, tokens: tuple[str, ...], faults: Sequence[Fault]) -> None:
    """Put what a look finds of some faults in place of nothing found, the first token."""
    rest = 1.0
    for sees in (fault.data.sees for fault in faults):
        row[tokens.index(sees.token)] += rest * sees.share
        rest *= 1 - sees.share
    row[0] = rest


def _find_far_end(place: str, loop: Loop) -> str:
    """Return where the pair ends on which a fault is: at its last detector, or at the module when it has none."""
    pair = place if place in loop.end_resistors else find_end(loop, place)
    where = loop.by_name[loop.end_resistors[pair]].a.partition(".")[0] if pair in loop.end_resistors else ""
    if where in {"field", "panel"}:  # no detector on it, or class A: the resistor sits where the pair begins
        return "module" if loop.module else "panel"
    chain = loop.find_chain(pair) or loop.chains[0]
    return where if where == "module" or loop.find_detector(where) else chain.last.name


def _find_place_before(name: str, loop: Loop) -> str:
    """Return the detector before one, or where its loop starts: at the panel or at the module."""
    chain = loop.find_chain(name) or loop.chains[0]
    places = ["module" if chain.start == "module" else "panel", *(d.name for d in chain.detectors)]
    return places[places.index(name) - 1]


def find_look_place(fault: Fault, loop: Loop) -> str:
    """Return where a look finds a fault: ``panel``, ``reset`` or a detector."""
    match fault.data.sees.at:
        case "before":
            return _find_place_before(fault.place, loop)
        case "end":
            return _find_far_end(fault.place, loop)
        case "reset" | "panel":
            return fault.data.sees.at
        case _:
            place = fault.place.partition(".")[0]
            at_panel = {*(z.name for z in loop.zones), *(chain.back for chain in loop.chains)}
            return "panel" if place in at_panel else place
