"""The outsider's world: a circuit drawn from ``export``, solved by ngspice, its discrete states decided step by step.

Nothing here knows the program's inside; what it takes from the program are words of its JSON. Every spread and share
is *invented*. Worlds are drawn wider than the program believes (1.3 of its standard deviations, cut at 3), every
element has a small draw of its own, and the forward volts of one-way paths differ by batch (4 %) and by head (2 %),
for which the program has no spread at all.
"""

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
OPTIONS = (
    ".options gmin=1e-15 reltol=1e-9 abstol=1e-16 vntol=1e-10 itl1=2000",
    ".options gmin=1e-15 reltol=1e-6 abstol=1e-12 vntol=1e-8 itl1=5000",
)

Row = dict[str, Any]
States = Mapping[str, bool]
Volts = Mapping[str, float]


def ask(*words: str, text: str | None = None) -> Row:
    """Run one command of the program with ``--json`` and return its object; any other end is an AssertionError."""
    command = [sys.executable, "-m", "diagnostics.cli.main", *words, "--json"]
    done = subprocess.run(command, cwd=ROOT, input=text, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, f"{words}: {done.stdout[-1500:]}{done.stderr[-1500:]}"
    answer: Row = json.loads(done.stdout)
    return answer


@cache
def listed(what: str, site: Path | None = None) -> tuple[Row, ...]:
    """Return the rows of ``list WHAT [SITE]``."""
    return tuple(ask("list", what, *([str(site)] if site else []))["rows"])


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """One drawn installation: circuit, thresholds and windows as exported, meter and eyes as drawn; solved states."""

    parts: tuple[Row, ...]
    thresholds: tuple[Row, ...]
    zone: Row
    windows: tuple[Row, ...]
    detectors: tuple[str, ...]
    meter: Row
    gain: Mapping[str, float]
    leads_ohm: float
    folder: Path
    rng: np.random.Generator
    start: Mapping[str, bool]
    solved: dict[tuple[frozenset[str], str], Volts] = field(default_factory=dict)
    modes: dict[str, dict[str, bool]] = field(default_factory=dict)


def build_world(exported: Row, folder: Path, seed: Sequence[int] | None) -> World:
    """Return the world of an export; drawn by ``seed``, or exactly as exported, with a perfect meter, for None."""
    rng = np.random.default_rng(seed)
    parts = [*exported["elements"], *exported["loads"]]
    names = sorted({spread["unknown"] for part in parts for spread in part["spreads"]})
    shared = {name: float(np.clip(rng.normal(0, 1.3), -3, 3)) if seed else 0.0 for name in [*names, "forward_volts"]}
    drawn = tuple(drawn_part(part, shared, rng if seed else None) for part in parts)
    states, meter = exported["states"], exported["meter"]
    gain = dict.fromkeys(("V", "ohm"), 1.0)
    if seed:
        limit = {"V": meter["volts_percent"] / 100, "ohm": meter["ohms_percent"] / 100}
        gain = {unit: 1 + float(np.clip(rng.normal(0, top / 2), -top, top)) for unit, top in limit.items()}
    zone = exported["zones"][0]
    return World(
        parts=drawn,
        thresholds=tuple(s for s in states if "plus" in s and not s["held"]),
        zone=zone,
        windows=tuple(exported["panel"][zone["zone"]]),
        detectors=tuple(f"det{n + 1}" for n in range(sum(s["state"].endswith(".smoke") for s in states))),
        meter=meter,
        gain=gain,
        leads_ohm=float(rng.uniform(0.2, 0.3)) if seed else 0.0,
        folder=folder,
        rng=rng,
        start={s["state"]: s["now"] and s["held"] for s in states},
    )


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
    emf_v = part["emf"] * float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "emf")]))
    ohm = float(np.prod([1.0, *(f for name, f in by.items() if moves[name] == "resistance")])) / part["after_s"]
    limit_a = part["points"][0][1]
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
    key = frozenset(name for name, on in states.items() if on), meter
    if key not in world.solved:
        lines = [spice_line(n, part) for n, part in enumerate(world.parts) if is_conducting(part, states)]
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


