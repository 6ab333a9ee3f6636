"""The checks that hold netlists typed by hand can fail, and cover the sites with two loops, class A, contacts, earths.

Steps are made up here, of invented round volts, so that each check meets a state that is right and one that is not.
"""

import pytest

from tests.external.hand_panel import (
    EARTH,
    Step,
    Windows,
    check_contacts,
    check_end_relay,
    check_limits,
    check_link,
    check_reset_relay,
    find_earth_lamp,
    find_linked_state,
    find_unreasoned,
    is_panel_off,
)
from tests.external.test_hand_netlists import HERE, read_circuits

WAITING: dict[str, str] = {}
LINK = ("Rlinkp", "Rlinkm")
JOINED = frozenset(LINK)
LEFT = frozenset[str]()


EARTHS = ("two_wire_earth", "four_wire_earth")
OF_12_V = ("two_wire_12v", "four_wire_12v")


@pytest.mark.parametrize("stem", ["two_loops", "class_a", "dry_contacts", *EARTHS, *OF_12_V])
def test_bench_has_fifteen_faults_with_reasoned_volts(stem: str) -> None:
    circuits = read_circuits(HERE / f"{stem}.toml")
    assert len({c.fault for c in circuits}) >= 16, "15 faults, and healthy"
    assert len([c for c in circuits if c.volts]) >= 9


def test_who_still_waits_for_the_program_is_known() -> None:
    benches = {path.stem: read_circuits(path)[0].bench for path in HERE.glob("*.toml")}
    assert {stem: bench.waiting for stem, bench in benches.items() if bench.waiting} == WAITING


def zone_at(zone_v: float, elements: frozenset[str] = LEFT, latched: frozenset[str] = LEFT) -> Step:
    return Step(elements, {"panel_zone1p": zone_v, "panel_zone1m": 0.0, EARTH: 0.0}, latched)


@pytest.mark.parametrize(
    ("zones_v", "resets", "right"),
    [
        ((19.4,), None, (LEFT,)),
        ((23.5,), None, (JOINED,)),
        ((19.4, 23.8), None, (LEFT, JOINED)),
        ((23.5, 6.6), None, (JOINED, JOINED)),  # stays, whatever comes
        ((23.5, 0.0), 1, (JOINED, LEFT)),  # reset opens it
        ((23.5, 6.6, 0.0, 23.5), 2, (JOINED, JOINED, LEFT, JOINED)),
        ((23.5, 6.6, 0.0, 19.4), 2, (JOINED, JOINED, LEFT, LEFT)),
    ],
)
def test_link_is_held_to_volts_and_to_reset(
    zones_v: tuple[float, ...], resets: int | None, right: tuple[frozenset[str], ...]
) -> None:
    bare = [zone_at(zone_v) for zone_v in zones_v]
    check_link(LINK, Windows(), [zone_at(19.4, elements) for elements in right], bare.__getitem__, resets)
    for number in range(len(right)):
        wrong = [zone_at(19.4, JOINED - e if n == number else e) for n, e in enumerate(right)]
        with pytest.raises(AssertionError, match=f"step {number}"):
            check_link(LINK, Windows(), wrong, bare.__getitem__, resets)


def test_link_shows_trouble_unless_there_is_an_alarm() -> None:
    assert find_linked_state(zone_at(19.4, JOINED), LINK, "normal") == "trouble"
    assert find_linked_state(zone_at(6.6, JOINED), LINK, "alarm") == "alarm"
    assert find_linked_state(zone_at(19.4), LINK, "normal") == "normal"
    assert find_linked_state(zone_at(19.4), (), "normal") == "normal", "a plain zone has no link"


def test_contacts_follow_the_heat() -> None:
    closed = [zone_at(7.2, latched=frozenset(names)) for names in ((), ("det2",), (), ())]
    check_contacts(closed, hot="det2", always="", never="")
    for hot, always, never in (("det1", "", ""), (None, "", ""), ("det2", "det3", ""), ("det2", "", "det2")):
        with pytest.raises(AssertionError, match="step"):
            check_contacts(closed, hot=hot, always=always, never=never)


