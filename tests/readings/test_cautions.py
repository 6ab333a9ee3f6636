"""Caution × kind of step: nothing is offered without the cautions of its own (design page, sections 5 and 10).

The cautions are those of the design page: outputs and people before anything that can make an alarm (functional test,
lifting a zone, power-up, a head off), evidence before anything that wipes it (reset, power-down), and so on.
"""

import pytest

from diagnostics.circuit import parse_mode
from diagnostics.errors import FaultError
from diagnostics.faults import list_faults
from diagnostics.readings import (
    Measurement,
    is_offered,
    list_measurements,
    list_mode_measurements,
    parse_measurement,
    read_table,
)
from diagnostics.reports import Words, read_words
from diagnostics.wiring import EARTH, Loop
from tests.wiring.quick import wire_quick

LOOPS = {
    "two-wire": wire_quick("two_wire_zone", 4),
    "four-wire": wire_quick("four_wire_zone", 4),
    "four-wire, no end relay": wire_quick("four_wire_zone", 4, "relay", "no"),
    "four-wire, always on": wire_quick("four_wire_zone", 4, "always_on", "yes"),
    "one detector": wire_quick("two_wire_zone", 1),
    "class A": wire_quick("class_a_zone", 3),
    "module, two-wire": wire_quick("module_two_wire", 3),
    "module, four-wire": wire_quick("module_four_wire", 3),
}
ALARMS = {"outputs", "tell_people"}
WIPES = {"evidence_first"}
LIFTS = {"out_of_service", "put_back"}
CABINET = {"live_cabinet"}
# Kind of step → its cautions wherever it is done; a kind that is not here is a failure.
NEEDS = {
    "panel_shows": WIPES,
    "volts": set(),
    "ohms": ALARMS | WIPES | LIFTS | CABINET | {"before_ohms"},
    "lamp": set(),
    "which_dark": set(),
    "which_lit": WIPES,
    "how_many_dark": set(),
    "how_many_lit": WIPES,
    "functional_test": ALARMS | WIPES,
    "head_off": ALARMS | LIFTS,
    "dark_with_head_off": ALARMS | LIFTS,
    "heads_swapped": ALARMS | WIPES | LIFTS,
    "known_resistor": ALARMS | WIPES | LIFTS | CABINET,
    "listen": set(),
    "look": set(),
    "settings": WIPES,
    "supply_lamps": WIPES,
    "event_log": WIPES,
    "overnight": CABINET | {"meter_left", "put_back"},
    "earth_lamp": WIPES,
    "earth_lifted": ALARMS | WIPES | LIFTS | CABINET,
    "earth_opened": ALARMS | WIPES | LIFTS,
    "ac_volts": CABINET | {"foreign_volts"},
}
FROM_THE_FLOOR = {"lamp", "which_dark", "which_lit", "how_many_dark", "how_many_lit"}
INTO_THE_CABINET = {"volts", "ohms", "known_resistor", "look"}
EVERY = [(name, m) for name, loop in LOOPS.items() for m in list_measurements(loop)]


@pytest.mark.parametrize(("name", "m"), EVERY, ids=lambda x: x.key if isinstance(x, Measurement) else x)
def test_step_brings_the_cautions_of_its_kind_and_place(name: str, m: Measurement) -> None:
    needed = set(NEEDS[m.kind])
    if m.mode.word == "during_reset":
        needed |= ALARMS | WIPES
    if m.mode.word in {"pair_lifted", "known_resistor"}:
        needed |= ALARMS | WIPES | LIFTS | CABINET
    if m.mode.word == "opened":
        needed |= ALARMS | WIPES | LIFTS
    if m.mode.word in {"return_lifted", "cut_off"}:
        needed |= ALARMS | WIPES | LIFTS | CABINET
    if m.mode.word == "on_battery":
        needed |= ALARMS | {"put_back"}
    if m.place == "panel" and m.kind in INTO_THE_CABINET:
        needed |= CABINET
    if m.place != "panel" and m.kind not in FROM_THE_FLOOR:
        needed |= {"ladder"}
    assert needed <= set(m.cautions), f"{name}: {m.key} lacks {needed - set(m.cautions)}"
    assert len(m.cautions) == len(set(m.cautions))


