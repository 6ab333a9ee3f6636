"""Supply and reset of modules and four-wire detectors: what the panel shows, and the volts that give a fault away.

Sources, by tag of each row:

* ``four-wire``: NFPA 72, power of four-wire detectors supervised at the end of the line, its loss a trouble; dropped on
  reset by a normally closed contact (seen in secondary texts; that loss of operating power is a trouble, from memory).
* ``derived``: the project's own table of consequences, reasoned at the terminals with Ohm's law and invented round
  values (24 V auxiliary output; a 1.2 kΩ coil driven by 24 V behind 10 Ω: 23.8 V).
* ``practice``: common practice, no source: which volts a technician takes at a reset relay, and what they mean.
"""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from diagnostics.circuit import build_steps, parse_mode, solve_batch
from diagnostics.readings import settle_mode
from tests.external.module_world import (
    NORMAL,
    TROUBLE,
    UNSUPERVISED_F,
    UNSUPERVISED_N,
    F,
    M,
    N,
    Row,
    check_row,
    find_dark,
    find_shown,
    predict,
)
from tests.wiring.benches import Bench, wire_bench

FULL_V, COIL_V = 24.0, 23.8
RESETS = ("relay", "always_on", "resettable_output", "minus_switched", "separate_supply")
STYLES = {"module, two-wire": M, "module, four-wire": N, "four-wire": F, "four-wire, unsupervised": UNSUPERVISED_F}
# What the panel shows when nothing feeds the loop: only a four-wire zone that nothing supervises takes no notice.
UNFED = {M: TROUBLE, N: TROUBLE, F: "trouble", UNSUPERVISED_F: "normal"}
SOUND = {M: NORMAL, N: NORMAL, F: "normal", UNSUPERVISED_F: "normal"}
# After smoke at det2 that a reset does not clear: on the bench with two kinds det2 senses CO.
STAYS = {M: "alarm normal", N: "normal alarm", F: "alarm", UNSUPERVISED_F: "alarm"}
# Derived: on a two-wire loop a latched detector clamps the pair to some 6 V, too little for the others to run on.
LATCHED_DARK = {M: "det1 det3 det4 det5", N: "none", F: "none", UNSUPERVISED_F: "none"}
each_style = pytest.mark.parametrize("bench", STYLES.values(), ids=STYLES.keys())


def feed(bench: Bench, reset: str) -> Bench:
    return replace(bench, reset=reset)


def find_load(bench: Bench) -> tuple[str, str]:
    return ("module.in+", "module.in-") if bench.is_module else ("det1.in+", "det1.in-")


def read(bench: Bench, fault: str, mode: str, points: Iterable[tuple[str, str]]) -> list[float]:
    found = predict(bench, fault, mode)
    return [find_shown(found, red, black) for red, black in points]


def near(*volts: float) -> object:
    """Return what agrees with volts to within a third of a volt: leads are long and outputs soft."""
    return pytest.approx(list(volts), abs=0.35)


# Each supply path as it should be: volts across the load in standby and during reset.
HEALTHY = {"relay": 0.0, "always_on": FULL_V, "resettable_output": 0.0, "minus_switched": 0.0, "separate_supply": 0.0}


@pytest.mark.parametrize("reset", RESETS)
@each_style
def test_healthy_supply_path_feeds_in_standby_and_drops_the_load_on_reset(bench: Bench, reset: str) -> None:
    fed = feed(bench, reset)
    assert read(fed, "healthy", "standby", [find_load(fed)]) == near(FULL_V)
    assert read(fed, "healthy", "during_reset", [find_load(fed)]) == near(HEALTHY[reset])
    check_row(Row("four-wire", fed, "healthy", SOUND[bench], "none"))
    unfed, dark = (SOUND[bench], "none") if reset == "always_on" else (UNFED[bench], "all")
    check_row(Row("four-wire: dropped on reset", fed, "healthy", unfed, dark, "during_reset"))


@pytest.mark.parametrize("reset", RESETS)
@each_style
def test_reset_clears_a_latched_alarm_unless_nothing_drops_the_supply(bench: Bench, reset: str) -> None:
    fed, latched = feed(bench, reset), LATCHED_DARK[bench]
    panel, dark = (STAYS[bench], latched) if reset == "always_on" else (SOUND[bench], "none")
    check_row(Row("four-wire: alarm", fed, "healthy", STAYS[bench], latched, "alarm:det2"))
    check_row(Row("four-wire: after reset", fed, "healthy", panel, dark, "after_reset:det2"))


