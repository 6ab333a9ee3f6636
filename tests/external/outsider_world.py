"""What people and instruments read in the outsider's world, what they complain of, and how it compares to ``predict``.

Nothing here knows the program's inside; what it takes from the program are words of its JSON.
"""

import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from tests.external.outsider_circuit import States, World, build_world, solve
from tests.external.outsider_line import Row, ask, listed
from tests.external.outsider_panel import (
    NeverSettlesError,
    earth_says,
    is_set,
    mode_states,
    panel_shows,
    settle,
    zones_show,
)


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


def alarmed_ones(world: World, states: States) -> str:
    """Return the names of the detectors whose lamps show alarm, joined by commas, or *none*."""
    return ",".join(d for d in world.detectors if lamp_word(world, states, d) == "alarm") or "none"


def right_zone(world: World, detector: str) -> str:
    """Return the zone that a detector should report on: that of its own kind, or the only one."""
    fits = [zone["zone"] for zone in world.zones if zone["senses"] == world.senses[detector]]
    return str(fits[0] if fits else world.zones[0]["zone"])


def tested_word(world: World, detector: str) -> str:
    """Return what a functional test of one detector shows at the panel: a new alarm of the right zone, or elsewhere."""
    zone, before = right_zone(world, detector), zones_show(world, mode_states(world, "standby"))
    if before[zone] == "alarm":
        return "alarm_already"
    shown = zones_show(world, mode_states(world, f"alarm:{detector}"))
    if shown[zone] != "alarm":
        is_elsewhere = any(word in ("alarm", "supervisory") and word != before[name] for name, word in shown.items())
        return "reports_wrong_zone" if is_elsewhere else "no_report"
    after = zones_show(world, mode_states(world, f"after_reset:{detector}"))
    return "reports_and_stays" if after[zone] == "alarm" else "reports_and_clears"


def click_word(world: World) -> str:
    """Return what is heard at the reset relay while the panel is reset."""
    moved = mode_states(world, "during_reset")["reset.operated"] != mode_states(world, "standby")["reset.operated"]
    return "clicks" if moved else "silent"


def find_complaint(world: World, rng: np.random.Generator) -> str | None:
    """Return a symptom that is true in this world, the first that people meet; None when every test looks right.

    Of several silent detectors in a pattern that no symptom names, people have tried one, and say so.
    """
    shows = panel_shows(world, mode_states(world, "standby"))
    if shows in ("trouble", "alarm"):
        return {"trouble": "constant_trouble", "alarm": "alarm_with_nothing_there"}[str(shows)]
    if earth_says(world, mode_states(world, "standby")) == "earth_trouble":
        return "earth_trouble"
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
    if found or fails:  # several that no word fits: people say what they have tried, one that does not report
        return str(rng.choice(found or ["one_does_not_report"]))
    off = [panel_shows(world, mode_states(world, f"head_off:{detector}")) for detector in world.detectors]
    return "no_trouble_with_head_off" if "normal" in off else None


@cache
def healthy_complaint(site: Path) -> str | None:
    """Return what people could complain of where nothing is wrong, by the design of the site; mostly None."""
    with tempfile.TemporaryDirectory() as name:
        return find_complaint(build_world(site, "healthy", Path(name), None), np.random.default_rng(0))


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
    """Return the ohms of lifted wires that a test source behind its own resistance finds, leads included.

    Infinite when over range.
    """
    red, black = (
        name.replace("panel.zone", "field.zone").replace("module.loop", "field.loop") for name in (red, black)
    )
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
    world = build_world(site, fault, folder, None)
    wanted = ("ohms", "known_resistor", "earth_lifted")
    modes = ["standby", "during_reset"]
    modes += sorted({row["mode"] for row in listed("measurements", site) if row["measurement"] in wanted})
    modes += [f"{word}:{detector}" for word in ("alarm", "after_reset", "head_off", "opened")]
    found: list[str] = []
    for mode in modes:
        told = ask("predict", str(site), *([] if fault == "healthy" else ["--fault", fault]), "--mode", mode)
        found += [f"{fault} {mode}: {text}" for text in differences_in(world, mode, told)]
    return found


def differences_in(world: World, mode: str, told: Row) -> list[str]:
    """Return the differences of one mode, each as *what: here, there*; two that both never settle do not differ."""
    try:
        states, shown = mode_states(world, mode), zones_show(world, mode_states(world, mode))
    except NeverSettlesError as error:
        return [] if told["never_settles"] else [f"never settles here: {error}"]
    if told["never_settles"]:
        return [f"never settles there: {told['never_settles']}"]
    pairs: list[tuple[str, object, object]] = [
        (f"panel {name}", shown.get(name, "no such zone"), told["panel"].get(name, "not told"))
        for name in sorted({*shown, *told["panel"]})
    ]
    if told["earth"] is not None:
        pairs.append(("earth", earth_says(world, states).replace("_", " "), told["earth"]))
    words = {"lit": "powered", "alarm": "latched", "dark": "dark"}
    for name, there in told["states"].items():
        if name in world.detectors:
            pairs.append((name, words[lamp_word(world, states, name)], there))
        else:
            pairs.append((name, thing_word(states, name, str(there)), there))
    found = [f"{what}: {here}, {there}" for what, here, there in pairs if here != there]
    for row in told["readings"]:
        found += reading_differs(world, mode, row) if "red" in row else []  # panel and lamps were compared above
    return found


def thing_word(states: States, name: str, there: str) -> str:
    """Return the state of a relay or module in the kind of words that the prediction uses for it."""
    is_on = states.get(f"{name}.operated", False)
    return ("powered" if is_on else "dark") if there in ("powered", "dark") else ("operated" if is_on else "released")


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
