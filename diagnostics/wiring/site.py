"""Site files: what is installed, as people describe it (YAML, ``format: ohmward-site/1``)."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from diagnostics.errors import QuantityError
from diagnostics.source import Document, Metres, Ohms, Percent, Tree, parse_model, read_file
from diagnostics.units import parse_gauge

MOST_DETECTORS = 128


class Style(StrEnum):
    """How a loop is wired."""

    TWO_WIRE_ZONE = "two_wire_zone"
    FOUR_WIRE_ZONE = "four_wire_zone"


class Reset(StrEnum):
    """What drops the supply of the detectors when the panel is reset."""

    ZONE = "zone"
    RELAY = "relay"
    ALWAYS_ON = "always_on"


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


Gauge = Annotated[str, BeforeValidator(str), AfterValidator(_check_gauge)]
SomeOhms = Annotated[Ohms, AfterValidator(_check_positive)]
SomeMetres = Annotated[Metres, AfterValidator(_check_positive)]
Name = Annotated[str, Field(min_length=1, max_length=120)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PartSpec(_Strict):
    """A part by profile, with values of one's own."""

    profile: str
    values: dict[str, str] = {}


class DetectorSpec(_Strict):
    """One detector; ``run`` is the route length of the cable that arrives at it."""

    room: Annotated[str, Field(max_length=120)] = ""
    profile: str | None = None
    values: dict[str, str] = {}
    run: SomeMetres | None = None


class CableSpec(_Strict):
    """The cable of a loop; ``run`` is the length between neighbours where a detector does not say its own."""

    gauge: Gauge = "18 AWG"
    run: SomeMetres = 10.0
    values: dict[str, str] = {}


class EndSpec(_Strict):
    """The end resistor that belongs at the far end; ``spread`` is one standard deviation in percent."""

    resistance: SomeOhms
    spread: Percent = 1.5


class ZoneSpec(_Strict):
    """A panel zone: what it is for, and the end resistor that the panel wants to see."""

    senses: Literal["fire", "co"] = "fire"
    end_resistor: SomeOhms = 4700.0


class LoopSpec(_Strict):
    """One loop on one zone."""

    zone: str
    style: Style
    count: Annotated[int, Field(ge=1, le=MOST_DETECTORS)] | None = None
    each: DetectorSpec = DetectorSpec()
    detectors: Annotated[tuple[DetectorSpec, ...], Field(max_length=MOST_DETECTORS)] = ()
    cable: CableSpec = CableSpec()
    end_resistor: EndSpec | None = None
    end_relay: PartSpec | None = None
    reset: Reset | None = None
    reset_relay: PartSpec = PartSpec(profile="relay_24v")

    @model_validator(mode="after")
    def _check_whole(self) -> Self:
        if (self.count is None) == (not self.detectors):
            raise ValueError("give either 'count' or a list of 'detectors'")
        two_wire = self.style is Style.TWO_WIRE_ZONE
        if two_wire and self.end_relay is not None:
            raise ValueError("a two-wire zone has no power pair, so no 'end_relay' belongs on it")
        if two_wire and self.reset not in {None, Reset.ZONE}:
            raise ValueError("a two-wire zone is reset by the zone itself: leave 'reset' out or write 'zone'")
        if not two_wire and self.reset is Reset.ZONE:
            raise ValueError("four-wire detectors are not fed by the zone: write 'relay' or 'always_on'")
        return self

    @property
    def all_detectors(self) -> tuple[DetectorSpec, ...]:
        """Return the detectors one by one, in order from the panel."""
        return self.detectors or (self.each,) * (self.count or 0)


class Site(_Strict):
    """What is installed at one place."""

    format: Literal["ohmward-site/1"]
    name: Name
    note: Annotated[str, Field(max_length=2000)] = ""
    panel: PartSpec = PartSpec(profile="panel_24v")
    zones: Annotated[dict[str, ZoneSpec], Field(min_length=1, max_length=1)]
    loops: Annotated[tuple[LoopSpec, ...], Field(min_length=1, max_length=1)]

    @model_validator(mode="after")
    def _check_zones(self) -> Self:
        for loop in self.loops:
            if loop.zone not in self.zones:
                raise ValueError(f"the loop is on zone {loop.zone!r}, but the zones are {', '.join(self.zones)}")
        for name in self.zones:
            if not name.isidentifier() or not name.isascii():
                raise ValueError(f"zone name {name!r}: use letters, digits and _, for example zone1")
        return self


def parse_site(document: Document) -> Site:
    """Return the site of a document.

    Raises
    ------
    SourceError
        With every finding, each at its line and column.
    """
    return parse_model(document, Site)


def read_site(path: Path) -> Site:
    """Return the site in a file; raises SourceError with every finding."""
    return parse_site(read_file(path))


def parse_site_data(data: Tree, name: str) -> Site:
    """Return the site of plain data that no file holds (a form, a case); raises SourceError."""
    return parse_model(Document(data=data, places={}, file=name), Site)