def settle(world: World, states: States, meter: str = "") -> dict[str, bool]:
    """Return the discrete states that agree with their volts: detectors and relays first, then the panel's latch."""
    now = dict(states)
    for _ in range(60):
        volts = solve(world, now, meter)
        after = now | {row["state"]: is_set(row, now, volts) for row in world.thresholds}
        if after == now and zone_word(world, now, volts) in ("alarm", "supervisory"):
            after[world.zone["zone"] + ".latched"] = True
        if after == now:
            return now
        now = after
    raise AssertionError(f"never settles: {sorted(name for name, on in now.items() if on)}")


def is_set(row: Row, states: States, volts: Volts) -> bool:
    """Tell whether a state with thresholds is on after these volts; a dead or removed head latches nothing."""
    part = row["state"].split(".")[0]
    if states.get(part + ".dead", False) or states.get(part + ".head_off", False):
        return False
    across_v = volts.get(row["plus"], 0.0) - volts.get(row["minus"], 0.0)
    across_v = abs(across_v) if row.get("either_way", False) else across_v
    if states[row["state"]]:
        return bool(across_v >= row["cleared_below"])
    needs = row.get("set_needs")
    return bool(across_v >= row["set_from"] and (needs is None or states[needs]))


def zone_band(world: World, states: States, volts: Volts) -> str | None:
    """Return what the volts at the zone's terminals mean to the panel; None while its source is off."""
    if not any(
        p["type"] == "source" and p["a"] == world.zone["plus"] and is_conducting(p, states) for p in world.parts
    ):
        return None
    at_v = volts[world.zone["plus"]] - volts[world.zone["minus"]]
    fits = [
        w for w in world.windows if (w["low"] is None or at_v >= w["low"]) and (w["high"] is None or at_v < w["high"])
    ]
    return str(fits[0]["state"])


def zone_word(world: World, states: States, volts: Volts) -> str | None:
    """Return the word of a band after the panel's own faults and settings, as the exported states describe them."""
    zone, band = world.zone["zone"], zone_band(world, states, volts)
    changes = {
        "bypassed": {"alarm": "normal", "trouble": "normal"},
        "unsupervised": {"trouble": "normal"},
        "faulty": {"normal": "trouble"},
        "miskind": {"alarm": "supervisory"},
        "verifies": {"alarm": "normal"},
    }
    for state, change in changes.items():
        if band is not None and states.get(f"{zone}.{state}", False):
            band = change.get(band, band)
    return band


def mode_states(world: World, mode: str) -> dict[str, bool]:
    """Return the settled discrete states of a mode: power up, one action after the other, settling after each."""
    if mode not in world.modes:
        states = settle(world, world.start) if mode == "standby" else mode_states(world, "standby")
        for action in actions_of(mode, world.zone["zone"]):
            states = settle(world, states | action)
        world.modes[mode] = states
    return world.modes[mode]


def actions_of(mode: str, zone: str) -> list[dict[str, bool]]:
    """Return the actions of a mode in order, as signals that change."""
    word, _, at = mode.partition(":")
    pulse = [{"panel.reset": True, f"{zone}.latched": False}, {"panel.reset": False}]
    lifted = {f"{zone}.lifted": True}
    return {
        "standby": [],
        "during_reset": pulse[:1],
        "lifted": [lifted | {"panel.down": True}],
        "lifted_supply_on": [lifted],
        "known_resistor": [lifted | {f"{zone}.known": True}, *pulse],
        "alarm": [{f"{at}.smoke": True}],
        "after_reset": [{f"{at}.smoke": True}, {f"{at}.smoke": False} | pulse[0], pulse[1]],
        "head_off": [{f"{at}.head_off": True}],
    }[word]


