"""What a person reads or sees in a world: right as a rule, now and then by a slip, or too soon after a change.

A slip belongs to the world and the measurement, and to how often it was taken: every way of working meets the same.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from .line import Line, Row
from .meter import read_ohms, read_volts, show_display
from .outside import PREFIX
from .panel import list_uneasy, mode_states, panel_shows
from .people import click_word, find_lamps, find_loop_number, find_tested, lamp_word, right_zone
from .plants import Plant
from .spreads import BelievedSlips
from .swapped import find_swapped
from .watches import find_earth_word, find_logged, find_supply_word
from .world import World, build_world

AC_V, AC_PASSED = (5.0, 60.0), 0.001  # volts that lie on a pair; what a DC range lets pass of them: both invented
LEAD_OFF, OVER_UNKNOWN = 2, 0.15  # which of the believed slips that is; the share of any ohms that is over range
NIGHT_SHARE, NIGHT_V = 0.05, 0.3  # what people take for a change of volts over a night; invented
PANEL_WORDS = ("known_resistor", "head_off")
SIGHTS = ("look", "settings")
LASTING = (*SIGHTS, "event_log", "overnight")  # what shows a fault whether it is there just now or not


def write_spot(row: Row) -> str:
    """Return what makes a measurement the same one: kind, leads or place, mode."""
    return " ".join(str(row[key]) for key in ("measurement", "red", "black", "at", "mode") if row.get(key))


@dataclass(slots=True)
class Person:
    """Someone with a meter in a world; ``taken`` counts how often each measurement was taken.

    ``away`` tells that the fault, which comes and goes, was not there at the last reading; the panel shows as much.
    """

    world: World
    plant: Plant
    taken: dict[str, int] = field(default_factory=dict)
    slipped: list[str] = field(default_factory=list)
    away: bool = False

    def read(self, row: Row) -> str:
        """Return what this person writes down for one offered measurement."""
        spot = write_spot(row)
        self.taken[spot] = self.taken.get(spot, 0) + 1
        rng, spreads = self.world.draw("slip", spot, self.taken[spot]), self.world.spreads
        self.away = self._is_away(row, spot)
        right = find_answer(_build_sound(self.world) if self.away else self.world, self.plant, row)
        if row["measurement"] in SIGHTS and self.taken[spot] > 1 and self._finds_it_now(spot):
            right = find_seen(self.world, self.plant, row["measurement"], row.get("at", ""), found=True)
        if self.world.seed is None:
            return right
        wrong = right
        if spreads.believed is not None:
            if rng.uniform() < spreads.believed.shares[row["measurement"]]:
                wrong = draw_believed(self.world, spreads.believed, row, right, rng)
        elif row["measurement"] in PANEL_WORDS and rng.uniform() < spreads.hasty:
            wrong = str(panel_shows(self.world, mode_states(self.world, "standby"), row.get("at", "")))
        elif rng.uniform() < spreads.slips:
            slips = list_slips(self.world, self.plant, row, right)
            wrong = slips[int(rng.integers(len(slips)))] if slips else right
        if wrong != right:
            self.slipped.append(f"{spot}: {wrong} for {right}")
        return wrong

    def _finds_it_now(self, spot: str) -> bool:
        """Return whether somebody who looks again finds what was overlooked."""
        return float(self.world.draw("again", spot, self.taken[spot]).uniform()) < self.world.spreads.looks_again

    def _is_away(self, row: Row, spot: str) -> bool:
        """Return whether a fault that comes and goes is away while this is read."""
        if self.plant.there >= 1.0 or self.world.fault == "healthy" or row["measurement"] in LASTING:
            return False
        return float(self.world.draw("there", spot, self.taken[spot]).uniform()) >= self.plant.there


def _build_sound(world: World) -> World:
    """Return the same world with nothing wrong."""
    return build_world(world.line, world.site, "healthy", world.seed, world.spreads, world.solver)


def list_slips(world: World, plant: Plant, row: Row, right: str) -> list[str]:
    """Return what a mistake would write down: leads exchanged, off, on the next pair; a prefix; another word."""
    if row["measurement"] == "volts":
        return [
            right[1:] if right.startswith("-") else f"-{right}",
            show_display(world, 0.0, "V", "off"),
            *_next(world, plant, row),
        ]
    if row["measurement"] == "ohms":
        return ["OL", *_next(world, plant, row), *([] if right == "OL" else [right.replace(" ohm", " kohm")])]
    words = [str(word) for word in row["answers"] or () if str(word) != right]
    return words if row["measurement"] not in SIGHTS else ["as_it_should_be"]


def draw_believed(world: World, slips: BelievedSlips, row: Row, right: str, rng: np.random.Generator) -> str:
    """Return what somebody writes down by a slip, drawn as the engine believes that slips are."""
    if row["measurement"] not in ("volts", "ohms"):
        words = list(row["answers"] or [right])
        return str(words[int(rng.integers(len(words)))])
    shares = (slips.turned, slips.prefix, slips.off, slips.anything)
    kind = int(rng.choice(4, p=np.array(shares) / sum(shares)))
    number, _, unit = right.partition(" ")
    if kind == 1:
        return right if right == "OL" else f"{number} {'mk'[int(rng.integers(2))]}{unit}"
    if row["measurement"] == "volts":
        if kind == 0:
            return right[1:] if right.startswith("-") else f"-{right}"
        return f"{rng.normal(0, 0.05) if kind == LEAD_OFF else rng.uniform(-slips.widest_v, slips.widest_v):.3f} V"
    over = world.meter["ohms_over"]
    if kind == LEAD_OFF or rng.uniform() < OVER_UNKNOWN:
        return "OL"
    return f"{np.exp(rng.uniform(np.log(slips.least_ohm), np.log(over))):.1f} ohm"


def _next(world: World, plant: Plant, row: Row) -> list[str]:
    """Return what the pair beside this one shows, in the order in which measurements are listed."""
    rows = world.line.list_rows("measurements", plant.site)
    same = [r for r in rows if r["measurement"] == row["measurement"] and r["mode"] == row["mode"]]
    at = next((n for n, r in enumerate(same) if write_spot(r) == write_spot(row)), 0)
    return [find_answer(world, plant, same[at - 1])] if len(same) > 1 else []


def find_answer(world: World, plant: Plant, row: Row) -> str:
    """Return what there is to read or see for one offered measurement."""
    what, mode, at = row["measurement"], row["mode"], row.get("at", "")
    if what in ("volts", "ohms"):
        unit, read = ("V", read_volts) if what == "volts" else ("ohm", read_ohms)
        hum_v = find_hum(world, row) if what == "volts" else 0.0
        return show_display(world, read(world, mode, row["red"], row["black"]) + hum_v, unit, write_spot(row))
    if what in SIGHTS:
        return find_seen(world, plant, what, at)
    shown = ["", *(row["answers"] or ())]
    words: Mapping[str, Callable[[], str | None]] = {
        **dict.fromkeys(("panel_shows", *PANEL_WORDS), lambda: panel_shows(world, mode_states(world, mode), at)),
        "lamp": lambda: lamp_word(world, mode_states(world, mode), at),
        "which_dark": lambda: find_lamps(world, mode_states(world, mode), "dark", shown),
        "which_lit": lambda: find_lamps(world, mode_states(world, mode), "alarm", shown),
        "how_many_dark": lambda: _count(find_lamps(world, mode_states(world, mode), "dark")),
        "how_many_lit": lambda: _count(find_lamps(world, mode_states(world, mode), "alarm")),
        "dark_with_head_off": lambda: find_lamps(world, mode_states(world, mode), "dark", {*shown} - {at}),
        "functional_test": lambda: find_tested(world, at),
        "heads_swapped": lambda: find_swapped(world, at, row["beside"]),
        "listen": lambda: click_word(world),
        "supply_lamps": lambda: find_supply_word(world),
        **dict.fromkeys(("earth_lamp", "earth_lifted", "earth_opened"), lambda: find_earth_word(world, mode)),
        "ac_volts": lambda: "ac_there" if at in list_uneasy(world) else "no_ac",
        "overnight": lambda: find_night(world, at),
        "event_log": lambda: find_logged(world),
    }
    return str(words[what]())


def find_hum(world: World, row: Row) -> float:
    """Return what AC on a pair moves a DC range by: a meter turns nearly all of it away, and its display wanders."""
    names = [str(row[lead]).partition(".") for lead in ("red", "black")]
    found = 0.0
    for zone in list_uneasy(world):
        near = any(
            (name == "panel" and end[:-1] == zone) or (name in world.senses and right_zone(world, name) == zone)
            for name, _, end in names
        )
        ac_v = float(world.draw("foreign", zone).uniform(*AC_V))
        found += float(world.draw("hum", write_spot(row)).normal(0, AC_PASSED * ac_v)) if near else 0.0
    return found


def find_night(world: World, zone: str) -> str:
    """Return what MIN/MAX of a zone show after a night, held against the same world with nothing wrong."""
    if zone in list_uneasy(world):
        return "swung"
    if world.fault == "healthy":
        return "steady"
    worlds = (world, _build_sound(world))
    shown, usual = (read_volts(w, "standby", f"panel.{zone}+", f"panel.{zone}-") for w in worlds)
    if abs(shown - usual) <= NIGHT_SHARE * abs(usual) + NIGHT_V:
        return "steady"
    return "fell" if shown < usual else "rose"


def _count(names: str) -> str:
    """Return how many names stand in a list by commas, of which *none* is empty."""
    return str(0 if names == "none" else len(names.split(",")))


def find_seen(world: World, plant: Plant, what: str, at: str, *, found: bool = False) -> str:
    """Return what eyes or a review of settings find here: the same each time, by the published share of lookers.

    With ``found`` they find it, whatever that share, if anybody would.
    """
    if world.fault == "healthy" or world.fault.startswith(PREFIX):
        return "as_it_should_be"
    luck = 0.0 if found else float(world.draw(what).uniform())
    here = [_find_one_seen(world, replace(plant, fault=fault), what, at, luck) for fault in world.fault.split(",")]
    return next((word for word in here if word != "as_it_should_be"), "as_it_should_be")


def _find_one_seen(world: World, plant: Plant, what: str, at: str, luck: float) -> str:
    kind = world.line.find_kind(plant.site, plant.kind)
    if what == "settings":
        return "setting_wrong" if luck < kind["settings_share"] else "as_it_should_be"
    here = {"here": plant.place.split(".")[0], "end": find_end(world.line, plant), "before": find_before(plant)}
    where = here.get(kind["seen_at"], kind["seen_at"])
    return kind["seen_as"] if at == where and luck < kind["seen_share"] else "as_it_should_be"


def find_before(plant: Plant) -> str:
    """Return the detector before the planted one: there hangs the third wire of a spur."""
    number = int(plant.place.removeprefix("det")) if plant.place.startswith("det") and "." not in plant.place else 1
    return f"det{number - 1}" if number > 1 else "panel"


def list_end_detectors(line: Line, plant: Plant) -> dict[str, str]:
    """Return where each end resistor is in a healthy circuit, its label (empty, a pair's, a number) to the detector."""
    senses = list(line.list_senses(plant.site))
    named = {e["name"]: e for e in line.export(plant.site)["elements"] if find_label(e["name"]) is not None}
    wired = {str(find_label(name)): _find_detector(e) for name, e in named.items()}
    return {label: at or senses[-1] for label, at in wired.items()}


def find_label(name: str) -> str | None:
    """Return the label of an end resistor by the name of its part, None for any other part."""
    head, _, tail = name.partition(".")
    if not (head.startswith("end") and tail.startswith("resistor")) or head.startswith("endrelay"):
        return None
    return head.removeprefix("end") + tail.removeprefix("resistor").lstrip("_")


def _find_detector(resistor: Row) -> str:
    """Return the detector that an end resistor is wired to, through a supervision relay too; empty for none."""
    ends = [str(resistor[end]).split(".", maxsplit=1)[0] for end in ("a", "b")]
    return next((end for end in ends if end.startswith("det")), "panel" if set(ends) == {"panel"} else "")


def find_end(line: Line, plant: Plant) -> str:
    """Return the detector at the end that a fault of an end is about: its own pair's, the last one's for the supply."""
    ends, senses = list_end_detectors(line, plant), line.list_senses(plant.site)
    label = plant.place.removeprefix("end").lstrip("_") if plant.place.startswith("end") else ""
    if plant.place in senses:
        number = find_loop_number(plant.site, plant.place)
        label = senses[plant.place] if number is None else ("", str(number))[number > 1]
    return ends.get(label) or ends.get("") or list(senses)[-1]
