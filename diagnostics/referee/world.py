"""The referee's world: an installation drawn wider than the engine believes, and solved by the referee itself.

The circuit is the referee's own writing for the styles in ``written``, else that of ``export``, of which it takes the
words only. Every draw belongs to a seed and a name, so that two ways of working meet the same world and the same
readings in it, and a world that was repaired is still the same world.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from zlib import crc32

import numpy as np

from .draws import draw_gauges, draw_parts, draw_thresholds, draw_windows
from .line import Line, Row, find_style, list_panel_values
from .outside import PREFIX, apply_outside
from .solver import Volts, solve_parts
from .spreads import Spreads, read_spreads
from .written import WRITTEN, write_circuit

Signals = Mapping[str, bool]
Solver = Callable[[Sequence[Row], Volts | None], Volts]


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """One installation: circuit, thresholds and windows, meter and eyes, all as drawn; what was solved is kept.

    ``barred`` are states that a fault keeps off whatever is done: no smoke gets into a covered head.
    ``seed`` is None for a world exactly as described, with a perfect meter.
    """

    line: Line
    site: Path
    fault: str
    parts: tuple[Row, ...]
    thresholds: tuple[Row, ...]
    zones: tuple[Row, ...]
    windows: Mapping[str, tuple[Row, ...]]
    gauges: Mapping[str, float]
    channels: tuple[Row, ...]
    senses: Mapping[str, str]
    meter: Row
    gain: Mapping[str, float]
    leads_ohm: float
    seed: tuple[int, ...] | None
    spreads: Spreads
    start: Signals
    barred: frozenset[str] = frozenset()
    solver: Solver = solve_parts
    solved: dict[tuple[object, ...], Volts] = field(default_factory=dict)
    modes: dict[str, dict[str, bool]] = field(default_factory=dict)

    @property
    def detectors(self) -> tuple[str, ...]:
        """Return the names of the detectors in order."""
        return tuple(self.senses)

    def draw(self, *about: object) -> np.random.Generator:
        """Return the luck that belongs to something in this world; the same whenever it is asked for."""
        text = " ".join(str(word) for word in about)
        return np.random.default_rng([*(self.seed or ()), crc32(text.encode())])


def build_world(
    line: Line,
    site: Path,
    fault: str = "healthy",
    seed: Sequence[int] | None = None,
    spreads: Spreads | None = None,
    solver: Solver = solve_parts,
) -> World:
    """Return the world of a site with a fault (``healthy`` for none), drawn by ``seed``, or exactly as described.

    Raises
    ------
    NotPlayedError
        The referee writes this style's circuits itself, and not with this kind of fault.
    """
    wide, luck = spreads or read_spreads(), None if seed is None else tuple(seed)
    catalogued = "healthy" if fault.startswith(PREFIX) else fault
    circuit = write_circuit(line, site, catalogued) if find_style(site) in WRITTEN else line.export(site, catalogued)
    states = circuit["states"]
    rows = [s for s in states if "plus" in s and not s["held"]]
    return World(
        line=line,
        site=site,
        fault=fault,
        parts=_put_outside(draw_parts([*circuit["elements"], *circuit["loads"]], luck, wide), fault, luck or (0,)),
        thresholds=draw_thresholds(rows, luck, wide),
        zones=tuple(circuit["zones"]),
        windows={z["zone"]: draw_windows(z["zone"], circuit["panel"][z["zone"]], luck, wide) for z in circuit["zones"]},
        gauges=draw_gauges(list_panel_values(line, site), luck, wide),
        channels=tuple(
            {**c, "bands": draw_windows(f"module{n}", c["bands"], luck, wide)}
            for n, c in enumerate(circuit.get("module") or ())
        ),
        senses=line.list_senses(site),
        **_draw_meter(circuit["meter"], luck, wide),
        seed=luck,
        spreads=wide,
        start={s["state"]: s["now"] and s["held"] for s in states},
        barred=frozenset(s["state"] for s in states if s["held"] and not s["now"]),
        solver=solver,
    )


def _put_outside(parts: tuple[Row, ...], fault: str, seed: tuple[int, ...]) -> tuple[Row, ...]:
    if not fault.startswith(PREFIX):
        return parts
    return tuple(apply_outside(fault, parts, np.random.default_rng([*seed, crc32(fault.encode())])))


def _draw_meter(meter: Row, seed: tuple[int, ...] | None, wide: Spreads) -> Row:
    """Return the meter of a world, the gain of its ranges and the resistance of its leads."""
    if seed is None:
        return {"meter": meter, "gain": dict.fromkeys(("V", "ohm"), 1.0), "leads_ohm": 0.0}
    rng = np.random.default_rng([*seed, crc32(b"meter")])
    limit = {"V": meter["volts_percent"] / 100, "ohm": meter["ohms_percent"] / 100}
    gain = {unit: 1 + float(np.clip(rng.normal(0, top * wide.wider / 2), -top, top)) for unit, top in limit.items()}
    low, input_ohm = wide.lacks.low_input, meter["input_ohm"] * float(np.exp(rng.normal(0, 0.05)))
    drawn = {**meter, "input_ohm": low.ohm if rng.uniform() < low.share else input_ohm}
    return {"meter": drawn, "gain": gain, "leads_ohm": float(rng.uniform(*wide.leads_ohm))}


def is_conducting(part: Row, states: Signals) -> bool:
    """Tell whether all conditions of an element are met."""
    return all(states[when["state"]] == when["is"] for when in part["when"])


def solve(world: World, states: Signals, meter: Sequence[Row] = ()) -> Volts:
    """Return the volts of every terminal to earth; ``meter`` is what a meter adds to the circuit."""
    conducting = [is_conducting(part, states) for part in world.parts]
    key = (tuple(conducting), tuple((m["a"], m["b"], m.get("value")) for m in meter))
    if key not in world.solved:
        parts = [part for part, on in zip(world.parts, conducting, strict=True) if on]
        near = next(reversed(world.solved.values()), None)
        world.solved[key] = world.solver([*parts, *meter], near)
    return world.solved[key]
