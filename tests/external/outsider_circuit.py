"""The outsider's world: a circuit drawn from ``export`` and solved by ngspice.

Nothing here knows the program's inside; what it takes from the program are words of its JSON. Every spread and share
is *invented*. Worlds are drawn wider than the program believes (1.3 of its standard deviations, cut at 3), every
element has a small draw of its own, and the forward volts of one-way paths differ by batch (4 %) and by head (2 %),
for which the program has no spread at all.
"""

import re
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.external.outsider_line import Row, ask, senses_of

OPTIONS = (
    ".options gmin=1e-15 reltol=1e-9 abstol=1e-16 vntol=1e-10 itl1=2000",
    ".options gmin=1e-15 reltol=1e-6 abstol=1e-12 vntol=1e-8 itl1=5000",
)

States = Mapping[str, bool]
Volts = Mapping[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """One drawn installation: circuit, thresholds and windows as exported, meter and eyes as drawn; solved states."""

    parts: tuple[Row, ...]
    thresholds: tuple[Row, ...]
    zones: tuple[Row, ...]
    windows: Mapping[str, tuple[Row, ...]]
    channels: tuple[Row, ...]
    earth: Row | None
    senses: Mapping[str, str]
    meter: Row
    gain: Mapping[str, float]
    leads_ohm: float
    folder: Path
    rng: np.random.Generator
    start: Mapping[str, bool]
    solved: dict[tuple[frozenset[str], str], Volts] = field(default_factory=dict)
    modes: dict[str, dict[str, bool]] = field(default_factory=dict)

    @property
    def detectors(self) -> tuple[str, ...]:
        """Return the names of the detectors in order."""
        return tuple(self.senses)


def build_world(site: Path, fault: str, folder: Path, seed: Sequence[int] | None) -> World:
    """Return the world of a site with a fault, none for *healthy*.

    Drawn by ``seed``, or exactly as exported, with a perfect meter, for None.
    """
    exported = ask("export", str(site), *([] if fault == "healthy" else ["--fault", fault]))
    rng = np.random.default_rng(seed)
    states, meter = exported["states"], exported["meter"]
    parts = draw_parts([*exported["elements"], *exported["loads"]], rng if seed else None)
    gain = dict.fromkeys(("V", "ohm"), 1.0)
    if seed:
        limit = {"V": meter["volts_percent"] / 100, "ohm": meter["ohms_percent"] / 100}
        gain = {unit: 1 + float(np.clip(rng.normal(0, top / 2), -top, top)) for unit, top in limit.items()}
    return World(
        parts=parts,
        thresholds=tuple(s for s in states if "plus" in s and not s["held"]),
        zones=tuple(exported["zones"]),
        windows={zone["zone"]: tuple(exported["panel"][zone["zone"]]) for zone in exported["zones"]},
        channels=tuple(exported.get("module") or ()),
        earth=exported["earth"],
        senses=senses_of(site),
        meter=meter,
        gain=gain,
        leads_ohm=float(rng.uniform(0.2, 0.3)) if seed else 0.0,
        folder=folder,
        rng=rng,
        start={s["state"]: s["now"] and s["held"] for s in states},
    )


def draw_parts(parts: Sequence[Row], rng: np.random.Generator | None) -> tuple[Row, ...]:
    """Return all elements with one draw for each shared unknown and one of its own for each; as they are for None."""
    names = [*sorted({spread["unknown"] for part in parts for spread in part["spreads"]}), "forward_volts"]
    shared = {name: float(np.clip(rng.normal(0, 1.3), -3, 3)) if rng is not None else 0.0 for name in names}
    return tuple(drawn_part(part, shared, rng) for part in parts)


def drawn_part(part: Row, shared: Mapping[str, float], rng: np.random.Generator | None) -> Row:
    """Return an element with its shared unknowns and its own small draw put in; what has no spread gets a small one."""
    by = {s["unknown"]: float(np.exp(s["share"] * shared[s["unknown"]])) for s in part["spreads"]}
    moves = {s["unknown"]: s["moves"] for s in part["spreads"]}
    widest = max([s["share"] for s in part["spreads"]], default={"resistor": 0.005, "leak": 0.5}.get(part["type"], 0.1))
    own = float(np.exp(rng.normal(0, 0.25 * widest))) if rng is not None else 1.0
    if part.get("value") is not None:
        return {**part, "value": part["value"] * own * float(np.prod([1.0, *by.values()]))}
    if part["type"] == "source":
        return drawn_source(part, by, moves)
    below = by.pop("low_volts", 1.0)  # moves what is drawn below the knee only, as the profile's description says
    scale = own * float(np.prod([1.0, *by.values()]))
    low = [[v, i * (below if len(part["points"]) > 1 else scale)] for v, i in part["points"][:-1]]
    last = [part["points"][-1][0], part["points"][-1][1] * scale]
    if part["type"] == "one_way" and rng is not None:
        last[0] *= float(np.exp(0.04 * shared["forward_volts"] + rng.normal(0, 0.02)))
    return {**part, "points": [*low, last], "after_s": part["after_s"] * scale}


def drawn_source(part: Row, by: Mapping[str, float], moves: Mapping[str, str]) -> Row:
    """Return a source with its volts and its resistance moved; the current limit stays."""
    if part["emf"] is None:  # a rail: it only passes on what the battery gives
        return dict(part)
    moved_v = part["emf"] * (float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "emf")])) - 1)
    times = float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "resistance")]))
    if times == 1.0:
        return {**part, "points": [[v + moved_v, i] for v, i in part["points"]]}
    emf_v, ohm, limit_a = part["emf"] + moved_v, times / part["after_s"], part["points"][0][1]
    return {**part, "points": [[emf_v + limit_a * ohm, limit_a]], "after_s": 1 / ohm}


