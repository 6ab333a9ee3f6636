"""What faults of supply and reset do to a loop, each a pure function from loop and place to edits."""

from dataclasses import replace

from diagnostics.wiring import Add, Curve, Edits, Element, Hold, Kind, Loop, Move, Remove, SetResistance

from .data import read_catalogue

BRIDGE_OHM = 0.01
LOW_PASS_OHM = 100.0  # what such an output has in series on battery; invented
LOW_SHARE = 0.35  # auxiliary volts that no detector works on any more; invented
OVERLOADED_SHARE = 0.002  # what is left of a rating for those who are on it; invented


def build_on_no(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the load on the contact that is open in standby: all that hangs on the relay, or one loop of several."""
    fed = [e.name for e in loop.elements if e.kind is Kind.CONDUCTOR and e.a == "reset.nc"]
    own = fed if place == "reset" else [name for name in fed if name in _list_feeds(loop, place)]
    return tuple(Move(name, "a", "reset.no") for name in own)


def _list_feeds(loop: Loop, place: str) -> frozenset[str]:
    """Return every conductor that feeds detectors, or a module, of the loop that starts at a place."""
    chains = [chain for chain in loop.chains if chain.start == place] or loop.chains
    runs = [f"{d.name}.{pair}" for chain in chains for d in chain.detectors for pair in ("in", "in_power")]
    runs += ["module.in" for chain in chains if chain.start == "module"]
    return frozenset(wire for run in runs for wire in loop.pairs.get(run, ()))


def build_com_not_fed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Take the feed off COM."""
    return (Remove("link.reset"),)


def build_bypassed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Bridge COM and NC of the reset relay."""
    return (Add(Element("bridge.reset", Kind.JOINT, "reset.com", "reset.nc", BRIDGE_OHM)),)


def build_never_drops(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Let the output that should drop on reset stay as it is, on mains and on battery."""
    edits: list[Add | Remove] = []
    for name in ("source.switched", "rail.switched", "contact.switched-"):
        if name in loop.by_name:
            switch = loop.by_name[name]
            gates = tuple(gate for gate in switch.gates if gate.signal != "panel.reset")
            edits += [Remove(name), Add(replace(switch, name=f"{name}.on", gates=gates))]
    return tuple(edits)


def build_welded(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Weld COM and NC of the reset relay together."""
    return (Add(Element("weld.reset", Kind.JOINT, "reset.com", "reset.nc", BRIDGE_OHM)),)


def build_not_assigned(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Let nothing drive the coil of the reset relay."""
    return (Remove("source.reset"), Remove("rail.reset"))


def build_coil_dead(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Open the coil: its terminals have their volts, and nothing moves."""
    return (Remove("coil.reset"), Hold("reset.operated", value=False))


def _find_relay(loop: Loop, place: str) -> tuple[str, str]:
    """Return the supervision relay of the loop of a place, and the end resistor in series with its contact."""
    chain = loop.find_chain(place)
    relay = chain.end_relay if chain else ""
    return relay, next(name for name in loop.end_resistors.values() if loop.by_name[name].a == f"{relay}.no")


def build_end_relay_missing(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the end resistor straight on the contact pair, so that nothing watches the power pair."""
    relay, resistor = _find_relay(loop, place)
    core = loop.by_name[f"{relay}.joint.com"].a
    return (Remove(f"{relay}.joint+"), Remove(f"{relay}.joint-"), Move(resistor, "a", core))


def build_end_relay_wrong_contact(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the end resistor on the contact that is open while the relay is operated."""
    relay, resistor = _find_relay(loop, place)
    closed = loop.by_name[f"{relay}.contact"]
    gates = tuple(replace(gate, when=not gate.when) for gate in closed.gates)
    other = replace(closed, name=f"{relay}.contact.nc", b=f"{relay}.nc", gates=gates)
    return (Add(other), Move(resistor, "a", f"{relay}.nc"))


def build_end_relay_before(loop: Loop, place: str, _ohm: float) -> Edits:
    """Feed the supervision relay at a detector before the end."""
    relay, _ = _find_relay(loop, place)
    return (Move(f"{relay}.joint+", "a", f"{place}.out+"), Move(f"{relay}.joint-", "a", f"{place}.out-"))


def _find_feed(loop: Loop) -> str:
    """Return the output that feeds detectors or module."""
    return next(name for name in ("supply", "switched", "aux") if f"source.{name}" in loop.by_name)


def build_aux_dead(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Open the output that feeds detectors or module, on mains and on battery."""
    feed = _find_feed(loop)
    return tuple(Remove(name) for name in (f"source.{feed}", f"rail.{feed}") if name in loop.by_name)


def build_aux_low(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Lower the volts of the output that feeds detectors or module; on battery, one of the panel is a divider."""
    output = _find_feed(loop)
    source, rail = loop.by_name[f"source.{output}"], loop.by_name.get(f"rail.{output}")
    weak = _weaken(source, LOW_SHARE, 1.0)
    if rail is None:
        return weak
    if rail.emf_v:
        return (*weak, *_weaken(rail, LOW_SHARE, 1.0))
    shunt_ohm = LOW_PASS_OHM * LOW_SHARE / (1 - LOW_SHARE)
    return (
        *weak, Remove(rail.name),
        Add(replace(rail, name=f"{rail.name}.bad", curve=None, resistance_ohm=LOW_PASS_OHM, home=0)),
        Add(Element(f"shunt.{output}", Kind.RESISTOR, rail.b, source.b, shunt_ohm, gates=rail.gates)),
    )  # fmt: skip


def build_overloaded(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Leave a share of the rating to those who are on the switched output."""
    source, rail = loop.by_name["source.switched"], loop.by_name["rail.switched"]
    weak = _weaken(source, 1.0, OVERLOADED_SHARE)
    if rail.emf_v:
        return (*weak, *_weaken(rail, 1.0, OVERLOADED_SHARE))
    if rail.curve is None:
        raise TypeError(f"{rail.name} has no limit")
    curve = Curve(tuple((v * OVERLOADED_SHARE, i * OVERLOADED_SHARE) for v, i in rail.curve.points))
    return (*weak, Remove(rail.name), Add(replace(rail, name="rail.switched.bad", curve=curve)))


def _weaken(source: Element, volts_share: float, limit_share: float) -> Edits:
    """Put in a source with a share of the volts, and of the current limit, of the one that is there."""
    if source.curve is None:
        raise TypeError(f"{source.name} is no source")
    limit_a, ohm = -source.curve.points[0][1] * limit_share, 1.0 / source.curve.after_s
    emf_v = source.emf_v * volts_share
    curve = Curve(((emf_v - limit_a * ohm, -limit_a),), 0.0, source.curve.after_s)
    return (Remove(source.name), Add(replace(source, name=f"{source.name}.bad", curve=curve, emf_v=emf_v)))


def build_battery_disconnected(_loop: Loop, _place: str, _ohm: float) -> Edits:
    """Take the lead off the battery."""
    return (Remove("lead.battery"),)


def build_battery_dead(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Give the battery the resistance of one past its life: the charger still holds its volts up."""
    ohm = read_catalogue().values.dead_battery_ohm
    return _replace_battery(loop, 1.0, ohm)


def build_charger_low(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Lower the charger below the battery's own volts, from which it takes nothing; nor is that battery charged."""
    values = read_catalogue().values
    charger = loop.by_name["source.charger"]
    if charger.curve is None:
        raise TypeError("a charger has a curve")
    (limit_v, limit_a), emf_v = charger.curve.points[0], charger.emf_v * values.low_charger_share
    curve = Curve(((limit_v - charger.emf_v + emf_v, limit_a), (emf_v, 0.0)))
    low = replace(charger, name="source.charger.low", curve=curve, emf_v=emf_v)
    return (Remove(charger.name), Add(low), *_replace_battery(loop, values.flat_battery_share, None))


def _replace_battery(loop: Loop, volts_share: float, ohm: float | None) -> Edits:
    battery = loop.by_name["source.battery"]
    if battery.curve is None:
        raise TypeError("a battery has a curve")
    emf_v = battery.emf_v * volts_share
    curve = Curve(((emf_v, 0.0),), 1.0 / ohm if ohm else battery.curve.before_s, battery.curve.after_s)
    return (Remove(battery.name), Add(replace(battery, name="source.battery.bad", curve=curve, emf_v=emf_v)))


def build_run_too_thin(loop: Loop, place: str, _ohm: float) -> Edits:
    """Multiply the resistance of every conductor that feeds detectors or a module; how far is uncertain."""
    values, feeds = read_catalogue().values, _list_feeds(loop, place)
    wires = [w for pair in loop.pairs.values() for w in pair if w in feeds]
    return tuple(
        SetResistance(w, (loop.by_name[w].resistance_ohm or 0.0) * values.thin_run_times, values.spread_share)
        for w in wires
    )


def build_zone_leaks(loop: Loop, place: str, ohm: float) -> Edits:
    """Let current pass across the terminals of a zone inside the panel, as a surge part past its life does."""
    zone = next(z for z in loop.zones if z.name == place)
    bridge = Element(f"inside.{place}.{ohm:g}", Kind.RESISTOR, zone.plus, zone.minus, ohm)
    return (Add(bridge, read_catalogue().values.spread_share),)


def build_zone_feed_resistive(loop: Loop, place: str, ohm: float) -> Edits:
    """Put ohms between a zone's terminal and what feeds it inside the panel, on mains and on battery."""
    plus, inside = loop.by_name[f"source.{place}"].a, f"inside.{place}"
    feed = Element(f"feed.{place}.{ohm:g}", Kind.RESISTOR, inside, plus, ohm)
    end = "a" if loop.by_name[f"rail.{place}"].a == plus else "b"
    return (
        Move(f"source.{place}", "a", inside),
        Move(f"rail.{place}", end, inside),
        Add(feed, read_catalogue().values.spread_share),
    )
