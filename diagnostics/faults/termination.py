"""What wrong terminations do to a loop, each a pure function from loop and place to edits."""

from diagnostics.wiring import Add, Edits, Element, Kind, Loop, Move, Style

LINK_OHM = 0.01
_OTHER = {"+": "-", "-": "+"}


def list_going_on(loop: Loop) -> tuple[str, ...]:
    """Return every detector, contacts too, from which cable goes on: to the next one, or on class A to the panel."""
    starts = {e.a.partition(".")[0] for e in loop.elements if e.kind is Kind.CONDUCTOR}
    return tuple(d.name for d in loop.detectors if d.name in starts)


def list_plus_going_on(loop: Loop) -> tuple[str, ...]:
    """Return every detector with a head from whose plus out a wire goes on, a lead of a supervision relay too."""
    used = {e.a for e in loop.elements if e.kind in {Kind.CONDUCTOR, Kind.JOINT}}
    return tuple(d.name for d in loop.detectors if f"{d.name}.out+" in used)


def list_with_both_pairs(loop: Loop) -> tuple[str, ...]:
    """Return every detector with a power pair and a contact pair."""
    names = [d.name for d in loop.detectors]
    return tuple(n for n in names if f"{n}.in_power" in loop.pairs and f"{n}.in_contact" in loop.pairs)


def list_beside_unused(loop: Loop) -> tuple[str, ...]:
    """Return the zones whose field wires could sit on an unused zone's terminals; a class A loop has four to land."""
    if _find_unused(loop) is None:
        return ()
    own = [chain.spec for chain in loop.chains if chain.spec.style is not Style.CLASS_A_ZONE]
    zones = {zone for spec in own for zone in (spec.zone, spec.co_zone)}
    return tuple(zone.name for zone in loop.zones if zone.name in zones)


def _find_unused(loop: Loop) -> str | None:
    used = {zone for chain in loop.chains for zone in (chain.spec.zone, chain.spec.co_zone)}
    return next((zone.name for zone in loop.zones if zone.name not in used), None)


def _list_from(loop: Loop, terminal: str, *kinds: Kind) -> list[str]:
    """Return the elements of some kinds that begin at a terminal."""
    return [e.name for e in loop.elements if e.a == terminal and e.kind in kinds]


def build_under_one_terminal(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land what goes on from plus out on plus in: the head no longer stands in the way of the current."""
    leads = _list_from(loop, f"{place}.out+", Kind.CONDUCTOR, Kind.JOINT)
    return tuple(Move(lead, "a", f"{place}.in+") for lead in leads)


def build_link(_loop: Loop, place: str, _ohm: float) -> Edits:
    """Join plus in and plus out in the base, as it is done to meter a loop before the heads are fitted."""
    return (Add(Element(f"link.{place}", Kind.JOINT, f"{place}.in+", f"{place}.out+", LINK_OHM)),)


def build_spur(loop: Loop, place: str, _ohm: float) -> Edits:
    """Start each run that goes on where the run into this detector starts, so that it hangs on a branch by itself."""
    edits: list[Move] = []
    for core in ("+", "-", "_a", "_b"):
        into = loop.by_name.get(f"wire.{place}.in{core}")
        onward = _list_from(loop, f"{place}.out{core}", Kind.CONDUCTOR) if into else []
        edits += [Move(wire, "a", into.a) for wire in onward if into]
    return tuple(edits)


def build_crossed(loop: Loop, place: str, _ohm: float) -> Edits:
    """Exchange plus and minus of what arrives at a detector and of what goes on: it alone is the wrong way round."""
    edits = [Move(f"wire.{place}.in{core}", "b", f"{place}.in{_OTHER[core]}") for core in "+-"]
    for core in "+-":
        leads = _list_from(loop, f"{place}.out{core}", Kind.CONDUCTOR, Kind.JOINT)
        edits += [Move(lead, "a", f"{place}.out{_OTHER[core]}") for lead in leads]
    return tuple(edits)


def build_pairs_crossed(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the power pair on the contact terminals of a detector, and the contact pair on its supply."""
    return _exchange_pairs(loop, loop.pairs[f"{place}.in_power"], loop.pairs[f"{place}.in_contact"], "b")


def _exchange_pairs(loop: Loop, one: tuple[str, ...], two: tuple[str, ...], end: str) -> Edits:
    wires = loop.by_name
    moves = [(a, b) for pair in zip(one, two, strict=True) for a, b in (pair, pair[::-1])]
    return tuple(Move(wire, end, getattr(wires[other], end)) for wire, other in moves)


def build_on_neighbour(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the field wires of a zone on the terminals of one that nothing is wired to."""
    other = _find_unused(loop)
    return tuple(Move(f"landing.{place}{side}", "a", f"panel.{other}{side}") for side in "+-")


def build_end_relay_reversed(loop: Loop, place: str, _ohm: float) -> Edits:
    """Exchange the leads of the coil of a supervision relay."""
    chain = loop.find_chain(place)
    relay = chain.end_relay if chain else ""
    return _exchange_pairs(loop, (f"{relay}.joint+",), (f"{relay}.joint-",), "a")
