"""Faults in the referee's own circuits: what hands, weather and age do to the wires, by kind and place."""

from collections.abc import Callable

from .draft import Chain, Draft, NotPlayedError, read_si
from .line import Row

BRIDGE_OHM = 0.01
DEAD_OHM = 150.0  # of a battery past its life; invented, as are the next two
LOW_CHARGER, FLAT_BATTERY = 0.8, 0.92  # of the right volts: a charger that charges nothing, and what it leaves


def apply_fault(draft: Draft, fault: str) -> None:
    """Put a fault (KIND[=VALUE]@PLACE) into a draft; raises NotPlayedError for a kind that has no words here."""
    kind, _, place = fault.partition("@")
    name, _, value = kind.partition("=")
    if name not in MISCHIEF:
        raise NotPlayedError(f"the referee has no words for {name}")
    MISCHIEF[name](draft, place, read_si(value, "ohm") if value else 0.0)


def _find_chain(draft: Draft, place: str) -> Chain:
    """Return the loop that a place is about: of a detector, a zone, an end; the first for the panel."""
    part = place.split(".", maxsplit=1)[0]
    for chain in draft.chains:
        if part in (*chain.detectors, chain.zone, f"{chain.zone}r", f"end{chain.number}"):
            return chain
    return draft.chains[0]


def _resistor(draft: Draft, place: str) -> Row:
    return draft.find(f"end{_find_chain(draft, place).number}.resistor")


def _missing(draft: Draft, place: str, _ohm: float) -> None:
    del draft.parts[_resistor(draft, place)["name"]]


def _wrong(draft: Draft, place: str, ohm: float) -> None:
    _resistor(draft, place)["value"] = ohm


def _twice(draft: Draft, place: str, _ohm: float) -> None:
    first = _resistor(draft, place)
    draft.parts[f"{first['name']}.second"] = {**first, "name": f"{first['name']}.second"}


def _in_series(draft: Draft, place: str, _ohm: float) -> None:
    _resistor(draft, place)["value"] *= 2


def _before_end(draft: Draft, place: str, _ohm: float) -> None:
    chain, resistor = _find_chain(draft, place), _resistor(draft, place)
    signs = ("_a", "_b") if f"wire.{chain.detectors[0]}.in_a" in draft.parts else ("+", "-")
    at = (
        [f"field.{chain.zone}{s}" for s in "+-"] if place not in chain.detectors else [f"{place}.out{s}" for s in signs]
    )
    resistor["a"], resistor["b"] = at


def _open(draft: Draft, place: str, _ohm: float) -> None:
    del draft.parts[draft.find(f"wire.{place}")["name"]]


def _resistive(draft: Draft, place: str, ohm: float) -> None:
    draft.find(f"wire.{place}")["value"] += ohm


def _short(draft: Draft, place: str, _ohm: float) -> None:
    _bridge(draft, place, BRIDGE_OHM)


def _leak(draft: Draft, place: str, ohm: float) -> None:
    _bridge(draft, place, ohm)


def _bridge(draft: Draft, place: str, ohm: float) -> None:
    """Bridge the two conductors of a run half-way along it."""
    spot, _, pair = place.partition(".in")
    signs = ("_a", "_b") if pair == "_contact" else ("+", "-")
    middles = [_halve(draft, f"wire.{spot}.in{sign}") for sign in signs]
    draft.add_ohms("bridge", f"bridge.{place}", (middles[0], middles[1]), ohm)


def _halve(draft: Draft, name: str) -> str:
    """Cut a conductor into two halves; return the terminal between them."""
    whole, middle = draft.find(name), f"middle.{name}"
    draft.parts[f"{name}.far"] = {**whole, "name": f"{name}.far", "a": middle, "value": whole["value"] / 2, "when": []}
    whole.update(b=middle, value=whole["value"] / 2)
    return middle


def _reversed(draft: Draft, place: str, _ohm: float) -> None:
    chain = _find_chain(draft, place)
    if place in (*chain.detectors, f"{chain.zone}r"):
        draft.swap_ends(f"wire.{place}.in+", f"wire.{place}.in-", "b")
    else:
        first = f"wire.{chain.detectors[0]}.in"
        draft.swap_ends(f"{first}+", f"{first}-", "a")


def _list_leaving(draft: Draft, terminal: str) -> list[Row]:
    """Return the wires that go on from an *out* terminal of a head."""
    own = ("path.", "strip.")
    return [part for part in draft.parts.values() if part["a"] == terminal and not part["name"].startswith(own)]


def _in_out(draft: Draft, place: str, _ohm: float) -> None:
    for part in _list_leaving(draft, f"{place}.out+"):
        part["a"] = f"{place}.in+"
    draft.move(f"wire.{place}.in+", "b", f"{place}.out+")


def _crossed(draft: Draft, place: str, _ohm: float) -> None:
    draft.swap_ends(f"wire.{place}.in+", f"wire.{place}.in-", "b")
    plus, minus = (_list_leaving(draft, f"{place}.out{sign}") for sign in "+-")
    for parts, sign in ((plus, "-"), (minus, "+")):
        for part in parts:
            part["a"] = f"{place}.out{sign}"


