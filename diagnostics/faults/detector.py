"""What is wrong with one head, or with the heads that a zone feeds: pure functions from loop and place to edits."""

from dataclasses import replace

from diagnostics.wiring import (
    Add,
    Chain,
    Curve,
    Edits,
    Element,
    Loop,
    Remove,
    build_clamp_curve,
    build_part,
    find_detector_part,
)

from .data import read_catalogue


def list_with_contact(loop: Loop) -> tuple[str, ...]:
    """Return every detector whose head closes a contact on a pair of its own."""
    return tuple(d.name for d in loop.detectors if not d.is_contact and f"alarm.{d.name}" in loop.by_name)


def list_crowded(loop: Loop) -> tuple[str, ...]:
    """Return the start of each loop whose pair feeds its detectors."""
    return tuple(chain.start for chain in loop.chains if chain.spec.style.is_two_wire)


def list_feeding_zones(loop: Loop) -> tuple[str, ...]:
    """Return the zones that feed the detectors on them."""
    return tuple(chain.spec.zone for chain in loop.chains if chain.spec.style.is_fed_by_zone)


def build_contact_dead(_loop: Loop, place: str, _ohm: float) -> Edits:
    """Let the alarm contact stay open: the head latches, its lamp says so, and the pair hears nothing."""
    return (Remove(f"alarm.{place}"),)


def build_wrong_kind(loop: Loop, place: str, _ohm: float) -> Edits:
    """Put in a head of the other sort: where it should close a contact one that clamps its supply, or the reverse.

    It draws as described in standby. On two wires it goes on doing so when latched.
    """
    if f"alarm.{place}" not in loop.by_name:
        load = loop.by_name[f"load.{place}"]
        gates = tuple(gate for gate in load.gates if gate.signal != f"{place}.latched")
        stays = replace(load, name=f"{load.name}.always", gates=gates)
        return (Remove(f"clamp.{place}"), Remove(load.name), Add(stays))
    old = loop.by_name[f"alarm_load.{place}"]
    curve = build_clamp_curve(build_part("smoke_two_wire", {}, "detector_two_wire"))
    clamp = replace(old, name=f"clamp.{place}", curve=curve, spreads=(), home=len(curve.points))
    return (Remove(f"alarm.{place}"), Remove(old.name), Add(clamp))


def build_end_of_life(loop: Loop, place: str, _ohm: float) -> Edits:
    """Let a head say that its sensor is past its life: by its lamp alone, or by a trouble contact in the contact pair.

    Which of both is part data; where it is the lamp alone the circuit stays as it is.
    """
    tells = _find_part_word(loop, place)
    return (Remove(f"strip.{place}.a"),) if tells == "trouble" else ()


def _find_part_word(loop: Loop, place: str) -> str:
    chain = _find_chain(loop, place)
    specs = dict(zip((d.name for d in chain.detectors), chain.spec.all_detectors, strict=True))
    return find_detector_part(chain.spec, specs[place]).word("end_of_life")


def _find_chain(loop: Loop, place: str) -> Chain:
    chain = loop.find_chain(place)
    if chain is None:
        raise KeyError(place)
    return chain


def build_crowded(loop: Loop, place: str, _ohm: float) -> Edits:
    """Hang more heads on the far end of a two-wire pair, all of them as one load."""
    last = _find_chain(loop, place).last.name
    one, count = loop.by_name[f"load.{last}"], read_catalogue().values.crowd_heads
    if one.curve is None:
        raise TypeError(f"{one.name} is no load")
    points = tuple((v, i * count) for v, i in one.curve.points)
    curve = Curve(points, one.curve.before_s * count, one.curve.after_s * count)
    return (Add(replace(one, name=f"crowd.{place}", curve=curve, gates=())),)


def build_feeds_contacts_only(loop: Loop, place: str, _ohm: float) -> Edits:
    """Make a zone one for contacts: a small current limit, and nothing drops its volts on reset."""
    edits: list[Add | Remove] = [Remove(f"dropped.{place}")]
    for name in (f"source.{place}", f"rail.{place}"):
        old = loop.by_name[name]
        gates = tuple(gate for gate in old.gates if gate.signal != "panel.reset")
        edits += [Remove(name), Add(replace(old, name=f"{name}.contacts", gates=gates, curve=_limit(old)))]
    return tuple(edits)


def _limit(source: Element) -> Curve:
    """Return the curve of a source with the current limit of a zone for contacts, on mains or from the battery."""
    limit_a = read_catalogue().values.contact_zone_a
    if source.curve is None:
        raise TypeError(f"{source.name} is no source")
    points = source.curve.points
    if len(points) > 1:  # from the battery: the limit is the last corner
        (low_v, low_a), (high_v, high_a) = points
        return Curve(((low_v, low_a), (low_v + (high_v - low_v) * limit_a / high_a, limit_a)))
    return Curve(((source.emf_v - limit_a / source.curve.after_s, -limit_a),), 0.0, source.curve.after_s)
