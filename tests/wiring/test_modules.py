"""Interface modules: the state table, labels, pairs, windows; how they are described and what is refused.

The state table is the project's own: unpowered, both outputs open; trouble on any pair, both open; an alarm closes the
output of its label, on a two-wire loop that of the latched detector and fire where none is latched. Numbers invented.
"""

from dataclasses import replace

import pytest

from diagnostics.circuit import Settled, solve_batch
from diagnostics.errors import QuantityError, SourceError
from diagnostics.faults import build_all_edits, list_faults, parse_faults
from diagnostics.source import read_document
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site, find_defects, parse_site
from tests.wiring.benches import FOUR_WIRE, MODULE_FOUR_WIRE, MODULE_TWO_WIRE, Bench, wire_bench

M, N = Bench(MODULE_TWO_WIRE), Bench(MODULE_FOUR_WIRE)
STYLES = (MODULE_TWO_WIRE, MODULE_FOUR_WIRE)
# Volts at an output, 24 V behind 1 kΩ: nothing across it, the panel's 4.7 kΩ, a closed contact.
OUTPUT_V = {"open": 24.0, "resistor": 19.79, "closed": 0.0}


def settle(loop: Loop, fault: str, *smoked: str) -> Settled:
    """Return the loop with faults, smoke or gas at some detectors at the same moment."""
    edits = build_all_edits(loop, parse_faults(fault, loop))
    return solve_batch(loop, [edits], [{f"{name}.smoke": True for name in smoked}] if smoked else [])


def volts(settled: Settled, at: str) -> float:
    return float(settled.volts(f"{at}+", f"{at}-")[0])


STATE_TABLE = [
    ("normal", M, "", "", "resistor resistor"),
    ("normal", N, "", "", "resistor resistor"),
    ("fire", M, "", "det4", "closed resistor"),
    ("fire", N, "", "det3", "closed resistor"),
    ("CO", M, "", "det5", "resistor closed"),
    ("CO", N, "", "det4", "resistor closed"),
    ("both", M, "", "det1 det3", "closed closed"),
    ("both", N, "", "det3 det4", "closed closed"),
    ("two of a kind", M, "", "det3 det5", "resistor closed"),
    ("short without label", M, "pair_short@det3.in", "", "closed resistor"),
    ("short tells by its pair", N, "pair_short@det1.in_contact", "", "closed resistor"),
    ("short tells by its pair", N, "pair_short@det2.in_contact", "", "resistor closed"),
    ("open", M, "conductor_open@det2.in+", "", "open open"),
    ("open", N, "conductor_open@det2.in_b", "", "open open"),
    ("open, alarm before it", M, "conductor_open@det3.in+", "det1", "closed resistor"),
    ("open, alarm on the other pair", N, "conductor_open@det2.in_b", "det1", "closed open"),
    ("unpowered", M, "com_not_fed@reset", "", "open open"),
    ("unpowered", N, "com_not_fed@reset", "", "open open"),
    ("unpowered, smoke", M, "com_not_fed@reset", "det1", "open open"),
    ("unpowered, gas", N, "com_not_fed@reset", "det2", "open open"),
]


@pytest.mark.parametrize(
    ("bench", "fault", "smoked", "outputs"),
    [r[1:] for r in STATE_TABLE],
    ids=[f"{r[0]}-{r[1].style}" for r in STATE_TABLE],
)
def test_outputs_follow_the_state_table(bench: Bench, fault: str, smoked: str, outputs: str) -> None:
    settled = settle(wire_bench(bench), fault, *smoked.split())
    shown = [volts(settled, f"module.{output}") for output in ("fire", "co")]
    assert shown == pytest.approx([OUTPUT_V[word] for word in outputs.split()], abs=0.02)
    assert settled.chatter == ((),)


@pytest.mark.parametrize("fault", ["com_not_fed@reset", "module_dead@module", "polarity_reversed@module"])
@pytest.mark.parametrize("bench", [M, N], ids=STYLES)
def test_module_without_power_claims_no_state_though_its_dead_loop_stands_at_the_volts_of_a_short(
    bench: Bench, fault: str
) -> None:
    settled = settle(wire_bench(bench), fault, "det1")
    assert {name: bool(settled.signal(f"module.{name}")[0]) for name in ("operated", "trouble", "fire", "co")} == (
        dict.fromkeys(("operated", "trouble", "fire", "co"), False)
    )