def _one_terminal(draft: Draft, place: str, _ohm: float) -> None:
    for part in _list_leaving(draft, f"{place}.out+"):
        part["a"] = f"{place}.in+"


def _link_left(draft: Draft, place: str, _ohm: float) -> None:
    draft.add_ohms("bridge", f"link.{place}", (f"{place}.in+", f"{place}.out+"), BRIDGE_OHM)


def _spur(draft: Draft, place: str, _ohm: float) -> None:
    for name, part in list(draft.parts.items()):
        if name.startswith(f"wire.{place}.in"):
            for leaving in _list_leaving(draft, part["b"].replace(".in", ".out")):
                leaving["a"] = part["a"]


def _hold(word: str) -> Callable[[Draft, str, float], None]:
    """Return the fault that holds a state of its place for good; of a zone's for a zone."""

    def apply(draft: Draft, place: str, _ohm: float) -> None:
        draft.add_state(f"{place}.{word}", on=True)

    return apply


def _blind(draft: Draft, place: str, _ohm: float) -> None:
    draft.add_state(f"{place}.never")
    draft.states[f"{place}.latched"]["set_needs"] = f"{place}.never"


def _never_closes(draft: Draft, place: str, _ohm: float) -> None:
    del draft.parts[draft.find(f"alarm.{place}")["name"]]


def _leaks_inside(draft: Draft, place: str, ohm: float) -> None:
    draft.add_ohms("bridge", f"worn.{place}", (f"panel.{place}+", f"panel.{place}-"), ohm)


def _feed_resistive(draft: Draft, place: str, ohm: float) -> None:
    for feed in (f"source.{place}", f"rail.{place}"):
        end = "a" if draft.find(feed)["a"] == f"panel.{place}+" else "b"
        draft.move(feed, end, f"worn.{place}")
    draft.add_ohms("bridge", f"feed.{place}", (f"worn.{place}", f"panel.{place}+"), ohm)


def _zones_exchanged(draft: Draft, _place: str, _ohm: float) -> None:
    one, two = (chain.zone for chain in draft.chains)
    for sign in "+-":
        screws = f"field.{one}{sign}", f"field.{two}{sign}"
        leaving = [_list_leaving(draft, screw) for screw in screws]
        for parts, goal in zip(leaving, reversed(screws), strict=True):
            for part in parts:
                part["a"] = goal


def _on_no(draft: Draft, place: str, _ohm: float) -> None:
    for chain in draft.chains:
        if place in ("reset", chain.zone):
            draft.move(f"wire.{chain.detectors[0]}.in+", "a", "reset.no")


def _not_fed(draft: Draft, _place: str, _ohm: float) -> None:
    del draft.parts[draft.find("link.reset")["name"]]


def _bypassed(draft: Draft, _place: str, _ohm: float) -> None:
    draft.find("contact.nc")
    draft.add_ohms("bridge", "bypass.reset", ("reset.com", "reset.nc"), BRIDGE_OHM)


def _welded(draft: Draft, _place: str, _ohm: float) -> None:
    draft.find("contact.nc")["when"] = []


def _never_driven(draft: Draft, _place: str, _ohm: float) -> None:
    _kill_output(draft, "reset")


def _stays_at_rest(draft: Draft, _place: str, _ohm: float) -> None:
    draft.add_state("reset.operated")


def _coil_open(draft: Draft, _place: str, _ohm: float) -> None:
    del draft.parts[draft.find("coil.reset")["name"]]
    draft.add_state("reset.operated")


def _held(draft: Draft, _place: str, _ohm: float) -> None:
    draft.add_state("reset.operated", on=True)


def _aux_dead(draft: Draft, _place: str, _ohm: float) -> None:
    _kill_output(draft, "aux")


def _kill_output(draft: Draft, name: str) -> None:
    """Let an output of the panel give nothing, with mains or without."""
    for feed in ("source", "rail"):
        del draft.parts[draft.find(f"{feed}.{name}")["name"]]


def _end_relay_dead(draft: Draft, place: str, _ohm: float) -> None:
    draft.add_state(f"endrelay{_find_chain(draft, place).number}.operated")


def _end_relay_missing(draft: Draft, place: str, _ohm: float) -> None:
    chain = _find_chain(draft, place)
    relay = f"endrelay{chain.number}"
    for word in ("coil", "contact", "joint+", "joint-", "joint.com"):
        del draft.parts[draft.find(f"{relay}.{word}")["name"]]
    draft.add_state(f"{relay}.operated")
    _resistor(draft, place)["a"] = f"{chain.detectors[-1]}.out_a"


def _end_relay_opens(draft: Draft, place: str, _ohm: float) -> None:
    contact = draft.find(f"endrelay{_find_chain(draft, place).number}.contact")
    contact["when"] = [{**each, "is": not each["is"]} for each in contact["when"]]