def is_conducting(part: Row, states: States) -> bool:
    """Tell whether all conditions of an element are met."""
    return all(states[when["state"]] == when["is"] for when in part["when"])


def spice_line(number: int, part: Row) -> str:
    """Return one element as an ngspice line; terminals are still their own names in braces."""
    ends = f"{{{part['a']}}} {{{part['b']}}}"
    if part.get("value") is not None:
        return f"R{number} {ends} {part['value']!r}"
    (v0, i0), (v1, i1) = part["points"][0], part["points"][-1]
    far = [[v0 - 1000, i0 - 1000 * part["before_s"]], *part["points"], [v1 + 1000, i1 + 1000 * part["after_s"]]]
    table = ", ".join(f"{v!r},{i!r}" for v, i in far)
    return f"B{number} {ends} I=pwl(V({{{part['a']}}},{{{part['b']}}}), {table})"


def solve(world: World, states: States, meter: str = "") -> Volts:
    """Return the volts of every terminal to earth, by ngspice; ``meter`` is one more line of netlist."""
    lines = [spice_line(n, part) for n, part in enumerate(world.parts) if is_conducting(part, states)]
    key = frozenset(lines), meter
    if key not in world.solved:
        world.solved[key] = run_ngspice("\n".join([*lines, *meter.splitlines()]), world.folder)
    return world.solved[key]


def run_ngspice(body: str, folder: Path) -> Volts:
    """Return the volts of a netlist body by terminal name; a circuit without an answer is an AssertionError."""
    names = sorted(set(re.findall(r"\{([^}]+)\}", body)) - {"earth"})
    nodes = {name: f"t{n}" for n, name in enumerate(names)} | {"earth": "0"}
    text = re.sub(r"\{([^}]+)\}", lambda found: nodes[found[1]], body)
    for options in OPTIONS:
        with tempfile.NamedTemporaryFile("w", suffix=".cir", dir=folder, encoding="ascii") as file:
            control = ".control\nset numdgt=12\nop\nprint all\nquit\n.endc\n.end\n"
            file.write(f"an outsider's circuit\n{text}\n{options}\n{control}")
            file.flush()
            words = ["ngspice", "-b", file.name]
            done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
        table = dict(re.findall(r"^(t\d+) = (\S+)$", done.stdout, flags=re.MULTILINE))
        if len(table) == len(names):
            return {name: float(table[nodes[name]]) for name in names} | {"earth": 0.0}
    raise AssertionError(f"ngspice found no answer: {done.stdout[-800:]}{done.stderr[-800:]}")
