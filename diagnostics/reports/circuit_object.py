"""The whole circuit as JSON: an outsider needs nothing else to build and solve it."""

import math
from typing import Any

from diagnostics.circuit import Mode, Settled, find_conducting
from diagnostics.readings import Faults, find_leads, list_measurements, list_mode_measurements, read_table
from diagnostics.wiring import EARTH, Band, Element, Loop, apply_edits

from .objects import build_where, round_number, write_faults
from .word_table import read_words

Object = dict[str, Any]
_UNIT = {True: "ohm", False: "A(V)"}


def build_circuit_object(settled: Settled, site: str, faults: Faults, mode: Mode) -> Object:
    """Return the answer of ``export --json``: one settled circuit, every element it has, and which of them conduct now.

    ``settled`` holds one column. ``elements`` are resistances in ohms; ``loads`` are piecewise-linear currents (A) over
    volts from a to b, with the slopes (S) of their outer segments; sources are loads too, told in the direction + to −.
    """
    network = settled.network
    loop = apply_edits(network.loop, network.edits[int(settled.columns[0])])
    signals = {name: bool(settled.signal(name)[0]) for name in network.loop.signals}
    now = {e.name for e in find_conducting(loop, signals)}
    return {
        "format": "ohmward-circuit/1",
        "site": site,
        "fault": write_faults(faults),
        "mode": mode.text,
        "reference": EARTH,
        "terminals": list(loop.terminals),
        "elements": [_build_line(e, e.name in now) for e in loop.elements if e.curve is None],
        "loads": [_build_load(e, e.name in now) for e in loop.elements if e.curve is not None],
        "states": _build_states(loop, signals),
        "panel": {z.name: _build_bands(z.bands) for z in loop.zones},
        "earth": _build_earth(loop),
        "module": _build_channels(loop),
        "zones": [{"zone": z.name, "plus": z.plus, "minus": z.minus, "senses": z.senses} for z in loop.zones],
        "measurements": _build_measurements(network.loop, mode),
        "meter": read_table().meter.model_dump(),
    }


def _build_earth(loop: Loop) -> Object | None:
    """Return how the panel watches for earth faults; None where it watches for none."""
    watch = loop.earth
    if watch is None:
        return None
    return {"plus": watch.plus, "minus": watch.minus, "trouble_from": watch.off_v, "unit": "V", "of": "middle"}


def _build_line(e: Element, conducts: bool) -> Object:  # noqa: FBT001 - a plain fact about the element
    share = math.sqrt(sum(s.share**2 for s in e.spreads))
    value = e.resistance_ohm or 0.0
    return {
        **_build_ends(e, conducts),
        "value": round_number(value, 12),
        "unit": "ohm",
        "sd": round_number(value * share, 6),
    }


def _build_load(e: Element, conducts: bool) -> Object:  # noqa: FBT001 - as above
    if e.curve is None:
        raise TypeError(f"{e.name} is a resistance")
    points = [[round_number(v, 12), round_number(i, 12)] for v, i in e.curve.points]
    slopes = {"before_s": e.curve.before_s, "after_s": e.curve.after_s}
    return {**_build_ends(e, conducts), "points": points, **slopes, "emf": e.emf_v or None, "unit": "A over V"}


def _build_ends(e: Element, conducts: bool) -> Object:  # noqa: FBT001 - as above
    return {
        "name": e.name, "type": str(e.kind), "a": e.a, "b": e.b, "conducts": conducts,
        "when": [{"state": g.signal, "is": g.when} for g in e.gates],
        "spreads": [{"unknown": s.unknown, "moves": str(s.how), "share": s.share} for s in e.spreads],
    }  # fmt: skip


def _build_bands(bands: tuple[Band, ...]) -> list[Object]:
    rows = []
    for band in bands:
        low, high = (None if math.isinf(v) else round_number(v) for v in (band.low_v, band.high_v))
        rows.append({"band": band.name, "low": low, "high": high, "unit": "V", "state": band.state})
    return rows


def _build_states(loop: Loop, signals: dict[str, bool]) -> list[Object]:
    """List every discrete state: what it is now, and, where volts decide, across what and from where to where."""
    rules: dict[str, Object] = {}
    for d in loop.detectors:
        rules[f"{d.name}.latched"] = {
            "plus": d.plus, "minus": d.minus, "set_from": d.powered_v, "cleared_below": d.release_v, "unit": "V",
            "set_needs": f"{d.name}.smoke", "either_way": d.either_way,
        }  # fmt: skip
    for r in loop.relays:
        rules[f"{r.name}.operated"] = {
            "plus": r.plus,
            "minus": r.minus,
            "set_from": r.pull_in_v,
            "cleared_below": r.drop_out_v,
            "unit": "V",
        }
    battery = loop.battery
    rules["panel.runs"] = {
        "plus": battery.plus,
        "minus": battery.minus,
        "set_from": battery.runs_from_v,
        "cleared_below": battery.runs_from_v,
        "unit": "V",
    }
    held = dict(loop.holds)
    told = read_words().signals
    return [
        {"state": name, "now": now, "held": name in held, "about": told[name.rpartition(".")[2]], **rules.get(name, {})}
        for name, now in signals.items()
    ]


def _build_channels(loop: Loop) -> list[Object]:
    """List the pairs that a module watches, with its own windows."""
    return [
        {"channel": c.name, "plus": c.plus, "minus": c.minus, "label": c.label or None, "bands": _build_bands(c.bands)}
        for c in (loop.module.channels if loop.module else ())
    ]


def _build_measurements(loop: Loop, mode: Mode) -> list[Object]:
    some = {
        m.key: m
        for m in [
            *list_mode_measurements(loop, mode),
            *(m for m in list_measurements(loop) if m.unit and m.mode == mode),
        ]
    }
    rows = []
    for m in some.values():
        red, black = find_leads(m, loop)
        rows.append({**build_where(m), "red_terminal": red, "black_terminal": black, "unit": m.unit})
    return rows
