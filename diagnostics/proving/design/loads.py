"""What outputs must give and contacts must carry, against their ratings; and what a battery must hold."""

from collections.abc import Iterator
from typing import Final

from diagnostics.wiring import Loop, lift_limits, shift_unknowns

from .chains import list_worst_alarm
from .corners import HEAVY, Case, Reach, find_current_a, hold_alarm, settle_cases
from .ratings import list_ratings
from .rows import NO_CEILING, Row

# Hours of standby, then hours of alarm: NFPA 72, protected premises, and BS 5839-1, clause 25.
BACKUP_H: Final = {"north_america": (24.0, 5 / 60), "europe": (24.0, 0.5)}


def check_loads(loop: Loop) -> Iterator[Row]:
    """Yield what each output that feeds something would have to give, and the contact of a reset relay to carry."""
    lifted = lift_limits(loop)
    cases = [Case(), Case(hold_alarm(list_worst_alarm(loop)))]
    there, heavy = settle_cases(lifted, cases), settle_cases(shift_unknowns(lifted, HEAVY), cases)
    for r in list_ratings(loop):
        for column, condition in enumerate(("standby", "alarm")):
            drawn, most = (find_current_a(s, r.element, column) for s in (there, heavy))
            reach = Reach(drawn, drawn, max(drawn, most))
            yield Row("load", r.at, condition, "A", reach, 0.0, r.limit_a, r.limit, r.given, r.path)


def check_battery(loop: Loop) -> Iterator[Row]:
    """Yield the ampere-hours that standby and then alarm take out of a charged battery, by rule; no margin in it."""
    charged_v = loop.by_name["source.battery"].emf_v
    cases = [Case(battery_v=charged_v), Case(hold_alarm(list_worst_alarm(loop)), charged_v)]
    settled = settle_cases(loop, cases)
    standby_a, alarm_a = (find_current_a(settled, "lead.battery", n) for n in (0, 1))
    for rule in BACKUP_H:
        needed = find_needed_ah(standby_a, alarm_a, rule)
        yield Row(
            "battery", "battery", rule, "Ah", Reach(needed, needed, needed), 0.0, NO_CEILING, "", given=False,
            path=("panel",),
        )  # fmt: skip


def find_needed_ah(standby_a: float, alarm_a: float, rule: str) -> float:
    """Return the ampere-hours of a rule's hours of standby and then of alarm, each at its current (A); no margin."""
    standby_h, alarm_h = BACKUP_H[rule]
    return standby_a * standby_h + alarm_a * alarm_h
