"""Where along a pair a short or an earth lies, in words and as JSON; and what the verdict says of it."""

from typing import Any

from diagnostics.cases import parse_meter
from diagnostics.faults import Fault
from diagnostics.readings import Meter, Spot, find_short, list_first_runs, list_runs, read_table
from diagnostics.reasoning import Diagnosis, Taken
from diagnostics.units import OVER, format_length, is_in_feet
from diagnostics.visit import Assessment
from diagnostics.wiring import Chain

from .words import Words, say

Object = dict[str, Any]


def tell_spot(spot: Spot, first: str, words: Words) -> str:
    """Return ``about 40 m (131 ft) ± 6 m (20 ft) from the panel, between detector 3 and detector 4``.

    Feet stand first where the loop's lengths were given in feet.
    """
    feet_first = any(is_in_feet(run) for chain in words.loop.chains for run in _list_given(chain))
    return say(
        "spot",
        distance=format_length(round(spot.distance_m), feet_first=feet_first),
        spread=format_length(max(round(spot.spread_m), 1), feet_first=feet_first),
        start=_name_start(first, words), one=_name_start(spot.first, words), two=words.noun(_name_end(spot.last)),
    )  # fmt: skip


def _list_given(chain: Chain) -> list[float]:
    """Return the lengths that the description of a loop gives."""
    return [chain.spec.cable.run, *(d.run for d in chain.spec.all_detectors if d.run)]


def _name_start(run: str, words: Words) -> str:
    """Return where a run begins: a detector, the module, or the panel."""
    begins = words.loop.by_name[words.loop.pairs[run][0]].a.partition(".")[0]
    at_module = begins == "module" or words.loop.by_name[words.loop.pairs[run][0]].a.startswith("field.loop")
    return words.noun("module" if at_module else begins if begins.startswith("det") else "panel")


def _name_end(run: str) -> str:
    name = run.partition(".")[0]
    return name if name.startswith(("det", "module")) else "panel"


def build_spot_object(spot: Spot, first: str, words: Words) -> Object:
    """Return a location as JSON: metres with their ± (about 95 %), the run, and the runs it could be on."""
    return {
        "from": first, "distance_m": round(spot.distance_m, 2), "spread_m": round(spot.spread_m, 2), "run": spot.run,
        "first_run": spot.first, "last_run": spot.last, "words": tell_spot(spot, first, words),
    }  # fmt: skip


def find_location(assessment: Assessment) -> tuple[Spot, str] | None:
    """Return where a short lies, and the run its pair begins with; None where it is no short, or no ohms were read.

    The likeliest suspect must be a short, the repair that is next its own, and the ohms those of its lifted pair. On a
    loop that comes home ohms from both sides name the run, better than metres from one of them would.
    """
    d, loop = assessment.diagnosis, assessment.loop
    fault = _find_short_fault(d)
    chain = loop.find_chain(fault.place.partition(".")[0]) if fault is not None else None
    if fault is None or (chain is not None and chain.back):
        return None
    for first in list_first_runs(loop):
        runs = list_runs(loop, first)
        read = [_read_pair(taken, loop.by_name[loop.pairs[first][0]].a) for taken in assessment.taken]
        ohms = [ohm for ohm in read if ohm is not None]
        if fault.place in {run.place for run in runs} and ohms:
            spot = find_short(loop, first, min(ohms), _find_meter(assessment))
            return None if spot is None else (spot, first)
    return None


def tell_location(assessment: Assessment, words: Words) -> str:
    """Return a sentence that says where along the cable a short lies, or an empty text where nothing says so."""
    found = find_location(assessment)
    return "" if found is None else f"{say('spot_lead')} {tell_spot(*found, words)}."


def _find_meter(assessment: Assessment) -> Meter:
    return parse_meter(assessment.case.meter) if assessment.case.meter else read_table().meter


def _find_short_fault(d: Diagnosis) -> Fault | None:
    leader = d.candidates[0]
    is_next = d.next_class is not None and d.next_class == leader.repair_class
    fault = leader.faults[0] if len(leader.faults) == 1 else None
    return fault if fault is not None and fault.kind == "pair_short" and is_next else None


def _read_pair(taken: Taken, start: str) -> float | None:
    """Return the ohms of a reading between the two conductors of the pair that starts at a field terminal."""
    m = taken.measurement
    name = start.removeprefix("field.").rstrip("+-")
    own = m.kind == "ohms" and {t.partition(".")[2].rstrip("+-") for t in (m.red, m.black)} == {name}
    return float(taken.value) if own and not isinstance(taken.value, str) and taken.value != OVER else None
