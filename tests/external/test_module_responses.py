"""Modules, their loops and outputs, two zones, settings: what the panel shows, and the values that give a fault away.

Sources, by tag of each row:

* ``class B``: NFPA 72, performance of class B paths (2010 edition onward, chapter 12): a single open is a trouble and
  operation stops past it; style B of the older tables: a wire-to-wire short is an alarm. The class text was seen in
  secondary texts, the style table is from memory. The module watches its loop as a panel does.
* ``derived``: the project's own table of consequences, reasoned at the terminals with Ohm's law and invented round
  values (module's loop 20 V behind 1 kΩ with 3.3 kΩ on it, 0.1 mA a two-wire detector, a clamp of 5 V behind 100 Ω;
  zone 24 V behind 1 kΩ with 4.7 kΩ at the module). Windows and part values are invented.
* ``practice``: common practice, no source.

Bench M has a two-wire loop (det3 and det5 sense CO), bench N a four-wire loop (det2 and det4 sense CO), bench F is a
four-wire zone without a module. Zone 1 is for fire, zone 2 for CO.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from diagnostics.units import OVER
from tests.external.module_world import CO, FIRE, NORMAL, TROUBLE, F, M, N, Row, check_row, find_shown, predict
from tests.wiring.benches import Bench

FIRE_ALARM, CO_ALARM = "alarm normal", "normal alarm"
CONDUCTS = replace(M, values=("reversed=conducts",))
MANY = replace(M, kinds=("smoke",) * 25)
# Which detector of a bench senses what, and which of its conductors carries the report.
SMOKE, GAS = {M: "det2", N: "det1"}, {M: "det3", N: "det2"}


def each_module(*told: tuple[str, str, str, str, str]) -> list[Row]:
    """Return rows that hold for both modules; ``{smoke}`` and ``{gas}`` stand for a detector of that kind."""
    return [
        Row(source, b, fault, panel, dark, mode.format(smoke=SMOKE[b], gas=GAS[b]))
        for source, fault, panel, dark, mode in told
        for b in (M, N)
    ]


def each_bench(*told: tuple[str, str, str, str]) -> list[Row]:
    """Return rows that hold for every bench; on that without a module only the first zone is there."""
    smoke = {**SMOKE, F: "det2"}
    return [
        Row(source, b, fault, panel if b.is_module else panel.split()[0], mode=mode.format(smoke=smoke[b]))
        for source, fault, panel, mode in told
        for b in (M, N, F)
    ]


# The loop that the module watches.
TWO_WIRE_ROWS = [
    Row("class B: healthy", M, "healthy", NORMAL, "none"),
    Row("class B: single open, plus", M, "conductor_open@det3.in+", TROUBLE, "det3 det4 det5"),
    Row("class B: single open, minus", M, "conductor_open@det1.in-", TROUBLE, "all"),
    Row("class B: operation stops past it", M, "conductor_open@det3.in+", TROUBLE, mode="alarm:det4"),
    Row("class B: operation goes on before it", M, "conductor_open@det3.in+", FIRE_ALARM, mode="alarm:det2"),
    Row("class B: head off", M, "head_off@det4", TROUBLE, "det4 det5"),
    Row("class B: end resistor missing", M, "end_resistor_missing@end", TROUBLE, "none"),
    Row("derived: 25 detectors hide it", MANY, "end_resistor_missing@end", NORMAL, "none"),
    Row("style B, from memory: short, no label", M, "pair_short@det4.in", FIRE_ALARM, "all"),
    Row("derived: the panel's resistor on the loop", M, "end_resistor_wrong=4k7@end", NORMAL, "none"),
    Row("derived: two in parallel", M, "end_resistor_twice@end", NORMAL, "none"),
    Row("derived: far too low, no label", M, "end_resistor_wrong=470@end", FIRE_ALARM),
    Row("derived: far too high", M, "end_resistor_wrong=47k@end", TROUBLE, "none"),
    Row("derived: wet leak", M, "leak=1k@det2.in", TROUBLE),
    Row("derived: wet leak", M, "leak=300@det2.in", FIRE_ALARM),
    Row("derived: joint, standby", M, "joint_resistive=300@det2.in+", NORMAL, "none"),
    Row("derived: joint, alarm before it", M, "joint_resistive=300@det2.in+", FIRE_ALARM, mode="alarm:det1"),
    Row("derived: joint, alarm beyond stops high", M, "joint_resistive=300@det2.in+", TROUBLE, mode="alarm:det5"),
    Row("derived: reversed, blocks", M, "polarity_reversed@det3", NORMAL, "det3 det4 det5"),
    Row("derived: reversed at the source", M, "polarity_reversed@module.loop", NORMAL, "all"),
    Row("derived: reversed, conducts", CONDUCTS, "polarity_reversed@det3", FIRE_ALARM, "all"),
    Row("derived: reversed, conducts", CONDUCTS, "polarity_reversed@module.loop", FIRE_ALARM, "all"),
    Row("practice: resistor before the end", M, "end_resistor_before_end@det2", NORMAL, "none"),
    Row("practice: head off beyond it", M, "end_resistor_before_end@det2", NORMAL, mode="head_off:det4"),
    Row("practice: resistor at the module", M, "end_resistor_before_end@module", NORMAL, mode="head_off:det1"),
    Row("practice: on + in of the last", M, "end_resistor_on_in@end", NORMAL, "det5", "head_off:det5"),
    Row("derived: label of the latched", M, "healthy", CO_ALARM, mode="alarm:det5"),
]
FOUR_WIRE_ROWS = [
    Row("class B: healthy", N, "healthy", NORMAL, "none"),
    Row("class B: single open, fire pair", N, "conductor_open@det3.in_a", TROUBLE, "none"),
    Row("class B: single open, CO pair", N, "conductor_open@det4.in_b", TROUBLE, "none"),
    Row("class B: operation stops past it", N, "conductor_open@det3.in_a", TROUBLE, mode="alarm:det3"),
    Row("class B: operation goes on before it", N, "conductor_open@det3.in_a", FIRE_ALARM, mode="alarm:det1"),
    Row("class B: and on the other pair", N, "conductor_open@det3.in_a", "trouble alarm", mode="alarm:det4"),
    Row("class B: and on the other pair", N, "conductor_open@det4.in_b", "alarm trouble", mode="alarm:det1"),
    Row("class B: end resistor missing", N, "end_resistor_missing@end_fire", TROUBLE, "none"),
    Row("class B: end resistor missing", N, "end_resistor_missing@end_co", TROUBLE, "none"),
    Row("style B, from memory: short, fire pair", N, "pair_short@det1.in_contact", FIRE_ALARM, "none"),
    Row("style B, from memory: short, CO pair", N, "pair_short@det4.in_contact", CO_ALARM, "none"),
    Row("derived: the panel's resistor on the loop", N, "end_resistor_wrong=4k7@end_fire", NORMAL, "none"),
    Row("derived: two in parallel", N, "end_resistor_twice@end_co", NORMAL, "none"),
    Row("derived: far too low", N, "end_resistor_wrong=470@end_fire", FIRE_ALARM, "none"),
    Row("derived: far too low", N, "end_resistor_wrong=470@end_co", CO_ALARM, "none"),
    Row("derived: far too high", N, "end_resistor_wrong=47k@end_co", TROUBLE, "none"),
    Row("derived: wet leak", N, "leak=1k@det2.in_contact", TROUBLE, "none"),
    Row("derived: wet leak", N, "leak=300@det2.in_contact", CO_ALARM, "none"),
    Row("derived: joint inside the window", N, "joint_resistive=300@det1.in_a", NORMAL, "none"),
    Row("derived: joint outside the window", N, "joint_resistive=10k@det1.in_a", TROUBLE, "none"),
    Row("practice: resistor before the end", N, "end_resistor_before_end@det1", NORMAL, "none"),
    Row("practice: pairs exchanged, standby", N, "pairs_exchanged@module.loop", NORMAL, "none"),
    Row("practice: pairs exchanged, smoke shows CO", N, "pairs_exchanged@module.loop", CO_ALARM, "?", "alarm:det1"),
    Row("practice: pairs exchanged, CO shows fire", N, "pairs_exchanged@module.loop", FIRE_ALARM, "?", "alarm:det2"),
]
# The outputs, the zones and the settings: the same for both modules.
BROKEN_RUN = "conductor_open@module.fire+"
OUTPUT_ROWS = each_module(
    ("derived: alarm on its own zone", "healthy", FIRE_ALARM, "?", "alarm:{smoke}"),
    ("derived: alarm on its own zone", "healthy", CO_ALARM, "?", "alarm:{gas}"),
    ("derived: panel's resistor missing", "panel_resistor_missing@module.fire", "trouble normal", "none", "standby"),
    ("derived: panel's resistor missing", "panel_resistor_missing@module.co", "normal trouble", "none", "standby"),
    ("derived: a fire still reports", "panel_resistor_missing@module.fire", FIRE_ALARM, "?", "alarm:{smoke}"),
    ("derived: CO still reports", "panel_resistor_missing@module.co", CO_ALARM, "?", "alarm:{gas}"),
    ("derived: 10 kΩ, 21.8 V", "panel_resistor_wrong=10k@module.co", "normal trouble", "none", "standby"),
    ("derived: 2.2 kΩ, 16.5 V", "panel_resistor_wrong=2k2@module.co", NORMAL, "none", "standby"),
    ("derived: 1 kΩ, 12 V", "panel_resistor_wrong=1k@module.fire", "trouble normal", "none", "standby"),
    ("derived: 470 Ω, 7.7 V", "panel_resistor_wrong=470@module.fire", FIRE_ALARM, "none", "standby"),
    ("class B: open to an output", "conductor_open@module.fire+", "trouble normal", "none", "standby"),
    ("class B: open to an output", "conductor_open@module.co-", "normal trouble", "none", "standby"),
    ("class B: operation stops past it", "conductor_open@module.fire+", "trouble normal", "?", "alarm:{smoke}"),
    ("style B, from memory: short", "pair_short@module.co", CO_ALARM, "none", "standby"),
    *[
        (f"practice: exchanged, {what}", fault, panel, "?", mode)
        for fault in ("outputs_exchanged@module", "zones_exchanged@panel", "zone_settings_exchanged@panel")
        for what, panel, mode in (
            ("standby", NORMAL, "standby"),
            ("smoke shows CO", CO_ALARM, "alarm:{smoke}"),
            ("CO shows fire", FIRE_ALARM, "alarm:{gas}"),
        )
    ],
    # The run that starts at the fire zone is broken, wherever it lands; wires exchanged at the panel start elsewhere.
    ("derived: and a break", f"outputs_exchanged@module,{BROKEN_RUN}", "trouble normal", "?", "standby"),
    ("derived: and a break", f"zones_exchanged@panel,{BROKEN_RUN}", "normal trouble", "?", "standby"),
    ("derived: and a break", f"zone_settings_exchanged@panel,{BROKEN_RUN}", "normal trouble", "?", "standby"),
    ("derived: exchanged twice", "zones_exchanged@panel,outputs_exchanged@module", FIRE_ALARM, "?", "alarm:{smoke}"),
    (
        "derived: exchanged twice",
        "zones_exchanged@panel,zone_settings_exchanged@panel",
        CO_ALARM,
        "?",
        "alarm:{gas}",
    ),
)
SETTINGS_ROWS = each_bench(
    ("practice: setting", "zone_resistor_setting@zone1", "trouble normal", "standby"),
    (
        "practice: known resistor does not cure it",
        "zone_resistor_setting@zone1",
        "trouble normal",
        "known_resistor:4k7",
    ),
    ("practice: input", "zone_input_damaged@zone1", "trouble normal", "standby"),
    ("practice: known resistor does not cure it", "zone_input_damaged@zone1", "trouble normal", "known_resistor:4k7"),
    ("practice: worn input", "zone_input_leaks=1k@zone1", "trouble normal", "standby"),
    ("practice: known resistor does not cure it", "zone_input_leaks=1k@zone1", "trouble normal", "known_resistor:4k7"),
    ("practice: worn feed", "zone_feed_resistive=3k@zone1", "trouble normal", "standby"),
    (
        "practice: known resistor does not cure it",
        "zone_feed_resistive=3k@zone1",
        "trouble normal",
        "known_resistor:4k7",
    ),
    ("practice: known resistor, healthy", "healthy", NORMAL, "known_resistor:4k7"),
    ("practice: a wrong known resistor", "healthy", TROUBLE, "known_resistor:47k"),
    ("practice: known resistor cures the field", "com_not_fed@reset", NORMAL, "known_resistor:4k7"),
    ("practice: bypassed", "zone_bypassed@zone1", NORMAL, "standby"),
    ("practice: bypassed, alarm", "zone_bypassed@zone1", NORMAL, "alarm:{smoke}"),
    ("practice: bypassed, wires lifted", "zone_bypassed@zone1", "normal trouble", "lifted_supply_on"),
    ("practice: bypassed, nothing fed", "zone_bypassed@zone1,com_not_fed@reset", "normal trouble", "standby"),
    ("class B: wires lifted", "healthy", TROUBLE, "lifted_supply_on"),
    ("practice: unsupervised, wires lifted", "zone_unsupervised@zone1", "normal trouble", "lifted_supply_on"),
    ("practice: unsupervised, alarm", "zone_unsupervised@zone1", FIRE_ALARM, "alarm:{smoke}"),
    ("practice: verification, standby", "two_detector_rule@zone1", NORMAL, "standby"),
    ("practice: verification, one short test", "two_detector_rule@zone1", NORMAL, "alarm:{smoke}"),
    ("practice: verification, wires lifted", "two_detector_rule@zone1", TROUBLE, "lifted_supply_on"),
    ("practice: kind of zone wrong", "zone_kind_wrong@zone1", "supervisory normal", "alarm:{smoke}"),
    ("practice: kind of zone wrong, standby", "zone_kind_wrong@zone1", NORMAL, "standby"),
)
MODULE_ROWS = each_module(
    ("practice: known resistor cures", "module_dead@module", NORMAL, "?", "known_resistor:4k7"),
    ("practice: known resistor cures", "panel_resistor_missing@module.co", NORMAL, "?", "known_resistor:4k7"),
    ("practice: CO zone's own setting", "zone_resistor_setting@zone2", "normal trouble", "none", "standby"),
    ("practice: CO zone bypassed", "zone_bypassed@zone2", NORMAL, "?", "alarm:{gas}"),
    ("practice: the other zone is not", "zone_bypassed@zone2", FIRE_ALARM, "?", "alarm:{smoke}"),
    ("practice: verification on CO", "two_detector_rule@zone2", NORMAL, "?", "alarm:{gas}"),
)
ROWS = [*TWO_WIRE_ROWS, *FOUR_WIRE_ROWS, *OUTPUT_ROWS, *SETTINGS_ROWS, *MODULE_ROWS]


@pytest.mark.parametrize("expected", ROWS, ids=lambda r: r.title)
def test_each_zone_and_every_lamp(expected: Row) -> None:
    check_row(expected)


@dataclass(frozen=True, slots=True)
class Value:
    """A value that gives a fault away: between two terminals, in volts or ohms; its source is told as in a row."""

    source: str
    bench: Bench
    fault: str
    leads: tuple[str, str]
    value: float
    within: float
    mode: str = "standby"


LOOP = ("module.loop+", "module.loop-")
FIRE_PAIR, CO_PAIR = (("module.loop_fire+", "module.loop_fire-"), ("module.loop_co+", "module.loop_co-"))
DET3 = ("det3.in+", "det3.in-")
VALUES = [
    # (20 V - n · 0.1 V) / (1 + 1 kΩ / R): 3.3 kΩ, none, 4.7 kΩ, two in parallel, two in series.
    Value("derived: healthy", M, "healthy", LOOP, 14.97, 0.03),
    Value("derived: missing", M, "end_resistor_missing@end", LOOP, 19.5, 0.02),
    Value("derived: 25 detectors hide it", MANY, "end_resistor_missing@end", LOOP, 17.5, 0.05),
    Value("derived: the panel's resistor", M, "end_resistor_wrong=4k7@end", LOOP, 16.08, 0.03),
    Value("derived: two in parallel", M, "end_resistor_twice@end", LOOP, 12.14, 0.04),
    Value("derived: two in series", M, "end_resistor_in_series@end", LOOP, 16.93, 0.03),
    Value("derived: joint", M, "joint_resistive=300@det2.in+", LOOP, 15.29, 0.03),
    Value("derived: alarm", M, "healthy", LOOP, 6.24, 0.05, "alarm:det5"),
    Value("derived: alarm beyond a joint stops high", M, "joint_resistive=300@det2.in+", LOOP, 9.15, 0.1, "alarm:det5"),
    Value("derived: reversed at det3, two left", M, "polarity_reversed@det3", LOOP, 15.20, 0.02),
    Value("practice: the sign counts", M, "polarity_reversed@det3", DET3, -15.2, 0.1),
    Value("derived: reversed at the source", M, "polarity_reversed@module.loop", LOOP, 15.35, 0.02),
    Value("practice: the sign counts", M, "polarity_reversed@module.loop", DET3, -15.35, 0.1),
    Value("derived: reversed, conducts", CONDUCTS, "polarity_reversed@module.loop", LOOP, 0.71, 0.05),
    Value("derived: beyond an open", M, "conductor_open@det3.in-", DET3, 0.0, 0.01),
    Value("derived: short, the whole loop dark", M, "pair_short@det5.in", ("det1.in+", "det1.in-"), 0.0, 0.15),
    # Contact pairs have nothing on them but their resistor.
    Value("derived: healthy", N, "healthy", FIRE_PAIR, 15.35, 0.02),
    Value("derived: healthy", N, "healthy", CO_PAIR, 15.35, 0.02),
    Value("derived: missing, at source volts", N, "end_resistor_missing@end_fire", FIRE_PAIR, 20.0, 0.02),
    Value("derived: and the other pair right", N, "end_resistor_missing@end_fire", CO_PAIR, 15.35, 0.02),
    Value("derived: missing, at source volts", N, "end_resistor_missing@end_co", CO_PAIR, 20.0, 0.02),
    Value("derived: power open, at source volts", N, "conductor_open@det3.in+", CO_PAIR, 20.0, 0.02),
    Value("derived: and the other pair right", N, "conductor_open@det3.in+", FIRE_PAIR, 15.35, 0.02),
    Value("derived: two in parallel", N, "end_resistor_twice@end_co", CO_PAIR, 12.45, 0.02),
    Value("derived: two in series", N, "end_resistor_in_series@end_fire", FIRE_PAIR, 17.37, 0.02),
    # Lifted: the loop's own resistor; a supervised pair with the supply left on.
    Value("derived: lifted", N, "healthy", FIRE_PAIR, 3303.0, 10.0, "lifted"),
    Value("derived: lifted, missing", N, "end_resistor_missing@end_fire", FIRE_PAIR, OVER, 0.0, "lifted"),
    Value("derived: lifted, two in parallel", N, "end_resistor_twice@end_fire", FIRE_PAIR, 1652.0, 5.0, "lifted"),
    Value("derived: supervised, supply on", N, "healthy", CO_PAIR, 3304.0, 10.0, "lifted_supply_on"),
    Value("derived: supervised, supply off", N, "healthy", CO_PAIR, OVER, 0.0, "lifted"),
    Value("derived: lifted, reversed leads", M, "healthy", LOOP[::-1], 3305.0, 5.0, "lifted"),
    Value("derived: lifted, reversed leads", M, "end_resistor_missing@end", LOOP[::-1], OVER, 0.0, "lifted"),
    Value("derived: lifted, in series", M, "end_resistor_in_series@end", LOOP[::-1], 6605.0, 10.0, "lifted"),
]
# The zones' terminals at the panel: 4.7 kΩ, open, closed.
SHOWN_V = {"normal": 19.79, "open": 24.0, "closed": 0.0}
ZONE_VALUES = [
    ("healthy", "standby", "normal", "normal"),
    ("module_dead@module", "standby", "open", "open"),
    ("com_not_fed@reset", "standby", "open", "open"),
    ("panel_resistor_missing@module.fire", "standby", "open", "normal"),
    ("panel_resistor_missing@module.co", "standby", "normal", "open"),
    ("zone_resistor_setting@zone1", "standby", "normal", "normal"),
    ("zone_input_damaged@zone1", "standby", "normal", "normal"),
    ("healthy", "alarm:{smoke}", "closed", "normal"),
    ("healthy", "alarm:{gas}", "normal", "closed"),
    # Exchanged wires show at the terminals, exchanged settings do not: then only a review of the settings tells.
    ("outputs_exchanged@module", "alarm:{smoke}", "normal", "closed"),
    ("zones_exchanged@panel", "alarm:{smoke}", "normal", "closed"),
    ("zone_settings_exchanged@panel", "alarm:{smoke}", "closed", "normal"),
]


@pytest.mark.parametrize("expected", VALUES, ids=[f"{v.source}-{v.fault}-{v.mode}" for v in VALUES])
def test_telltale_value(expected: Value) -> None:
    found = find_shown(predict(expected.bench, expected.fault, expected.mode), *expected.leads)
    assert found == pytest.approx(expected.value, abs=expected.within)


@pytest.mark.parametrize(("fault", "mode", "fire", "co"), ZONE_VALUES)
@pytest.mark.parametrize("bench", [M, N], ids=lambda b: b.style)
def test_volts_at_the_terminals_of_both_zones(bench: Bench, fault: str, mode: str, fire: str, co: str) -> None:
    # Derived: 24 V · 4.7 / 5.7; nothing on the pair; a contact across it.
    found = predict(bench, fault, mode.format(smoke=SMOKE[bench], gas=GAS[bench]))
    volts = [find_shown(found, *pair) for pair in (FIRE, CO)]
    assert volts == pytest.approx([SHOWN_V[fire], SHOWN_V[co]], abs=0.02)


def test_ohms_of_a_modules_two_wire_loop_without_its_resistor_differ_by_polarity() -> None:
    # Derived: five sleeping detectors of 3 MΩ in one direction, nothing in the other.
    found = predict(M, "end_resistor_missing@end", "lifted")
    assert find_shown(found, *LOOP) == pytest.approx(600e3, rel=0.02)
    assert find_shown(found, *LOOP[::-1]) == OVER


def list_told_elsewhere() -> list[str]:
    """Return the faults whose tell-tales stand in tests/faults, or among the less common ones."""
    names = ("test_reset_detector_and_display.py", "test_supply_faults.py")
    files = [Path(__file__).parents[1] / "faults" / name for name in names]
    texts = [path.read_text("utf-8") for path in (*files, Path(__file__).with_name("test_catalogue_responses.py"))]
    return [fault for text in texts for fault in re.findall(r'"([a-z_]+@[a-z0-9]+)"', text)]


def test_every_kind_of_fault_of_supply_module_zones_and_settings_stands_in_a_row() -> None:
    from diagnostics.faults import KINDS, read_catalogue
    from tests.external import test_supply_responses as supply

    told = [r.fault for r in (*ROWS, *supply.POWER_ROWS)] + [f for f, *_ in ZONE_VALUES] + [*supply.TELLTALES]
    told += [fault for _, fault, *_ in supply.PATH_FAULTS] + ["output_overloaded@panel", "supply_minus_missing@module"]
    told += list_told_elsewhere()
    kinds = {text.partition("@")[0].partition("=")[0] for row in told for text in row.split(",")}
    wanted = {
        name for name in KINDS if read_catalogue().kinds[name].family in {"supply", "settings", "module", "panel"}
    }
    assert wanted <= kinds
