"""The values card: what each pair of terminals shows when all is well, open, shorted or in alarm; one page.

Every volt and ohm comes from ``readings.predict``; which open and which short stand for all is chosen by forecasts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from diagnostics.circuit import STANDBY, Mode
from diagnostics.faults import Fault, list_faults
from diagnostics.readings import (
    Bench,
    Faults,
    Measurement,
    PredictedReading,
    Prediction,
    find_lifted_mode,
    predict_mode,
    read_table,
)
from diagnostics.units import OVER
from diagnostics.wiring import Loop, build_part

Pair = tuple[str, str]
NORMAL, OPEN_END, OPEN_START, SHORT, ALARM_FIRST, ALARM_LAST = (
    "normal", "open_end", "open_start", "short", "alarm_first", "alarm_last",
)  # fmt: skip
OPEN, ALARM = "open", "alarm"  # where end and start, or first and last, show the same
_ENDS: Final = ("end_resistor_missing", "panel_resistor_missing")
# Two values nearer than this share of one sd are one row of the card.
_SAME_SDS = 0.25
_PULLED_DOWN: Final = 0.5  # of what a sound pair shows: below that it is a short, wires and all
_SETTLING: Final = ("panel_shows", "head_off", "known_resistor", "functional_test", "lamp")


@dataclass(frozen=True, slots=True)
class Amount:
    """A predicted value (V or ohm, ``math.inf`` for OL) and one standard deviation with the meter's own error."""

    value: float
    sd: float
    unit: str


@dataclass(frozen=True, slots=True)
class CardRow:
    """What one condition shows on a pair: volts, ohms with the pair lifted (both polarities, or none), panel state."""

    condition: str
    fault: str
    mode: str
    volts: Amount
    ohms: tuple[Amount, ...]
    state: str | None


@dataclass(frozen=True, slots=True)
class CardPair:
    """A pair that a panel zone or a module watches; ``zone`` is empty for a pair of the module."""

    red: str
    black: str
    zone: str
    lifted: str
    rows: tuple[CardRow, ...]


@dataclass(frozen=True, slots=True)
class PathRow:
    """A pair on the way of the detector supply: volts in standby, during reset, with the last detector in alarm."""

    red: str
    black: str
    standby: Amount
    during_reset: Amount
    alarm: Amount


@dataclass(frozen=True, slots=True)
class EndResistor:
    """An end resistor (ohm): where it belongs, and the last detector there ("" at the panel's side of a module)."""

    place: str
    detector: str
    resistance_ohm: float
    spread_percent: float


@dataclass(frozen=True, slots=True)
class Card:
    """The whole card; ``settling`` are (what, seconds) in which an indication may still come."""

    name: str
    pairs: tuple[CardPair, ...]
    path: tuple[PathRow, ...]
    ends: tuple[EndResistor, ...]
    settling: tuple[tuple[str, float], ...]


def build_card(loop: Loop) -> Card:
    """Return the values card of a loop as it should be.

    Raises
    ------
    PhysicsError
        The circuit has no balance of volts and currents.
    """
    source = _Source(loop)
    pairs = tuple(_build_pair(source, *watched) for watched in _list_watched(loop))
    return Card(loop.site.name, pairs, _build_path(source), _list_ends(loop), _list_settling(loop))


