"""What outputs must give and contacts must carry, against their ratings; and what a battery must hold."""

from collections.abc import Iterator
from typing import Final

from diagnostics.source import TreePath
from diagnostics.wiring import Loop, Reset, build_part, find_limit_a, lift_limits, shift_unknowns

from .chains import list_outputs, list_stretches
from .corners import HEAVY, Case, Reach, find_current_a, hold_alarm, settle_cases
from .rows import NO_CEILING, Row

_DRAWS_A = 1e-6
# Hours of standby, then hours of alarm: NFPA 72, protected premises, and BS 5839-1, clause 25.
BACKUP_H: Final = {"north_america": (24.0, 5 / 60), "europe": (24.0, 0.5)}


def check_loads(loop: Loop) -> Iterator[Row]:
    """Yield what each output that feeds something would have to give, and the contact of a reset relay to carry."""
    lifted = lift_limits(loop)
    cases = [Case(), Case(hold_alarm(list_worst_alarm(loop)))]
    there, heavy = settle_cases(lifted, cases), settle_cases(shift_unknowns(lifted, HEAVY), cases)
    for name, limit_a, limit, given, path in _list_limits(loop):
        for column, condition in enumerate(("standby", "alarm")):
            drawn, most = (find_current_a(s, name, column) for s in (there, heavy))
            if drawn > _DRAWS_A:
                at = "reset" if name.startswith("contact") else name.removeprefix("source.")
                reach = Reach(drawn, drawn, max(drawn, most))
                yield Row("load", at, condition, "A", reach, 0.0, limit_a, limit, given, path)


def _list_limits(loop: Loop) -> Iterator[tuple[str, float, str, bool, TreePath]]:
    """Yield element, limit (A), name of the limit, whether the site gives it, and where the site speaks of it."""
    zones, panel = {z.name for z in loop.zones}, loop.site.panel.values
    fed = next((s for s in list_stretches(loop) if s.spec.reset is not None or s.spec.style.value[:3] != "two"), None)
    behind = next((s for s in list_stretches(loop) if s.spec.style.is_module), None)
    for name in list_outputs(loop):
        limit = f"{'zone' if name in zones else 'loop' if name.startswith('loop') else name}_limit_a"
        limit = "aux_limit_a" if name == "supply" else limit
        values = behind.spec.module.values if behind and name.startswith("loop") else panel
        number = fed.number if fed and name in {"aux", "switched", "supply"} else 0
        path: TreePath = ("zones", name) if name in zones else ("loops", number, "reset")
        path = ("loops", behind.number, "module") if behind and name.startswith("loop") else path
        limit_a = find_limit_a(loop.by_name[f"source.{name}"])
        if limit_a is not None:
            yield f"source.{name}", limit_a, limit, limit in values, path
    if fed and fed.spec.reset in {Reset.RELAY, Reset.SEPARATE_SUPPLY, None}:
        relay = fed.spec.reset_relay
        part = build_part(relay.profile, relay.values, "reset_relay")
        given = "contact_limit_a" in relay.values
        at: TreePath = ("loops", fed.number, "reset_relay")
        yield "contact.reset.nc", part.number("contact_limit_a"), "contact_limit_a", given, at


def list_worst_alarm(loop: Loop) -> tuple[str, ...]:
    """Return who is in alarm when the most is drawn: all with a supply beside the zone, the first of any other loop."""
    found = ([d.name for d in s.detectors[: 1 if s.spec.style.is_two_wire else None]] for s in list_stretches(loop))
    return tuple(name for names in found for name in names)


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
