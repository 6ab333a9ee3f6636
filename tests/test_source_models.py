"""A model laid over a file complains in plain words, at the line and column of the fault."""

import enum
from datetime import date
from typing import Annotated, Any, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, field_validator

from diagnostics.errors import SourceError
from diagnostics.source import (
    Amps,
    Celsius,
    Metres,
    Ohms,
    Percent,
    Seconds,
    Volts,
    Watts,
    Wire,
    parse_model,
    read_document,
)
from diagnostics.units import parse_gauge


class Colour(enum.Enum):
    """Invented words to choose from."""

    RED = "red"
    BLUE = "blue"


class Strict(BaseModel):
    """Root of the models here: unknown keys are faults."""

    model_config = ConfigDict(extra="forbid")


class Run(Strict):
    """An invented cable run."""

    kind: Literal["run"]
    length_m: Metres
    wire: Wire | None = None


class Resistor(Strict):
    """An invented resistor."""

    kind: Literal["resistor"]
    value_ohm: Ohms = Field(alias="value", gt=0)


class Knob(Strict):
    """An invented part with a key that is also the name of its kind."""

    kind: Literal["knob"]
    knob: dict[str, str] = {}
    turns: int


class Site(Strict):
    """An invented site."""

    name: str
    supply_v: Volts = 24.0
    parts: list[Annotated[Run | Resistor | Knob, Field(discriminator="kind")]] = []
    named: dict[str, Run] = {}
    colour: Colour = Colour.RED
    mode: Literal["standby", "lifted"] = "standby"
    altered: bool = False
    zones: int = Field(default=1, ge=1, le=8)
    built: date | None = None

    @field_validator("name")
    @classmethod
    def check_name(cls, name: str) -> str:
        """Refuse one invented name."""
        if name == "nowhere":
            message = "nowhere is no place"
            raise ValueError(message)
        return name


def complain(text: str) -> list[str]:
    """Return the findings of a text as lines, without the file's name."""
    with pytest.raises(SourceError) as caught:
        parse_model(read_document(text, "site.yaml"), Site)
    return [str(finding).removeprefix("site.yaml:") for finding in caught.value.findings]


def test_good_file_becomes_a_model() -> None:
    text = """
name: bakery
supply_v: 24,5 V
altered: yes
zones: 2
built: 2026-03-14
parts:
  - {kind: run, length_m: 40 ft, wire: 18 AWG}
  - {kind: resistor, value: yellow violet red gold}
"""
    site = parse_model(read_document(text, "site.yaml"), Site)
    assert (site.supply_v, site.altered, site.zones, site.built) == (24.5, True, 2, date(2026, 3, 14))
    run, resistor = site.parts
    assert isinstance(run, Run)
    assert isinstance(resistor, Resistor)
    assert run.length_m == pytest.approx(12.192)
    assert run.wire == parse_gauge("18 AWG")
    assert resistor.value_ohm == 4700


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("name: [a]", "1:7: error S003 name: text is wanted, not a list of 1"),
        ("name: {a: 1}", "1:7: error S003 name: text is wanted, not a group of keys"),
        ("name:", "1:6: error S003 name: text is wanted, not nothing"),
        ("name: nowhere", "1:7: error S007 name: nowhere is no place"),
        ("zones: 1", "1:1: error S001 'name' is missing"),
        ("", "1:1: error S003 a group of keys is wanted, not nothing"),
        ("- a", "1:1: error S003 a group of keys is wanted, not a list of 1"),
        ("name: a\nzone: 1", "2:1: error S002 unknown key 'zone'; did you mean 'zones'?"),
        ("name: a\nxyz: 1", "2:1: error S002 unknown key 'xyz'"),
        ("name: a\nzones: two", "2:8: error S003 zones: a whole number is wanted, not 'two'"),
        ("name: a\nzones: 0", "2:8: error S004 zones: must be at least 1, not '0'"),
        ("name: a\nzones: 9", "2:8: error S004 zones: must be at most 8, not '9'"),
        ("name: a\naltered: perhaps", "2:10: error S003 altered: yes or no is wanted, not 'perhaps'"),
        ("name: a\ncolour: rad", "2:9: error S005 colour: 'rad' is not known here; did you mean 'red'?"),
        ("name: a\nmode: on", "2:7: error S005 mode: 'on' is not known here; known are standby, lifted"),
        ("name: a\nbuilt: soon", "2:8: error S003 built: a date is wanted, such as 2026-03-14, not 'soon'"),
        ("name: a\nparts: x", "2:8: error S003 parts: a list is wanted, not 'x'"),
        ("name: a\nparts: [{length_m: 4}]", "2:9: error S001 'kind' is missing"),
        ("name: a\nparts: [{kind: rum}]", "2:16: error S005 kind: 'rum' is not known here; did you mean 'run'?"),
        ("name: a\nparts: [{kind: run}]", "2:9: error S001 'length_m' is missing"),
        ("name: a\nparts: [x]", "2:9: error S003 a group of keys is wanted, not 'x'"),
        (
            "name: a\nparts: [{kind: resistor, value: 0}]",
            "2:33: error S004 value: must be more than 0, not '0'",
        ),
        (
            "name: a\nparts: [{kind: resistor, value: 4k7, valve: 1}]",
            "2:38: error S002 unknown key 'valve'; did you mean 'value'?",
        ),
        (
            "name: a\nnamed: {x: {kind: run, length_m: 1, lenght_m: 2}}",
            "2:37: error S002 unknown key 'lenght_m'; did you mean 'length_m'?",
        ),
        (
            "name: a\nparts: [{kind: knob, knob: {x: y}, turns: many}]",
            "2:43: error S003 turns: a whole number is wanted, not 'many'",
        ),
        ("name: a\nnamed: {x: {kind: run}}", "2:12: error S001 'length_m' is missing"),
        (
            "name: a\nsupply_v: 5 k",
            "2:11: error S006 supply_v: '5 k' reads as kilo-ohms; volts are wanted, for example 23.9 V",
        ),
        ("name: a\nsupply_v: [1]", "2:11: error S006 supply_v: volts are wanted here; write for example 23.9 V"),
        ("name: a\nsupply_v:", "2:10: error S006 supply_v: volts are wanted here; write for example 23.9 V"),
    ],
)
def test_complaint_is_plain_and_in_its_place(text: str, line: str) -> None:
    assert complain(text) == [line]


