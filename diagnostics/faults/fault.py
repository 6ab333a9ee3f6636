"""One fault: a kind at a place, with a value where the kind has one; as text ``KIND[=VALUE]@PLACE``."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from diagnostics.errors import FaultError, QuantityError, find_nearest
from diagnostics.units import format_short, parse_resistor
from diagnostics.wiring import Add, Edit, Edits, Hold, Loop

from .data import CONTEXTS, SIGNS, Context, KindData, Remedy, read_catalogue
from .kinds import KINDS, FaultKind

TOO_MANY_OHM = 1e9  # no fault has so many
_TEXT = re.compile(r"([a-z_]+)(?:=([^@]*))?@([A-Za-z0-9_.+-]+)")


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault that this loop can have; ``value_ohm`` is None for kinds without a value.

    ``end`` is the place of the far end of the loop that it is on. ``is_sought``: nobody knows which detector is at its
    place, as the order of the loop is not known.
    """

    kind: str
    place: str
    value_ohm: float | None = None
    end: str = "end"
    is_sought: bool = False

    @property
    def text(self) -> str:
        """Return the fault as the command line writes it."""
        value = "" if self.value_ohm is None else f"={format_short(self.value_ohm)}"
        return f"{self.kind}{value}@{self.place}"

    @property
    def data(self) -> KindData:
        """Return the catalogue entry of its kind."""
        return read_catalogue().kinds[self.kind]

    @property
    def remedy(self) -> Remedy:
        """Return what to do about it."""
        return read_catalogue().remedies[self.data.remedy]

    @property
    def ties_apart(self) -> bool:
        """Return whether it joins terminals that are far apart, or of two pairs."""
        return KINDS[self.kind].ties_apart

    @property
    def spot(self) -> str:
        """Return where a person works to mend it: a place, or ``run det3``, ``run module.fire`` for a run of cable.

        A detector that is at fault itself shows which it is, even where nobody knows the order: ``detector``.
        """
        if self.is_sought and self.data.family == "detector":
            return "detector"
        name, dot, end = self.place.partition(".")
        if not dot or self.data.family == "end_resistor":
            return self.place
        if name == "panel":
            return name
        return f"run {name}.{end.rstrip('+-')}" if name == "module" else f"run {name}"

    @property
    def repair_class(self) -> tuple[str, str]:
        """Return remedy and spot: faults that share both are mended by the same work.

        Moving an end resistor or a supervision relay ends at the far end, wherever it was found.
        """
        at_end = self.data.remedy in {"move_end_resistor", "fit_end_relay"}
        return (self.data.remedy, self.end if at_end else self.spot)

    def build_edits(self, loop: Loop) -> Edits:
        """Return what the fault does to the loop."""
        return KINDS[self.kind].build(loop, self.place, self.value_ohm or 0.0)


def list_faults(loop: Loop) -> tuple[Fault, ...]:
    """Return every single fault of the catalogue that this loop can have."""
    return tuple(
        Fault(kind.name, place, ohm, _find_far_end(loop, place), _is_sought(loop, place))
        for kind in KINDS.values()
        for place in kind.places(loop)
        for ohm in _list_values(loop, kind, place)
    )


def _find_far_end(loop: Loop, place: str) -> str:
    chain = loop.find_chain(place) or loop.find_chain(place.partition(".")[0]) or loop.chains[0]
    return chain.end


def _is_sought(loop: Loop, place: str) -> bool:
    detector, chain = loop.find_detector(place.partition(".")[0]), loop.find_chain(place.partition(".")[0])
    return detector is not None and chain is not None and not chain.has_order and not detector.label


def _list_values(loop: Loop, kind: FaultKind, place: str) -> Sequence[float | None]:
    """Return the values that a kind is tried with; an end resistor of the right value is no fault."""
    if not kind.values:
        return (None,)
    ohms: Sequence[float] = getattr(read_catalogue().values, kind.values)
    right_ohm = loop.by_name[loop.end_resistors[place]].resistance_ohm if place in loop.end_resistors else None
    return [ohm for ohm in ohms if right_ohm is None or abs(ohm / right_ohm - 1) > 0.05]