def panel_shows(world: World, states: States) -> str | None:
    """Return the word on the panel: a latched alarm stays until reset; none when it is down or the zone off."""
    zone, word = world.zone["zone"], zone_word(world, states, solve(world, states))
    latched = "supervisory" if states.get(f"{zone}.miskind", False) else "alarm"
    return latched if word and states[f"{zone}.latched"] else word


def lamp_word(world: World, states: States, detector: str) -> str:
    """Return what a detector's lamp does: lit from its lowest volts up, in alarm when latched, else dark."""
    if states[detector + ".latched"]:
        return "alarm"
    row = next(r for r in world.thresholds if r["state"] == detector + ".latched")
    free = {**row, "set_needs": None}
    return "lit" if is_set(free, states, solve(world, states)) else "dark"


def dark_ones(world: World, states: States, but: str = "") -> str:
    """Return the names of the dark detectors, joined by commas, or *none*."""
    dark = [d for d in world.detectors if d != but and lamp_word(world, states, d) == "dark"]
    return ",".join(dark) or "none"


def tested_word(world: World, detector: str) -> str:
    """Return what a functional test of one detector shows at the panel."""
    if panel_shows(world, mode_states(world, "standby")) == "alarm":
        return "alarm_already"
    shown = panel_shows(world, mode_states(world, f"alarm:{detector}"))
    if shown != "alarm":
        return "reports_wrong_zone" if shown == "supervisory" else "no_report"
    after = panel_shows(world, mode_states(world, f"after_reset:{detector}"))
    return "reports_and_stays" if after == "alarm" else "reports_and_clears"


def click_word(world: World) -> str:
    """Return what is heard at the reset relay while the panel is reset."""
    moved = mode_states(world, "during_reset")["reset.operated"] != mode_states(world, "standby")["reset.operated"]
    return "clicks" if moved else "silent"


def find_complaint(world: World, rng: np.random.Generator) -> str | None:
    """Return a symptom that is true in this world, the first that people meet; None when every test looks right."""
    shows = panel_shows(world, mode_states(world, "standby"))
    if shows != "normal":
        return {"trouble": "constant_trouble", "alarm": "alarm_with_nothing_there"}[str(shows)]
    tests = [tested_word(world, detector) for detector in world.detectors]
    fails = [n for n, word in enumerate(tests) if word == "no_report"]
    dark = dark_ones(world, mode_states(world, "standby")) != "none"
    true = {
        "none_report": len(fails) == len(tests),
        "only_first_report": 0 < len(fails) < len(tests) and fails[0] == len(tests) - len(fails),
        "one_does_not_report": len(fails) == 1,
        "will_not_reset": "reports_and_stays" in tests,
        "wrong_zone_reports": "reports_wrong_zone" in tests,
        "detectors_dark": dark,
    }
    found = [word for word, is_true in true.items() if is_true]
    if found:
        return str(rng.choice(found))
    off = [panel_shows(world, mode_states(world, f"head_off:{detector}")) for detector in world.detectors]
    return "no_trouble_with_head_off" if "normal" in off else None


@cache
def healthy_complaint(site: Path) -> str | None:
    """Return what people could complain of where nothing is wrong, by the design of the site; mostly None."""
    with tempfile.TemporaryDirectory() as name:
        return find_complaint(build_world(ask("export", str(site)), Path(name), None), np.random.default_rng(0))


def volts_ideal(world: World, states: States, red: str, black: str) -> float:
    """Return the volts between two terminals without a meter."""
    volts = solve(world, states)
    return volts[red] - volts[black]


def volts_metered(world: World, mode: str, red: str, black: str) -> float:
    """Return the volts between two terminals with the meter's own resistance across them, states settled again."""
    line = f"Rmeter {{{red}}} {{{black}}} {world.meter['input_ohm']!r}"
    volts = solve(world, settle(world, mode_states(world, mode), line), line)
    return volts[red] - volts[black]


