"""The one home of sentences: from data to what a technician or a caller reads."""

import math
from collections.abc import Mapping, Sequence

from diagnostics.circuit import Mode
from diagnostics.faults import Fault, read_catalogue
from diagnostics.readings import LISTED, WALKS, Faults, Measurement
from diagnostics.reasoning import NOTHING, Taken, find_met_defects, find_symptom
from diagnostics.units import OVER, format_ends, format_quantity
from diagnostics.visit import Listener
from diagnostics.wiring import EARTH, Chain, Loop, find_defects

from .word_table import Region, localize, read_words

_NONE = "none"
_RESISTOR = ("fit_end_resistor", "move_end_resistor", "fit_panel_resistor")
_UNSURE_PERCENT = 10.0  # a described end resistor is known better; a guessed one is not


def say(key: str, region: Region = "north_america", **told: str) -> str:
    """Return a sentence of the screens with its facts filled in; raises KeyError for a key that is not there."""
    table = read_words(region)
    return table.screen[key].format(**table.regions[region], **told)


def tell_symptom(name: str, region: Region = "north_america") -> str:
    """Return a complaint as a line of a list: in the words of the region, else as the table of complaints has it."""
    table = read_words(region)
    return table.complaints.get(name, localize(find_symptom(name).about, region)).format(**table.regions[region])


def tell_closing(name: str, region: Region = "north_america") -> tuple[str, str]:
    """Return a way to leave a case, and what it asks of the person who leaves it so."""
    table = read_words(region)
    return table.closings[name], table.closing_words[name].format(**table.regions[region])


def list_after_repair(region: Region = "north_america") -> tuple[str, ...]:
    """Return the fixed list of tests after any repair, one by one."""
    table = read_words(region)
    return tuple(_capital(test.format(**table.regions[region])) for test in table.after_repair.tests)


def format_percent(share: float) -> str:
    """Return a probability as people say it: ``27 %``, ``under 1 %``, ``over 99 %``."""
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def format_wait(seconds: float) -> str:
    """Return a time to wait, in whole seconds rounded up: ``3 min 20 s``, ``45 s``; hours from one hour on."""
    left = max(0, math.ceil(seconds))
    minutes, rest = divmod(left, 60)
    if minutes >= 60:
        return f"{minutes // 60} h {minutes % 60} min"
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest and minutes < 10 else f"{minutes} min"