@each_style
def test_switched_minus_is_read_across_the_load_for_to_panel_minus_it_is_never_gone(bench: Bench) -> None:
    # Practice: the plus stays; to panel minus a technician would read full volts at a load that is off.
    fed, across = feed(bench, "minus_switched"), ("panel.aux+", "panel.switched-")
    plus, minus = find_load(fed)
    loop = wire_bench(fed)
    settled = settle_mode(loop, (), parse_mode("during_reset", loop))
    assert float(settled.volts(plus, "panel.aux-")[0]) == pytest.approx(FULL_V, abs=0.35)
    assert float(settled.volts(minus, "panel.aux-")[0]) > 5.0
    assert read(fed, "healthy", "during_reset", [(plus, minus), across, ("panel.aux+", "panel.aux-")]) == near(
        0, 0, FULL_V
    )


# At the reset relay: COM, NC, NO, coil and load, in standby and during reset (practice; derived).
TELLTALES = {
    "healthy": ((24, 24, 0, 0, 24), (24, 0, 24, COIL_V, 0)),
    "supply_on_no@reset": ((24, 24, 0, 0, 0), (24, 0, 24, COIL_V, 24)),
    "com_not_fed@reset": ((0, 0, 0, 0, 0), (0, 0, 0, COIL_V, 0)),
    "relay_held@reset": ((24, 0, 24, 0, 0), (24, 0, 24, COIL_V, 0)),
    "aux_dead@panel": ((0, 0, 0, 0, 0), (0, 0, 0, COIL_V, 0)),
    "reset_bypassed@reset": ((24, 24, 0, 0, 24), (24, 24, 24, COIL_V, 24)),
    "reset_relay_never_operates@reset": ((24, 24, 0, 0, 24), (24, 24, 0, COIL_V, 24)),
    "reset_not_assigned@panel": ((24, 24, 0, 0, 24), (24, 24, 0, 0, 24)),
}
UNFEEDING = ("com_not_fed@reset", "relay_held@reset", "aux_dead@panel", "supply_on_no@reset")
NEVER_DROPPING = ("reset_bypassed@reset", "reset_relay_never_operates@reset", "reset_not_assigned@panel")


def list_reset_points(bench: Bench) -> list[tuple[str, str]]:
    minus = "supply.out-" if bench.reset == "separate_supply" else "panel.aux-"
    contacts = [(f"reset.{t}", minus) for t in ("com", "nc", "no")]
    return [*contacts, ("panel.reset+", "panel.reset-"), find_load(bench)]


# A dead auxiliary output is no fault of a separate supply: it feeds nothing there.
ON_PATHS = [("relay", f) for f in TELLTALES] + [("separate_supply", f) for f in TELLTALES if f != "aux_dead@panel"]


@pytest.mark.parametrize(("reset", "fault"), ON_PATHS)
@each_style
def test_volts_at_com_nc_no_coil_and_load_in_standby_and_during_reset(bench: Bench, reset: str, fault: str) -> None:
    fed = feed(bench, reset)
    for mode, volts in zip(("standby", "during_reset"), TELLTALES[fault], strict=True):
        assert read(fed, fault, mode, list_reset_points(fed)) == near(*volts), mode


def test_telltales_of_the_reset_relay_are_all_different() -> None:
    assert len(set(TELLTALES.values())) == len(TELLTALES) - 1, "only COM not fed and a dead output look alike there"
    aux = [("panel.aux+", "panel.aux-")]
    for bench in (M, N, F):
        assert read(bench, "com_not_fed@reset", "standby", aux) == near(FULL_V)
        assert read(bench, "relay_held@reset", "standby", aux) == near(FULL_V)
        assert read(bench, "aux_dead@panel", "standby", aux) == near(0)


@pytest.mark.parametrize("fault", UNFEEDING)
@each_style
def test_load_that_nothing_feeds_is_a_trouble_on_every_supervised_zone_and_dark(bench: Bench, fault: str) -> None:
    check_row(Row("four-wire: loss of operating power", bench, fault, UNFED[bench], "all"))
    check_row(Row("derived: nothing to alarm with", bench, fault, UNFED[bench], "all", "alarm:det2"))


@each_style
def test_supply_on_the_open_contact_feeds_during_reset_only(bench: Bench) -> None:
    check_row(Row("derived: the reverse of right", bench, "supply_on_no@reset", SOUND[bench], "none", "during_reset"))


