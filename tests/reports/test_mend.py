"""What to mend, by ohms, conductor, terminal and contact; and what the zone reads once it is right."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnostics.cases import Repair, read_case
from diagnostics.faults import list_faults, parse_fault
from diagnostics.readings import Bench, find_short, list_measurements, read_table
from diagnostics.reports import (
    Words,
    build_diagnosis,
    list_mend_places,
    list_mends,
    list_not_apart,
    list_repair_cautions,
    list_suspected,
    list_suspects,
    read_words,
    tell_rechecks,
    tell_spot,
    tell_take_off,
)
from diagnostics.reports.record_words import tell_suspected
from diagnostics.units import format_ends, format_quantity, format_short
from diagnostics.visit import Assessment, assess_case, list_read_for_repair
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site

CASES = Path(__file__).parents[2] / "cases"


def assess(name: str) -> tuple[Assessment, Words, tuple[str, str]]:
    assessment = assess_case(read_case(CASES / f"{name}.yaml"))
    assert assessment.diagnosis.next_class is not None
    return assessment, Words(assessment.loop), assessment.diagnosis.next_class


def test_repair_that_may_begin_at_the_panel_brings_the_cautions_of_the_panel_too() -> None:
    """The resistor belongs at the end, on a ladder; where it sits now may be on the panel's own terminals."""
    assessment, words, found = assess("packing_shed_hand_over")
    places = list_mend_places(list_mends(assessment.diagnosis, found, words))
    assert {"panel", "det1"} <= set(places)
    assert {"live_cabinet", "ladder"} <= set(list_repair_cautions(found, places))
    assert list_read_for_repair(assessment.case, words.loop, found, places) == frozenset()
    told = build_diagnosis(assessment, words)["next"]["cautions"]
    assert words.caution("live_cabinet") in told
    assert words.caution("ladder") in told


@pytest.mark.parametrize(
    ("name", "repair", "mend"),
    [
        ("pottery_trouble_since_repaint", "end resistor (4.70 kΩ by this description), at the far end.", ""),
        ("guest_house_wrong_contact", "", "Move the wire of the detector supply from NO to NC of the reset relay."),
        ("bakery_call", "", "plus conductor, run into detector 5 (bakehouse): between + out of detector 4"),
        ("bakery_call", "", "minus conductor, run into detector 5 (bakehouse): between − out of detector 4"),
    ],
)  # fmt: skip
def test_verdict_names_ohms_conductor_terminals_and_contact(name: str, repair: str, mend: str) -> None:
    assessment, words, found = assess(name)
    assert repair in words.repair(found)
    assert mend in " ".join(one.told for one in list_mends(assessment.diagnosis, found, words))


@pytest.mark.parametrize("name", ["packing_shed_hand_over", "packing_shed_head_test"])
def test_repair_that_is_spread_over_many_places_names_every_one_of_them(name: str) -> None:
    """The resistor sits before the end, at the panel or at any of four detectors: no reading has told where."""
    assessment, words, found = assess(name)
    assert found == ("move_end_resistor", "end")
    told = [mend.fault for mend in list_mends(assessment.diagnosis, found, words)]
    assert sorted(told) == [f"end_resistor_before_end@{at}" for at in ("det1", "det2", "det3", "det4", "panel")]


def test_repair_in_two_parts_names_what_to_mend_of_each() -> None:
    """One fault is told beside four that share the other half: the parts do not crowd each other out."""
    assessment, words, _ = assess("packing_shed_hand_over")
    loop, d = words.loop, assessment.diagnosis
    one = parse_fault("joint_resistive=300@det3.in+", loop)
    others = [parse_fault(f"end_resistor_before_end@det{n}", loop) for n in range(1, 5)]
    repair = ("mend_conductor + move_end_resistor", "run det3 + end")
    pairs = tuple(
        replace(d.candidates[0], faults=(one, other), probability=0.24, repair_class=repair) for other in others
    )
    mends = list_mends(replace(d, candidates=pairs), repair, words)
    assert [mend.repair[0] for mend in mends] == ["mend_conductor", *["move_end_resistor"] * 4]
    assert mends[0].fault == one.text
    assert {mend.fault for mend in mends[1:]} == {other.text for other in others}


def test_record_keeps_what_was_suspected_with_its_ohms_and_tells_it_as_the_suspects_do() -> None:
    assessment, words, found = assess("guest_house_damp_tray")
    kept = list_suspected(assessment.diagnosis, found, words)
    (leader,) = (c for c in assessment.diagnosis.candidates[:1] if c.value_ohm is not None)
    assert kept == (f"leak={format_short(leader.value_ohm or 0)}@det3.in",)
    told = tell_suspected(Repair("@".join(found), datetime.now(UTC), suspected=kept), words)
    assert told == list_suspects(assessment.diagnosis, words)[0][1]
    assert "about 10 kΩ between the conductors, run into detector 3" in told


