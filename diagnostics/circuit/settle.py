"""Discrete states: what latches, what pulls in, what the panel then shows; the only place with hysteresis."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.wiring import Band, Module, Zone

from .compiled import Point
from .network import Network
from .newton import build_circuits, solve_point

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

MOST_SWEEPS = 16
Step = Mapping[str, bool | Flags]


@dataclass(frozen=True, slots=True)
class Settled:
    """A batch at rest after a step: columns of the network, their signals (signal, column) and operating points.

    ``chatter`` names, per column, the signals that never came to rest (empty when all did).
    """

    network: Network
    columns: Index
    signals: Flags
    point: Point
    chatter: tuple[tuple[str, ...], ...]

    def volts(self, red: str, black: str) -> Array:
        """Return the volts between two terminals without a meter, (column,)."""
        number = self.network.number
        across: Array = self.point.volts[number[red]] - self.point.volts[number[black]]
        return across

    def signal(self, name: str) -> Flags:
        """Return one discrete state, (column,)."""
        row: Flags = self.signals[self.network.loop.signals.index(name)]
        return row

    def take(self, some: Index) -> "Settled":
        """Return some of the columns, in that order, repeats allowed."""
        chatter = tuple(self.chatter[n] for n in some)
        point = self.point.take(some)
        return Settled(self.network, self.columns[some], self.signals.take(some, axis=1), point, chatter)


def settle_from_rest(network: Network) -> Settled:
    """Return the batch as it stands after power-up with nothing else done (the mode *standby*)."""
    columns = np.arange(network.columns)
    signals = np.where(network.held, network.held_value, False)  # noqa: FBT003 - numpy's own order
    point = solve_point(build_circuits(network, columns, signals))
    return _settle(Settled(network, columns, signals, point, ((),) * columns.size), columns[:0])


def apply_step(settled: Settled, step: Step) -> Settled:
    """Return the batch after one action: set these signals (one value, or one per column), then let all settle."""
    network = settled.network
    signals = settled.signals.copy()
    for name, value in step.items():
        signals[network.loop.signals.index(name)] = value
    held = network.held.take(settled.columns, axis=1)
    signals = np.where(held, network.held_value.take(settled.columns, axis=1), signals)
    gating = list(network.gating)
    moved = np.flatnonzero((signals[gating] != settled.signals[gating]).any(axis=0))
    return _settle(replace(settled, signals=signals), moved)


def _solve_again(network: Network, columns: Index, signals: Flags, point: Point, moved: Index) -> Point:
    """Return the points with those of the moved columns solved anew, each beginning from where it was."""
    if moved.size == columns.size:
        return solve_point(build_circuits(network, columns, signals), point)
    circuits = build_circuits(network, columns[moved], signals[:, moved])
    fresh = solve_point(circuits, point.take(moved))
    volts, segment = point.volts.copy(), point.segment.copy()
    volts[:, moved], segment[:, moved] = fresh.volts, fresh.segment
    return Point(volts, segment)


def apply_steps(settled: Settled, steps: Sequence[Step]) -> Settled:
    """Return the batch after a sequence of actions."""
    for step in steps:
        settled = apply_step(settled, step)
    return settled


def _settle(settled: Settled, moved: Index) -> Settled:
    """Let detectors, then relays, follow their volts until nothing changes; then let the panel latch its zones.

    The moved columns have still to be solved as they are. What swings to and fro between two states is left after an
    even number of sweeps: after as many more it would stand as it does then.
    """
    network, columns = settled.network, settled.columns
    held = network.held.take(columns, axis=1)
    signals, point = settled.signals.copy(), settled.point
    before, rest = signals.copy(), np.arange(columns.size)
    sweeps = np.zeros(columns.size, dtype=np.intp)
    sweeps[moved] = -1
    chatter: list[tuple[str, ...]] = [()] * columns.size
    while rest.size:
        some = rest if rest.size < columns.size else slice(None)
        now, unsolved = signals[:, some], sweeps[rest] < 0
        wanted = np.where(unsolved, now, _follow(network, now, point.volts[:, some], held[:, some]))
        changed = wanted != now
        swings = (sweeps[rest] % 2 == 0) & (wanted == before[:, some]).all(axis=0)
        for n in np.flatnonzero(changed.any(axis=0) & (swings | (sweeps[rest] == MOST_SWEEPS - 1))):
            chatter[rest[n]] = tuple(network.loop.signals[m] for m in np.flatnonzero(changed[:, n]))
        open_ = unsolved | (changed.any(axis=0) & ~swings & (sweeps[rest] < MOST_SWEEPS))
        rest, wanted = rest[open_], wanted[:, open_]
        before[:, rest], signals[:, rest] = signals[:, rest], wanted
        sweeps[rest] += 1
        point = _solve_again(network, columns, signals, point, rest) if rest.size else point
    latched = _latch_zones(network, signals, point.volts, held)
    return Settled(network, columns, latched, point, tuple(chatter))


def _follow(network: Network, signals: Flags, volts: Array, held: Flags) -> Flags:
    """Return the signals that the volts ask for: detectors, relays, module outputs, each once those before it rest.

    ``held`` signals stay as they are.
    """
    wanted = signals.copy()
    row = {name: n for n, name in enumerate(network.loop.signals)}
    hurried = signals[row["panel.short_reset"]] & ~signals[row["panel.down"]]  # power is back before a latch lets go
    latched = network.heads.latched
    wanted[latched] = np.where(held[latched], signals[latched], network.heads.follow(signals, volts, hurried))
    busy = (wanted[latched] != signals[latched]).any(axis=0)
    for relay in network.loop.relays:
        across = _across(network, volts, relay.plus, relay.minus)
        across = np.abs(across) if relay.either_way else across
        operated = row[f"{relay.name}.operated"]
        moved = np.where(across >= relay.pull_in_v, True, np.where(across < relay.drop_out_v, False, signals[operated]))  # noqa: FBT003
        wanted[operated] = np.where(busy | held[operated], signals[operated], moved)
    if "panel.runs" in row:
        battery = network.loop.battery
        wanted[row["panel.runs"]] = _across(network, volts, battery.plus, battery.minus) >= battery.runs_from_v
    module = network.loop.module
    if module is not None:
        _follow_module(network, module, wanted, volts, busy | (wanted != signals).any(axis=0))
    for zone in (zone for zone in network.loop.zones if zone.comes_back):
        _follow_link(network, zone, wanted, volts, busy | (wanted != signals).any(axis=0))
    return np.where(held, signals, wanted)


def _follow_module(network: Network, module: Module, wanted: Flags, volts: Array, busy: Flags) -> None:
    """Set a module's outputs by its state table, where detectors and relays are at rest; see ``Module``."""
    row = {name: n for n, name in enumerate(network.loop.signals)}
    powered = wanted[row[f"{module.name}.operated"]]
    trouble = np.zeros_like(powered)
    alarm = {"fire": np.zeros_like(powered), "co": np.zeros_like(powered)}
    for channel in module.channels:
        states = _find_states(channel.bands, _across(network, volts, channel.plus, channel.minus))
        trouble |= states == "trouble"
        on = states == "alarm"
        for label, closed in (_decode(network, wanted, row) if not channel.label else {channel.label: on}).items():
            alarm[label] |= on & closed
    for name, value in {"trouble": trouble, **alarm}.items():
        at = row[f"{module.name}.{name}"]
        wanted[at] = np.where(busy, wanted[at], powered & value)


