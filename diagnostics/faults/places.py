"""Where in a loop each kind of fault can be."""

from diagnostics.wiring import UNUSED, Loop, Reset, Style


def list_ends(loop: Loop) -> tuple[str, ...]:
    """Return the places of the end resistors of the loop itself."""
    return tuple(place for place in loop.end_resistors if not place.startswith("module."))


def list_outputs(loop: Loop) -> tuple[str, ...]:
    """Return the places of the panel's resistors at the outputs of a module."""
    return tuple(place for place in loop.end_resistors if place.startswith("module."))


def list_detectors(loop: Loop) -> tuple[str, ...]:
    """Return every detector."""
    return tuple(d.name for d in loop.detectors)


def list_cores(loop: Loop) -> tuple[str, ...]:
    """Every conductor; the minus of a module's supply has a kind of its own."""
    names = (name.removeprefix("wire.") for pair in loop.pairs.values() for name in pair)
    return tuple(name for name in names if name != "module.in-")


def list_pairs(loop: Loop) -> tuple[str, ...]:
    """Return every pair of cable."""
    return tuple(loop.pairs)


def list_reset(loop: Loop) -> tuple[str, ...]:
    """Return the reset relay."""
    return ("reset",) if any(r.name == "reset" for r in loop.relays) else ()


def list_panel_with_reset(loop: Loop) -> tuple[str, ...]:
    """Return the panel, where it operates a reset relay."""
    return ("panel",) if list_reset(loop) else ()


def list_before_end(loop: Loop) -> tuple[str, ...]:
    """Every detector but the last of its pair; and the start, where there is only one pair to start from."""
    last = {find_end(loop, d.name): d.name for d in loop.detectors}
    some = tuple(d.name for d in loop.detectors if d.name not in last.values())
    return ("module" if loop.module else "panel", *some) if list_ends(loop) == ("end",) else some


def find_end(loop: Loop, name: str) -> str:
    """Return the place of the end resistor of the pair on which a detector reports."""
    senses = next((d.senses for d in loop.detectors if d.name == name), "")
    return f"end_{senses}" if f"end_{senses}" in loop.end_resistors else "end"


def list_two_wire_end(loop: Loop) -> tuple[str, ...]:
    """Return the end of a two-wire loop."""
    return ("end",) if loop.spec.style.is_two_wire else ()


def list_reversible(loop: Loop) -> tuple[str, ...]:
    """Return where the wires of a pair can be exchanged."""
    if loop.module is None:
        return ("panel", *list_detectors(loop))
    return ("module", *(("module.loop",) if loop.spec.style.is_two_wire else ()), *list_detectors(loop))


def list_module(loop: Loop) -> tuple[str, ...]:
    """Return the module."""
    return ("module",) if loop.module else ()


def list_module_with_both(loop: Loop) -> tuple[str, ...]:
    """Return a module that reports on two zones."""
    return ("module",) if loop.module and loop.spec.co_zone else ()


def list_panel_with_both(loop: Loop) -> tuple[str, ...]:
    """Return a panel with zones for fire and CO."""
    return ("panel",) if loop.spec.co_zone is not None else ()


def list_zones(loop: Loop) -> tuple[str, ...]:
    """Return the zones that a loop reports on."""
    return tuple(z.name for z in loop.zones if z.senses != UNUSED)


def list_unused_zones(loop: Loop) -> tuple[str, ...]:
    """Return the zones that nothing is wired to."""
    return tuple(z.name for z in loop.zones if z.senses == UNUSED)


def list_panel(_loop: Loop) -> tuple[str, ...]:
    """Return the panel."""
    return ("panel",)


def list_powered_run(_loop: Loop) -> tuple[str, ...]:
    """Return the whole of the runs that feed detectors or a module."""
    return ("loop",)


def list_end_relay(loop: Loop) -> tuple[str, ...]:
    """Return the end, where a supervision relay sits."""
    return ("end",) if "endrelay.coil" in loop.by_name else ()


def list_before_end_relay(loop: Loop) -> tuple[str, ...]:
    """Return the detectors at which a supervision relay could sit by mistake."""
    return list_detectors(loop)[:-1] if list_end_relay(loop) else ()


def list_panel_with_aux(loop: Loop) -> tuple[str, ...]:
    """Return what feeds detectors or module: the panel, by an output of its own, or a separate supply."""
    if loop.spec.style is Style.TWO_WIRE_ZONE:
        return ()
    return ("supply",) if loop.spec.reset is Reset.SEPARATE_SUPPLY else ("panel",)


def list_panel_with_rating(loop: Loop) -> tuple[str, ...]:
    """Return a panel with a switched output of its own rating."""
    return ("panel",) if "source.switched" in loop.by_name else ()


def list_panel_with_switch(loop: Loop) -> tuple[str, ...]:
    """Return a panel with an output that drops by itself on reset."""
    return ("panel",) if loop.spec.reset in {Reset.RESETTABLE_OUTPUT, Reset.MINUS_SWITCHED} else ()