def test_what_the_resistor_that_comes_off_should_read_is_said_before_another_goes_on() -> None:
    """A site with a wrong resistor: that value is suspected, the right one means that it is something else."""
    assessment, words, found = assess("packing_shed_borrowed_part")
    assert found[0] == "fit_end_resistor"
    told = tell_take_off(assessment.diagnosis, found, words)
    (wrong_ohm,) = {c.faults[0].value_ohm for c in assessment.diagnosis.candidates[:1]}
    assert f"about {format_quantity(wrong_ohm, 'ohm')}" in told
    assert "If it reads 4.70 kΩ, put it back" in told
    call, call_words, conductor = assess("bakery_call")
    assert tell_take_off(call.diagnosis, conductor, call_words) == ""


def test_group_that_is_spread_over_many_places_names_some_and_counts_the_rest() -> None:
    assessment, words, found = assess("packing_shed_hand_over")
    kept = list_suspected(assessment.diagnosis, found, words)
    assert len(kept) == 5  # the panel, and every detector but the last
    told = tell_suspected(Repair("@".join(found), datetime.now(UTC), suspected=kept), words)
    assert told.startswith("one of: End resistor fitted at the panel")
    assert told.count(";") == 4
    many = Repair("@".join(found), datetime.now(UTC), suspected=(*kept, "conductor_open@det2.in+"))
    assert tell_suspected(many, words).endswith("detector 3 (office), not at the end; and 2 more")


def test_after_such_a_repair_the_zone_reads_what_a_sound_loop_reads() -> None:
    assessment, words, found = assess("bakery_call")
    (told,) = tell_rechecks(found, words)
    (sound,) = (
        Bench(assessment.loop, [()]).forecast_all([m])[0].mean
        for m in list_measurements(assessment.loop)
        if (m.red, m.black, m.mode.text) == ("panel.zone1+", "panel.zone1-", "standby")
    )
    assert sound is not None
    low, high = (float(text.split(" V")[0].split()[-1]) for text in told.partition(": ")[2].split(" to "))
    assert low < float(sound[0]) < high
    assert high - low < 3.0


def test_right_value_is_not_told_where_nobody_knows_it() -> None:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "3"))
    told = Words(build_loop(site)).repair(("fit_end_resistor", "end"))
    assert "Ω" not in told
    assert "see the panel’s instructions" in told


def test_one_other_that_nothing_tells_apart_is_named_and_more_are_listed() -> None:
    assessment, words, _ = assess("bakery_call")
    (_, told), *_ = list_suspects(assessment.diagnosis, words)
    assert told == "Open conductor, run into detector 5 (bakehouse)"  # plus or minus is one line, and one repair
    other, words, _ = assess("packing_shed_last_one")
    assert "or: Bad joint of about 1.0 kΩ, run into detector 5" in list_suspects(other.diagnosis, words)[0][1]
    more, words, _ = assess("pottery_no_coil")
    assert "or one of 2 more" in list_suspects(more.diagnosis, words)[0][1]
    assert len(list_not_apart(more.diagnosis, words)[0]) == 3


def test_every_kind_that_is_put_on_its_right_terminals_says_which() -> None:
    loops = [build_loop(read_case(CASES / f"{n}.yaml").site) for n in ("guest_house_crossed", "pottery_nail")]
    kinds = {f.kind for loop in loops for f in list_faults(loop) if f.data.remedy == "put_wires_right"}
    assert len(kinds) > 5
    assert kinds - set(read_words().mends) == set()


@pytest.mark.parametrize(
    ("run", "told"),
    [("40 ft", r"about \d+ ft \(\d+ m\) ± \d+ ft \(\d+ m\)"), ("12 m", r"about \d+ m \(\d+ ft\) ± \d+ m \(\d+ ft\)")],
)
def test_place_of_a_short_is_told_in_the_unit_that_the_lengths_were_given_in(run: str, told: str) -> None:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "6", cable="18 AWG", run=run))
    loop = build_loop(site)
    spot = find_short(loop, "det1.in", 1.2, read_table().meter)
    assert spot is not None
    assert re.match(told, tell_spot(spot, "det1.in", Words(loop)))


def test_ends_of_one_range_share_their_unit() -> None:
    assert format_ends((0.036, 0.118), "V") == ("0.036 V", "0.118 V")
    assert format_ends((-0.004, 0.0), "V") == ("−4 mV", "0 mV")
    assert format_ends((850.0, 4700.0), "ohm") == ("0.850 kΩ", "4.70 kΩ")
    assert format_ends((4700.0, float("inf")), "ohm") == ("4.70 kΩ", "OL")
