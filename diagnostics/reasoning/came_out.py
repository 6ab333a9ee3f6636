"""What a meter should show of what comes out at a repair, and whether what it shows fits what had been suspected.

To measure what was taken out - the old end resistor, the joint, the length of cable, both its ends free - is common
practice, no source. It moves no belief: the complaint is gone; it tells whether the cause is known.
"""

import math
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from diagnostics.errors import QuantityError
from diagnostics.faults import ComesOut, Fault, Way, read_catalogue
from diagnostics.readings import Meter, find_limit, parse_ohms
from diagnostics.units import OVER, format_short, parse_quantity
from diagnostics.wiring import Loop

from .answer import Candidate

Fitting = Literal["fits", "does not fit", "cannot tell"]
Reason = Literal["ohms", "turned", "diode", "own volts", "elsewhere", "out of range"]
MOST_DIODE_V: Final = 10.0  # that a diode range could show; beyond it something else was typed; invented
_SDS = 2.0  # of a fault's own value that are foreseen: 95 % of it
_TEXT = re.compile(r"([^:, ]+@[^:, ]+): (?:nothing|([a-z_]+), ([^,]+), ([^,]+) to ([^,]+) ohm)")


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What one suspected fault, a kind at a place, makes a meter show of what comes out; ohms, ``math.inf`` for OL.

    ``way`` is how it is measured, None where nothing comes out that a meter could tell anything of.
    """

    fault: str
    way: Way | None = None
    about_ohm: float = math.nan
    low_ohm: float = math.nan
    high_ohm: float = math.nan

    @property
    def place(self) -> str:
        """Return the place of the fault."""
        return self.fault.partition("@")[2]

    @property
    def text(self) -> str:
        """Return it as a case keeps it: ``joint_resistive@det3.in+: along, 312, 248 to 412 ohm``."""
        if self.way is None:
            return f"{self.fault}: nothing"
        about, low, high = (_write_ohm(ohm) for ohm in (self.about_ohm, self.low_ohm, self.high_ohm))
        return f"{self.fault}: {self.way}, {about}, {low} to {high} ohm"


@dataclass(frozen=True, slots=True)
class Shown:
    """What the meter showed of what came out: ohms one way, ``math.inf`` for OL, and with the leads turned, if taken.

    ``own_v`` are volts that it showed by itself: a part that is free must not. ``diode_v`` is the lower of what the
    meter's diode range showed either way, ``math.inf`` for OL: it asks with more volts than the ohms do.
    """

    ohm: float | None = None
    turned_ohm: float | None = None
    own_v: float | None = None
    diode_v: float | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """Whether what came out fits what had been suspected, and, where it does not or cannot be told, by what."""

    fitting: Fitting
    reason: Reason | None = None


def foresee_fault(loop: Loop, fault: Fault, share: float | None = None) -> Foreseen:
    """Return what comes out under a fault, with its ohms as they stand in it.

    ``share`` is one standard deviation of these ohms as a share of them, as the readings left it; None where it is not
    at hand: that of the catalogue then.
    """
    name, out = f"{fault.kind}@{fault.place}", fault.data.out
    is_run = fault.spot.startswith("run ")
    if out is None or not (is_run or out.way == "across"):
        return Foreseen(name)
    table = read_catalogue().came_out
    if out.reads == "open":
        return Foreseen(name, out.way, OVER, table.open_ohm, OVER)
    wires_ohm = _find_wires_ohm(loop, fault)
    if out.reads == "touching":
        return Foreseen(name, out.way, wires_ohm, 0.0, wires_ohm + table.touching_ohm)
    own_ohm = _find_own_ohm(loop, fault, out)
    shares = [getattr(edit, "share", None) or 0.0 for edit in fault.build_edits(loop)]
    spread = math.exp(_SDS * (max(shares, default=0.0) if share is None else share)) * table.ways[out.way].within
    return Foreseen(name, out.way, own_ohm + wires_ohm, own_ohm / spread, own_ohm * spread + wires_ohm)


def _find_own_ohm(loop: Loop, fault: Fault, out: ComesOut) -> float:
    """Return the ohms of a fault's own, or so many times those that belong at its place."""
    if out.reads == "own":
        return fault.value_ohm or 0.0
    return out.times * (loop.by_name[loop.end_resistors[fault.place]].resistance_ohm or 0.0)


def _find_wires_ohm(loop: Loop, fault: Fault) -> float:
    """Return what the copper of the piece itself adds: the core of a place, or both cores of a pair half-way."""
    names = (f"wire.{fault.place}",) if f"wire.{fault.place}" in loop.by_name else loop.pairs.get(fault.place, ())
    return sum(loop.by_name[name].resistance_ohm or 0.0 for name in names) / max(len(names), 1)


