"""One concrete measurement: what, where, in which mode, with which lead where."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from diagnostics.circuit import STANDBY, Mode
from diagnostics.faults import Fault, find_removed, read_catalogue
from diagnostics.wiring import Detector, Loop

from .data import MeasurementKind, Tool, Travel, read_table
from .swap import SWAPPED

Outcome = Literal["volts", "ohms", "token"]
STATES = ("normal", "trouble", "alarm", "supervisory")
LAMPS = ("lit", "dark", "alarm")
TESTS = ("reports_and_clears", "reports_and_stays", "no_report", "alarm_already", "reports_wrong_zone")
OVERNIGHT = ("steady", "fell", "rose", "swung")
CLICKS = ("clicks", "silent")
SUPPLY = ("right", "mains_trouble", "battery_trouble")
EARTH_LAMP = ("right", "earth_trouble")
AC = ("no_ac", "ac_there")
LOG = ("nothing", "trouble_only", "alarm", "supervisory", "supply_trouble", "earth_trouble")
# Kinds that answer with a number of detectors, where nobody knows which is which.
# Modes in which what goes on from a detector is off its terminals.
CUTS = frozenset({"opened", "cut_off"})
COUNTED = frozenset({"how_many_dark", "how_many_lit"})
WALKS = frozenset({"which_dark", "which_lit", *COUNTED})
# Kinds that answer with a list of detectors.
LISTED = frozenset({"which_dark", "dark_with_head_off", "which_lit"})
AS_IT_SHOULD_BE = "as_it_should_be"
SETTING_WRONG = "setting_wrong"
_TOKENS = {
    "panel_shows": STATES,
    "head_off": STATES,
    "known_resistor": STATES,
    "lamp": LAMPS,
    "functional_test": TESTS,
    "listen": CLICKS,
    "supply_lamps": SUPPLY,
    "event_log": LOG,
    **dict.fromkeys(("earth_lamp", "earth_lifted", "earth_opened"), EARTH_LAMP),
    "ac_volts": AC,
    "settings": (AS_IT_SHOULD_BE, SETTING_WRONG),
    "heads_swapped": SWAPPED,
    "overnight": OVERNIGHT,
}


@dataclass(frozen=True)
class Measurement:
    """A set-up for one reading: ``red`` and ``black`` are terminals on volts and ohms, ``at`` is a place otherwise.

    ``place`` is where a person stands, ``panel`` or a detector; ``visits`` is how many detectors are walked to.
    ``beside`` is another detector that it takes in hand. ``is_sought``: nobody knows which detector that is, and it has
    to be found along the cable first.
    """

    kind: str
    mode: Mode = STANDBY
    red: str = ""
    black: str = ""
    at: str = ""
    place: str = "panel"
    visits: int = 0
    beside: str = ""
    is_sought: bool = False

    @cached_property
    def data(self) -> MeasurementKind:
        """Return what is known of its kind."""
        return read_table().kinds[self.kind]

    @property
    def outcome(self) -> Outcome:
        """Return whether it gives volts, ohms or a word."""
        return "volts" if self.kind == "volts" else "ohms" if self.kind == "ohms" else "token"

    @property
    def unit(self) -> str:
        """Return the SI unit of its value, or an empty text."""
        return {"volts": "V", "ohms": "ohm"}.get(self.outcome, "")

    @property
    def tools(self) -> frozenset[Tool]:
        """Return what it needs, a ladder at every detector included."""
        climbs = self.place != "panel" and self.kind not in {"lamp", *WALKS}
        brought: set[Tool] = {"ladder"} if climbs else set()
        brought |= {"resistor"} if self.mode.word == "known_resistor" else set()
        return frozenset(brought | set(self.data.tools))

    @property
    def cautions(self) -> tuple[str, ...]:
        """Return the cautions that go with it, by name."""
        by_mode = {
            "during_reset": read_table().reset_cautions,
            "on_battery": read_table().battery_cautions,
            **dict.fromkeys(("return_lifted", "cut_off"), read_table().return_cautions),
            "opened": read_table().opened_cautions,
            **dict.fromkeys(("pair_lifted", "known_resistor"), read_table().lifted_cautions),
        }
        pressed = by_mode.get(self.mode.word, ())
        own = [c for c in self.data.cautions if c != "live_cabinet" or self.place == "panel"]
        own += ["foreign_volts"] if self.red.startswith("field.") else []
        return tuple(dict.fromkeys([*pressed, *own, *(["ladder"] if "ladder" in self.tools else [])]))

    @property
    def key(self) -> str:
        """Return a text that names this set-up and no other."""
        leads = f"{self.red},{self.black}" if self.red else self.at
        return f"{self.kind}|{leads}|{self.mode.text}"

    @property
    def set_up(self) -> str:
        """Return a text that is the same for the same set-up: volts with the leads turned tell nothing new."""
        leads = ",".join(sorted((self.red, self.black))) if self.kind == "volts" else ""
        return f"{self.kind}|{leads}|{self.mode.text}" if leads else self.key

    def find_minutes(self, standing_at: str) -> float:
        """Return the expected minutes from where one stands: travel, ladder, set-up, reading, putting back."""
        search = read_table().travel.search if self.is_sought and standing_at != self.place else 0.0
        return self.work_minutes + search + find_travel(standing_at, self.place, read_table().travel)

    @property
    def work_minutes(self) -> float:
        """Return the minutes of the work itself, for someone who stands there; a night costs those of another visit."""
        table, word = read_table(), self.mode.word
        lifting = table.return_minutes if word in {"return_lifted", "cut_off"} else 0.0
        if self.kind == "volts":
            lifting += _find_lifting(word)
        between = 2 * table.travel.between_detectors if self.beside else 0.0  # to the other one, and back
        walk = self.visits * table.travel.each_visit + between
        return self.data.minutes + lifting + walk + self.data.nights * table.second_visit_minutes


def _find_lifting(word: str) -> float:
    """Return the minutes that go into a mode in which volts are read, and out of it."""
    table = read_table()
    by_word = {
        "pair_lifted": table.lifted_minutes,
        "known_resistor": table.known_minutes,
        **dict.fromkeys(CUTS, table.opened_minutes),
    }
    return by_word.get(word, 0.0)


def find_travel(start: str, goal: str, travel: Travel) -> float:
    """Return the minutes between two places."""
    if start == goal:
        return 0.0
    if goal == "panel":
        return travel.back_to_panel
    return travel.to_detector if start == "panel" else travel.between_detectors


def list_tokens(measurement: Measurement, loop: Loop) -> tuple[str, ...]:
    """Return every word that a measurement can answer; empty where it gives a number.

    Where the answer is a list of detectors, the words are ``none`` and their names.
    """
    if measurement.kind in LISTED:
        return ("none", *(d.name for d in list_walked(measurement, loop)))
    if measurement.kind in COUNTED:
        return tuple(str(n) for n in range(len(list_walked(measurement, loop)) + 1))
    return list_kind_words(measurement.kind)


def list_walked(measurement: Measurement, loop: Loop) -> tuple[Detector, ...]:
    """Return the detectors that a list can name: all, or where there are several loops those of the one it is of."""
    chain = loop.find_chain(measurement.at) if len(loop.chains) > 1 else None
    return chain.detectors if chain else loop.detectors


def list_kind_words(kind: str) -> tuple[str, ...]:
    """Return every word that a kind of measurement can answer on any loop; empty where it gives a number or a list."""
    return (AS_IT_SHOULD_BE, *list_sights()) if kind == "look" else _TOKENS.get(kind, ())


def list_cautions() -> tuple[str, ...]:
    """Return the name of every caution, that of taking an alarm for real first."""
    table = read_table()
    named = [c for kind in table.kinds.values() for c in kind.cautions]
    return tuple(
        dict.fromkeys(
            [
                "is_it_real",
                *table.reset_cautions,
                *table.battery_cautions,
                *table.return_cautions,
                *table.opened_cautions,
                *table.lifted_cautions,
                *named,
                "ladder",
            ]
        )
    )


def list_sights() -> tuple[str, ...]:
    """Return every token that a look can find."""
    return tuple(dict.fromkeys(k.sees.token for k in read_catalogue().kinds.values() if k.sees.share))


def build_lamp(name: str) -> Measurement:
    """Return the lamp of a detector."""
    return Measurement("lamp", at=name, place=name)


def build_test(name: str) -> Measurement:
    """Return the functional test of a detector, the reset after it included."""
    return Measurement("functional_test", Mode("after_reset", name), at=name, place=name)


def is_offered(measurement: Measurement, can: frozenset[str] | None) -> bool:
    """Return whether a person with these tools can do it; None is *everything*."""
    return can is None or measurement.tools <= can


def find_seen_instead(m: Measurement, loop: Loop, faults: Sequence[Fault]) -> str | None:
    """Return what eyes find where a meter was to go, as a word of a look: the part is not there. None: it is."""
    removed = find_removed(loop, faults) if m.red else {}
    gone = (removed.get(end.partition(".")[0]) for end in (m.red, m.black))
    return next((fault.data.sees.token for fault in gone if fault is not None), None)