@pytest.mark.parametrize("bench", [M, N], ids=STYLES)
def test_each_detector_closes_the_output_of_what_it_senses_and_no_other(bench: Bench) -> None:
    loop = wire_bench(bench)
    assert {d.senses for d in loop.detectors} == {"fire", "co"}
    for d in loop.detectors:
        settled = settle(loop, "", d.name)
        closed = [output for output in ("fire", "co") if volts(settled, f"module.{output}") < 1.0]
        assert closed == [d.senses], d.name


def test_second_detector_on_a_clamped_two_wire_pair_has_no_volts_left_to_latch_on() -> None:
    # A latched detector holds the pair at 5 V and a little: 6.2 V, below the 8 V that the others need.
    loop = wire_bench(M)
    settled = solve_batch(loop, [()], [{"det1.smoke": True}, {"det3.smoke": True}])
    assert [bool(settled.signal(f"det{n}.latched")[0]) for n in (1, 3)] == [True, False]
    assert volts(settled, "module.co") == pytest.approx(19.79, abs=0.02)
    pairs = solve_batch(wire_bench(N), [()], [{"det1.smoke": True}, {"det2.smoke": True}])
    assert [volts(pairs, f"module.{output}") for output in ("fire", "co")] == pytest.approx([0, 0], abs=0.02)


def test_module_remembers_nothing_that_its_detectors_do_not() -> None:
    loop = wire_bench(N)
    steps = [{"det1.smoke": True}, {"det1.smoke": False}, {"det1.head_off": True}]
    settled = solve_batch(wire_bench(replace(N, end_relay=False)), [()], steps)
    assert volts(settled, "module.fire") == pytest.approx(19.79, abs=0.02)
    assert bool(settled.signal("zone1.latched")[0]), "the panel does remember"
    assert not bool(solve_batch(loop, [()], []).signal("zone1.latched")[0])


# Edges of the module's windows as resistors on a contact pair, 20 V · R / (1 kΩ + R): 2 V is 111 Ω, 8 V 667 Ω,
# 12 V 1.5 kΩ, 18 V 9 kΩ; two percent aside of each.
WINDOWS = [
    ("100", "closed resistor"),
    ("120", "closed resistor"),
    ("650", "closed resistor"),
    ("680", "open open"),
    ("1470", "open open"),
    ("1530", "resistor resistor"),
    ("8.8k", "resistor resistor"),
    ("9.2k", "open open"),
]


@pytest.mark.parametrize(("ohm", "outputs"), WINDOWS)
def test_windows_of_the_module_are_those_of_its_part(ohm: str, outputs: str) -> None:
    settled = settle(wire_bench(N), f"end_resistor_wrong={ohm}@end_fire")
    shown = [volts(settled, f"module.{output}") for output in ("fire", "co")]
    assert shown == pytest.approx([OUTPUT_V[word] for word in outputs.split()], abs=0.02)


@pytest.mark.parametrize(
    ("kinds", "fire", "co"),
    [
        (("smoke", "co", "smoke", "co"), ("det1", "det3"), ("det2", "det4")),
        (("co", "co", "smoke"), ("det3",), ("det1", "det2")),
        (("smoke", "smoke"), ("det1", "det2"), ()),
        (("co",), (), ("det1",)),
    ],
)
def test_contact_wires_run_from_the_pair_of_what_is_sensed_through_those_of_the_same_kind(
    kinds: tuple[str, ...], fire: tuple[str, ...], co: tuple[str, ...]
) -> None:
    loop = wire_bench(Bench(MODULE_FOUR_WIRE, kinds=kinds))
    for label, chain in (("fire", fire), ("co", co)):
        near = [f"field.loop_{label}+", *(f"{name}.out_a" for name in chain)]
        assert [loop.by_name[f"wire.{name}.in_a"].a for name in chain] == near[:-1]
        end = loop.by_name[loop.end_resistors[f"end_{label}"]]
        on_relay = end.a == "endrelay.no" and loop.by_name["endrelay.joint.com"].a == near[-1]
        assert end.a == near[-1] or on_relay


