"""A guide is walked as far as the answers go."""

import math
from pathlib import Path

import pytest

from diagnostics.readings import Bench, Measurement, parse_measurement
from diagnostics.reasoning import Taken
from diagnostics.trees import CANNOT, DONE, History, Walk, choose_guide, find_step_measurement, read_guide, walk


def _take(bench: Bench, kind: str, value: float | str, **where: str) -> Taken:
    return Taken(parse_measurement(kind, bench.loop, where), value)


def _walk(guide: str, bench: Bench, *taken: Taken, skipped: frozenset[str] = frozenset(), **answers: str) -> Walk:
    found = choose_guide(guide)
    return walk(found, bench, History(found.symptom, taken, answers, skipped))


def test_guide_waits_at_the_first_thing_that_nobody_said(bakery: Bench) -> None:
    found = _walk("constant_trouble", bakery)
    assert (found.reached, found.at, found.measurement) == ("step", "note", None)


def test_what_was_read_already_is_not_asked_again(bakery: Bench) -> None:
    open_zone = _take(bakery, "volts", 23.1, red="panel.zone1+", black="panel.zone1-")
    found = _walk("constant_trouble", bakery, open_zone, note=DONE)
    assert found.at == "dark"
    assert [p.step for p in found.passed] == ["note", "style", "zone_volts", "loop_open"]


def test_leads_the_other_way_round_are_turned(bakery: Bench) -> None:
    turned = _take(bakery, "volts", -23.1, red="panel.zone1-", black="panel.zone1+")
    assert _walk("constant_trouble", bakery, turned, note=DONE).at == "dark"


def test_complaint_itself_is_an_answer(greenhouse: Bench) -> None:
    guide = choose_guide("only_first_report")
    shown = Measurement("panel_shows", at="panel")
    assert History("constant_trouble")("panel", guide.steps["panel"], shown) == "trouble"
    assert History("only_first_report")("panel", guide.steps["panel"], shown) is None
    assert _walk("constant_trouble", greenhouse, note=DONE).at == "which_zone"


def test_far_dark_detectors_lead_to_the_break(bakery: Bench) -> None:
    taken = (
        _take(bakery, "volts", 23.1, red="panel.zone1+", black="panel.zone1-"),
        _take(bakery, "which_dark", "det6,det7,det8", at="loop"),
    )
    found = _walk("constant_trouble", bakery, *taken, note=DONE)
    assert (found.reached, found.at) == ("end", "break_between")
    assert found.end is not None
    assert "conductor_open" in found.end.suspects


def test_what_cannot_be_done_leaves_the_guide_to_the_model(bakery: Bench) -> None:
    m = parse_measurement("volts", bakery.loop, {"red": "panel.zone1+", "black": "panel.zone1-"})
    found = _walk("constant_trouble", bakery, note=DONE, skipped=frozenset({m.key}))
    assert (found.reached, found.at, found.passed[-1].answer) == ("left", "zone_volts", CANNOT)


def test_real_smoke_stops_everything(boathouse: Bench) -> None:
    found = _walk("will_not_reset", boathouse, real="there is smoke")
    assert found.end is not None
    assert (found.at, found.end.stop, found.end.suspects) == ("emergency", True, ())


def test_reading_says_how_far_the_other_way_was(small_guide: Path, bakery: Bench) -> None:
    zone = _take(bakery, "volts", 0.9, red="panel.zone1+", black="panel.zone1-")
    found = walk(read_guide(small_guide), bakery, History(None, (zone,), {"real": "no"}))
    assert found.at == "field"
    assert found.passed[-1].beside is not None
    assert found.passed[-1].beside > 5.0
    assert found.passed[-1].clear_sds is not None
    assert found.passed[-1].clear_sds > 5.0


def test_over_range_ohms_have_no_value_beside_them(small_guide: Path, bakery: Bench) -> None:
    text = small_guide.read_text("utf-8").replace("measure: volts", "measure: ohms").replace("below 1 V", "open")
    small_guide.write_text(text, "utf-8")
    where = {"red": "panel.zone1+", "black": "panel.zone1-", "mode": "lifted"}
    ohms = Taken(parse_measurement("ohms", bakery.loop, where), math.inf)
    found = walk(read_guide(small_guide), bakery, History(None, (ohms,), {"real": "no"}))
    assert (found.at, found.passed[-1].beside) == ("field", None)


@pytest.mark.parametrize(("across", "red"), [("fed", "module.in+"), ("com", "reset.com"), ("zone", "panel.zone1+"),
    ("co_zone", "panel.zone2+"), ("loop", "module.loop_fire+"), ("co_loop", "module.loop_co+"), ("last", "det4.in+"),
    ("separate_supply", "supply.out+"), ("switched", None), ("end_relay", None)])  # fmt: skip
def test_names_of_places_hold_for_the_loop_at_hand(greenhouse: Bench, across: str, red: str | None) -> None:
    step = choose_guide("constant_trouble").steps["zone_volts"].model_copy(update={"across": across})
    found = find_step_measurement(step, greenhouse.loop)
    assert (found.red if found else None) == red


def test_reset_pulse_is_its_own_measurement(boathouse: Bench) -> None:
    step = choose_guide("will_not_reset").steps["coil"]
    found = find_step_measurement(step, boathouse.loop)
    assert found is not None
    assert (found.red, found.mode.word) == ("panel.reset+", "during_reset")