class _Source:
    """Predictions of one loop, each made once, and the faults that stand for *open* and *short*."""

    def __init__(self, loop: Loop) -> None:
        self.loop = loop
        self._known: dict[tuple[Faults, str], Prediction] = {}

    def predict(self, faults: Faults, mode: Mode) -> Prediction:
        key = (faults, mode.text)
        if key not in self._known:
            self._known[key] = predict_mode(self.loop, faults, mode)
        return self._known[key]

    def find(self, kind: str, pair: Pair, faults: Faults, mode: Mode) -> Amount | None:
        found = (r for r in self.predict(faults, mode).readings if _is_at(r, kind, pair))
        reading = next(found, None)
        return None if reading is None else Amount(reading.value, reading.sd, reading.measurement.unit)

    @cached_property
    def bench(self) -> Bench:
        kinds = (*_ENDS, "conductor_open", "pair_short")
        some = [f for f in list_faults(self.loop) if f.kind in kinds]
        return Bench(self.loop, [(), *((f,) for f in some)])

    def choose(self, kinds: Sequence[str], shown: Measurement, *, highest: bool) -> Fault | None:
        """Return the fault of some kinds that takes a reading farthest up, or down; None where none moves it."""
        hypotheses = self.bench.hypotheses
        (forecast,) = self.bench.forecast_all([shown])
        numbers = [n for n, h in enumerate(hypotheses) if h and h[0].kind in kinds]
        if forecast.mean is None or not numbers:
            return None
        moved = (forecast.mean[numbers] - forecast.mean[0]) * (1 if highest else -1)
        best = int(np.argmax(moved))
        return hypotheses[numbers[best]][0] if moved[best] > forecast.spread[0] else None

    def choose_far_short(self, shown: Measurement) -> Fault | None:
        """Return the short that still pulls a reading down and is farthest off: all wires are in it."""
        hypotheses = self.bench.hypotheses
        (forecast,) = self.bench.forecast_all([shown])
        if forecast.mean is None:
            return None
        least = _PULLED_DOWN * forecast.mean[0]
        numbers = [n for n, h in enumerate(hypotheses) if h and h[0].kind == "pair_short" and forecast.mean[n] < least]
        return hypotheses[max(numbers, key=forecast.mean.__getitem__)][0] if numbers else None


def _is_at(r: PredictedReading, kind: str, pair: Pair) -> bool:
    return r.measurement.kind == kind and (r.measurement.red, r.measurement.black) == pair


@dataclass(frozen=True, slots=True)
class _Watched:
    """A watched pair, where its numbers come from, and how it is metered lifted."""

    source: _Source
    pair: Pair
    zone: str
    lifted: Mode

    def build_row(self, condition: str, faults: Faults, mode: Mode) -> CardRow:
        """Predict one condition; nothing can be in alarm on a pair that is lifted, so an alarm has no ohms."""
        volts = self.source.find("volts", self.pair, faults, mode)
        if volts is None:
            raise TypeError(f"no volts are forecast at {self.pair}")
        turned = (self.pair, self.pair[::-1]) if mode == STANDBY else ()
        ohms = (self.source.find("ohms", p, faults, self.lifted) for p in turned)
        state = self.source.predict(faults, mode).panel.get(self.zone) if self.zone else None
        text = ",".join(f.text for f in faults)
        return CardRow(condition, text, mode.text, volts, tuple(o for o in ohms if o), state)


def _list_watched(loop: Loop) -> list[tuple[Pair, str]]:
    channels = loop.module.channels if loop.module else ()
    zones = (z for z in loop.zones if z.senses != "unused")
    return [*(((z.plus, z.minus), z.name) for z in zones), *(((c.plus, c.minus), "") for c in channels)]


def _build_pair(source: _Source, pair: Pair, zone: str) -> CardPair:
    lifted = find_lifted_mode(source.loop, pair[0])
    conditions: list[tuple[str, Faults, Mode]] = [(NORMAL, (), STANDBY)]
    volts, ohms = Measurement("volts", red=pair[0], black=pair[1]), Measurement("ohms", lifted, *pair)
    opened = (source.choose(_ENDS, volts, highest=True), source.choose(["conductor_open"], volts, highest=True))
    # Volts also fail where a module or its supply does; ohms of the pair itself tell its own short.
    told = ohms if source.find("ohms", pair, (), lifted) else volts
    shorted = source.choose_far_short(told)
    named = zip((OPEN_END, OPEN_START, SHORT), (*opened, shorted), strict=True)
    conditions += [(name, (fault,), STANDBY) for name, fault in named if fault]
    conditions += [(name, (), Mode("alarm", d)) for name, d in _list_alarms(source, pair)]
    watched = _Watched(source, pair, zone, lifted)
    rows = [watched.build_row(*condition) for condition in conditions]
    rows = _merge(_merge(rows, (OPEN_END, OPEN_START), OPEN), (ALARM_FIRST, ALARM_LAST), ALARM)
    return CardPair(*pair, zone, lifted.text, tuple(rows))