def test_every_complaint_is_told_at_once_in_the_order_of_the_file() -> None:
    lines = complain("zones: 0\ncolour: rad\nparts:\n  - {kind: run, length_m: 5 V}\n  - {kind: resistor}\nnam: x")
    assert [line.split(" ")[0] + line.split(" ")[2] for line in lines] == [
        "1:1:S001",
        "1:8:S004",
        "2:9:S005",
        "4:27:S006",
        "5:5:S001",
        "6:1:S002",
    ]


def test_no_complaint_speaks_the_librarys_language() -> None:
    text = (
        "name: [a]\nzones: 0\naltered: x\nparts: [{kind: run, length_m: x, wire: 18}, 5]\nnamed: []\nbuilt: x\nmode: y"
    )
    for line in complain(text):
        assert not any(
            word in line for word in ("Input", "input", "pydantic", "dict", "validat", "instance", "literal")
        )


def test_part_of_a_file_is_read_where_it_stands() -> None:
    document = read_document("format: x\nsite:\n  name: bakery\n  zones: 0\n", "case.yaml")
    with pytest.raises(SourceError, match=r"case\.yaml:4:10: error S004 zones: must be at least 1"):
        parse_model(document, Site, at=("site",))


def test_part_that_is_not_there_is_a_finding() -> None:
    with pytest.raises(SourceError, match=r"case\.yaml:1:1: error S001 'site' is missing"):
        parse_model(read_document("format: x", "case.yaml"), Site, at=("site",))


FIELDS: list[tuple[Any, str, float]] = [
    (Volts, "120 mV", 0.12),
    (Amps, "0.1 mA", 1e-4),
    (Ohms, "5k6", 5600),
    (Metres, "40 ft", 12.192),
    (Seconds, "2 min", 120),
    (Watts, "250 mW", 0.25),
    (Percent, "5 %", 5),
    (Celsius, "68 °F", 20),
]


@pytest.mark.parametrize(("field", "text", "value"), FIELDS)
def test_field_takes_text_from_files_and_numbers_from_python(field: Any, text: str, value: float) -> None:  # noqa: ANN401
    adapter = TypeAdapter(field)
    assert adapter.validate_python(text) == pytest.approx(value)
    assert adapter.validate_python(value) == value
    assert adapter.validate_python(3) == 3


@pytest.mark.parametrize("value", [True, None, float("nan"), float("inf"), [], {}, "x", "OL"])
def test_field_refuses_what_is_no_quantity(value: object) -> None:
    with pytest.raises(ValueError, match=r"wanted|does not read"):
        TypeAdapter(Volts).validate_python(value)


def test_wire_field_takes_a_gauge_and_refuses_a_number() -> None:
    adapter: TypeAdapter[Any] = TypeAdapter(Wire)
    assert adapter.validate_python(parse_gauge("18 AWG")) == adapter.validate_python("18 AWG")
    with pytest.raises(ValueError, match="Gauge"):
        adapter.validate_python(18)


def test_schema_for_editors_allows_text_with_a_unit() -> None:
    schema = Site.model_json_schema()
    assert schema["properties"]["supply_v"]["type"] == ["number", "string"]
    assert schema["$defs"]["Run"]["properties"]["length_m"]["examples"] == ["25 m"]