def test_table_holds_every_kind_of_step() -> None:
    assert NEEDS.keys() == read_table().kinds.keys()


@pytest.mark.parametrize(("name", "m"), EVERY, ids=lambda x: x.key if isinstance(x, Measurement) else x)
def test_every_caution_and_every_step_has_its_words(name: str, m: Measurement) -> None:
    words = Words(LOOPS[name])
    for caution in m.cautions:
        assert len(words.caution(caution)) > 20
        assert caution in read_words().caution_titles
    assert words.ask(m)[-1] in ".?"


@pytest.mark.parametrize("name", LOOPS)
def test_step_off_the_floor_needs_a_ladder(name: str) -> None:
    for m in list_measurements(LOOPS[name]):
        off_the_floor = m.place != "panel" and m.kind not in FROM_THE_FLOOR
        assert ("ladder" in m.tools) == off_the_floor
        assert ("ladder" in m.cautions) == off_the_floor
        assert is_offered(m, frozenset({"meter", "tester", "resistor"})) != off_the_floor


def list_ohms(loop: Loop) -> list[Measurement]:
    return [m for m in list_measurements(loop) if m.kind == "ohms"]


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        ("two-wire", "lifted"),
        ("four-wire", "lifted_supply_on"),
        ("four-wire, no end relay", "lifted"),
        ("four-wire, always on", "lifted_supply_on"),
    ],
)
def test_ohms_are_taken_with_the_panel_down_unless_an_end_relay_must_hold_its_contact(name: str, mode: str) -> None:
    between = [m for m in list_ohms(LOOPS[name]) if m.black != EARTH]
    assert {m.mode.text for m in between} == {mode}
    assert {(m.red, m.black) for m in between} == {
        ("panel.zone1+", "panel.zone1-"),
        ("panel.zone1-", "panel.zone1+"),
    }


@pytest.mark.parametrize("name", LOOPS)
def test_ohms_to_earth_are_taken_with_panel_and_battery_off_always(name: str) -> None:
    to_earth = [m for m in list_ohms(LOOPS[name]) if m.black == EARTH]
    assert len(to_earth) >= 2
    assert {m.mode.text for m in to_earth} == {"lifted"}


@pytest.mark.parametrize("name", LOOPS)
@pytest.mark.parametrize("mode", ["standby", "alarm:det1", "during_reset", "after_reset:det1", "head_off:det1"])
def test_ohms_are_never_predicted_nor_taken_on_a_fed_pair(name: str, mode: str) -> None:
    loop = LOOPS[name]
    assert all(m.kind == "volts" for m in list_mode_measurements(loop, parse_mode(mode, loop)))
    with pytest.raises(FaultError, match="is not a measurement of this loop"):
        parse_measurement("ohms", loop, {"red": "panel.zone1+", "black": "panel.zone1-", "mode": mode})


def test_ohms_of_the_fed_power_pair_are_no_measurement() -> None:
    for red, black in (("panel.aux+", "panel.aux-"), ("det1.in+", "det1.in-"), ("endrelay.coil+", "endrelay.coil-")):
        with pytest.raises(FaultError):
            parse_measurement("ohms", LOOPS["four-wire"], {"red": red, "black": black})


def test_currents_and_insulation_testers_are_never_offered() -> None:
    assert not {m.kind for loop in LOOPS.values() for m in list_measurements(loop)} & {
        "amperes",
        "current",
        "insulation",
    }


@pytest.mark.parametrize(
    ("kind", "least_s"),
    [
        ("panel_shows", 200),
        ("head_off", 200),
        ("known_resistor", 200),
        ("lamp", 60),
        ("which_dark", 60),
        ("dark_with_head_off", 60),
        ("functional_test", 10),
    ],
)
def test_indication_has_its_settling_time(kind: str, least_s: float) -> None:
    """Trouble may take 200 s to show or clear (design page, section 5)."""
    assert read_table().kinds[kind].settling >= least_s


def test_no_repair_is_without_words_about_tests_after_it() -> None:
    for loop in LOOPS.values():
        words = Words(loop)
        assert "test" in words.after_repair()
        assert all(words.repair(f.repair_class).endswith(".") for f in list_faults(loop))
