"""What people see in the referee's world, and what they complain of."""

from collections.abc import Collection
from pathlib import Path

from .draft import NotPlayedError
from .line import Line, list_detectors, read_loops
from .panel import GRAVEST_FIRST, is_set, list_uneasy, mode_states, panel_shows, zones_show
from .spreads import Spreads
from .watches import find_earth_word, find_supply_word
from .world import Signals, World, build_world, solve

MOST_DRAWS = 30


def lamp_word(world: World, states: Signals, detector: str) -> str:
    """Return what a detector's lamp does: lit from its lowest volts up, in alarm when latched, else dark."""
    if states[detector + ".latched"]:
        return "alarm"
    row = next(r for r in world.thresholds if r["state"] == detector + ".latched")
    free = {**row, "set_needs": None, "while_needed": False}
    return "lit" if is_set(free, states, solve(world, states)) else "dark"


def find_lamps(world: World, states: Signals, word: str, among: Collection[str] | None = None) -> str:
    """Return the names of the detectors whose lamps show this, joined by commas, or *none*; ``among`` looks at some."""
    seen = [d for d in world.detectors if among is None or d in among]
    return ",".join(d for d in seen if lamp_word(world, states, d) == word) or "none"


def right_zone(world: World, detector: str) -> str:
    """Return the zone that a detector should report on: that of its own kind, or the only one."""
    number = find_loop_number(world.site, detector)
    fits = [zone["zone"] for zone in world.zones if zone["senses"] == world.senses[detector]]
    if number is not None:
        return str(world.zones[number - 1]["zone"])
    return str(fits[0] if fits else world.zones[0]["zone"])


def find_tested(world: World, detector: str) -> str:
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


def find_loop_number(site: Path, detector: str) -> int | None:
    """Return the number, from 1, of the loop that a detector belongs to; None where there is one loop only."""
    loops, first = read_loops(site), 1
    for number, loop in enumerate(loops if len(loops) > 1 else ()):
        count = len(list_detectors(loop))
        if first <= int(detector.removeprefix("det")) < first + count:
            return number + 1
        first += count
    return None


def click_word(world: World) -> str:
    """Return what is heard at the reset relay while the panel is reset."""
    moved = mode_states(world, "during_reset")["reset.operated"] != mode_states(world, "standby")["reset.operated"]
    return "clicks" if moved else "silent"


def find_complaint(world: World) -> str | None:
    """Return a symptom that is true in this world, the first that people meet; None when every test looks right.

    Of several silent detectors people say so where no other symptom names their pattern.
    """
    if list_uneasy(world):  # it trips and clears; whoever calls has seen it trip
        return str(world.draw("complaint").choice(["constant_trouble", "alarm_with_nothing_there"]))
    shown = zones_show(world, mode_states(world, "standby")).values()
    shows = next((word for word in GRAVEST_FIRST if word in shown), None)
    if shows in ("trouble", "alarm"):
        return {"trouble": "constant_trouble", "alarm": "alarm_with_nothing_there"}[shows]
    other = (find_supply_word(world), find_earth_word(world, "standby"))
    if other != ("right", "right"):
        return "earth_trouble" if other[0] == "right" else "supply_trouble"
    tests = [find_tested(world, detector) for detector in world.detectors]
    fails = [n for n, word in enumerate(tests) if word == "no_report"]
    true = {
        "none_report": len(fails) == len(tests),
        "only_first_report": 0 < len(fails) < len(tests) and fails[0] == len(tests) - len(fails),
        "one_does_not_report": len(fails) == 1,
        "will_not_reset": "reports_and_stays" in tests,
        "wrong_zone_reports": "reports_wrong_zone" in tests,
        "detectors_dark": not _is_contact(world) and find_lamps(world, mode_states(world, "standby"), "dark") != "none",
    }
    found = [word for word, is_true in true.items() if is_true]
    if found or fails:
        return str(world.draw("complaint").choice(found or ["some_do_not_report"]))
    return "no_trouble_with_head_off" if _has_loose_head(world) else None


def _has_loose_head(world: World) -> bool:
    """Tell whether a head that is taken off leaves the panel normal; a contact has no head."""
    heads = () if _is_contact(world) else world.detectors
    return any(panel_shows(world, mode_states(world, f"head_off:{d}")) == "normal" for d in heads)


def _is_contact(world: World) -> bool:
    """Tell whether the detectors are bare contacts: they have no lamp and no head."""
    return not any(part["type"] == "load" and part["name"].endswith(".det1") for part in world.parts)


def find_sound_seed(line: Line, site: Path, seed: tuple[int, ...], spreads: Spreads) -> tuple[int, ...]:
    """Return the first seed, made of this one, whose sound world does its work: no one hands over any other."""
    for number in range(MOST_DRAWS):
        found = (*seed, number)
        if find_complaint(build_world(line, site, "healthy", found, spreads)) == find_healthy_complaint(line, site):
            return found
    raise NotPlayedError(f"{site.stem} hardly ever works as it is drawn here")


def find_healthy_complaint(line: Line, site: Path) -> str | None:
    """Return what people could complain of where nothing is wrong, by the design of the site; mostly None."""
    key = ("healthy complaint", str(site))
    if key not in line.kept:
        line.kept[key] = find_complaint(build_world(line, site))
    found: str | None = line.kept[key]
    return found
