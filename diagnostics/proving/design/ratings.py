"""What feeds an installed loop, and what each of it is rated for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from diagnostics.source import TreePath
from diagnostics.wiring import Loop, build_part, find_limit_a

from .chains import list_outputs, list_stretches

_CONTACT = "contact.reset.nc"
_LIMITS = {"aux": "aux_limit_a", "switched": "switched_limit_a", "supply": "aux_limit_a"}


@dataclass(frozen=True, slots=True)
class Rating:
    """What an element may carry (A), what the limit is called, whether the site file gives it, and where it speaks."""

    at: str
    element: str
    limit_a: float
    limit: str
    given: bool
    path: TreePath


def list_ratings(loop: Loop) -> Iterator[Rating]:
    """Yield what feeds detectors or a module: zones and module pairs of two wires, an output, a relay's contact."""
    panel, outputs = loop.site.panel.values, list_outputs(loop)
    for stretch in list_stretches(loop):
        spec = stretch.spec
        at: TreePath = ("loops", stretch.number)
        if spec.style.is_fed_by_zone:
            yield _rate_output(loop, spec.zone, "zone_limit_a", panel, at)
        for name in (n for n in outputs if n.startswith("loop") and spec.style.is_module):
            yield _rate_output(loop, name, "loop_limit_a", spec.module.values, (*at, "module"))
    fed = next((s for s in list_stretches(loop) if s.spec.style.has_supply), None)
    if fed is None:
        return
    for name in (n for n in outputs if n in _LIMITS):
        yield _rate_output(loop, name, _LIMITS[name], panel, ("loops", fed.number, "reset"))
    relay = fed.spec.reset_relay
    if _CONTACT in loop.by_name:
        limit_a = build_part(relay.profile, relay.values, "reset_relay").number("contact_limit_a")
        given = "contact_limit_a" in relay.values
        yield Rating("reset", _CONTACT, limit_a, "contact_limit_a", given, ("loops", fed.number, "reset_relay"))


def _rate_output(loop: Loop, name: str, limit: str, values: Mapping[str, str], path: TreePath) -> Rating:
    element = loop.by_name[f"source.{name}"]
    return Rating(name, element.name, find_limit_a(element) or 0.0, limit, limit in values, path)