def test_contact_run_that_passes_detectors_of_the_other_kind_is_as_long_as_their_power_runs_together() -> None:
    wires = wire_bench(N).by_name
    power_ohm = [wires[f"wire.det{n}.in+"].resistance_ohm or 0.0 for n in range(1, 5)]
    contact_ohm = [wires[f"wire.det{n}.in_a"].resistance_ohm or 0.0 for n in range(1, 5)]
    assert contact_ohm == pytest.approx(
        [power_ohm[0], power_ohm[0] + power_ohm[1], power_ohm[1] + power_ohm[2], power_ohm[2] + power_ohm[3]]
    )


def test_supervision_relay_stands_in_the_pair_of_the_last_detector() -> None:
    for kinds, place, other in ((("smoke", "co"), "end_co", "end_fire"), (("co", "smoke"), "end_fire", "end_co")):
        loop = wire_bench(Bench(MODULE_FOUR_WIRE, kinds=kinds))
        assert loop.by_name[loop.end_resistors[place]].a == "endrelay.no"
        assert loop.by_name[loop.end_resistors[other]].a != "endrelay.no"


# How a module is described.
HEAD = """\
format: ohmward-site/1
name: Quick description
zones:
  zone1: {senses: fire, end_resistor: 5.6 kΩ}
  zone2: {senses: co, end_resistor: 5.6 kΩ}
loops:
  - zone: zone1
    co_zone: zone2
"""
WRITTEN = {
    MODULE_TWO_WIRE: "    style: module_two_wire\n    reset: resettable_output\n    end_resistor: {resistance: 2k2}\n",
    MODULE_FOUR_WIRE: "    style: module_four_wire\n    reset: resettable_output\n    end_resistor: {resistance: 2k2}\n"
    "    end_relay: {profile: supervision_relay}\n",
}
REST = "    count: 7\n    cable: {gauge: 1.5 mm², run: 14 m}\n"
SURE = QuickDescription(
    MODULE_FOUR_WIRE, "7", "2k2", "1.5 mm²", "14 m", "resettable_output", "yes", panel_resistor="5.6 kΩ"
)


@pytest.mark.parametrize("style", STYLES)
def test_seven_answers_give_the_module_of_the_site_file_written_out(style: str) -> None:
    quick = build_loop(build_quick_site(replace(SURE, style=style))[0])
    spelled = build_loop(parse_site(read_document(HEAD + WRITTEN[style] + REST, "site.yaml")))
    assert quick.elements == spelled.elements
    assert (quick.detectors, quick.relays, quick.zones) == (spelled.detectors, spelled.relays, spelled.zones)
    assert (quick.pairs, quick.module, quick.meter_points) == (spelled.pairs, spelled.module, spelled.meter_points)


@pytest.mark.parametrize("style", STYLES)
def test_answers_that_are_all_known_leave_only_the_kinds_assumed(style: str) -> None:
    (note,) = build_quick_site(replace(SURE, style=style))[1]
    assert "smoke detectors throughout are assumed" in note


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize(
    ("answer", "word"), [("panel_resistor", "panel's resistor"), ("end_resistor", "End resistor"), ("reset", "reset")]
)
def test_answer_not_sure_is_told_and_a_resistor_stays_wide(style: str, answer: str, word: str) -> None:
    site, notes = build_quick_site(replace(SURE, style=style, **{answer: "not sure"}))
    assert len([note for note in notes if word in note]) == 1
    assert len(notes) == 2
    assert build_loop(site).chains[0].spec.end_resistor is not None
    if answer == "end_resistor":
        assert (site.loops[0].end_resistor or SURE).spread == 30.0  # type: ignore[union-attr]


def test_supervision_relay_is_asked_of_a_four_wire_loop_only() -> None:
    sites = {s: build_quick_site(replace(SURE, style=s, end_relay="not sure")) for s in STYLES}
    assert sites[MODULE_TWO_WIRE][0].loops[0].end_relay is None
    assert sites[MODULE_FOUR_WIRE][0].loops[0].end_relay is not None
    assert [len(notes) for _, notes in sites.values()] == [1, 2]
    with pytest.raises(QuantityError, match="supervision relay"):
        build_quick_site(replace(SURE, end_relay="perhaps"))


