"""Site files: what is installed, as people describe it (YAML, ``format: ohmward-site/1``)."""

from collections import Counter
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from diagnostics.errors import Finding, QuantityError, SiteError, SourceError
from diagnostics.source import Document, Metres, Ohms, Percent, Tree, TreePath, check_rules, lay_model, read_file
from diagnostics.units import format_quantity, parse_gauge

from .parts import build_part

MOST_DETECTORS = 128
MOST_ZONES = 4
MOST_LOOPS = 4
END_OHM = (100.0, 1e6)  # what an end resistor can have at all; common practice, no source, wide on purpose
UNUSED = "unused"


class Style(StrEnum):
    """How a loop is wired."""

    TWO_WIRE_ZONE = "two_wire_zone"
    FOUR_WIRE_ZONE = "four_wire_zone"
    MODULE_TWO_WIRE = "module_two_wire"
    MODULE_FOUR_WIRE = "module_four_wire"
    DRY_CONTACTS = "dry_contacts"
    CLASS_A_ZONE = "class_a_zone"

    @property
    def is_module(self) -> bool:
        """Return whether an interface module stands between loop and panel."""
        return self in {Style.MODULE_TWO_WIRE, Style.MODULE_FOUR_WIRE}

    @property
    def is_two_wire(self) -> bool:
        """Return whether the detectors are fed by the pair that they report on."""
        return self in {Style.TWO_WIRE_ZONE, Style.MODULE_TWO_WIRE, Style.CLASS_A_ZONE}

    @property
    def is_fed_by_zone(self) -> bool:
        """Return whether a panel zone feeds the detectors, which lose that when the panel resets."""
        return self in {Style.TWO_WIRE_ZONE, Style.CLASS_A_ZONE}

    @property
    def has_supply(self) -> bool:
        """Return whether detectors, or a module, have a supply beside the zone."""
        return self in {Style.FOUR_WIRE_ZONE, Style.MODULE_TWO_WIRE, Style.MODULE_FOUR_WIRE}

    @property
    def has_power_pair(self) -> bool:
        """Return whether the detectors have a power pair beside the pair that they report on."""
        return self in {Style.FOUR_WIRE_ZONE, Style.MODULE_FOUR_WIRE}


# The family that the detectors of a style must be of, and the profile that holds when none is named.
DETECTORS = {
    Style.TWO_WIRE_ZONE: ("detector_two_wire", "smoke_two_wire"),
    Style.FOUR_WIRE_ZONE: ("detector_four_wire", "smoke_four_wire"),
    Style.MODULE_TWO_WIRE: ("detector_two_wire", "smoke_two_wire"),
    Style.MODULE_FOUR_WIRE: ("detector_four_wire", "smoke_four_wire"),
    Style.DRY_CONTACTS: ("contact_device", "heat_contact"),
    Style.CLASS_A_ZONE: ("detector_two_wire", "smoke_two_wire"),
}


class Reset(StrEnum):
    """What drops the supply of the detectors when the panel is reset."""

    ZONE = "zone"
    RELAY = "relay"
    ALWAYS_ON = "always_on"
    RESETTABLE_OUTPUT = "resettable_output"
    MINUS_SWITCHED = "minus_switched"
    SEPARATE_SUPPLY = "separate_supply"


def _check_gauge(text: str) -> str:
    try:
        parse_gauge(text)
    except QuantityError as error:
        raise ValueError(str(error)) from error
    return text


def _check_positive(value: float) -> float:
    if not 0 < value < 1e9:
        raise ValueError("must be above zero and of a sensible size")
    return value


def _check_end_ohm(ohm: float) -> float:
    """Refuse what no end resistor has: 4.7 is 4.7 Ω, and whoever fits that shorts the loop."""
    low, high = END_OHM
    if low <= ohm <= high:
        return ohm
    limits = f"{format_quantity(low, 'ohm', 1)} to {format_quantity(high, 'ohm', 1)}"
    meant = next((ohm * times for times in (1e3, 1e6, 1e-3) if low <= ohm * times <= high), None)
    hint = f"; is {format_quantity(meant, 'ohm')} meant? write the unit" if meant else ""
    raise ValueError(f"{format_quantity(ohm, 'ohm')} is no end resistor, those have {limits}{hint}")


