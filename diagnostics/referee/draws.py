"""Drawing the parts of a world: what the engine knows to vary, wider; and what it has no spread or no part for."""

from collections.abc import Mapping, Sequence
from typing import Any
from zlib import crc32

import numpy as np

from .draft import read_si
from .line import Row
from .spreads import LogNormal, Spreads

COPPER_PER_K = 0.00393  # change of the resistance of copper with temperature, IEC 60228 works with the same
CORRODING = ("joint", "contact")
OWN_WAY = ("joints", "one_way")  # drawn joint by joint, and head by head
Seed = tuple[int, ...] | None


def _luck(seed: tuple[int, ...], *about: str) -> np.random.Generator:
    return np.random.default_rng([*seed, crc32(" ".join(about).encode())])


def _draw_log(spread: LogNormal, rng: np.random.Generator) -> float:
    return float(spread.median * np.exp(rng.normal(0, spread.log_sd)))


def draw_parts(parts: Sequence[Row], seed: Seed, wide: Spreads) -> tuple[Row, ...]:
    """Return all elements with one draw for each shared unknown and one of each one's own; as they are for no seed."""
    if seed is None:
        return tuple(parts)
    names = [*sorted({spread["unknown"] for part in parts for spread in part["spreads"]}), "forward_volts"]
    shared = {
        name: float(np.clip(_luck(seed, "shared", name).normal(0, wide.wider), -wide.cut, wide.cut)) for name in names
    }
    drawn = [_draw_part(part, shared, _luck(seed, "part", part["name"]), wide) for part in parts]
    return (*drawn, *_list_leaks(parts, seed, wide))


def _draw_part(part: Row, shared: Mapping[str, float], rng: np.random.Generator, wide: Spreads) -> Row:
    """Return an element with its shared unknowns and its own draw put in; what has no spread gets a small one."""
    spreads = [s for s in part["spreads"] if s["unknown"] not in OWN_WAY]
    by = {s["unknown"]: float(np.exp(s["share"] * shared[s["unknown"]])) for s in spreads}
    moves = {s["unknown"]: s["moves"] for s in spreads}
    usual = {"resistor": 0.005, "leak": 0.5}.get(part["type"], 0.1)
    widest = max([s["share"] for s in spreads], default=usual)
    own = float(np.exp(rng.normal(0, wide.own_share * widest)))
    if part.get("value") is not None:
        return _draw_value(part, own * float(np.prod([1.0, *by.values()])), rng, wide)
    if part["type"] == "source":
        return _draw_source(part, by, moves)
    below = by.pop("low_volts", 1.0)  # moves what is drawn below the knee only, as the profile's description says
    scale = own * float(np.prod([1.0, *by.values()]))
    low = [[v, i * (below if len(part["points"]) > 1 else scale)] for v, i in part["points"][:-1]]
    last = [part["points"][-1][0], part["points"][-1][1] * scale]
    if part["type"] == "one_way":
        forward = wide.lacks.forward
        last[0] *= float(np.exp(forward.batch * shared["forward_volts"] + rng.normal(0, forward.head)))
    return {**part, "points": [*low, last], "after_s": part["after_s"] * scale}


def _draw_value(part: Row, factor: float, rng: np.random.Generator, wide: Spreads) -> Row:
    ohm = part["value"] * factor
    if part["type"] == "leak":
        return {**part, "value": _draw_log(wide.lacks.earth_leak_ohm, rng)}
    if part["type"] == "conductor":
        ohm *= max(0.5, 1 + COPPER_PER_K * float(rng.normal(0, wide.lacks.run_celsius)))
    if part["type"] in CORRODING:
        ohm += _draw_log(wide.lacks.contact_ohm, rng)
    return {**part, "value": ohm}


def _draw_source(part: Row, by: Mapping[str, float], moves: Mapping[str, str]) -> Row:
    """Return a source with its volts and its resistance moved; the current limit stays."""
    if part["emf"] is None:  # a rail: it only passes on what the battery gives
        return dict(part)
    moved_v = part["emf"] * (float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "emf")])) - 1)
    times = float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "resistance")]))
    if times == 1.0:
        return {**part, "points": [[v + moved_v, i] for v, i in part["points"]]}
    emf_v, ohm, limit_a = part["emf"] + moved_v, times / part["after_s"], part["points"][0][1]
    return {**part, "points": [[emf_v + limit_a * ohm, limit_a]], "after_s": 1 / ohm}


def _list_leaks(parts: Sequence[Row], seed: tuple[int, ...], wide: Spreads) -> list[Row]:
    """Return what the engine has no part for: heads that pass a little when dark, and insulation within each run."""
    named = {part["name"]: part for part in parts}
    found: list[Row] = []
    for name, part in named.items():
        if part["type"] == "load" and name.startswith("load."):
            ohm = _draw_log(wide.lacks.head_leak_ohm, _luck(seed, "head leak", name))
            found.append(build_leak(f"leaks.{name}", part["a"], part["b"], ohm, part["when"][:1]))
        mate = named.get(f"{name[:-1]}{'-' if name.endswith('+') else 'b'}")
        if part["type"] == "conductor" and name[-1] in "+a" and mate is not None:
            ohm = _draw_log(wide.lacks.pair_leak_ohm, _luck(seed, "pair leak", name))
            found.append(build_leak(f"leaks.{name}", part["b"], mate["b"], ohm, ()))
    return found


def build_leak(name: str, a: str, b: str, ohm: float, when: Sequence[Row]) -> Row:
    """Return a resistance between two terminals as a part."""
    return {"name": name, "type": "leak", "a": a, "b": b, "value": ohm, "when": list(when), "spreads": []}


def draw_thresholds(rows: Sequence[Row], seed: Seed, wide: Spreads) -> tuple[Row, ...]:
    """Return the rows of discrete states with the volts at which they change moved, both of one state together."""
    if seed is None:
        return tuple(rows)
    moved = {row["state"]: 1 + wide.threshold * _draw_clipped(_luck(seed, "at", row["state"]), wide) for row in rows}
    return tuple(
        {**row, **{key: row[key] * moved[row["state"]] for key in ("set_from", "cleared_below")}} for row in rows
    )


GAUGES = ("battery_low_v", "charged_from_v", "runs_from_v", "earth_off_v")


def draw_gauges(values: Mapping[str, Any], seed: Seed, wide: Spreads) -> dict[str, float]:
    """Return the volts at which a panel speaks of its battery and of earth, moved as much as its windows are.

    Without a network that finds earths it has none to speak of.
    """
    names = GAUGES if str(values["earth_ohm"]) != "none" else GAUGES[:3]
    return {
        name: read_si(values[name], "V") * (1.0 if seed is None else _draw_move(name, seed, wide)) for name in names
    }


def _draw_move(name: str, seed: tuple[int, ...], wide: Spreads) -> float:
    return 1 + wide.window * float(np.clip(_luck(seed, "windows", name).normal(), -2, 2))


def draw_windows(zone: str, bands: Sequence[Row], seed: Seed, wide: Spreads) -> tuple[Row, ...]:
    """Return the bands of a zone or module with every bound moved by the same share."""
    if seed is None:
        return tuple(bands)
    share = _draw_move(zone, seed, wide)
    return tuple(
        {**band, **{end: None if band[end] is None else band[end] * share for end in ("low", "high")}} for band in bands
    )


def _draw_clipped(rng: np.random.Generator, wide: Spreads) -> float:
    return float(np.clip(rng.normal(), -wide.cut, wide.cut))
