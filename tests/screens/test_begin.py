"""From the start to the first step: safety in its order, whose loop it is, the description, the complaint."""

from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.cases import CaseStore, read_case, write_case
from diagnostics.errors import CaseError
from diagnostics.locate import find_shipped
from diagnostics.reports import tell_panel
from diagnostics.units import parse_quantity
from diagnostics.visit import find_listener, find_stage, find_test_end, list_visits
from diagnostics.wiring import PartSpec
from tests.screens.conftest import SAFETY, Visitor

RESISTOR = "End resistor that belongs on it"
DETECTORS = "How many detectors are on it?"


def begin(visitor: Visitor) -> Visitor:
    visitor.tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    return visitor


def test_a_new_case_leaves_nothing_behind_until_the_first_answer(visitor: Visitor) -> None:
    visitor.tap("new_case")
    assert "Is it real?" in visitor.text
    assert visitor.store.list_cases() == ()


def test_safety_comes_in_its_order_and_is_kept_with_its_moment(visitor: Visitor) -> None:
    visitor.tap("new_case")
    titles = []
    for key in SAFETY:
        titles.append(visitor.at.title[0].value)
        visitor.tap(key)
    assert titles == ["Is it real?", "Outputs", "Tell people first", "Evidence first"]
    names = [a.caution for a in visitor.case.acknowledged if not a.caution.startswith("on_test")]
    assert names == ["is_it_real", "outputs", "tell_people", "evidence_first"]
    assert find_test_end(visitor.case) is not None


