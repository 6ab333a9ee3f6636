"""Who asks: a technician on site, or a help desk with a caller on the phone, who can do less."""

from datetime import UTC, datetime
from typing import Final, Literal

from diagnostics.cases import Acknowledgement, Case, CaseStore
from diagnostics.circuit import STANDBY
from diagnostics.readings import Measurement, list_measurements
from diagnostics.wiring import Loop

from .marks import find_skipped

Listener = Literal["technician", "caller"]
LISTENERS: Final[tuple[Listener, ...]] = ("technician", "caller")
_ASKED: Final = "asked_of "
# What nobody is talked through by telephone: it opens, lifts, measures, tests or alters something, resets, or wants
# somebody who knows which of the boxes beside the panel is the relay.
FOR_TECHNICIANS: Final = frozenset({
    "volts", "ohms", "functional_test", "head_off", "dark_with_head_off", "known_resistor", "settings", "earth_lifted",
    "earth_opened", "ac_volts", "heads_swapped", "overnight", "listen",
})  # fmt: skip


def find_listener(case: Case) -> Listener:
    """Return who is asked in this case, as was said last; a technician where nobody said."""
    said = [a.caution.removeprefix(_ASKED) for a in case.acknowledged if a.caution.startswith(_ASKED)]
    return "caller" if said and said[-1] == "caller" else "technician"


def name_listener(listener: Listener) -> str:
    """Return the name under which it is noted who is asked."""
    return _ASKED + listener


def tell_listener(store: CaseStore, case: Case, listener: Listener) -> Case:
    """Note who is asked from now on."""
    if find_listener(case) == listener:
        return case
    given = Acknowledgement(name_listener(listener), datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def find_left_out(case: Case, loop: Loop) -> frozenset[str]:
    """Return the keys of what this visit leaves out: steps that were skipped, and those that are not for a caller."""
    skipped = find_skipped(case)
    if find_listener(case) == "technician":
        return skipped
    every = list_measurements(loop)
    return skipped | {m.key for m in every if m.kind in FOR_TECHNICIANS or _is_beyond(m)}


def _is_beyond(m: Measurement) -> bool:
    """Return whether a caller would have to climb, open a cabinet, find a detector by its cable, measure or lift.

    What is not read as the system stands, in a reset or with wires off, is for a technician, of whatever kind it is.
    """
    return m.mode != STANDBY or bool(m.unit) or m.is_sought or m.kind == "look" or "ladder" in m.tools