def foresee_out(
    loop: Loop, candidates: Sequence[Candidate], repair: tuple[str, str], only: Collection[str] = ()
) -> tuple[Foreseen, ...]:
    """Return what the faults that a repair is for make a meter show of what comes out, likeliest first.

    Those far behind the likeliest are left out. ``only`` some of them: fault texts, whose ohms do not count.
    """
    parts = set(zip(repair[0].split(" + "), repair[1].split(" + "), strict=True))
    names = {name_fault(text) for text in only}
    weights: dict[str, float] = {}
    found: dict[Foreseen, float] = {}
    for candidate, fault in _list_mended(candidates, parts):
        name = f"{fault.kind}@{fault.place}"
        if names and name not in names:
            continue
        weights[name] = weights.get(name, 0.0) + candidate.probability
        foreseen = _foresee_candidate(loop, candidate, fault)
        found[foreseen] = found.get(foreseen, 0.0) + candidate.probability
    least = read_catalogue().came_out.from_share * max(weights.values(), default=0.0)
    near = [each for each, weight in found.items() if weight >= least]
    return tuple(sorted(near, key=lambda each: (-weights[each.fault], -found[each])))


def _list_mended(
    candidates: Sequence[Candidate], parts: Collection[tuple[str, str]]
) -> Iterator[tuple[Candidate, Fault]]:
    for candidate in candidates:
        for fault in candidate.faults:
            if fault.repair_class in parts:
                yield candidate, fault


def _foresee_candidate(loop: Loop, candidate: Candidate, fault: Fault) -> Foreseen:
    """Return what a candidate's fault foretells, by what the readings made of its ohms where they made anything."""
    if candidate.value_ohm is None or candidate.faults != (fault,):
        return foresee_fault(loop, fault)
    learnt = Fault(fault.kind, fault.place, candidate.value_ohm, fault.end, fault.is_sought)
    return foresee_fault(loop, learnt, candidate.value_share)


def list_asked(foreseen: Sequence[Foreseen], found: str = "") -> tuple[Foreseen, ...]:
    """Return what there is to measure, all of it one way: that of the likeliest fault, or of the one that was found.

    Empty where there is nothing to ask.
    """
    some = [each for each in foreseen if each.fault == name_fault(found)] or list(foreseen)
    way = some[0].way if some else None
    return tuple(each for each in some if way is not None and each.way == way)


def name_fault(text: str) -> str:
    """Return a fault text without its value: ``KIND@PLACE``."""
    kind, at, place = text.partition("@")
    return f"{kind.partition('=')[0]}{at}{place}"


def rate_out(foreseen: Sequence[Foreseen], shown: Shown, meter: Meter, found: str = "") -> Told | None:
    """Return whether what the meter showed fits; ``found`` is the suspected fault that was seen to be it, if said.

    None where nothing was measured, or there was nothing to ask.
    """
    asked = list_asked(foreseen, found)
    if not asked:
        return None
    if shown.own_v is not None and abs(shown.own_v) > _find_most_own_v(meter):
        return Told("does not fit", "own volts")
    if shown.ohm is None:  # volts that this meter may show at rest tell nothing
        return None
    taken = [shown.ohm, *([] if shown.turned_ohm is None else [shown.turned_ohm])]
    if reason := _find_one_way(asked, taken, shown.diode_v, meter):
        return Told("does not fit", reason)
    if any(all(_lies_in(ohm, each, meter) for ohm in taken) for each in asked):
        beyond = any(math.isinf(ohm) for ohm in taken) and all(math.isfinite(each.high_ohm) for each in asked)
        return Told("cannot tell", "out of range") if beyond else Told("fits")
    others = [] if found and asked[0].fault == name_fault(found) else [e for e in foreseen if e.way != asked[0].way]
    return Told("cannot tell", "elsewhere") if others else Told("does not fit", "ohms")


def _find_one_way(
    asked: Sequence[Foreseen], taken_ohm: Sequence[float], diode_v: float | None, meter: Meter
) -> Reason | None:
    """Return by what something passes one way, or more volts only: as no suspect does; None where it does not.

    What is open for ohms, either way, must not pass current on the diode range.
    """
    table = read_catalogue().came_out
    turned = table.ways[asked[0].way or "along"].turned
    if _differ(min(taken_ohm), max(taken_ohm), turned, meter):
        return "turned"
    is_open = min(taken_ohm) >= min(table.open_ohm, meter.ohms_over)
    return "diode" if is_open and diode_v is not None and diode_v < table.diode_open_v else None


def asks_diode(asked: Sequence[Foreseen]) -> bool:
    """Return whether something that should be open is among what is measured: more volts than for ohms may pass it."""
    return any(math.isinf(each.high_ohm) for each in asked)


