"""What outputs must give and contacts must carry, against their ratings; and what a battery must hold."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from diagnostics.source import TreePath
from diagnostics.wiring import Loop, Style, build_part, find_limit_a, lift_limits, shift_unknowns

from .chains import list_outputs, list_stretches, list_worst_alarm
from .corners import HEAVY, Case, Reach, find_current_a, hold_alarm, settle_cases
from .rows import NO_CEILING, Row

_CONTACT = "contact.reset.nc"
_LIMITS = {"aux": "aux_limit_a", "switched": "switched_limit_a", "supply": "aux_limit_a"}
# Hours of standby, then hours of alarm: NFPA 72, protected premises, and BS 5839-1, clause 25.
BACKUP_H: Final = {"north_america": (24.0, 5 / 60), "europe": (24.0, 0.5)}


@dataclass(frozen=True, slots=True)
class _Rating:
    """What an element may carry (A), what the limit is called, whether the site file gives it, and where it speaks."""

    at: str
    element: str
    limit_a: float
    limit: str
    given: bool
    path: TreePath


def check_loads(loop: Loop) -> Iterator[Row]:
    """Yield what each output that feeds something would have to give, and the contact of a reset relay to carry."""
    lifted = lift_limits(loop)
    cases = [Case(), Case(hold_alarm(list_worst_alarm(loop)))]
    there, heavy = settle_cases(lifted, cases), settle_cases(shift_unknowns(lifted, HEAVY), cases)
    for r in _list_ratings(loop):
        for column, condition in enumerate(("standby", "alarm")):
            drawn, most = (find_current_a(s, r.element, column) for s in (there, heavy))
            reach = Reach(drawn, drawn, max(drawn, most))
            yield Row("load", r.at, condition, "A", reach, 0.0, r.limit_a, r.limit, r.given, r.path)


def _list_ratings(loop: Loop) -> Iterator[_Rating]:
    panel, outputs = loop.site.panel.values, list_outputs(loop)
    for stretch in list_stretches(loop):
        spec = stretch.spec
        at: TreePath = ("loops", stretch.number)
        if spec.style is Style.TWO_WIRE_ZONE:
            yield _rate_output(loop, spec.zone, "zone_limit_a", panel, at)
        for name in (n for n in outputs if n.startswith("loop") and spec.style.is_module):
            yield _rate_output(loop, name, "loop_limit_a", spec.module.values, (*at, "module"))
    fed = next((s for s in list_stretches(loop) if s.spec.style is not Style.TWO_WIRE_ZONE), None)
    if fed is None:
        return
    for name in (n for n in outputs if n in _LIMITS):
        yield _rate_output(loop, name, _LIMITS[name], panel, ("loops", fed.number, "reset"))
    relay = fed.spec.reset_relay
    if _CONTACT in loop.by_name:
        limit_a = build_part(relay.profile, relay.values, "reset_relay").number("contact_limit_a")
        given = "contact_limit_a" in relay.values
        yield _Rating("reset", _CONTACT, limit_a, "contact_limit_a", given, ("loops", fed.number, "reset_relay"))


def _rate_output(loop: Loop, name: str, limit: str, values: Mapping[str, str], path: TreePath) -> _Rating:
    element = loop.by_name[f"source.{name}"]
    return _Rating(name, element.name, find_limit_a(element) or 0.0, limit, limit in values, path)


def check_battery(loop: Loop) -> Iterator[Row]:
    """Yield the ampere-hours that standby and then alarm take out of a charged battery, by rule; no margin in it."""
    charged_v = loop.by_name["source.battery"].emf_v
    cases = [Case(battery_v=charged_v), Case(hold_alarm(list_worst_alarm(loop)), charged_v)]
    settled = settle_cases(loop, cases)
    standby_a, alarm_a = (find_current_a(settled, "lead.battery", n) for n in (0, 1))
    for rule, (standby_h, alarm_h) in BACKUP_H.items():
        needed = standby_a * standby_h + alarm_a * alarm_h
        yield Row(
            "battery", "battery", rule, "Ah", Reach(needed, needed, needed), 0.0, NO_CEILING, "", given=False,
            path=("panel",),
        )  # fmt: skip
