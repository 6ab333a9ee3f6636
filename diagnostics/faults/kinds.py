"""Fault kinds: each a pure function from loop and place to a list of edits."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from diagnostics.wiring import (
    Add,
    Chain,
    Edits,
    Hold,
    Loop,
    Move,
    Remove,
    SetResistance,
)

from .cable import (
    build_ac,
    build_earth,
    build_leak,
    build_short,
    build_touch,
    list_earthable,
    list_touching,
)
from .data import read_catalogue
from .detector import (
    build_contact_dead,
    build_crowded,
    build_end_of_life,
    build_feeds_contacts_only,
    build_wrong_kind,
    list_crowded,
    list_feeding_zones,
    list_with_contact,
)
from .places import (
    find_end,
    list_before_end,
    list_before_end_relay,
    list_cores,
    list_detectors,
    list_end_relay,
    list_ends,
    list_heads,
    list_loads,
    list_module,
    list_module_with_both,
    list_module_with_pairs,
    list_outputs,
    list_pairs,
    list_panel,
    list_panel_with_aux,
    list_panel_with_both,
    list_panel_with_rating,
    list_panel_with_reset,
    list_panel_with_switch,
    list_panel_with_two,
    list_powered_run,
    list_reset,
    list_reversible,
    list_two_wire_end,
    list_unused_zones,
    list_zones,
)
from .supply import (
    build_aux_dead,
    build_aux_low,
    build_battery_dead,
    build_battery_disconnected,
    build_bypassed,
    build_charger_low,
    build_coil_dead,
    build_com_not_fed,
    build_end_relay_before,
    build_end_relay_missing,
    build_end_relay_wrong_contact,
    build_never_drops,
    build_not_assigned,
    build_on_no,
    build_overloaded,
    build_run_too_thin,
    build_welded,
    build_zone_feed_resistive,
    build_zone_leaks,
)
from .termination import (
    build_crossed,
    build_end_relay_reversed,
    build_link,
    build_on_neighbour,
    build_pairs_crossed,
    build_spur,
    build_under_one_terminal,
    list_beside_unused,
    list_going_on,
    list_plus_going_on,
    list_with_both_pairs,
)

Build = Callable[[Loop, str, float], Edits]
Places = Callable[[Loop], tuple[str, ...]]
FIRE_RUN = ("wire.module.fire+", "wire.module.fire-")
CO_RUN = ("wire.module.co+", "wire.module.co-")


@dataclass(frozen=True, slots=True)
class FaultKind:
    """Where a kind can occur and what it does to the loop; ``values`` says which list of ohms it takes, if any.

    ``ties_apart`` is true where it joins terminals that are far apart, or of two pairs: such circuits are solved apart.
    """

    name: str
    places: Places
    build: Build
    values: str = ""
    ties_apart: bool = False


def _end_missing(loop: Loop, place: str, _ohm: float) -> Edits:
    return (Remove(loop.end_resistors[place]),)


def _end_wrong(loop: Loop, place: str, ohm: float) -> Edits:
    return (SetResistance(loop.end_resistors[place], ohm),)


def _end_twice(loop: Loop, place: str, _ohm: float) -> Edits:
    first = loop.by_name[loop.end_resistors[place]]
    return (Add(replace(first, name=f"{first.name}.second")),)


def _end_in_series(loop: Loop, place: str, _ohm: float) -> Edits:
    name = loop.end_resistors[place]
    return (SetResistance(name, 2 * (loop.by_name[name].resistance_ohm or 0.0)),)


def _end_before(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the end resistor where it does not belong; at the start it spans the field wires themselves."""
    chain = _find_chain(loop, place)
    two_wire = chain.spec.style.is_two_wire
    first = loop.by_name[loop.pairs[f"{chain.first.name}.{'in' if two_wire else 'in_contact'}"][0]].a
    cores = ("+", "-") if two_wire else ("_a", "_b")
    ends = (first, f"{first[:-1]}-") if place == chain.start else (f"{place}.out{cores[0]}", f"{place}.out{cores[1]}")
    name = loop.end_resistors[find_end(loop, place)]
    return (Move(name, "a", ends[0]), Move(name, "b", ends[1]))


def _find_chain(loop: Loop, place: str) -> Chain:
    """Return the loop of a place that belongs to one."""
    chain = loop.find_chain(place)
    if chain is None:
        raise KeyError(place)
    return chain


def _end_on_in(loop: Loop, place: str, _ohm: float) -> Edits:
    return (Move(loop.end_resistors[place], "a", f"{_find_chain(loop, place).last.name}.in+"),)


def _conductor_open(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Remove(f"wire.{place}"),)


def _minus_missing(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("wire.module.in-"),)