def _list_alarms(source: _Source, pair: Pair) -> list[tuple[str, str]]:
    """Return the first and the last detector whose alarm moves the volts of a pair."""
    normal = source.find("volts", pair, (), STANDBY)
    names: list[str] = []
    kinds = {d.senses for d in source.loop.detectors}
    for kind in sorted(kinds):
        some = [d.name for d in source.loop.detectors if d.senses == kind]
        names += dict.fromkeys((some[0], some[-1]))
    order = [d.name for d in source.loop.detectors]
    moved = [n for n in names if _is_apart(normal, source.find("volts", pair, (), Mode("alarm", n)))]
    moved.sort(key=order.index)
    return [(ALARM_FIRST, moved[0]), (ALARM_LAST, moved[-1])] if moved else []


def _is_apart(one: Amount | None, two: Amount | None) -> bool:
    return one is not None and two is not None and abs(one.value - two.value) > max(one.sd, two.sd)


def _merge(rows: list[CardRow], pair: tuple[str, str], name: str) -> list[CardRow]:
    """Make one row of two that show the same."""
    one, two = (next((r for r in rows if r.condition == condition), None) for condition in pair)
    if one is None or two is None or not _is_same(one, two):
        return rows
    merged = CardRow(name, one.fault, one.mode, one.volts, one.ohms, one.state)
    return [merged if r is one else r for r in rows if r is not two]


def _is_same(one: CardRow, two: CardRow) -> bool:
    amounts = list(zip((one.volts, *one.ohms), (two.volts, *two.ohms), strict=True))
    return one.state == two.state and all(_is_near(a, b) for a, b in amounts)


def _is_near(a: Amount, b: Amount) -> bool:
    if OVER in {a.value, b.value}:
        return a.value == b.value
    return abs(a.value - b.value) <= _SAME_SDS * max(a.sd, b.sd)


def _build_path(source: _Source) -> tuple[PathRow, ...]:
    """Return the pairs from the auxiliary output to the last detector, as the supply goes."""
    loop = source.loop
    watched = {pair for pair, _ in _list_watched(loop)}
    ends = tuple(dict.fromkeys(f"{d.name}.in+" for chain in loop.chains for d in (chain.first, chain.last)))
    last = loop.chains[-1].last.name
    starts = ("panel.aux", "panel.switched", "panel.reset", "supply.", "reset.", "module.in", "module.aux", "endrelay.")
    kept = [p for p in loop.meter_points if p[0].startswith((*starts, *ends)) and p not in watched]
    modes = (STANDBY, Mode("during_reset"), Mode("alarm", last))
    found = [(p, [source.find("volts", p, (), mode) for mode in modes]) for p in kept]
    return tuple(PathRow(*p, *(a for a in amounts if a)) for p, amounts in found)


def _list_ends(loop: Loop) -> tuple[EndResistor, ...]:
    """Return the resistors that belong at the ends, those at a module's outputs included."""
    found = []
    for place, name in loop.end_resistors.items():
        element = loop.by_name[name]
        chain = loop.find_chain(place) if place.startswith("end") else None
        detector = chain.last.name if chain else ""
        spread = 100 * sum(s.share**2 for s in element.spreads) ** 0.5
        found.append(EndResistor(place, detector, float(element.resistance_ohm or 0.0), spread))
    return tuple(found)


def _list_settling(loop: Loop) -> tuple[tuple[str, float], ...]:
    """Return the panel's own delays, then how long each kind of answer is waited for; seconds."""
    panel = build_part(loop.site.panel.profile, loop.site.panel.values, "panel")
    own = [(name, panel.number(f"{name}_s")) for name in ("trouble_delay", "alarm_delay")]
    kinds = read_table().kinds
    return (*own, *((name, float(kinds[name].settling)) for name in _SETTLING))