def test_end_relay_has_its_hysteresis() -> None:
    def steps(*coils_v: float, closed: str) -> list[Step]:
        rows = zip(coils_v, closed, strict=True)
        return [Step(frozenset({"R"} if c == "x" else ()), {"e_coilp": v, "e_coilm": 0.0}, LEFT) for v, c in rows]

    check_end_relay(steps(24.0, 13.7, 1.0, 13.7, closed="xx.."), "e", "R", 16.0, 6.0)
    check_end_relay(steps(24.0, closed="."), "e", "R", float("inf"), 6.0)
    for closed in (".x..", "x...", "xxx.", "xx.x"):
        with pytest.raises(AssertionError, match="V at e"):
            check_end_relay(steps(24.0, 13.7, 1.0, 13.7, closed=closed), "e", "R", 16.0, 6.0)


@pytest.mark.parametrize(
    ("plus_v", "lamp"), [(12.0, "right"), (8.2, "right"), (7.9, "earth trouble"), (23.9, "earth trouble")]
)
def test_earth_lamp_has_its_threshold(plus_v: float, lamp: str) -> None:
    volts = {"panel_auxp": plus_v, "panel_auxm": plus_v - 24.0, EARTH: 0.0}
    assert find_earth_lamp(Step(LEFT, volts, LEFT), 4.0) == lamp


def test_earth_lamp_follows_the_middle_of_the_supply_it_has() -> None:
    volts = {"panel_auxp": 4.3, "panel_auxm": 4.3 - 12.4, EARTH: 0.0}
    assert find_earth_lamp(Step(LEFT, volts, LEFT), 2.0) == "right", "1.9 V off 6.2 V"
    assert find_earth_lamp(Step(LEFT, volts | {"panel_auxp": 4.1, "panel_auxm": 4.1 - 12.4}, LEFT), 2.0) != "right"


def on_battery(battery_v: float, aux_v: float, *elements: str) -> Step:
    volts = {"panel_batteryp": battery_v, "panel_batterym": 0.0, "panel_auxp": aux_v, "panel_common": 0.0}
    return Step(frozenset({"Rpanel", *elements}), volts | {"panel_zone1p": aux_v}, LEFT)


def test_panel_shows_nothing_on_a_battery_that_does_not_carry_it() -> None:
    assert is_panel_off(on_battery(8.9, 8.9), 9.0)
    assert not is_panel_off(on_battery(9.1, 9.1), 9.0)
    assert not is_panel_off(zone_at(0.0), 9.0), "on mains"
    with pytest.raises(AssertionError, match="near what the panel needs"):
        is_panel_off(on_battery(9.01, 9.0), 9.0)


def test_limit_is_held_to_the_supply_and_to_the_battery() -> None:
    for step, supply_v in ((on_battery(12.4, 12.1), 12.0), (on_battery(11.0, 10.7), 12.0)):
        check_limits([step], "none", ["zone1"], supply_v)
    with pytest.raises(AssertionError, match="at the auxiliary output"):
        check_limits([on_battery(12.4, 12.0)], "none", ["zone1"], 12.0)
    with pytest.raises(AssertionError, match="at the auxiliary output"):
        check_limits([on_battery(12.4, 12.1, "Iaux")], "none", ["zone1"], 12.0)
    check_limits([on_battery(12.4, 1.0, "Iaux")], "none", ["zone1"], 12.0)


def test_reset_relay_with_a_dead_coil_stays() -> None:
    live = Step(frozenset({"Rreset", "Rrcoil", "Rnc"}), {}, LEFT)
    check_reset_relay([live, Step(live.elements - {"Rrcoil"}, {}, LEFT)], "coil_dead@reset", 1)
    with pytest.raises(AssertionError, match="step 1"):
        check_reset_relay([live, live], "none", 1)


def test_reasoned_volts_are_held_to_a_tenth() -> None:
    assert find_unreasoned(zone_at(19.38), {"panel_zone1p panel_zone1m": 19.4, "panel_zone1p 0": 19.4}) == []
    assert len(find_unreasoned(zone_at(19.38), {"panel_zone1p panel_zone1m": 19.5})) == 1


def test_a_short_is_what_the_panel_makes_of_it() -> None:
    edges = ((12.0, "alarm"), (14.0, "trouble"), (21.5, "normal"))
    volts = (0.1, 7.2, 10.9, 13.1, 19.8, 24.0)
    tells = [Windows("trouble", edges).find_state(v) for v in volts]
    assert tells == ["trouble", "alarm", "alarm", "trouble", "normal", "trouble"]
    assert Windows("trouble", edges, short_below_v=0.05).find_state(0.1) == "alarm"
    assert [Windows().find_state(v) for v in volts] == ["alarm", "alarm", "trouble", "trouble", "normal", "trouble"]
