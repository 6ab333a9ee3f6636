"""The referee's line to this program in tests: its command line in this process, and how a world is held to predict."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from diagnostics.cli.referee import ask_here
from diagnostics.referee import Line, NeverSettlesError, Row, Signals, World, build_world
from diagnostics.referee.meter import read_ohms, read_volts
from diagnostics.referee.panel import mode_states, zones_show
from diagnostics.referee.people import lamp_word

ROOT = Path(__file__).parents[2]


@cache
def open_line() -> Line:
    """Return the line that tests share."""
    return Line(ask_here)


def ask(*words: str, text: str = "") -> Row:
    """Run one command of the program and return its object."""
    return open_line().ask(words, text)


def find_differences(site: Path, fault: str, detector: str, modes: Sequence[str] = ()) -> list[str]:
    """Return where ``predict`` and the undrawn world differ: panel, lamps, relays, volts (0.1 % or 1 mV), ohms."""
    line = open_line()
    world = build_world(line, site, fault)
    wanted = ("ohms", "known_resistor")
    all_modes = ["standby", "during_reset"]
    all_modes += sorted({row["mode"] for row in line.list_rows("measurements", site) if row["measurement"] in wanted})
    all_modes += [f"{word}:{detector}" for word in ("alarm", "after_reset", "head_off")]
    known = {row["mode"] for row in line.list_rows("modes", site)}
    found: list[str] = []
    for mode in modes or [each for each in all_modes if each in known]:
        told = ask("predict", str(site), *([] if fault == "healthy" else ["--fault", fault]), "--mode", mode)
        found += [f"{site.stem} {fault} {mode}: {text}" for text in list_differences(world, mode, told)]
    return found


def list_differences(world: World, mode: str, told: Row) -> list[str]:
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
    words = {"lit": "powered", "alarm": "latched", "dark": "dark"}
    for name, there in told["states"].items():
        if there == "at rest":  # a bare contact shows nothing
            continue
        here = words[lamp_word(world, states, name)] if name in world.detectors else name_thing(states, name, there)
        pairs.append((name, here, there))
    found = [f"{what}: {here}, {there}" for what, here, there in pairs if here != there]
    for row in told["readings"]:
        found += compare_reading(world, mode, row) if "red" in row else []  # panel and lamps were compared above
    return found


def name_thing(states: Signals, name: str, there: str) -> str:
    """Return the state of a relay or module in the kind of words that the prediction uses for it."""
    is_on = states.get(f"{name}.operated", False)
    return ("powered" if is_on else "dark") if there in ("powered", "dark") else ("operated" if is_on else "released")


def compare_reading(world: World, mode: str, row: Row) -> list[str]:
    """Return the difference of one reading, without and with the meter, or nothing."""
    red, black = row["red"], row["black"]
    if row["unit"] == "V":
        here = [read_volts(world, mode, red, black, by_meter=by_meter) for by_meter in (False, True)]
        pairs, slack = list(zip(here, (row["ideal"], row["value"]), strict=True)), 0.001
    else:
        there = float("inf") if row["value"] == "OL" else row["value"]
        pairs, slack = [(read_ohms(world, mode, red, black), there)], 0.1
    wrong = [(a, b) for a, b in pairs if a != b and not abs(a - b) <= slack + 0.001 * abs(b)]
    return [f"{row['measurement']} {red} {black}: {a!r}, {b!r}" for a, b in wrong]
