"""Where in a loop each kind of fault can be."""

from diagnostics.wiring import UNUSED, Loop, Reset


def list_ends(loop: Loop) -> tuple[str, ...]:
    """Return the places of the end resistors of the loop itself."""
    return tuple(place for place in loop.end_resistors if not place.startswith("module."))


def list_outputs(loop: Loop) -> tuple[str, ...]:
    """Return the places of the panel's resistors at the outputs of a module."""
    return tuple(place for place in loop.end_resistors if place.startswith("module."))


def list_detectors(loop: Loop) -> tuple[str, ...]:
    """Return every detector."""
    return tuple(d.name for d in loop.detectors)


def list_heads(loop: Loop) -> tuple[str, ...]:
    """Return every detector whose head can be taken off, or whose plus comes in and goes out: all but dry contacts."""
    return tuple(d.name for d in loop.detectors if not d.is_contact)


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
    """Every detector but the last of its pair; and the start, where there is only one pair to start from.

    A class A loop has its resistor in the panel, and none is looked for at its detectors.
    """
    last = {find_end(loop, d.name): d.name for d in loop.detectors}
    own = [chain for chain in loop.chains if not chain.back]
    starts = tuple(chain.start for chain in own if loop.list_ends(chain) == (chain.end,))
    return (*starts, *(d.name for chain in own for d in chain.detectors if d.name not in last.values()))


def find_end(loop: Loop, name: str) -> str:
    """Return the place of the end resistor of the pair on which a detector reports, or that starts at a place."""
    chain = loop.find_chain(name) or loop.chains[0]
    detector = loop.find_detector(name)
    own = f"{chain.end}_{detector.senses}" if detector else ""
    return own if own in loop.end_resistors else chain.end


def list_two_wire_end(loop: Loop) -> tuple[str, ...]:
    """Return the end of a two-wire loop."""
    return tuple(chain.end for chain in loop.chains if chain.spec.style.is_two_wire and not chain.back)


def list_reversible(loop: Loop) -> tuple[str, ...]:
    """Return where the wires of a pair can be exchanged."""
    starts = [chain.start for chain in loop.chains if not chain.first.is_contact]
    starts += [chain.back for chain in loop.chains if chain.back]
    if loop.module_chain and loop.module_chain.spec.style.is_two_wire:
        starts.append("module.loop")
    return (*starts, *list_heads(loop))


def list_module(loop: Loop) -> tuple[str, ...]:
    """Return the module."""
    return ("module",) if loop.module else ()


def list_module_with_both(loop: Loop) -> tuple[str, ...]:
    """Return a module that reports on two zones."""
    return ("module",) if loop.co_zone else ()


def list_module_with_pairs(loop: Loop) -> tuple[str, ...]:
    """Return the loop terminals of a module with a pair of contacts for fire and one for CO, both with detectors."""
    starts = {e.a for pair in loop.pairs.values() for e in (loop.by_name[pair[0]],)}
    return ("module.loop",) if {"field.loop_fire+", "field.loop_co+"} <= starts else ()


def list_panel_with_both(loop: Loop) -> tuple[str, ...]:
    """Return a panel with zones for fire and CO of one loop."""
    return ("panel",) if loop.co_zone is not None else ()


def list_panel_with_two(loop: Loop) -> tuple[str, ...]:
    """Return a panel on which two pairs of field wires can change zones."""
    return ("panel",) if loop.co_zone is not None or len(loop.chains) > 1 else ()


def list_loads(loop: Loop) -> tuple[str, ...]:
    """Return the reset relay, for all that hangs on it, and where it feeds several loops the start of each."""
    starts = tuple(chain.start for chain in loop.fed) if len(loop.fed) > 1 else ()
    return (*list_reset(loop), *starts) if list_reset(loop) else ()


def list_zones(loop: Loop) -> tuple[str, ...]:
    """Return the zones that a loop reports on."""
    return tuple(z.name for z in loop.zones if z.senses != UNUSED)


def list_unused_zones(loop: Loop) -> tuple[str, ...]:
    """Return the zones that nothing is wired to."""
    return tuple(z.name for z in loop.zones if z.senses == UNUSED)


def list_panel(_loop: Loop) -> tuple[str, ...]:
    """Return the panel."""
    return ("panel",)


def list_powered_run(loop: Loop) -> tuple[str, ...]:
    """Return the whole of the runs that feed detectors or a module, loop by loop."""
    feeding = [chain for chain in loop.chains if not chain.first.is_contact]
    return tuple(chain.start for chain in feeding) if len(loop.chains) > 1 else ("loop",) if feeding else ()


def list_end_relay(loop: Loop) -> tuple[str, ...]:
    """Return the end, where a supervision relay sits."""
    return tuple(chain.end for chain in loop.chains if chain.end_relay)


def list_before_end_relay(loop: Loop) -> tuple[str, ...]:
    """Return the detectors at which a supervision relay could sit by mistake."""
    return tuple(d.name for chain in loop.chains if chain.end_relay for d in chain.detectors[:-1])


def list_panel_with_aux(loop: Loop) -> tuple[str, ...]:
    """Return what feeds detectors or module: the panel, by an output of its own, or a separate supply."""
    if not loop.fed:
        return ()
    return ("supply",) if loop.reset is Reset.SEPARATE_SUPPLY else ("panel",)


def list_panel_with_rating(loop: Loop) -> tuple[str, ...]:
    """Return a panel with a switched output of its own rating."""
    return ("panel",) if "source.switched" in loop.by_name else ()


def list_panel_with_switch(loop: Loop) -> tuple[str, ...]:
    """Return a panel with an output that drops by itself on reset."""
    return ("panel",) if loop.reset in {Reset.RESETTABLE_OUTPUT, Reset.MINUS_SWITCHED} else ()
