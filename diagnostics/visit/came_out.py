"""What came out at a repair that cured: what it should read, what it read, whether that fits; it moves no belief."""

from collections.abc import Collection
from dataclasses import replace
from typing import Final

from diagnostics.cases import Case, CaseStore, Measured, Repair, build_understood, parse_meter
from diagnostics.errors import DiagnosticsError, QuantityError
from diagnostics.faults import parse_fault
from diagnostics.readings import Meter, read_table
from diagnostics.reasoning import (
    Diagnosis,
    Foreseen,
    Shown,
    Told,
    build_shown,
    foresee_fault,
    foresee_out,
    list_asked,
    parse_diode,
    parse_foreseen,
    parse_shown,
    rate_out,
)
from diagnostics.wiring import Loop

from .assess import build_bench, split_class
from .deeds import find_repair

_MOST: Final = 40  # of what is foreseen is kept; what is left out is the least likely


def foresee_repair(loop: Loop, d: Diagnosis, repair_text: str, only: Collection[str] = ()) -> tuple[str, ...]:
    """Return what a repair's suspects make a meter show of what comes out, as a case keeps it; ``only`` these."""
    return tuple(each.text for each in foresee_out(loop, d.candidates, split_class(repair_text), only)[:_MOST])


def list_foreseen(case: Case, repair: Repair) -> tuple[Foreseen, ...]:
    """Return what was foreseen of what came out at a repair; of an earlier record by what had been suspected there."""
    if repair.foreseen:
        return tuple(each for text in repair.foreseen if (each := parse_foreseen(text)) is not None)
    loop = build_bench(case.site).loop
    return tuple(each for text in repair.suspected if (each := _foresee_text(loop, text)) is not None)


def _foresee_text(loop: Loop, text: str) -> Foreseen | None:
    """Return what a suspected fault foretells by the catalogue's own spread; None for what is no fault of this loop."""
    try:
        return foresee_fault(loop, parse_fault(text, loop)) if "@" in text else None
    except DiagnosticsError:
        return None


def list_to_measure(case: Case, repair: Repair) -> tuple[Foreseen, ...]:
    """Return what there is to measure of what came out at a repair that cured, all of it one way; empty for nothing.

    Nor is anything asked where it was seen to be something else: nobody has foreseen anything of that.
    """
    if not repair.cured or repair.saw == "other":
        return ()
    return list_asked(list_foreseen(case, repair), repair.found)


def rate_repair(case: Case, repair: Repair) -> Told | None:
    """Return whether what came out at a repair fits what had been suspected; None where that was not measured.

    Volts that it shows by itself are told whatever was seen there: they are a danger first.
    """
    if not repair.out or not (list_to_measure(case, repair) or (repair.cured and is_live(repair))):
        return None
    return rate_out(list_foreseen(case, repair), _find_shown(repair), _find_meter(case), repair.found)


def _find_shown(repair: Repair) -> Shown:
    diode = None if repair.diode is None else repair.diode.understood.number
    values = [(each.understood.number, each.understood.unit) for each in repair.out]
    return build_shown(values, diode if isinstance(diode, float) else None)


def is_live(repair: Repair) -> bool:
    """Return whether what came out was noted to show volts by itself."""
    return any(each.understood.unit == "V" for each in repair.out)


def _find_meter(case: Case) -> Meter:
    return parse_meter(case.meter) if case.meter else read_table().meter


def note_out(store: CaseStore, case: Case, number: int, one: str, turned: str = "", diode: str = "") -> Case:
    """Note what the meter showed of what came out, one way and with the leads turned; empty texts take it back.

    ``number`` of the repair counts from 0. Volts are kept alone: who reads them on a part that is free takes no ohms.
    ``diode`` is the lower of what the diode range showed either way, beside ohms.

    Raises
    ------
    QuantityError
        Neither ohms nor volts, nought volts, or what no diode range shows; nothing was stored.
    NotFoundError
        The case has no such repair.
    """
    repair = find_repair(case, number)
    typed = [text.strip() for text in (one, turned) if text.strip()]
    values = [parse_shown(text) for text in typed]
    told = zip(typed, values, strict=True)
    live = [(text, value) for text, value in zip(typed, values, strict=True) if value[1] == "V"]
    out = tuple(Measured(text, build_understood(*value)) for text, value in live[:1] or told)
    passes = _read_diode(diode.strip(), has_ohms=bool(typed)) if not live else None
    if (out, passes) == (repair.out, repair.diode):
        return case
    return store.append_repair(case.case_id, replace(repair, out=out, diode=passes), case.revision)


def _read_diode(text: str, *, has_ohms: bool) -> Measured | None:
    if not text:
        return None
    value = parse_diode(text)
    if not has_ohms:
        raise QuantityError("the ohms are wanted first", text=text, unit="ohm", hint="for example OL")
    return Measured(text, build_understood(value, "V"))