def _end_relay_early(draft: Draft, place: str, _ohm: float) -> None:
    relay = f"endrelay{_find_chain(draft, place).number}"
    for sign in "+-":
        draft.move(f"{relay}.joint{sign}", "a", f"{place}.out{sign}")


def _end_relay_reversed(draft: Draft, place: str, _ohm: float) -> None:
    relay = f"endrelay{_find_chain(draft, place).number}"
    draft.swap_ends(f"{relay}.joint+", f"{relay}.joint-", "a")


def _to_earth(draft: Draft, place: str, ohm: float) -> None:
    """Let a conductor touch earth half-way along its run, or a terminal of the battery where it stands."""
    at = place if place.startswith("panel.battery") else _halve(draft, f"wire.{place}")
    draft.add_ohms("bridge", f"to_earth.{place}", (at, "earth"), ohm)


def _foreign(draft: Draft, place: str, _ohm: float) -> None:
    """Let AC from somewhere else lie on the pair of a zone: no DC circuit has it, eyes and a meter on AC do."""
    draft.add_state(f"{place}.uneasy", on=True)


def _touching(draft: Draft, place: str, _ohm: float) -> None:
    one, _, other = place.partition(".det")
    middles = [_halve(draft, f"wire.{name}") for name in (one, f"det{other}")]
    draft.add_ohms("bridge", f"touch.{place}", (middles[0], middles[1]), BRIDGE_OHM)


def _mains_off(draft: Draft, _place: str, _ohm: float) -> None:
    draft.add_state("panel.on_battery", on=True)


def _battery_off(draft: Draft, _place: str, _ohm: float) -> None:
    del draft.parts[draft.find("lead.battery")["name"]]


def _battery_dead(draft: Draft, _place: str, _ohm: float) -> None:
    draft.find("source.battery")["before_s"] = 1 / DEAD_OHM


def _charger_low(draft: Draft, _place: str, _ohm: float) -> None:
    """Lower the charger; what it then would take from the battery it does not take. Nor is that battery charged."""
    charger, battery = draft.find("source.charger"), draft.find("source.battery")
    low_v = charger["emf"] * LOW_CHARGER
    ((limit_v, limit_a),) = charger["points"]
    charger.update(points=[[limit_v - charger["emf"] + low_v, limit_a], [low_v, 0.0]], after_s=0.0, emf=low_v)
    flat_v = battery["emf"] * FLAT_BATTERY
    battery.update(points=[[flat_v, 0.0]], emf=flat_v)


MISCHIEF: dict[str, Callable[[Draft, str, float], None]] = {
    "end_resistor_missing": _missing,
    "end_resistor_wrong": _wrong,
    "end_resistor_twice": _twice,
    "end_resistor_in_series": _in_series,
    "end_resistor_before_end": _before_end,
    "conductor_open": _open,
    "joint_resistive": _resistive,
    "pair_short": _short,
    "leak": _leak,
    "polarity_reversed": _reversed,
    "in_out_swapped": _in_out,
    "crossed_at": _crossed,
    "plus_under_one_terminal": _one_terminal,
    "looped_uncut": _one_terminal,
    "link_left_in_base": _link_left,
    "spur": _spur,
    "head_off": _hold("head_off"),
    "head_not_home": _hold("head_off"),
    "detector_dead": _hold("dead"),
    "detector_stuck": _hold("smoke"),
    "dust_cover": _blind,
    "sensor_failed": _blind,
    "contact_never_closes": _never_closes,
    "zones_exchanged": _zones_exchanged,
    "zone_bypassed": _hold("bypassed"),
    "zone_unsupervised": _hold("unsupervised"),
    "two_detector_rule": _hold("verifies"),
    "zone_kind_wrong": _hold("miskind"),
    "display_latched": _hold("display"),
    "zone_resistor_setting": _hold("faulty"),
    "zone_input_damaged": _hold("faulty"),
    "zone_input_leaks": _leaks_inside,
    "zone_feed_resistive": _feed_resistive,
    "reset_too_short": _hold("short_reset"),
    "supply_on_no": _on_no,
    "com_not_fed": _not_fed,
    "reset_bypassed": _bypassed,
    "contact_welded": _welded,
    "reset_relay_never_operates": _stays_at_rest,
    "reset_not_assigned": _never_driven,
    "reset_wrong_position": _never_driven,
    "reset_wrong_area": _never_driven,
    "coil_dead": _coil_open,
    "relay_held": _held,
    "aux_dead": _aux_dead,
    "end_relay_dead": _end_relay_dead,
    "end_relay_missing": _end_relay_missing,
    "end_relay_wrong_contact": _end_relay_opens,
    "end_relay_before_end": _end_relay_early,
    "end_relay_reversed": _end_relay_reversed,
    "earth_fault": _to_earth,
    "touches_other_loop": _touching,
    "foreign_ac": _foreign,
    "mains_off": _mains_off,
    "battery_disconnected": _battery_off,
    "battery_dead": _battery_dead,
    "charger_low": _charger_low,
}