@pytest.mark.parametrize("fault", NEVER_DROPPING)
@each_style
def test_contact_that_never_opens_is_normal_until_an_alarm_that_stays(bench: Bench, fault: str) -> None:
    check_row(Row("four-wire: not dropped", bench, fault, SOUND[bench], "none"))
    check_row(Row("four-wire: not dropped", bench, fault, SOUND[bench], "none", "during_reset"))
    check_row(Row("four-wire: an alarm stays", bench, fault, STAYS[bench], LATCHED_DARK[bench], "after_reset:det2"))


@each_style
def test_smoke_that_is_still_there_comes_back_and_its_lamp_says_which(bench: Bench) -> None:
    # Practice: look for the lit lamp before anything is reset.
    loop = wire_bench(bench)
    steps = ({"det2.smoke": True}, *build_steps(parse_mode("after_reset:det2", loop), loop)[2:])
    settled = solve_batch(loop, [()], steps)
    assert [d.name for d in loop.detectors if settled.signal(f"{d.name}.latched")[0]] == ["det2"]
    zone = "zone2" if bench.is_module and bench.senses[1] == "co" else "zone1"
    assert [z.name for z in loop.zones if settled.signal(f"{z.name}.latched")[0]] == [zone]


# Faults of the other paths: path, fault, what is to be read in standby there and across the load.
AUX, SWITCHED, ACROSS = (
    ("panel.aux+", "panel.aux-"),
    ("panel.switched+", "panel.switched-"),
    ("panel.aux+", "panel.switched-"),
)
PATH_FAULTS = [
    ("always_on", "aux_dead@panel", AUX, 0.0),
    ("minus_switched", "aux_dead@panel", ACROSS, 0.0),
    ("always_on", "aux_low@panel", AUX, 8.4),
    ("minus_switched", "aux_low@panel", ACROSS, 8.4),
    ("relay", "aux_low@panel", AUX, 8.4),
]


@pytest.mark.parametrize(("reset", "fault", "points", "volts"), PATH_FAULTS)
@each_style
def test_dead_or_low_output_is_read_at_the_output_and_across_the_load(
    bench: Bench, reset: str, fault: str, points: tuple[str, str], volts: float
) -> None:
    fed = feed(bench, reset)
    check_row(Row("four-wire: loss of operating power", fed, fault, UNFED[bench], "all"))
    assert read(fed, fault, "standby", [points, find_load(fed)]) == near(volts, volts)


@pytest.mark.parametrize("bench", [M, N, F], ids=lambda b: b.style)
def test_output_of_a_low_rating_sags_under_what_hangs_on_it(bench: Bench) -> None:
    # Derived: 0.2 mA is left of the rating; what hangs on it takes more, so the volts fall until it takes no more.
    fed, fault = feed(bench, "resettable_output"), "output_overloaded@panel"
    check_row(Row("derived: sags", fed, fault, UNFED[bench], "all"))
    assert max(read(fed, fault, "standby", [SWITCHED, find_load(fed)])) < 8.0


def test_volts_of_a_low_rating_fall_as_detectors_are_added_and_are_right_again_with_fewer() -> None:
    # Derived: 0.2 mA carries three detectors of 0.05 mA; seven sink to where each takes 0.0286 mA: 4 V + 3.43 V.
    three, seven = (Bench("four_wire_zone", "resettable_output", end_relay=False, kinds=("smoke",) * n) for n in (3, 7))
    overloaded = "output_overloaded@panel"
    assert read(three, overloaded, "standby", [SWITCHED]) == near(FULL_V)
    assert read(seven, overloaded, "standby", [SWITCHED]) == near(7.43)
    assert read(seven, overloaded, "head_off:det4", [SWITCHED]) == near(FULL_V)
    assert find_dark(predict(three, overloaded)) == frozenset()
    assert find_dark(predict(seven, overloaded)) == seven.all
    assert find_dark(predict(seven, overloaded, "head_off:det4")) == {"det4", "det5", "det6", "det7"}


def test_output_of_the_right_rating_for_standby_sags_when_several_draw_in_alarm() -> None:
    # Derived: module 20 mA, coil 10 mA, 20 mA for each in alarm: three make 90 mA of 100 mA; four would make 110 mA, so
    # the volts fall to where (V-6)/6·20 + 80 + (V-0.6)/2.4 mA are 100 mA: 10.77 V.
    loop = wire_bench(feed(N, "resettable_output"))
    for count, volts in ((3, FULL_V), (4, 10.77)):
        settled = solve_batch(loop, [()], [{f"det{n}.smoke": True} for n in range(1, count + 1)])
        assert float(settled.volts(*SWITCHED)[0]) == pytest.approx(volts, abs=0.1), count