def ohms_metered(world: World, mode: str, red: str, black: str) -> float:
    """Return the ohms that a test source behind its own resistance finds, leads included; infinite when over range."""
    red, black = (name.replace("panel.zone", "field.zone") for name in (red, black))
    test_v, inner_ohm = world.meter["ohms_test_v"], world.meter["ohms_source_ohm"]
    line = f"Rmeter {{{red}}} {{{black}}} {inner_ohm!r}\nImeter {{{black}}} {{{red}}} {test_v / inner_ohm!r}"
    volts = solve(world, settle(world, mode_states(world, mode), line), line)
    seen_v = volts[red] - volts[black]
    ohm = inner_ohm * seen_v / (test_v - seen_v) + world.leads_ohm if seen_v < test_v else np.inf
    return float(ohm) if ohm <= world.meter["ohms_over"] else float("inf")


def displayed(world: World, value: float, unit: str) -> str:
    """Return a value as a 6000-count meter shows it, its gain error and the noise of its last digits put in."""
    if np.isinf(value):
        return "OL"
    top, drawn = (6.0 if unit == "V" else 600.0), value * world.gain[unit]
    while abs(drawn) >= top:
        top *= 10
    step = top / 6000
    noise = round(world.rng.normal(0, world.meter["volts_digits" if unit == "V" else "ohms_digits"] / 2))
    shown = (round(drawn / step) + (noise if any(g != 1 for g in world.gain.values()) else 0)) * step
    return f"{shown:.{max(0, -int(np.floor(np.log10(step) + 1e-9)))}f} {'V' if unit == 'V' else 'Ω'}"


def find_differences(site: Path, fault: str, detector: str, folder: Path) -> list[str]:
    """Return where ``predict`` and the undrawn world differ: panel, lamps, relays, volts (0.1 % or 1 mV), ohms."""
    world = build_world(ask("export", str(site), "--fault", fault), folder, None)
    offered = {row["measurement"]: row["mode"] for row in listed("measurements", site)}
    modes = ["standby", "during_reset", offered["ohms"], offered["known_resistor"]]
    modes += [f"{word}:{detector}" for word in ("alarm", "after_reset", "head_off")]
    found: list[str] = []
    for mode in modes:
        told = ask("predict", str(site), "--fault", fault, "--mode", mode)
        found += [f"{fault} {mode}: {text}" for text in differences_in(world, mode, told)]
    return found


def differences_in(world: World, mode: str, told: Row) -> list[str]:
    """Return the differences of one mode, each as *what: here, there*."""
    states = mode_states(world, mode)
    pairs: list[tuple[str, object, object]] = []
    pairs.append(("panel", panel_shows(world, states), told["panel"][world.zone["zone"]]))
    words = {"lit": "powered", "alarm": "latched", "dark": "dark"}
    for name, there in told["states"].items():
        relay = "operated" if states.get(f"{name}.operated", False) else "released"
        pairs.append((name, words[lamp_word(world, states, name)] if name in world.detectors else relay, there))
    found = [f"{what}: {here}, {there}" for what, here, there in pairs if here != there]
    for row in told["readings"]:
        found += reading_differs(world, mode, row) if "red" in row else []  # panel and lamps were compared above
    return found


def reading_differs(world: World, mode: str, row: Row) -> list[str]:
    """Return the difference of one reading, without and with the meter, or nothing."""
    red, black = row["red"], row["black"]
    if row["unit"] == "V":
        ideal_v = volts_ideal(world, mode_states(world, mode), red, black)
        pairs = [(ideal_v, row["ideal"]), (volts_metered(world, mode, red, black), row["value"])]
        slack = 0.001
    else:
        there = float("inf") if row["value"] == "OL" else row["value"]
        pairs, slack = [(ohms_metered(world, mode, red, black), there)], 0.1
    wrong = [
        (here, there) for here, there in pairs if here != there and not abs(here - there) <= slack + 0.001 * abs(there)
    ]
    return [f"{row['measurement']} {red} {black}: {here!r}, {there!r}" for here, there in wrong]