def _follow_link(network: Network, zone: Zone, wanted: Flags, volts: Array, busy: Flags) -> None:
    """Close the link of a class A zone on an open that it sees, once all else rests; a reset opens it again."""
    row = {name: n for n, name in enumerate(network.loop.signals)}
    at = row[f"{zone.name}.linked"]
    names = np.array([band.name for band in zone.bands])
    edges = np.array([band.high_v for band in zone.bands[:-1]])
    seen = names[np.searchsorted(edges, _across(network, volts, zone.plus, zone.minus), side="right")] == "open"
    away = wanted[row["panel.reset"]] | wanted[row["panel.down"]] | wanted[row[f"{zone.name}.bypassed"]]
    wanted[at] = ~away & (wanted[at] | (seen & ~busy))


def _decode(network: Network, signals: Flags, row: dict[str, int]) -> dict[str, Flags]:
    """Return which labels the latched detectors of a two-wire loop carry; none latched counts as fire."""
    latched = {label: np.zeros(signals.shape[1], dtype=np.bool_) for label in ("fire", "co")}
    behind = network.loop.module_chain
    for d in behind.detectors if behind else ():
        latched[d.senses] |= signals[row[f"{d.name}.latched"]]
    latched["fire"] |= ~latched["co"]
    return latched


def _find_states(bands: Sequence[Band], across: Array) -> NDArray[np.str_]:
    edges = np.array([band.high_v for band in bands[:-1]])
    states = np.array([band.state for band in bands])
    found: NDArray[np.str_] = states[np.searchsorted(edges, across, side="right")]
    return found


def _across(network: Network, volts: Array, plus: str, minus: str) -> Array:
    across: Array = volts[network.number[plus]] - volts[network.number[minus]]
    return across


def _latch_zones(network: Network, signals: Flags, volts: Array, held: Flags) -> Flags:
    """Let the panel remember an alarm until it is reset; a powered-down panel remembers nothing."""
    latched = signals.copy()
    row = {name: n for n, name in enumerate(network.loop.signals)}
    forgets = signals[row["panel.reset"]] | signals[row["panel.down"]]
    for zone in network.loop.zones:
        at = row[f"{zone.name}.latched"]
        across = _across(network, volts, zone.plus, zone.minus)
        alarm = _find_states(zone.bands, across) == "alarm"
        deaf = signals[row[f"{zone.name}.bypassed"]] | signals[row[f"{zone.name}.verifies"]]
        latched[at] = np.where(held[at], signals[at], ~forgets & (signals[at] | (alarm & ~deaf)))
    return latched


def find_powered(settled: Settled) -> Mapping[str, Flags]:
    """Return for each detector in which columns it is powered (latched counts), {name: (column,)}."""
    found = {}
    for d in settled.network.loop.detectors:
        across = settled.volts(d.plus, d.minus)
        across = np.abs(across) if d.either_way else across
        there = ~settled.signal(f"{d.name}.dead") & ~settled.signal(f"{d.name}.head_off")
        found[d.name] = there & (d.is_contact | (across >= d.powered_v) | settled.signal(f"{d.name}.latched"))
    return found