@pytest.mark.parametrize(
    ("fault", "in_v"),
    [("module_dead@module", FULL_V), ("supply_minus_missing@module", 0.0), ("polarity_reversed@module", -FULL_V)],
)
@pytest.mark.parametrize("bench", [M, N], ids=lambda b: b.style)
@pytest.mark.parametrize("reset", RESETS)
def test_module_that_does_not_run_leaves_both_zones_open(bench: Bench, reset: str, fault: str, in_v: float) -> None:
    fed = feed(bench, reset)
    lit = "none" if fault == "module_dead@module" and bench is N else "all"
    check_row(Row("derived: unpowered, both outputs open", fed, fault, TROUBLE, lit))
    pairs = [find_load(fed), ("panel.zone1+", "panel.zone1-"), ("panel.zone2+", "panel.zone2-")]
    assert read(fed, fault, "standby", pairs) == near(in_v, 24.0, 24.0)
    watched = ("module.loop+", "module.loop-") if bench is M else ("module.loop_fire+", "module.loop_fire-")
    assert read(fed, fault, "standby", [watched]) == near(0)


OPEN_BEYOND = "end_relay_before_end@det2,conductor_open@det3.in{}"
POWER_ROWS = [
    Row("four-wire: power open, supervised", N, "conductor_open@det3.in+", TROUBLE, "det3 det4"),
    Row("four-wire: power open, supervised", N, "conductor_open@det1.in-", TROUBLE, "all"),
    Row("four-wire: not supervised", UNSUPERVISED_N, "conductor_open@det3.in+", NORMAL, "det3 det4"),
    Row("four-wire: not supervised", UNSUPERVISED_N, "conductor_open@det3.in+", NORMAL, mode="alarm:det3"),
    Row("derived: before the open", UNSUPERVISED_N, "conductor_open@det3.in+", "alarm normal", mode="alarm:det1"),
    Row("derived: before the open", UNSUPERVISED_N, "conductor_open@det3.in+", "normal alarm", mode="alarm:det2"),
    # A module and its power pair share one fuse here: a short takes the module with it.
    *[
        Row("derived: power shorted", bench, "pair_short@det2.in_power", TROUBLE, "all")
        for bench in (N, UNSUPERVISED_N)
    ],
    Row("four-wire: power shorted, supervised", F, "pair_short@det2.in_power", "trouble", "all"),
    Row("derived: reversed, supervised", N, "polarity_reversed@det3", TROUBLE, "det3 det4"),
    Row("derived: reversed, not supervised", UNSUPERVISED_N, "polarity_reversed@det3", NORMAL, "det3 det4"),
    Row("four-wire: head off, supervised", N, "head_off@det3", TROUBLE, "det3 det4"),
    Row("four-wire: head off, not supervised", UNSUPERVISED_N, "head_off@det3", NORMAL, "det3 det4"),
    *[Row("four-wire: relay dead", bench, "end_relay_dead@end", UNFED[bench], "none") for bench in (N, F)],
    *[Row("practice: relay missing", bench, "end_relay_missing@end", SOUND[bench], "none") for bench in (N, F)],
    *[
        Row("practice: then an open", b, "end_relay_missing@end,conductor_open@det4.in+", SOUND[b], "det4")
        for b in (N, F)
    ],
    *[Row("derived: relay before the end", b, "end_relay_before_end@det2", SOUND[b], "none") for b in (N, F)],
    *[
        Row("derived: an open beyond it", b, OPEN_BEYOND.format(c), SOUND[b], "det3 det4")
        for b in (N, F)
        for c in "+-"
    ],
    *[
        Row("derived: an open before it", b, "end_relay_before_end@det2,conductor_open@det2.in+", UNFED[b])
        for b in (N, F)
    ],
]  # fmt: skip


@pytest.mark.parametrize("expected", POWER_ROWS, ids=lambda r: r.title)
def test_power_pair_and_its_supervision(expected: Row) -> None:
    check_row(expected)


@pytest.mark.parametrize("bench", [N, F], ids=lambda b: b.style)
def test_shorted_power_pair_pulls_the_auxiliary_output_down(bench: Bench) -> None:
    # Derived: 750 mA into a metre or so of copper: under 2 V at the output, nothing beyond the short.
    aux_v, beyond_v = read(bench, "pair_short@det1.in_power", "standby", [AUX, ("det2.in+", "det2.in-")])
    assert 0 < aux_v < 2.0
    assert abs(beyond_v) < 0.05
