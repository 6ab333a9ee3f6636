"""Prior weights: they add up, and what is known of the loop's past moves them the right way.

Outside world: T. R. Kuphaldt, *Lessons In Electric Circuits*, Reference volume, chapter on troubleshooting: in proven
systems bad connections lead, opens more common than shorts; in new ones wiring errors lead. An ordering from the
author's experience without percentages, so only the order is tested. Leaks after water: common practice, no source.
"""

import pytest

from diagnostics.faults import CONTEXTS, KINDS, SIGNS, Context, list_faults, read_catalogue, weigh_faults
from tests.wiring.quick import STYLES, wire_quick


def weigh_kinds(style: str, contexts: tuple[Context, ...], detectors: int = 6) -> dict[str, float]:
    faults = list_faults(wire_quick(style, detectors))
    found: dict[str, float] = {}
    for fault, weight in zip(faults, weigh_faults(faults, contexts), strict=True):
        found[fault.kind] = found.get(fault.kind, 0.0) + weight
    return found


def weigh_families(style: str, contexts: tuple[Context, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for kind, weight in weigh_kinds(style, contexts).items():
        family = read_catalogue().kinds[kind].family
        found[family] = found.get(family, 0.0) + weight
    return found


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("context", CONTEXTS)
def test_weight_of_a_kind_is_spread_over_its_places_and_values(style: str, context: Context) -> None:
    kinds = read_catalogue().kinds
    for kind, weight in weigh_kinds(style, (context,)).items():
        assert weight == pytest.approx(kinds[kind].weights[context])


@pytest.mark.parametrize("detectors", [2, 6, 20])
def test_more_places_do_not_make_a_kind_likelier(detectors: int) -> None:
    assert weigh_kinds("two_wire_zone", ("new",), detectors) == pytest.approx(weigh_kinds("two_wire_zone", ("new",), 6))


def test_several_contexts_are_their_mean_and_none_is_the_mean_of_all() -> None:
    faults = list_faults(wire_quick("four_wire_zone", 3))
    alone = [weigh_faults(faults, (c,)) for c in CONTEXTS]
    means = [sum(w) / len(CONTEXTS) for w in zip(*alone, strict=True)]
    assert weigh_faults(faults, CONTEXTS) == pytest.approx(means)
    assert weigh_faults(faults, ()) == pytest.approx(means)


def test_catalogue_and_kinds_name_the_same_faults() -> None:
    catalogue = read_catalogue()
    assert catalogue.kinds.keys() == KINDS.keys()
    assert {k.remedy for k in catalogue.kinds.values()} | {"hand_over"} == catalogue.remedies.keys()
    assert all(k.weights.keys() == set(CONTEXTS) for k in catalogue.kinds.values())
    assert all(min(k.weights.values()) > 0 for k in catalogue.kinds.values())
    assert all(0 <= k.sees.share < 1 and 0 <= k.settings_share < 1 for k in catalogue.kinds.values())


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("context", ["new", "aged"])
def test_opens_are_likelier_than_shorts(style: str, context: Context) -> None:
    kinds = weigh_kinds(style, (context,))
    assert kinds["conductor_open"] > kinds["pair_short"]


@pytest.mark.parametrize("style", STYLES)
def test_bad_connections_lead_in_aged_systems(style: str) -> None:
    kinds = weigh_kinds(style, ("aged",))
    leading = sorted(kinds, key=lambda k: -kinds[k])[:2]
    assert set(leading) == {"conductor_open", "joint_resistive"}


@pytest.mark.parametrize("style", STYLES)
def test_wiring_errors_lead_on_new_work_and_not_on_aged(style: str) -> None:
    new, aged = weigh_families(style, ("new",)), weigh_families(style, ("aged",))
    wrong_points = ("termination", "end_resistor", "supply")
    of_new = sum(new.get(f, 0.0) for f in wrong_points) / sum(new.values())
    of_aged = sum(aged.get(f, 0.0) for f in wrong_points) / sum(aged.values())
    assert of_new > 0.5 > of_aged


@pytest.mark.parametrize("style", STYLES)
def test_leaks_lead_after_water(style: str) -> None:
    kinds = weigh_kinds(style, ("water",))
    assert max(kinds, key=lambda k: kinds[k]) == "leak"
    assert kinds["leak"] > 5 * weigh_kinds(style, ("aged",))["leak"]


@pytest.mark.parametrize("kind", ["detector_dead", "joint_resistive"])
def test_wear_and_age_bring_these(kind: str) -> None:
    assert weigh_kinds("two_wire_zone", ("aged",))[kind] > weigh_kinds("two_wire_zone", ("new",))[kind]


@pytest.mark.parametrize(
    ("sign", "likelier", "than"),
    [
        ("other_trades", "conductor_open", "zone_bypassed"),
        ("seasonal", "leak", "end_resistor_wrong"),
        ("mains_interrupted", "battery_dead", "end_resistor_missing"),
        ("comes_and_goes", "joint_resistive", "end_resistor_missing"),
        ("comes_and_goes", "leak", "supply_on_no"),
    ],
)
def test_sign_moves_the_weights_the_way_the_trade_thinks(sign: Context, likelier: str, than: str) -> None:
    """Common practice, no source: what comes and goes is a joint or moisture, never a resistor that was forgotten."""
    for style in STYLES:
        old, new = weigh_kinds(style, ("aged",)), weigh_kinds(style, ("aged", sign))
        if likelier in old and than in old:
            assert new[likelier] / old[likelier] > new[than] / old[than]


def test_every_sign_names_only_kinds_and_families_that_there_are() -> None:
    catalogue = read_catalogue()
    known = {*KINDS, *(k.family for k in catalogue.kinds.values())}
    assert catalogue.signs.keys() == set(SIGNS)
    for factors in catalogue.signs.values():
        assert factors.keys() <= known