SOUND = HEAD + WRITTEN[MODULE_FOUR_WIRE] + REST


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        ("module_four_wire", "four_wire_zone", "7:5", "leave 'co_zone' out"),
        ("co_zone: zone2", "co_zone: zone1", "7:3", "must differ"),
        ("co_zone: zone2", "co_zone: zone3", "7:3", "zone 'zone3', but the zones are zone1, zone2"),
        ("module_four_wire", "module_two_wire", "7:5", "no power pair"),
        ("reset: resettable_output", "reset: zone", "7:5", "not fed by the zone"),
        ("reset: resettable_output", "reset: resetable_output", "10:12", "did you mean 'resettable_output'?"),
        ("count: 7", "module: {profile: interface_modul}\n    count: 7", "13:23", "did you mean 'interface_module'?"),
        ("count: 7", "module: {profile: relay_24v}\n    count: 7", "13:23", "no profile 'relay_24v' here"),
        (
            "count: 7",
            "module: {profile: interface_module, values: {loop_u: 20 V}}\n    count: 7",
            "13:58",
            "did you mean 'loop_v'?",
        ),
        (
            "count: 7",
            "module: {profile: interface_module, values: {loop_v: 20 A}}\n    count: 7",
            "13:58",
            "loop_v: '20 A' reads as amperes",
        ),
        ("count: 7", "module_run: 0 m\n    count: 7", "13:17", "above zero"),
        ("count: 7", "detectors: [{profile: co_two_wire}]", "13:27", "no profile 'co_two_wire' here"),
        ("  zone2: {", "  z3: {}\n  z4: {}\n  z5: {}\n  zone2: {", "4:3", "at most 4"),
    ],
)
def test_finding_about_a_module_stands_at_its_place(old: str, new: str, place: str, words: str) -> None:
    assert old in SOUND
    with pytest.raises(SourceError) as refused:
        parse_site(read_document(SOUND.replace(old, new, 1), "hall.yaml"))
    (found,) = [str(f) for f in refused.value.findings]
    assert f"hall.yaml:{place}: error S" in found
    assert words in found


@pytest.mark.parametrize(
    ("bench", "defects"),
    [
        (M, ()),
        (N, ()),
        (replace(N, end_relay=False), ("supply_not_supervised",)),
        (replace(M, reset="always_on"), ("never_reset",)),
        (replace(N, reset="always_on"), ("never_reset",)),
        (Bench(FOUR_WIRE, "always_on", end_relay=False), ("supply_not_supervised", "never_reset")),
        (Bench("two_wire_zone"), ()),
    ],
    ids=lambda x: f"{x.style}, {x.reset}" if isinstance(x, Bench) else ",".join(x) or "none",
)
def test_silent_defects_of_the_description_are_found_behind_a_module_too(
    bench: Bench, defects: tuple[str, ...]
) -> None:
    assert find_defects(wire_bench(bench)) == defects


def test_co_detector_whose_module_reports_co_to_no_zone_is_a_defect() -> None:
    loop = wire_bench(replace(M, kinds=("smoke", "co")))
    lonely = loop.site.model_copy(update={"loops": (loop.chains[0].spec.model_copy(update={"co_zone": None}),)})
    assert "co_reports_nowhere" in find_defects(build_loop(lonely))
    assert "co_reports_nowhere" not in find_defects(loop)


def test_co_zone_that_is_said_to_sense_fire_is_refused() -> None:
    text = SOUND.replace("senses: co, ", "").replace("senses: co", "senses: fire")
    with pytest.raises(SourceError, match="is the CO zone of the loop: write 'senses: co' for it"):
        parse_site(read_document(text, "hall.yaml"))


def test_exchanged_contact_pairs_show_only_when_somebody_tests() -> None:
    """Common practice, no source: a smoke test then shows CO, and the panel is quiet until it is made."""
    loop = wire_bench(N)
    for smoked, outputs in (((), "resistor resistor"), (("det3",), "resistor closed"), (("det4",), "closed resistor")):
        settled = settle(loop, "pairs_exchanged@module.loop", *smoked)
        for output, state in zip(("module.fire", "module.co"), outputs.split(), strict=True):
            assert volts(settled, output) == pytest.approx(OUTPUT_V[state], abs=0.3)
    assert not [f for f in list_faults(wire_bench(M)) if f.kind == "pairs_exchanged"]