def _joint(loop: Loop, place: str, ohm: float) -> Edits:
    wire_ohm = loop.by_name[f"wire.{place}"].resistance_ohm or 0.0
    share = read_catalogue().values.spread_share * ohm / (wire_ohm + ohm)
    return (SetResistance(f"wire.{place}", wire_ohm + ohm, share),)


def _polarity(loop: Loop, place: str, _ohm: float) -> Edits:
    """Exchange the two conductors of a run: at its start for panel and module loop, where it arrives otherwise."""
    chain = _find_chain(loop, place.partition(".")[0])
    at_start = place == "module.loop" or (place == chain.start and place != "module")
    first = chain.first.name if at_start else place
    keys = ("module.in",) if place == "module" else (f"{first}.in", f"{first}.in_power")
    plus, minus = next(loop.pairs[key] for key in keys if key in loop.pairs)
    wires = loop.by_name
    if at_start:
        return (Move(plus, "a", wires[minus].a), Move(minus, "a", wires[plus].a))
    return (Move(plus, "b", wires[minus].b), Move(minus, "b", wires[plus].b))


def _in_out(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the feed on plus out and the next run on plus in; at the last there is no next run to exchange."""
    names = [d.name for d in _find_chain(loop, place).detectors]
    feed = Move(f"wire.{place}.in+", "b", f"{place}.out+")
    back = _find_chain(loop, place).back
    beyond = [*names[names.index(place) + 1 :], *([back] if back else [])]
    return (feed, Move(f"wire.{beyond[0]}.in+", "a", f"{place}.in+")) if beyond else (feed,)


def _hold(signal: str, *, value: bool = True) -> Build:
    """Return a builder that keeps a signal of the place."""

    def build(_loop: Loop, place: str, _ohm: float) -> Edits:
        return (Hold(f"{place}.{signal}", value=value),)

    return build


def _module_dead(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Hold("module.dead", value=True), Hold("module.operated", value=False))


def _exchange(one: tuple[str, str], two: tuple[str, str], end: str) -> Build:
    """Return a builder that exchanges two pairs of wires at one of their ends."""

    def build(loop: Loop, _place: str, _ohm: float) -> Edits:
        wires = loop.by_name
        edits: list[Move] = []
        for a, b in zip(one, two, strict=True):
            edits += [Move(a, end, getattr(wires[b], end)), Move(b, end, getattr(wires[a], end))]
        return tuple(edits)

    return build


def _zones_exchanged(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Exchange the field wires of the zones for fire and CO; where nothing reports CO, those of the first two loops.

    The runs change places, the landings do not: who lifts a zone's pair lifts whatever lies under its screws.
    """
    behind = loop.module_chain
    both = [behind.spec.zone, loop.co_zone] if behind and loop.co_zone else [c.spec.zone for c in loop.chains[:2]]
    one, two = both
    other = {f"field.{z}{s}": f"field.{y}{s}" for z, y in ((one, two), (two, one)) for s in "+-"}
    wires = [loop.by_name[name] for pair in loop.pairs.values() for name in pair]
    return tuple(Move(w.name, "a", other[w.a]) for w in wires if w.a in other)


def _pairs_exchanged(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Land the pair of the fire contacts on the module's CO terminals, and the other way round."""
    other = {"field.loop_fire": "field.loop_co", "field.loop_co": "field.loop_fire"}
    wires = [loop.by_name[name] for pair in loop.pairs.values() for name in pair]
    return tuple(Move(w.name, "a", other[w.a[:-1]] + w.a[-1]) for w in wires if w.a[:-1] in other)


KINDS: dict[str, FaultKind] = {
    kind.name: kind
    for kind in (
        FaultKind("end_resistor_missing", list_ends, _end_missing),
        FaultKind("end_resistor_wrong", list_ends, _end_wrong, "end_resistor_ohm"),
        FaultKind("end_resistor_twice", list_ends, _end_twice),
        FaultKind("end_resistor_in_series", list_ends, _end_in_series),
        FaultKind("end_resistor_before_end", list_before_end, _end_before),
        FaultKind("end_resistor_on_in", list_two_wire_end, _end_on_in),
        FaultKind("conductor_open", list_cores, _conductor_open),
        FaultKind("pair_short", list_pairs, build_short),
        FaultKind("joint_resistive", list_cores, _joint, "joint_ohm"),
        FaultKind("leak", list_pairs, build_leak, "leak_ohm"),
        FaultKind("polarity_reversed", list_reversible, _polarity),
        FaultKind("in_out_swapped", list_heads, _in_out),
        FaultKind("head_off", list_heads, _hold("head_off")),
        FaultKind("detector_dead", list_detectors, _hold("dead")),
        FaultKind("detector_stuck", list_detectors, _hold("smoke")),
        FaultKind("supply_on_no", list_loads, build_on_no),
        FaultKind("com_not_fed", list_reset, build_com_not_fed),
        FaultKind("reset_bypassed", list_reset, build_bypassed),
        FaultKind("contact_welded", list_reset, build_welded),
        FaultKind("reset_relay_never_operates", list_reset, _hold("operated", value=False)),
        FaultKind("coil_dead", list_reset, build_coil_dead),
        FaultKind("relay_held", list_reset, _hold("operated")),
        FaultKind("reset_not_assigned", list_panel_with_reset, build_not_assigned),
        FaultKind("reset_wrong_position", list_panel_with_reset, build_not_assigned),
        FaultKind("reset_wrong_area", list_panel_with_reset, build_not_assigned),
        FaultKind("output_never_drops", list_panel_with_switch, build_never_drops),
        FaultKind("reset_too_short", list_panel, _hold("short_reset")),
        FaultKind(
            "end_relay_dead",
            list_end_relay,
            lambda loop, place, _ohm: (Hold(f"{_find_chain(loop, place).end_relay}.operated", value=False),),
        ),
        FaultKind("end_relay_missing", list_end_relay, build_end_relay_missing),
        FaultKind("end_relay_wrong_contact", list_end_relay, build_end_relay_wrong_contact),
        FaultKind("end_relay_before_end", list_before_end_relay, build_end_relay_before),
        FaultKind("aux_dead", list_panel_with_aux, build_aux_dead),
        FaultKind("aux_low", list_panel_with_aux, build_aux_low),
        FaultKind("output_overloaded", list_panel_with_rating, build_overloaded),
        FaultKind("run_too_thin", list_powered_run, build_run_too_thin),
        FaultKind("mains_off", list_panel, _hold("on_battery")),
        FaultKind("battery_dead", list_panel, build_battery_dead),
        FaultKind("battery_disconnected", list_panel, build_battery_disconnected),
        FaultKind("charger_low", list_panel, build_charger_low),
        FaultKind("panel_resistor_missing", list_outputs, _end_missing),
        FaultKind("panel_resistor_wrong", list_outputs, _end_wrong, "end_resistor_ohm"),
        FaultKind("module_dead", list_module, _module_dead),
        FaultKind("supply_minus_missing", list_module, _minus_missing),
        FaultKind("outputs_exchanged", list_module_with_both, _exchange(FIRE_RUN, CO_RUN, "b")),
        FaultKind("pairs_exchanged", list_module_with_pairs, _pairs_exchanged),
        FaultKind("zones_exchanged", list_panel_with_two, _zones_exchanged),
        FaultKind("zone_settings_exchanged", list_panel_with_both, _hold("exchanged")),
        FaultKind("zone_bypassed", list_zones, _hold("bypassed")),
        FaultKind("zone_unsupervised", list_zones, _hold("unsupervised")),
        FaultKind("two_detector_rule", list_zones, _hold("verifies")),
        FaultKind("zone_kind_wrong", list_zones, _hold("miskind")),
        FaultKind("unused_zone_on", list_unused_zones, _hold("bypassed", value=False)),
        FaultKind("display_latched", list_zones, _hold("display")),
        FaultKind("zone_resistor_setting", list_zones, _hold("faulty")),
        FaultKind("zone_input_damaged", list_zones, _hold("faulty")),
        FaultKind("zone_input_leaks", list_zones, build_zone_leaks, "leak_ohm"),
        FaultKind("zone_feed_resistive", list_zones, build_zone_feed_resistive, "joint_ohm"),
        FaultKind("plus_under_one_terminal", list_plus_going_on, build_under_one_terminal),
        FaultKind("looped_uncut", list_plus_going_on, build_under_one_terminal),
        FaultKind("link_left_in_base", list_heads, build_link),
        FaultKind("spur", list_going_on, build_spur, ties_apart=True),
        FaultKind("crossed_at", list_plus_going_on, build_crossed),
        FaultKind("pairs_crossed", list_with_both_pairs, build_pairs_crossed, ties_apart=True),
        FaultKind("on_neighbour_zone", list_beside_unused, build_on_neighbour),
        FaultKind("end_relay_reversed", list_end_relay, build_end_relay_reversed),
        FaultKind("head_not_home", list_heads, _hold("head_off")),
        FaultKind("dust_cover", list_heads, _hold("smoke", value=False)),
        FaultKind("sensor_failed", list_heads, _hold("smoke", value=False)),
        FaultKind("end_of_life", list_heads, build_end_of_life),
        FaultKind("contact_never_closes", list_with_contact, build_contact_dead),
        FaultKind("wrong_kind", list_heads, build_wrong_kind),
        FaultKind("too_many_on_zone", list_crowded, build_crowded),
        FaultKind("zone_cannot_power", list_feeding_zones, build_feeds_contacts_only),
        FaultKind("earth_fault", list_earthable, build_earth, "earth_ohm"),
        FaultKind("touches_other_loop", list_touching, build_touch, ties_apart=True),
        FaultKind("foreign_ac", list_zones, build_ac),
    )
}
