"""Which readings a step can ask for at all: those that some loop offers, of whatever style, supply and order."""

import itertools
from collections.abc import Iterator
from functools import cache

from diagnostics.readings import list_measurements
from diagnostics.wiring import Loop, Reset, Site, Style, build_loop

from .places import ACROSS, AT, find_step_measurement
from .schema import Step


def can_be_taken(step: Step) -> bool:
    """Return whether somebody on some loop can take the reading that a step asks for."""
    return any(find_step_measurement(step, _wire(n)) is not None for n in range(len(_list_sites())))


def list_where(step: Step) -> tuple[str, tuple[str, ...]]:
    """Return ``at`` or ``across``, and at which of them some loop offers the kind of reading of a step, in its mode."""
    key: str = "across" if _is_across(step.measure or "") else "at"
    names = ACROSS if key == "across" else AT
    named = (step.model_copy(update={"at": None, "across": None, key: name}) for name in names)
    return key, tuple(name for name, other in zip(names, named, strict=True) if can_be_taken(other))


@cache
def _is_across(kind: str) -> bool:
    """Return whether a kind of reading is taken between two leads."""
    return any(m.red for n in range(len(_list_sites())) for m in list_measurements(_wire(n)) if m.kind == kind)


@cache
def _wire(n: int) -> Loop:
    """Return the loop of one of the sites; wired when it is first asked for, since the first few answer most steps."""
    return build_loop(_list_sites()[n])


@cache
def _list_sites() -> tuple[Site, ...]:
    """Return sites of every style with every supply, order and number of loops; lengths and ohms do not matter."""
    alone = [_build_site([loop]) for loop in _describe_loops()]
    modules = (Style.MODULE_TWO_WIRE, Style.MODULE_FOUR_WIRE)
    pairs = [(_describe_loop(style), _describe_loop(style, zone="zone3")) for style in Style if style not in modules]
    pairs += [(_describe_loop(style), _describe_loop(Style.FOUR_WIRE_ZONE, zone="zone3")) for style in modules]
    return (*alone, *(_build_site(list(pair)) for pair in pairs))


def _describe_loops() -> Iterator[dict[str, object]]:
    """Yield each style with each way to be reset, those that most loops have first."""
    for style, order in itertools.product(Style, ("known", "unknown")):
        yield _describe_loop(style, order=order)
    others = (Reset.ALWAYS_ON, Reset.RESETTABLE_OUTPUT, Reset.MINUS_SWITCHED, Reset.SEPARATE_SUPPLY)
    for style, reset in itertools.product(Style, others):
        if style.has_supply:
            yield _describe_loop(style, reset)


def _describe_loop(
    style: Style, reset: Reset = Reset.RELAY, zone: str = "zone1", order: str = "known"
) -> dict[str, object]:
    told: dict[str, object] = {"zone": zone, "style": style, "count": 3, "order": order}
    told |= {"end_resistor": {"resistance": "4.7 kΩ"}}
    told |= {"reset": reset} if style.has_supply else {}
    told |= {"end_relay": {"profile": "supervision_relay"}} if style.has_power_pair else {}
    return told | {"co_zone": "zone2"} if style.is_module else told


def _build_site(loops: list[dict[str, object]]) -> Site:
    zones: dict[object, object] = {loop["zone"]: {} for loop in loops}
    zones |= {loop["co_zone"]: {"senses": "co"} for loop in loops if "co_zone" in loop}
    return Site.model_validate({"format": "ohmward-site/1", "name": "Every style", "zones": zones, "loops": loops})