def test_somebody_unwell_ends_in_everyone_out_and_no_diagnosis(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_no")
    assert "Everyone out into fresh air" in visitor.text
    assert not visitor.has("real_yes")
    assert visitor.store.list_cases() == ()


@pytest.mark.parametrize("stop", ["real_no", "real_not_yet"])
def test_help_desk_stays_help_desk_past_a_stop(visitor: Visitor, stop: str) -> None:
    """Found by trying: a caller was asked for measurements, since the choice fell back to the technician."""
    visitor.tap("new_case").pick("Who is asking?", "caller").tap(stop).tap("real_back")
    assert visitor.at.session_state["who"] == "caller"
    visitor.tap("real_yes")
    assert find_listener(visitor.case) == "caller"


def test_area_that_nobody_has_looked_at_is_looked_at_first(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_not_yet")
    assert "Have the area looked at first" in visitor.text
    assert "press nothing on the panel" in visitor.text
    assert not visitor.has("real_yes")
    visitor.tap("real_back")
    assert visitor.has("real_yes")
    assert visitor.store.list_cases() == ()


def test_a_releasing_zone_stops_the_visit(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_yes").tap("outputs_release")
    assert "This tool does not go there" in visitor.text
    assert not visitor.has("outputs_none")
    visitor.tap("release_close")
    assert "Say who has been told" in visitor.text
    visitor.type("Who has been told?", "the owner").type("Your name", "Ada").tap("release_close")
    assert visitor.case.leaving is not None
    assert (visitor.case.leaving.told, visitor.case.leaving.by) == ("the owner", "Ada")
    assert visitor.case.closing == "not_ours"


def test_reload_between_two_cautions_goes_on_where_it_was(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_yes").tap("outputs_none")
    again = Visitor(visitor.store, visitor.case_id)
    assert again.at.title[0].value == "Tell people first"


def test_no_monitoring_sets_no_test_period(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_yes").tap("outputs_none")
    visitor.tap("tell_local")
    assert find_test_end(visitor.case) is None
    assert "On test until" not in visitor.text


def test_a_loop_that_is_not_for_us_is_told_so_kindly(visitor: Visitor) -> None:
    visitor.tap("new_case")
    for key in SAFETY:
        visitor.tap(key)
    visitor.tap("for_us_no")
    assert "not for us" in visitor.text
    assert "What still holds" in visitor.text
    visitor.type("Who has been told?", "the owner").tap("not_for_us_close")
    assert "Write your name" in visitor.text
    visitor.type("Your name", "Ada").tap("not_for_us_close")
    assert visitor.case.closing == "not_ours"


def test_number_of_detectors_alone_is_enough_to_begin(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").tap("describe_use")
    assert find_stage(visitor.case) == "complaint"
    assert visitor.case.site.loops[0].count == 5
    assert "Cable not known" in visitor.case.site.note
    visitor.complain("none_report").tap("complaint_use")
    assert visitor.has("record") or visitor.has("guide_answer")


def test_four_wire_loop_asks_for_reset_and_end_relay(visitor: Visitor) -> None:
    begin(visitor).pick("How is it wired?", "four_wire_zone").type(DETECTORS, "3")
    visitor.pick("What drops the detector power when the panel is reset?", "reset_always_on")
    visitor.pick("Is there a power-supervision relay at the far end?", "no").tap("describe_use")
    loop = visitor.case.site.loops[0]
    assert (loop.style, loop.reset, loop.end_relay) == ("four_wire_zone", "always_on", None)


def test_module_asks_for_both_resistors_and_its_supply(visitor: Visitor) -> None:
    begin(visitor).pick("How is it wired?", "module_two_wire").type(DETECTORS, "4")
    visitor.type("Resistor that the panel wants on its zones", "2k2").type("End resistor that belongs on it", "3k3")
    visitor.pick("What drops the detector power when the panel is reset?", "reset_minus").tap("describe_use")
    site = visitor.case.site
    loop = site.loops[0]
    assert (loop.style, loop.reset, loop.co_zone) == ("module_two_wire", "minus_switched", "zone2")
    assert loop.end_resistor is not None
    assert (site.zones["zone1"].end_resistor, loop.end_resistor.resistance) == (2200.0, 3300.0)


def test_what_was_understood_of_a_resistor_is_said_before_it_is_used(visitor: Visitor) -> None:
    begin(visitor).type(RESISTOR, "5k6")
    assert "Understood: 5.60 kΩ" in visitor.text


@pytest.mark.parametrize(
    ("label", "text", "told"),
    [
        (RESISTOR, "23 V", "ohms are wanted"),
        ("Cable", "string", "string"),
        ("Distance between neighbors, about", "far", "meters"),
        ("Distance between neighbors, about", "40", "Feet or meters? Write 40 ft or 40 m."),
    ],
)
def test_wrong_value_in_the_description_gets_its_own_message(
    visitor: Visitor, label: str, text: str, told: str
) -> None:
    begin(visitor).type(DETECTORS, "4").type(label, text)
    assert told in visitor.text
    visitor.tap("describe_use")
    assert find_stage(visitor.case) == "describe"
    assert next(f for f in visitor.at.text_input if f.label == label).value == text


def test_rooms_are_named_in_the_order_of_the_wiring_and_survive_a_reload(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "4")
    visitor.at.text_area(key="q_rooms").set_value("entrance\n*bar*\n\n")
    visitor.run()
    again = visitor.reload().tap("describe_use")
    assert [d.room for d in again.case.site.loops[0].all_detectors] == ["entrance", "*bar*", "", ""]
    assert "q_rooms" not in again.at.query_params
    again.complain("constant_trouble").tap("complaint_use").tap("something_else")
    places = again.at.selectbox(key="other_where").options
    assert [o for o in places if "entrance" in o] == ["at detector 1 (entrance)"]


def test_more_rooms_than_detectors_are_refused_with_both_numbers(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "2")
    visitor.at.text_area(key="q_rooms").set_value("one\ntwo\nthree")
    visitor.run()
    visitor.tap("describe_use")
    assert "3 rooms are named, and there are 2 detectors" in visitor.text
    assert find_stage(visitor.case) == "describe"


@pytest.mark.parametrize("count", ["", "0", "-3", "many", "4000"])
def test_impossible_number_of_detectors_is_refused(visitor: Visitor, count: str) -> None:
    begin(visitor).type(DETECTORS, count).tap("describe_use")
    assert visitor.at.error
    assert find_stage(visitor.case) == "describe"


def test_shipped_example_is_taken_word_for_word(visitor: Visitor) -> None:
    begin(visitor).pick("How do you want to describe it?", "describe_shipped")
    visitor.at.selectbox(key="example").set_value("boathouse")
    visitor.tap("describe_use")
    assert visitor.case.site_text == (find_shipped("cases") / "sites" / "boathouse.yaml").read_text("utf-8")


def test_site_file_with_a_mistake_is_shown_with_its_place(visitor: Visitor) -> None:
    text = (
        (find_shipped("cases") / "sites" / "bakery.yaml").read_text("utf-8").replace("two_wire_zone", "tow_wire_zone")
    )
    begin(visitor).pick("How do you want to describe it?", "describe_file")
    visitor.at.file_uploader[0].upload("hall.yaml", text.encode(), "application/yaml")
    visitor.run()
    visitor.tap("describe_use")
    line = 1 + text[: text.index("tow_wire_zone")].count("\n")
    assert f"hall.yaml:{line}:" in visitor.text
    assert find_stage(visitor.case) == "describe"


def test_complaint_context_and_tools_are_kept(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").tap("describe_use")
    visitor.complain("detectors_dark")
    visitor.choose("What do you know of its past?", "aged", "water")
    visitor.choose("What do you have with you?", "meter").tap("complaint_use")
    case = visitor.case
    assert (case.symptom, case.contexts, case.can) == ("detectors_dark", ("aged", "water"), ("meter",))


def test_no_complaint_of_the_list_is_an_answer_too(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").tap("describe_use")
    visitor.complain("other_symptom").tap("complaint_use")
    assert visitor.case.symptom == ""
    assert find_stage(visitor.case) == "work"


def test_left_impaired_stands_before_open_and_closed(store: CaseStore) -> None:
    case = read_case(find_shipped("cases") / "bakery_call.yaml")
    made = [store.create_case(case) for _ in range(3)]
    store.append_closing(made[0].case_id, "left_impaired", made[0].revision)
    store.append_closing(made[2].case_id, "mended", made[2].revision)
    order = [v.case_id for v in list_visits(store) if not isinstance(v, str)]
    assert order == [made[0].case_id, made[1].case_id, made[2].case_id]
    visitor = Visitor(store)
    labels = [b.label for b in visitor.at.button if b.key and b.key.startswith("open ")]
    assert ["Left impaired" in labels[0], "open" in labels[1], "Put right" in labels[2]] == [True, True, True]


def test_unknown_case_in_the_url_leads_back(store: CaseStore) -> None:
    visitor = Visitor(store, "nobody-knows-it")
    assert "There is no case nobody-knows-it" in visitor.text
    visitor.tap("to_start")
    assert visitor.has("new_case")


def test_our_own_fault_is_told_with_a_number_and_no_traceback(
    store: CaseStore, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("planted by the test")

    monkeypatch.setattr("diagnostics.screens.start.list_visits", fail)
    visitor = Visitor(store)
    assert "Incident " in visitor.text
    assert "planted by the test" not in visitor.text
    number = visitor.text.partition("Incident ")[2][:8]
    assert any(number in record.getMessage() for record in caplog.records)


def test_store_that_refuses_is_told_in_plain_words(store: CaseStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise CaseError("the case store is busy", hint="try again")

    monkeypatch.setattr("diagnostics.screens.start.list_visits", refuse)
    assert "The case store is busy" in Visitor(store).text


def test_european_words_follow_the_choice(visitor: Visitor) -> None:
    visitor.pick("Words", "europe").tap("new_case").tap("real_yes").tap("outputs_none")
    assert "alarm receiving centre" in visitor.text


def test_panel_that_nobody_described_is_called_assumed_with_the_way_to_learn_it(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5")
    for told in ("Assumed: a generic panel, 24 V behind 1.00 kΩ", "Lift the field wires of one zone", "Live cabinet"):
        assert told in visitor.text
    visitor.tap("describe_use").complain("none_report").tap("complaint_use")
    assert "Assumed: a generic panel" in visitor.text
    given = visitor.case.site.model_copy(update={"panel": PartSpec(profile="panel_24v", values={"zone_v": "21.6 V"})})
    assert tell_panel(given) == ""


READ = {  # of 21.6 V behind 820 Ω, by the voltage divider, to the digits of a meter: open, with 4.7 kΩ, with 2.2 kΩ
    "Volts with nothing on the screws": "21.60 V",
    "First known resistor": "4.7k",
    "Volts with the first": "18.39 V",
    "Second known resistor": "2.2k",
    "Volts with the second": "15.74 V",
}


def learn(visitor: Visitor, **other: str) -> Visitor:
    begin(visitor).type(DETECTORS, "5")
    for label, text in READ.items():
        visitor.type(label, other.get(label.split()[0], text))
    return visitor


def test_panel_is_learnt_from_three_readings_at_its_screws(visitor: Visitor) -> None:
    """The voltage divider of any textbook: 21.6 V · 4.7/(4.7 + 0.82) = 18.39 V, 21.6 V · 2.2/(2.2 + 0.82) = 15.74 V."""
    again = learn(visitor).reload()
    assert "This panel is learnt from the readings below" in again.text
    assert "Assumed: a generic panel" not in again.text
    again.tap("describe_use")
    values = again.case.site.panel.values
    assert parse_quantity(str(values["zone_v"]), "V") == pytest.approx(21.6, rel=0.002)
    assert parse_quantity(str(values["zone_ohm"]), "ohm") == pytest.approx(820, rel=0.05)
    assert tell_panel(again.case.site) == ""
    assert not [name for name in again.at.query_params if name.startswith("q_panel")]


READ_12V = {"Volts with nothing on the screws": "12.04 V", "Volts with the first": "9.93 V"}
READ_12V |= {"Volts with the second": "8.28 V"}


def test_panel_of_12_v_is_said_or_seen_from_its_own_zone(visitor: Visitor) -> None:
    """12.04 V · 4.7/(4.7 + 1) = 9.93 V and 12.04 V · 2.2/(2.2 + 1) = 8.28 V: no zone of 24 V, whoever is not sure."""
    begin(visitor).type(DETECTORS, "5")
    assert "two of 12 V in series make 24 V" in visitor.text
    for label, text in (READ | READ_12V).items():
        visitor.type(label, text)
    assert "those of a generic panel of 12 V" in visitor.text
    visitor.tap("describe_use")
    assert visitor.case.site.panel.profile == "panel_12v"
    assert visitor.case.site.loops[0].each.profile == "smoke_two_wire_12v"


def test_panel_that_is_said_to_be_of_12_v_is_assumed_so_and_does_not_read_as_one_of_24_v(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").pick("What volts does the panel work with?", "q_system_12")
    assert "Assumed: a generic panel, 12 V behind 1.00 kΩ" in visitor.text
    assert "two of 12 V in series" not in visitor.text
    for label, text in READ.items():
        visitor.type(label, text)
    assert "A panel of 12 V has no 21.60 V for a zone" in visitor.text
    again = visitor.reload().pick("What volts does the panel work with?", "q_system_24")
    assert "A panel of 12 V has no" not in again.text
    assert again.tap("describe_use").case.site.panel.profile == "panel_24v"


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"First": "4.7 volts"}, "4.7 volts"),
        ({"Second": ""}, "three readings with three different loads"),
        ({"Volts": "-3 V"}, "No source behaves so"),
    ],
)
def test_readings_that_make_no_panel_are_told_at_their_field_and_nothing_is_used(
    visitor: Visitor, other: dict[str, str], told: str
) -> None:
    learn(visitor, **other).tap("describe_use")
    assert told.lower() in " ".join(str(e.value) for e in visitor.at.error).lower()
    assert visitor.case.acknowledged[-1].caution == "for_us"


def test_answers_at_the_first_gates_are_plain_and_opposite(visitor: Visitor) -> None:
    visitor.tap("new_case")
    labels = {b.key: b.label for b in visitor.at.button}
    assert labels["real_yes"] == "Looked: no fire, smoke or CO, nobody unwell"
    assert labels["real_no"] == "Fire, smoke or CO, or somebody unwell"
    assert labels["real_not_yet"] == "Nobody has looked yet"
    visitor.tap("real_yes").tap("outputs_none")
    labels = {b.key: b.label for b in visitor.at.button}
    assert labels["tell_people"] == "On test at the supervising station, all are told"
    assert labels["tell_local"] == "No supervising station here. People on site are told"
    visitor.tap("tell_people").tap("evidence_yes")
    assert {b.key: b.label for b in visitor.at.button}["for_us_no"] == "It is on this list. Stop here"


def test_each_wrong_answer_is_told_at_its_own_field_and_all_of_them_at_once(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "many").type("Cable", "99").tap("describe_use")
    assert visitor.case.acknowledged[-1].caution == "for_us"
    first, second = (e.value.replace("\u00a0", " ") for e in visitor.at.error)
    assert first.startswith("A whole number is wanted")
    assert second.startswith("'99' is not a wire size; write for example 18 AWG")
    visitor.type(DETECTORS, "5").type("Cable", "18 AWG").tap("describe_use")
    assert not visitor.at.error
    assert find_stage(visitor.case) == "complaint"


def test_unusual_answer_is_asked_about_at_its_field_and_may_stand(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").type(RESISTOR, "220")
    assert "Understood: 220 Ω" in visitor.text
    assert "Is it the right unit, and is no digit missing?" in visitor.text
    assert "Is it the right unit" not in visitor.type(RESISTOR, "4.7k").text
    assert "is 4.70 kΩ meant? write the unit" in visitor.type(RESISTOR, "4.7").text
    visitor.type(RESISTOR, "220").tap("describe_use")
    assert find_stage(visitor.case) == "complaint"


def test_two_rooms_of_one_name_are_told_apart_first(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "3")
    visitor.at.text_area(key="q_rooms").set_value("Hall\nKitchen\nhall")
    visitor.run()
    visitor.tap("describe_use")
    assert "“hall” is named twice" in visitor.text
    visitor.at.text_area(key="q_rooms").set_value("Hall 1\nKitchen\nHall 2")
    visitor.run()
    visitor.tap("describe_use")
    assert [d.room for d in visitor.case.site.loops[0].all_detectors] == ["Hall 1", "Kitchen", "Hall 2"]


def open_file(visitor: Visitor, content: bytes, name: str = "call.yaml") -> Visitor:
    visitor.at.file_uploader[0].upload(name, content, "application/yaml")
    visitor.run()
    return visitor.tap("open_file")


def test_a_case_file_is_opened_from_the_start(visitor: Visitor, tmp_path: Path) -> None:
    with CaseStore(f"sqlite:///{tmp_path}/elsewhere.sqlite3") as elsewhere:
        case = elsewhere.create_case(read_case(find_shipped("cases") / "bakery_call.yaml"))
    open_file(visitor, write_case(case).encode())
    assert visitor.case.case_id == case.case_id
    assert "Readings in it: 4" in visitor.text
    assert visitor.case.readings == case.readings


def test_what_is_no_case_file_is_refused_with_its_place(visitor: Visitor) -> None:
    open_file(visitor, b"format: ohmward-case/1\nsite: nowhere\n")
    assert "call.yaml:2:7" in visitor.text
    assert visitor.store.list_cases() == ()


def test_a_number_that_no_form_takes_is_refused_in_a_case_file_too(visitor: Visitor) -> None:
    row = "{measurement: volts, red: panel.zone1+, black: panel.zone1-, value: 1e99 V, WHAT}"
    text = f"format: ohmward-case/1\nsite: bench_two_wire\nNAME:\n  - {row}\n"
    stored, back = "understood: {value: 1e99, unit: V}", 'retracted_at: "2026-03-14T10:45:00Z"'
    for name, what in (("readings", stored), ("retracted", back)):
        open_file(visitor, text.replace("NAME", name).replace("WHAT", what).encode())
        assert "call.yaml:4:" in visitor.text
        assert "is too large" in visitor.text
        assert visitor.store.list_cases() == ()


def test_without_a_file_one_is_asked_for(visitor: Visitor) -> None:
    visitor.tap("open_file")
    assert "Choose a file first" in visitor.text


def test_a_file_that_went_another_way_is_kept_beside(visitor: Visitor, tmp_path: Path) -> None:
    case = read_case(find_shipped("cases") / "bakery_call.yaml")
    here = visitor.store.create_case(case)
    with CaseStore(f"sqlite:///{tmp_path}/elsewhere.sqlite3") as elsewhere:
        away = elsewhere.create_case(replace(case, case_id=here.case_id))
        away = elsewhere.append_retraction(away.case_id, away.readings[-1].reading_id, away.revision)
    open_file(visitor, write_case(away).encode())
    assert f"Case {here.case_id} is here already" in visitor.text
    assert visitor.case.case_id != here.case_id
    assert visitor.store.load_case(here.case_id) == here


def list_opened(visitor: Visitor) -> list[str]:
    return [str(b.key).removeprefix("open ") for b in visitor.at.button if str(b.key).startswith("open ")]


def test_older_cases_are_a_tap_away_and_any_is_found_by_what_stands_in_it(store: CaseStore) -> None:
    """Found by reading: of more than twelve the others could be reached by their address alone."""
    case = read_case(find_shipped("cases") / "bakery_call.yaml")
    noted = store.create_case(replace(case, notes="key at the 100% wool shop")).case_id
    made = [noted, *(store.create_case(case).case_id for _ in range(12))]
    visitor = Visitor(store)
    assert len(list_opened(visitor)) == 12
    assert set(list_opened(visitor.tap("more_cases"))) == set(made)
    assert not visitor.has("more_cases")
    assert list_opened(visitor.type("Find a case", "100% WOOL")) == [noted]
    assert len(list_opened(visitor.type("Find a case", "bakehouse"))) == 13
    assert list_opened(visitor.type("Find a case", made[3][:9])) == [made[3]]
    assert list_opened(visitor.type("Find a case", "1_0%")) == []
    assert "No case has that in it." in visitor.text
    assert len(list_opened(visitor.type("Find a case", ""))) == 13


def test_few_cases_need_no_search(store: CaseStore) -> None:
    store.create_case(read_case(find_shipped("cases") / "bakery_call.yaml"))
    visitor = Visitor(store)
    assert "Find a case" not in [f.label for f in visitor.at.text_input]
    assert not visitor.has("more_cases")