def find_touched(loop: Loop, fault: Fault) -> frozenset[str]:
    """Return the names of the elements and signals that a fault edits; two faults that share one do not go together."""
    return name_edits(fault.build_edits(loop))


def name_edits(edits: Edits) -> frozenset[str]:
    """Return the names of the elements and signals that are edited."""
    return frozenset(_name_edit(edit) for edit in edits)


def _name_edit(edit: Edit) -> str:
    match edit:
        case Add(element):
            return element.name
        case Hold(signal):
            return signal
        case _:
            return edit.element


def find_removed(loop: Loop, faults: Sequence[Fault]) -> dict[str, Fault]:
    """Return the parts that are not there under some faults, by the name that their terminals begin with."""
    chains = ((fault, loop.find_chain(fault.place)) for fault in faults if fault.data.removes == "end_relay")
    return {chain.end_relay: fault for fault, chain in chains if chain is not None}


def parse_fault(text: str, loop: Loop) -> Fault:
    """Return the fault that a text names in this loop.

    Raises
    ------
    FaultError
        No such kind or place, or a value where none belongs; the hint says what there is.
    """
    found = _TEXT.fullmatch(text.strip())
    if not found:
        raise FaultError(f"cannot read the fault {text[:80]!r}", text=text, hint="write KIND@PLACE or KIND=VALUE@PLACE")
    name, value, place = found.groups()
    if name not in KINDS:
        near = find_nearest(name, KINDS)
        raise FaultError(
            f"no fault kind {name!r}", text=text, hint=f"did you mean {near!r}?" if near else "see: ohmward list kinds"
        )
    kind = KINDS[name]
    places = kind.places(loop)
    if place not in places:
        near = find_nearest(place, places)
        hint = (
            f"did you mean {near!r}?"
            if near
            else (f"it can be at {', '.join(places[:8])}" if places else "this loop cannot have it")
        )
        raise FaultError(f"{name} cannot be at {place!r}", text=text, hint=hint)
    ohm = _parse_value(text, name, value, takes=bool(kind.values))
    return Fault(name, place, ohm, _find_far_end(loop, place), _is_sought(loop, place))


def _parse_value(text: str, name: str, value: str | None, *, takes: bool) -> float | None:
    if not takes and value is None:
        return None
    if not takes:
        raise FaultError(f"{name} takes no value", text=text, hint=f"write {name}@PLACE")
    if value is None:
        raise FaultError(f"{name} needs a value in ohms", text=text, hint=f"write {name}=4k7@PLACE")
    try:
        ohm = parse_resistor(value)
    except QuantityError as error:
        raise FaultError(f"{name}: {error}", text=text, hint=f"write {name}=4k7@PLACE") from error
    if not 0 < ohm < TOO_MANY_OHM:
        raise FaultError(f"{name}: the value must lie above 0 Ω and below 1 GΩ", text=text)
    return ohm


def parse_faults(text: str, loop: Loop) -> tuple[Fault, ...]:
    """Return several faults, separated by commas; an empty text or ``healthy`` is none."""
    if text.strip() in {"", "healthy"}:
        return ()
    return tuple(parse_fault(part, loop) for part in text.split(","))


def build_all_edits(loop: Loop, faults: Sequence[Fault]) -> Edits:
    """Return the edits of several faults together."""
    return tuple(edit for fault in faults for edit in fault.build_edits(loop))


def weigh_faults(faults: Sequence[Fault], contexts: Sequence[Context]) -> tuple[float, ...]:
    """Return the prior weight of each fault: its kind's weight in this context, spread over its places and values.

    Of several pasts the mean counts; each sign shifts what it speaks for.
    """
    counts: dict[str, int] = {}
    for fault in faults:
        counts[fault.kind] = counts.get(fault.kind, 0) + 1
    pasts = [c for c in contexts if c in CONTEXTS] or CONTEXTS
    told = [read_catalogue().signs[c] for c in contexts if c in SIGNS]
    found = []
    for f in faults:
        weight = sum(f.data.weights[c] for c in pasts) / len(pasts) / counts[f.kind]
        for factors in told:
            weight *= factors.get(f.kind, factors.get(f.data.family, 1.0))
        found.append(weight)
    return tuple(found)