def _find_most_own_v(meter: Meter) -> float:
    """Return the most volts that a part which is free may seem to show by itself."""
    return max(read_catalogue().came_out.own_v, float(find_limit(0.0, "V", meter)))


def _lies_in(ohm: float, each: Foreseen, meter: Meter) -> bool:
    """Return whether a reading is one of those foreseen, the meter's own error granted; OL is all beyond its range."""
    if math.isinf(ohm):
        return each.high_ohm >= meter.ohms_over
    error_ohm = _find_error_ohm(ohm, meter)
    low_ohm = min(each.low_ohm, meter.ohms_over)
    return low_ohm - error_ohm <= ohm <= each.high_ohm + error_ohm


def _differ(one_ohm: float, other_ohm: float, factor: float, meter: Meter) -> bool:
    """Return whether two readings with the leads turned are two things; what is open either way is not."""
    low_ohm, high_ohm = sorted((one_ohm, other_ohm))
    open_ohm = min(read_catalogue().came_out.open_ohm, meter.ohms_over)
    if low_ohm >= open_ohm or math.isinf(high_ohm):
        return low_ohm < open_ohm
    return high_ohm - low_ohm * factor > _find_error_ohm(low_ohm, meter) + _find_error_ohm(high_ohm, meter)


def _find_error_ohm(ohm: float, meter: Meter) -> float:
    return float(find_limit(ohm, "ohm", meter))


def parse_shown(text: str) -> tuple[float, Literal["V", "ohm"]]:
    """Return what was typed of what came out: ohms, ``math.inf`` for OL, or volts that it showed by itself.

    Raises
    ------
    QuantityError
        Neither, or nought volts, which is as it should be: then the ohms are wanted.
    """
    own_v = _find_volts(text)
    if own_v is None:
        return parse_ohms(text), "ohm"
    if abs(own_v) <= read_catalogue().came_out.own_v:
        hint = "that is as it should be; now the ohms, for example 312 or OL"
        raise QuantityError("it shows no volts by itself", text=text, unit="ohm", hint=hint)
    return own_v, "V"


def parse_diode(text: str) -> float:
    """Return what was typed of the diode range: volts, ``math.inf`` for OL.

    Raises
    ------
    QuantityError
        Neither, below nought, or more than such a range shows: then the hint says what may have been meant.
    """
    value = parse_quantity(text, "V", over=True)
    if value < 0:
        hint = "take the lower of the two ways, without its sign"
        raise QuantityError("a diode range shows no volts below nought", text=text, unit="V", hint=hint)
    if MOST_DIODE_V < value < OVER:
        hint = f"if the meter shows millivolts, write {text.strip()} mV"
        raise QuantityError(f"more than a diode range shows ({MOST_DIODE_V:g} V)", text=text, unit="V", hint=hint)
    return value


def is_alternating(text: str) -> bool:
    """Return whether what was typed says that it is AC: ``24 VAC``, ``230 V~``."""
    return _AC.search(text.strip()) is not None


def build_shown(values: Sequence[tuple[float | str, str]], diode_v: float | None = None) -> Shown:
    """Return what the meter showed, of values with their units: volts count alone, ohms one way and turned."""
    numbers = [(value, unit) for value, unit in values if not isinstance(value, str)]
    own_v = next((value for value, unit in numbers if unit == "V"), None)
    if own_v is not None:
        return Shown(own_v=own_v)
    one, turned, *_ = *(value for value, _ in numbers), None, None
    return Shown(one, turned, diode_v=diode_v)


def _find_volts(text: str) -> float | None:
    """Return volts where the text names them, DC or AC; None for anything else."""
    plain = _AC.sub(lambda found: found[1] or "V", text.strip())
    try:
        parse_quantity(plain, "ohm", over=True)
    except QuantityError:
        try:
            return parse_quantity(plain, "V")
        except QuantityError:
            return None
    return None


def parse_foreseen(text: str) -> Foreseen | None:
    """Return what a case keeps of what was foreseen; None for what this program does not know."""
    match = _TEXT.fullmatch(text)
    if not match:
        return None
    fault, way, *ohms = match.groups()
    if way is None:
        return Foreseen(fault)
    known: Way | None = next((w for w in get_args(Way) if w == way), None)
    try:
        about, low, high = (parse_quantity(ohm, "ohm", over=True) for ohm in ohms)
    except QuantityError:
        return None
    return Foreseen(fault, known, about, low, high) if known and 0 <= low <= about <= high else None


def _write_ohm(ohm: float) -> str:
    return _OVER if math.isinf(ohm) else format_short(float(f"{ohm:.3g}"))


_OVER: Final = "OL"
_AC: Final = re.compile(r"(?:\b|(?<=[\dmk]))(v|volts?)?\s*(?:ac|a\.c\.|~)$", re.IGNORECASE)