Gauge = Annotated[str, BeforeValidator(str), AfterValidator(_check_gauge)]
EndOhms = Annotated[Ohms, AfterValidator(_check_end_ohm)]
SomeMetres = Annotated[Metres, AfterValidator(_check_positive)]
Name = Annotated[str, Field(min_length=1, max_length=120)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PartSpec(_Strict):
    """A part by profile, with values of one's own, and how well those are known: one standard deviation in percent."""

    profile: str
    values: dict[str, str] = {}
    spreads: dict[str, Percent] = {}


class DetectorSpec(_Strict):
    """One detector; ``run`` is the route length of the cable that arrives at it.

    ``spur``: it hangs on a T-tap at the detector listed before it, and the loop goes on from there without it. Several
    in a row are one branch, wired on from each other.
    """

    room: Annotated[str, Field(max_length=120)] = ""
    profile: str | None = None
    values: dict[str, str] = {}
    run: SomeMetres | None = None
    spur: bool = False


class CableSpec(_Strict):
    """The cable of a loop; ``run`` is the length between neighbours where a detector does not say its own."""

    gauge: Gauge = "18 AWG"
    run: SomeMetres = 10.0
    values: dict[str, str] = {}


class EndSpec(_Strict):
    """The end resistor that belongs at the far end; ``spread`` is one standard deviation in percent."""

    resistance: EndOhms
    spread: Percent = 1.5


class ZoneSpec(_Strict):
    """A panel zone: what it is for, and the end resistor that the panel wants to see; an unused one is switched off."""

    senses: Literal["fire", "co", "unused"] = "fire"
    end_resistor: EndOhms = 4700.0


class LoopSpec(_Strict):
    """One loop: on one zone, or behind a module on one for fire and one for CO.

    Where the ``order`` is not known, detectors are places counted from the panel; a room that was found to be at one
    stands in ``places`` (number → room), and rooms in ``detectors`` are only those that there are.
    """

    zone: str
    style: Style
    count: Annotated[int, Field(ge=1, le=MOST_DETECTORS)] | None = None
    each: DetectorSpec = DetectorSpec()
    detectors: Annotated[tuple[DetectorSpec, ...], Field(max_length=MOST_DETECTORS)] = ()
    order: Literal["known", "unknown"] = "known"
    places: dict[Annotated[int, Field(ge=1, le=MOST_DETECTORS)], Name] = {}
    cable: CableSpec = CableSpec()
    back_run: SomeMetres | None = None
    end_resistor: EndSpec | None = None
    end_relay: PartSpec | None = None
    reset: Reset | None = None
    reset_relay: PartSpec = PartSpec(profile="relay_24v")
    module: PartSpec = PartSpec(profile="interface_module")
    module_run: SomeMetres = 2.0
    co_zone: str | None = None

    @model_validator(mode="after")
    def _check_whole(self, info: ValidationInfo) -> Self:
        check_rules(self._list_broken(), info)
        return self

    def _list_broken(self) -> Iterator[str]:
        """Yield each rule that the keys of a loop break together."""
        if (self.count is None) == (not self.detectors):
            yield "give either 'count' or a list of 'detectors'"
        yield from self._list_broken_order()
        if self.end_resistor is None:
            yield "say which end resistor belongs on the loop: end_resistor: {resistance: 4.7 kΩ}"
        if not self.style.has_power_pair and self.end_relay is not None:
            yield "this loop has no power pair, so no 'end_relay' belongs on it"
        if self.back_run is not None and self.style is not Style.CLASS_A_ZONE:
            yield "only a class A loop comes back to the panel: leave 'back_run' out"
        if self.co_zone is not None and not self.style.is_module:
            yield "only an interface module reports on a zone for CO beside that for fire: leave 'co_zone' out"
        if not self.style.has_supply and self.reset not in {None, Reset.ZONE}:
            yield "such a loop is reset by the zone itself: leave 'reset' out or write 'zone'"
        if self.style.has_supply and self.reset is Reset.ZONE:
            yield "four-wire detectors and modules are not fed by the zone: write 'relay' or 'always_on'"

    def _list_broken_order(self) -> Iterator[str]:
        if self.places and self.order == "known":
            yield "'places' belongs to a loop whose order is not known: name the rooms in 'detectors'"
        if self.each.spur or (self.detectors and (self.detectors[0].spur or self.detectors[-1].spur)):
            yield (
                "a 'spur' hangs between the first and the last detector of the loop: list it after the detector at "
                "which it is tapped, and the one at the end resistor last"
            )
        if self.order == "unknown" and any(d.profile or d.values or d.run or d.spur for d in self.detectors):
            yield "where the order is not known, what is said of the detectors must hold for 'each'"
        if (self.count or self.detectors) and max(self.places, default=0) > (self.count or len(self.detectors)):
            yield "'places' names a detector beyond the last"

    @property
    def rooms_left(self) -> tuple[str, ...]:
        """Return the rooms whose detector has not been found along the loop yet."""
        left = [d.room for d in self.detectors if d.room and self.order == "unknown"]
        for room in self.places.values():
            if room in left:
                left.remove(room)
        return tuple(left)

    @property
    def all_detectors(self) -> tuple[DetectorSpec, ...]:
        """Return the detectors one by one, in order from the panel; what one does not say holds as for each.

        Where ``each`` names a profile, its values belong to that: a detector of another profile does not take them.
        """
        if self.order == "unknown":
            some = range(1, (self.count or len(self.detectors)) + 1)
            return tuple(self.each.model_copy(update={"room": self.places.get(n, "")}) for n in some)
        return tuple(self._fill(d) for d in self.detectors) or (self.each,) * (self.count or 0)

    def _fill(self, own: DetectorSpec) -> DetectorSpec:
        each = self.each
        values = each.values if None in {own.profile, each.profile} or own.profile == each.profile else {}
        told = {"profile": own.profile or each.profile, "run": own.run or each.run, "values": values | own.values}
        return own.model_copy(update=told)


class Site(_Strict):
    """What is installed at one place."""

    format: Literal["ohmward-site/1"]
    name: Name
    note: Annotated[str, Field(max_length=2000)] = ""
    panel: PartSpec = PartSpec(profile="panel_24v")
    zones: Annotated[dict[str, ZoneSpec], Field(min_length=1, max_length=MOST_ZONES)]
    loops: Annotated[tuple[LoopSpec, ...], Field(max_length=MOST_LOOPS)]

    @field_validator("zones")
    @classmethod
    def _check_names(cls, zones: dict[str, ZoneSpec]) -> dict[str, ZoneSpec]:
        for name in zones:
            if not name.isidentifier() or not name.isascii():
                raise ValueError(f"zone name {name!r}: use letters, digits and _, for example zone1")
        return zones

    @field_validator("loops")
    @classmethod
    def _check_loops(cls, loops: tuple[LoopSpec, ...], told: ValidationInfo) -> tuple[LoopSpec, ...]:
        if not loops:  # min_length would also count an entry that has complaints of its own as missing
            raise ValueError("a loop is wanted")
        zones: dict[str, ZoneSpec] = told.data.get("zones", {})
        alone = (rule for loop in loops for rule in _list_broken_zones(loop, zones))
        check_rules(dict.fromkeys((*alone, *_list_broken_together(loops))), told)
        return loops

    @property
    def detector_count(self) -> int:
        """Return how many detectors there are on all loops together."""
        return sum(len(loop.all_detectors) for loop in self.loops)


def _list_broken_zones(loop: LoopSpec, zones: dict[str, ZoneSpec]) -> Iterator[str]:
    """Yield each rule that a loop and the zones it reports on break; ``zones`` is empty where they have faults."""
    for zone in (loop.zone, loop.co_zone):
        if zones and zone is not None and zone not in zones:
            yield f"the loop is on zone {zone!r}, but the zones are {', '.join(zones)}"
        if zone in zones and zones[zone].senses == UNUSED:
            yield f"the loop is on zone {zone!r}, which is said to be unused: write what it senses"
    if loop.zone == loop.co_zone:
        yield "fire and CO report on zones of their own: 'zone' and 'co_zone' must differ"
    elif loop.co_zone in zones and zones[loop.co_zone].senses == "fire":
        yield f"{loop.co_zone!r} is the CO zone of the loop: write 'senses: co' for it"


def _list_broken_together(loops: tuple[LoopSpec, ...]) -> Iterator[str]:
    """Yield each rule that loops break which cannot stand beside each other."""
    counts = Counter(zone for loop in loops for zone in {loop.zone, loop.co_zone} if zone is not None)
    for zone in (z for z, count in counts.items() if count > 1):
        yield f"zone {zone!r} has two loops: each loop is on a zone of its own"
    if sum(loop.style.is_module for loop in loops) > 1:
        yield "two modules on one panel are not described yet: one site file for each"
    fed = [loop for loop in loops if loop.style.has_supply]
    if len({(loop.reset or Reset.RELAY, loop.reset_relay.model_dump_json()) for loop in fed}) > 1:
        yield "loops of one site share their supply: write the same 'reset' and 'reset_relay' for each"
    count = sum(len(loop.all_detectors) for loop in loops)
    if count > MOST_DETECTORS:
        yield f"{count} detectors on all loops together: {MOST_DETECTORS} at most"


def parse_site(document: Document) -> Site:
    """Return the site of a document.

    Raises
    ------
    SourceError
        With every finding, each at its line and column; S020 is a part that is not known or has a value it cannot have.
    """
    laid = lay_model(document, Site)
    parts = _list_parts(laid.model) if laid.model else ()
    findings = [*laid.findings, *(f for path, family, part in parts for f in _check_part(document, path, family, part))]
    if findings or laid.model is None:
        raise SourceError(findings)
    return laid.model


def _list_parts(site: Site) -> Iterator[tuple[TreePath, str, PartSpec]]:
    """Yield each part that a site names, with its path and the family it must be of."""
    yield ("panel",), "panel", site.panel
    for n, loop in enumerate(site.loops):
        at: TreePath = ("loops", n)
        family, profile = DETECTORS[loop.style]
        own: dict[TreePath, DetectorSpec] = {(*at, "each"): loop.each}
        own |= {(*at, "detectors", m): d for m, d in enumerate(loop.detectors)}
        for path, d in own.items():
            yield path, family, PartSpec(profile=d.profile or loop.each.profile or profile, values=d.values)
        yield (*at, "cable"), "cable", PartSpec(profile="cable_pair", values=loop.cable.values)
        yield (*at, "reset_relay"), "reset_relay", loop.reset_relay
        yield (*at, "module"), "module", loop.module
        if loop.end_relay is not None:
            yield (*at, "end_relay"), "end_relay", loop.end_relay


def _check_part(document: Document, path: TreePath, family: str, part: PartSpec) -> Iterator[Finding]:
    try:
        build_part(part.profile, {}, family)
    except SiteError as error:
        yield _find_part(document, (*path, "profile"), error)
        return
    for name, text in part.values.items():
        try:
            build_part(part.profile, {name: text}, family)
        except SiteError as error:
            yield _find_part(document, (*path, "values", name), error)
    for name, percent in part.spreads.items():
        try:
            build_part(part.profile, {}, family, {name: percent})
        except SiteError as error:
            yield _find_part(document, (*path, "spreads", name), error)


def _find_part(document: Document, path: TreePath, error: SiteError) -> Finding:
    places = (document.places.get(path[:end]) for end in range(len(path), 0, -1))
    line, column = next((place for place in places if place), (1, 1))
    return Finding(document.file, line, column, "S020", "error", error.message, error.hint)


def read_site(path: Path) -> Site:
    """Return the site in a file; raises SourceError with every finding."""
    return parse_site(read_file(path))


def parse_site_data(data: Tree, name: str) -> Site:
    """Return the site of plain data that no file holds (a form, a case); raises SourceError with every place 1:1."""
    return parse_site(Document(data=data, places=dict.fromkeys(_list_paths(data), (1, 1)), file=name))


def _list_paths(data: Tree, path: TreePath = ()) -> Iterator[TreePath]:
    yield path
    parts = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in parts:
        yield from _list_paths(value, (*path, key))