class Words:
    """Sentences about one loop, for one listener in one region."""

    def __init__(self, loop: Loop, listener: Listener = "technician", region: Region = "north_america") -> None:
        """Keep whom we talk to, and about which loop."""
        self.loop = loop
        self.listener: Listener = listener
        self.region: Region = region
        self.table = read_words(region)
        self.terms = self.table.regions[region]

    def detector(self, name: str) -> str:
        """Return ``detector 3 (kitchen)``."""
        number = name.removeprefix("det")
        found = self.loop.find_detector(name)
        chain = self.loop.find_chain(name)
        told = f"detector {number}"
        if chain is not None and not chain.has_order:
            number = str([d.name for d in chain.detectors].index(name) + 1)
            told = self.table.position.format(number=number)
        if found is None or not found.label:
            return told
        in_room = self.table.in_room.caller if self.listener == "caller" else self.table.in_room.technician
        return in_room.format(detector=told, room=found.label)

    def terminal(self, name: str) -> str:
        """Return a terminal as it is marked: ``zone 1 +``, ``+ in of detector 3``."""
        relay = name.partition(".")[0]
        chain = self.loop.find_chain(relay) if name.startswith("endrelay") and len(self.loop.chains) > 1 else None
        if chain is not None:
            return f"{self.table.terminals[name.replace(chain.end_relay, 'endrelay', 1)]}, {self._loop_on(chain)}"
        if name in self.table.terminals:
            return self.table.terminals[name].format(**self.terms)
        place, _, end = name.partition(".")
        zone = self._find_back(end[:-1] if place == "panel" else place)
        if zone:
            return self.table.return_at.format(zone=_space(zone), side=_sign(name[-1]))
        if place in {"panel", FIELD}:
            return f"{_space(end[:-1])} {_sign(end[-1])}"
        side, _, core = end.partition("_")
        if core:
            return f"contact {core.upper()} {side} of {self.detector(place)}"
        return f"{_sign(end[-1])} {end[:-1]} of {self.detector(place)}"

    def place(self, name: str) -> str:
        """Return where: ``at the panel``, ``at detector 3``, ``for zone 1``."""
        return (
            self._find_known(self.table.places, name) or f"{'for' if self._is_zone(name) else 'at'} {self.noun(name)}"
        )

    def noun(self, name: str) -> str:
        """Return a place by name: ``the panel``, ``detector 3``, ``zone 1``."""
        if known := self._find_known(self.table.nouns, name):
            return known
        zone = self._find_back(name)
        if zone:
            return self.table.return_of.format(zone=_space(zone))
        return _space(name) if self._is_zone(name) else self.detector(name)

    def _find_known(self, table: Mapping[str, str], name: str) -> str:
        """Return a place that has words of its own; the end of a loop that comes home is at the panel."""
        chain = self._find_numbered_end(name)
        if chain is not None:
            return f"{table[name.replace(chain.end, 'end', 1)]}, {self._loop_on(chain)}"
        is_home = name == "end" and bool(self.loop.chains[0].back)
        return table.get("end_home" if is_home else name, "")

    def _find_numbered_end(self, name: str) -> Chain | None:
        """Return the loop whose far end a place is, on a site that has several."""
        some = self.loop.chains if len(self.loop.chains) > 1 and name.startswith("end") else ()
        return next((chain for chain in some if name in {chain.end, *self.loop.list_ends(chain)}), None)

    def _loop_on(self, chain: Chain) -> str:
        return self.table.loop_on.format(zone=_space(chain.spec.zone))

    def _find_back(self, name: str) -> str:
        """Return the zone whose class A loop comes back to this place, or an empty text."""
        return next((c.spec.zone for c in self.loop.chains if c.back and c.back == name), "")

    def loop_title(self, zone: str) -> str:
        """Return the loop on a zone by its ends: ``zone 2: detector 5 (landing) to detector 7 (west dormitory)``."""
        chain = self.loop.find_chain(zone)
        ends = [] if chain is None else [self.detector(d.name) for d in dict.fromkeys((chain.first, chain.last))]
        return f"{_space(zone)}: {' – '.join(ends)}"

    def _is_zone(self, name: str) -> bool:
        return any(zone.name == name for zone in self.loop.zones)

    def run(self, place: str) -> str:
        """Return a run of cable or one of its conductors: ``minus conductor, run into detector 3``."""
        name, _, end = place.partition(".")
        whole = f"module.{end.rstrip('+-')}" if name == "module" else name
        into = f"run into {self.noun(whole)}"
        pair = {"in_power": "power pair, ", "in_contact": "contact pair, "}
        cores = {
            "+": "plus conductor, ",
            "-": "minus conductor, ",
            "_a": "contact conductor A, ",
            "_b": "contact conductor B, ",
        }
        core = next((words for mark, words in cores.items() if end.endswith(mark)), "")
        return f"{core or pair.get(end, '')}{into}"

    def fault(self, fault: Fault) -> str:
        """Return what is wrong, and where."""
        where = self.fault_place(fault)
        value = "" if fault.value_ohm is None else format_quantity(fault.value_ohm, "ohm", 2)
        told = localize(fault.data.title, self.region).format(place=where, value=value, **self.terms)
        several = len(self.loop.chains) > 1 and "{place}" not in fault.data.title
        chain = next((c for c in self.loop.chains if several and fault.place in {c.start, c.end}), None)
        return told if chain is None else f"{told}, {self._loop_on(chain)}"

    def kind(self, name: str) -> str:
        """Return what is wrong by its kind alone; place and ohms are left open."""
        title = localize(read_catalogue().kinds[name].title, self.region)
        if title.startswith("{place} "):
            title = f"{title.removeprefix('{place} ')}, {{place}}"
        return _capital(title.format(place="…", value="… Ω", **self.terms))

    def fault_place(self, fault: Fault) -> str:
        """Return where a fault is, as its sentence names it."""
        one, touches, two = fault.place.partition(".det")
        if touches:
            return self.table.both.format(one=self.run(one), two=self.run(f"det{two}"))
        if fault.place.startswith("panel."):
            return self.terminal(fault.place)
        is_run = "." in fault.place and fault.data.family != "end_resistor"
        return self.run(fault.place) if is_run else self.noun(fault.place)

    def faults(self, faults: Faults) -> str:
        """Return a hypothesis; nothing wrong has words of its own."""
        return _capital(" and ".join(self.fault(f) for f in faults) if faults else self.table.healthy)

    def ask(self, measurement: Measurement) -> str:
        """Return the question that a measurement is; nobody takes the mains off a panel by telephone."""
        if measurement.mode.word == "on_battery" and self.listener == "caller":
            return self.table.ask["ohms"].caller
        key = "look_head" if self._is_at_head(measurement) else self._find_key(measurement)
        asked = getattr(self.table.ask[key], self.listener).format(**self._list_terms(measurement))
        mode = self.table.modes.get(measurement.mode.text, "") if measurement.unit and key == measurement.kind else ""
        told = f"{asked[:-1]}, {mode}." if mode and self.listener == "technician" else asked
        ends = (measurement.kind, measurement.red[-1:], measurement.black[-1:], self.listener)
        told += f" {self.table.screen['ohms_turned']}" if ends == ("ohms", "-", "+", "technician") else ""
        return f"{told} {self.table.seek}" if measurement.is_sought else told

    def _find_key(self, m: Measurement) -> str:
        """Return under which name the sentences of a measurement stand, on this very loop."""
        is_home = any(zone.comes_back and zone.name == m.mode.detector for zone in self.loop.zones)
        return "volts_both_lifted" if (key := _find_key(m)) == "volts_pair_lifted" and is_home else key

    def _is_at_head(self, m: Measurement) -> bool:
        """Return whether this is a look at a base under its head; a contact has none."""
        detector = self.loop.find_detector(m.at)
        return m.kind == "look" and detector is not None and not detector.is_contact

    def _list_terms(self, m: Measurement) -> dict[str, str]:
        """Return what a question or a short name may be filled in with."""
        ohm, is_zone = m.mode.resistance_ohm, self._is_zone(m.at)
        return {
            "at": self.detector(m.at) if self.loop.find_detector(m.at) else m.at,
            "there": self._tell_there(m.mode),
            "beside": self.detector(m.beside) if m.beside else "",
            "value": format_quantity(ohm, "ohm") if ohm else "",
            "red": self.terminal(m.red) if m.red else "",
            "black": self.terminal(m.black) if m.black else "",
            "where": self.place(m.at or "panel"),
            "lifted": self._tell_lifted(m),
            "pair": self._tell_pair(self._find_pair(m)),
            "zone": self.noun(m.at) if is_zone else getattr(self.table.this_zone, self.listener),
            "of_loop": self._tell_loop(m),
            "of_zone": f", {self.noun(m.at)}" if is_zone else "",
            **self.terms,
        }

    def _find_pair(self, m: Measurement) -> str:
        """Return the zone or run whose pair a measurement is about; of a panel with one zone, that."""
        if m.at == "panel":
            return self.loop.zones[0].name
        return m.at or m.mode.detector or next((zone.name for zone in self.loop.zones if zone.plus == m.red), "")

    def _tell_there(self, mode: Mode) -> str:
        """Return the detector at which something is done while a reading is taken; empty where there is none."""
        return self.detector(mode.detector) if self.loop.find_detector(mode.detector) else ""

    def _tell_pair(self, at: str) -> str:
        """Return a pair that can be lifted at the panel: the zone's, or the one that feeds detectors or module."""
        if at in self.loop.pairs:
            return self.run(at)
        returns = any(zone.name == at and zone.comes_back for zone in self.loop.zones)
        return (self.table.pairs_of if returns else self.table.pair_of).format(zone=_space(at))

    def _tell_lifted(self, m: Measurement) -> str:
        """Return what is lifted for ohms: the pair itself, and of a zone that comes back the other one too."""
        ends = {terminal.partition(".")[2].rstrip("+-") for terminal in (m.red, m.black)}
        back = next((z.name for z in self.loop.zones if z.comes_back and ends & {z.name, f"{z.name}r"}), "")
        return self._tell_pair(back) if back else "the pair"

    def _tell_loop(self, m: Measurement) -> str:
        """Return which loop is walked, where there are several: `` on zone 2``."""
        walks = m.kind in WALKS and len(self.loop.chains) > 1
        chain = self.loop.find_chain(m.at) if walks else None
        return "" if chain is None else self.table.on_zone.format(zone=_space(chain.spec.zone))

    def name(self, measurement: Measurement) -> str:
        """Return a short name of a measurement, for lists and buttons."""
        m = measurement
        named = self.table.names[self._find_key(m)].format(**self._list_terms(m))
        mode = self.table.modes.get(m.mode.text, "") if m.unit == "V" and m.mode.text != "standby" else ""
        return f"{named}, {mode}" if mode else named

    def answer(self, token: str) -> str:
        """Return a word that a measurement answered; lists of detectors are written out."""
        if token.startswith("det"):
            return self._detectors(token.split(","))
        if token.isdigit():
            return token
        return self.table.answers[token].format(**self.terms)

    def _detectors(self, names: list[str]) -> str:
        """Return two with their rooms, more by number alone: ``detectors 3 to 8``, ``detectors 1, 4 and 5``."""
        if len(names) < 3:
            return " and ".join(self.detector(n) for n in names)
        numbers = [int(n.removeprefix("det")) for n in names]
        if len(numbers) == len(self.loop.detectors):
            return self.table.answers["all"]
        if numbers == list(range(numbers[0], numbers[0] + len(numbers))):
            return f"detectors {numbers[0]} to {numbers[-1]}"
        return f"detectors {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"

    def value(self, measurement: Measurement, value: float | str) -> str:
        """Return what was read, with its unit; that no detector is dark, or shows alarm, in words of its own."""
        if value == _NONE and measurement.kind in LISTED:
            return _uncapital(self.table.screen["none_lit" if measurement.kind == "which_lit" else "none_dark"])
        if isinstance(value, str):
            return self.answer(value)
        return "OL" if value == OVER else format_quantity(value, measurement.unit, 4)

    def range(self, low: float, high: float, unit: str) -> str:
        """Return a range of values with its unit; one value where both ends round to the same."""
        first, last = format_ends((low, high), unit)
        return first if first == last else f"{first} to {last}"

    def symptom(self, name: str) -> str:
        """Return a complaint in full."""
        return f"{tell_symptom(name, self.region)}."

    def caution(self, name: str) -> str:
        """Return a caution in full."""
        return self.table.cautions[name].format(**self.terms)

    def defects(self) -> tuple[str, ...]:
        """Return the silent defects of this installation, in full."""
        return tuple(self.table.defects[name].format(**self.terms) for name in find_defects(self.loop))

    def met_defects(self, taken: Sequence[Taken]) -> tuple[str, ...]:
        """Return the silent defects that readings gave away, in full."""
        return tuple(
            self.table.defects[met.name].format(
                at=self.noun(met.at), where=self.place(met.at), sight=self.answer(met.sight) if met.sight else "",
                **self.terms,
            )
            for met in find_met_defects(self.loop, taken)
        )  # fmt: skip

    def after_repair(self) -> str:
        """Return the fixed list of tests after any repair."""
        told = self.table.after_repair
        return f"{told.lead}: {'; '.join(told.tests)}.".format(**self.terms)

    def spot(self, spot: str) -> str:
        """Return where a repair is made."""
        if spot.startswith("run "):
            return f"on the run into {self.noun(spot.removeprefix('run '))}"
        return self.place(spot)

    def repair(self, repair_class: tuple[str, str]) -> str:
        """Return what to do about a class of faults, and where."""
        if repair_class == NOTHING:
            return _capital(self.table.healthy)
        pairs = zip(repair_class[0].split(" + "), repair_class[1].split(" + "), strict=True)
        return ". ".join(self._tell_remedy(r, s) for r, s in pairs) + "."

    def _tell_remedy(self, remedy: str, spot: str) -> str:
        """Return a remedy and where; for a resistor that is to be fitted, its ohms."""
        told = localize(read_catalogue().remedies[remedy].words, self.region)
        element = self.loop.end_resistors.get(spot) if remedy in _RESISTOR else None
        chain = self.loop.find_chain(spot)
        spec = chain.spec.end_resistor if chain else None
        if element and spec and spec.spread >= _UNSURE_PERCENT:
            told = f"{told} ({self.table.resistor_unknown})"
        elif element:
            value = format_quantity(self.loop.by_name[element].resistance_ohm, "ohm")
            told = f"{told} ({self.table.right_resistor.format(value=value)})"
        return f"{told}, {self.spot(spot)}"

    def mend(self, kind: str, place: str) -> str:
        """Return what to do about one kind of fault, terminal by terminal; empty where the remedy says it all."""
        told = self.table.mends.get(kind, "")
        return told.format(place=self.noun(place) if "{place}" in told else "", **self.terms)

    def told_repair(self, text: str) -> str:
        """Return a repair as a case keeps it: a class of the catalogue in words, or the words that somebody typed."""
        remedy, _, spot = text.partition("@")
        known = all(name in read_catalogue().remedies for name in remedy.split(" + "))
        return self.repair((remedy, spot)) if spot and known else text


FIELD = "field"  # the wires of a zone, where they are lifted
_VOLTS_APART = frozenset({"opened", "pair_lifted", "known_resistor"})  # volts that are asked for in words of their own


def _find_key(m: Measurement) -> str:
    """Return under which name the sentences of a measurement stand."""
    if m.kind == "ohms" and m.black == EARTH:
        return "ohms_to_earth"
    if m.kind == "ohms" and m.mode.is_powered_down:
        return "ohms_lifted"
    if m.red.startswith(f"{FIELD}."):
        return "volts_field"
    suffix = {"return_lifted": "_returned", "cut_off": "_cut_off"}.get(m.mode.word, "")
    return f"{m.kind}_{m.mode.word}" if m.kind == "volts" and m.mode.word in _VOLTS_APART else f"{m.kind}{suffix}"


def _sign(mark: str) -> str:
    return "−" if mark == "-" else mark


def _space(name: str) -> str:
    head = name.rstrip("0123456789")
    return f"{head} {name[len(head) :]}" if head != name else name


def _uncapital(text: str) -> str:
    return text[:1].lower() + text[1:]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
