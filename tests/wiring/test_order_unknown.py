"""A loop whose order nobody knows: places counted from the panel, numbers instead of lists, rooms found on the way.

Sites are invented. That the same evidence must mean the same with and without names is what the tests lean on.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diagnostics.cases import Case, CaseStore, write_site
from diagnostics.errors import CaseError, NotFoundError, QuantityError, SourceError
from diagnostics.faults import list_faults, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, list_measurements, parse_measurement, parse_value, read_table
from diagnostics.reasoning import Question, Taken, diagnose, list_hypotheses
from diagnostics.reports import Words
from diagnostics.source import read_document
from diagnostics.visit import assess_case, build_reading, open_case, tell_place
from diagnostics.wiring import Loop, Site, build_loop, parse_site, read_site

FILE = find_shipped("cases") / "sites" / "chapel_school.yaml"


def read() -> Site:
    return read_site(FILE)


def order(site: Site) -> Site:
    """Return the same loop with the order of the file taken as the order of the cable."""
    return site.model_copy(update={"loops": (site.loops[0].model_copy(update={"order": "known"}),)})


def conclude(loop: Loop, kind: str, value: str) -> dict[str, float]:
    bench = Bench(loop, list_hypotheses(loop))
    where = {"at": "loop"}
    volts = parse_measurement("volts", loop, {"red": "panel.zone1+", "black": "panel.zone1-"})
    m = parse_measurement(kind, loop, where)
    taken = (Taken(volts, 23.4), Taken(m, parse_value(m, loop, value)))
    found = diagnose(bench, Question(("aged",), "constant_trouble", taken, None, "panel"))
    return {",".join(f.text for f in c.faults): c.probability for c in found.candidates}


def test_nothing_is_named_in_an_order_that_nobody_has_given() -> None:
    loop = build_loop(read())
    assert {d.label for d in loop.detectors} == {""}
    assert loop.chains[0].spec.rooms_left[:2] == ("craft room", "library")
    assert Words(loop).detector("det3") == "detector 3 from the panel"


def test_number_of_dark_ones_means_what_the_list_of_them_means() -> None:
    """Three dark of seven are the last three, whatever their rooms: the same posterior, fault by fault."""
    unknown, known = build_loop(read()), build_loop(order(read()))
    counted = conclude(unknown, "how_many_dark", "3")
    listed = conclude(known, "which_dark", "det5,det6,det7")
    leaders = [text for text, p in listed.items() if p > 0.01]
    assert len(leaders) >= 2
    for text in leaders:
        assert counted[text] == pytest.approx(listed[text], rel=0.1)


def test_walks_are_counted_and_lists_are_not_asked_for() -> None:
    loop = build_loop(read())
    kinds = {m.kind for m in list_measurements(loop)}
    assert {"how_many_dark", "how_many_lit"} <= kinds
    assert not kinds & {"which_dark", "which_lit", "dark_with_head_off"}
    m = parse_measurement("how_many_dark", loop, {"at": "loop"})
    assert parse_value(m, loop, "none") == "0"
    assert parse_value(m, loop, "7") == "7"
    with pytest.raises(QuantityError):
        parse_value(m, loop, "8")


def test_detector_that_nobody_knows_costs_the_search_and_one_that_was_found_does_not() -> None:
    site = read()
    found = site.model_copy(update={"loops": (site.loops[0].model_copy(update={"places": {3: "gym"}}),)})
    search = read_table().travel.search
    for name, extra in (("det2", search), ("det3", 0.0)):
        old, new, known = (parse_measurement("lamp", build_loop(s), {"at": name}) for s in (site, found, order(site)))
        assert new.find_minutes("panel") == known.find_minutes("panel") + extra
        assert old.find_minutes("panel") == known.find_minutes("panel") + search
        assert old.find_minutes(name) == known.find_minutes(name)  # who stands there need not look for it
    assert Words(build_loop(found)).detector("det3") == "detector 3 from the panel (gym)"


def test_question_at_a_detector_that_nobody_knows_says_to_look_for_it() -> None:
    loop = build_loop(read())
    words = Words(loop)
    asked = words.ask(parse_measurement("lamp", loop, {"at": "det4"}))
    assert "follow the cable" in asked
    assert "follow the cable" not in words.ask(parse_measurement("panel_shows", loop, {"at": "panel"}))


def test_faults_of_a_detector_itself_share_one_repair_as_it_shows_which_it_is() -> None:
    loop = build_loop(read())
    stuck = {f.repair_class for f in list_faults(loop) if f.kind == "detector_stuck"}
    assert len(stuck) == 1
    opens = {f.repair_class for f in list_faults(loop) if f.kind == "conductor_open"}
    assert len(opens) == len(loop.detectors)
    assert "that shows it" in Words(loop).repair(stuck.pop())


def test_one_lit_lamp_settles_a_stuck_detector_wherever_it_is() -> None:
    site = read()
    loop = build_loop(site)
    case = Case(site, write_site(site), contexts=("aged",), symptom="will_not_reset")
    for n, (kind, text) in enumerate((("how_many_lit", "1"), ("panel_shows", "alarm"))):
        m = parse_measurement(kind, loop, {"at": "loop" if n == 0 else "panel"})
        case = replace(case, readings=(*case.readings, build_reading(m, text, f"r{n}")))
    d = assess_case(case).diagnosis
    assert d.candidates[0].faults[0].kind == "detector_stuck"
    assert d.candidates[0].repair_class[1] == "detector"


def test_room_that_was_found_is_a_revision_and_loses_no_reading(tmp_path: Path) -> None:
    site = read()
    loop = build_loop(site)
    case = Case(site, write_site(site), contexts=("aged",), symptom="constant_trouble")
    m = parse_measurement("how_many_dark", loop, {"at": "loop"})
    case = replace(case, readings=(build_reading(m, "3", "r0"),))
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as store:
        case = tell_place(store, open_case(store, case), "det5", "loft")
        case = tell_place(store, case, "det4", "gym")
        assert case.site.loops[0].places == {4: "gym", 5: "loft"}
        assert [r.value for r in case.readings] == ["3"]
        assert len(case.earlier_sites) == 2
        assert assess_case(case).loop.detectors[4].label == "loft"
        with pytest.raises(NotFoundError):
            tell_place(store, case, "det9", "loft")
        with pytest.raises(CaseError):
            tell_place(store, case, "det6", "  ")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("order: unknown", "places: {1: gym}", "belongs to a loop whose order is not known"),
        ("{room: gym}", "{room: gym, run: 4 m}", "must hold for 'each'"),
        ("order: unknown", "order: unknown\n    places: {8: gym}", "beyond the last"),
        ("order: unknown", "order: maybe", "known"),
    ],
)
def test_what_an_unknown_order_cannot_have_is_refused_with_a_reason(old: str, new: str, words: str) -> None:
    with pytest.raises(SourceError) as refused:
        parse_site(read_document(FILE.read_text("utf-8").replace(old, new), "school.yaml"))
    assert words in str(refused.value)


def test_every_forecast_of_such_a_loop_adds_up() -> None:
    loop = build_loop(read())
    bench = Bench(loop, [(), *(parse_faults(f.text, loop) for f in list_faults(loop)[::7])])
    for forecast in bench.forecast_all(list_measurements(loop)):
        if forecast.chance is not None:
            np.testing.assert_allclose(forecast.chance.sum(axis=1), 1.0, atol=1e-9)
