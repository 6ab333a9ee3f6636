"""What a case store promises to everybody who writes to it."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from diagnostics.cases import Acknowledgement, Case, CaseStore, Outline, Reading, Repair
from diagnostics.errors import CaseChangedError, CaseError, NotFoundError, SourceError
from tests.cases.invented import SITE_TEXT, START, build_invented_case, build_volts

InsertRow = Callable[[str, int, str, str], None]


def test_new_case_gets_an_id_and_the_first_revision(store: CaseStore, case: Case) -> None:
    kept = store.create_case(case)
    assert kept == replace(case, case_id=kept.case_id, revision=1)
    assert len(kept.case_id.split("-")) == 3


def test_reading_is_there_for_whoever_opens_the_store_next(url: str, case: Case) -> None:
    reading = build_volts(1)
    with CaseStore(url) as store:
        case_id = store.create_case(case).case_id
        returned = store.append_reading(case_id, reading, 1)
    with CaseStore(url) as store:
        assert store.load_case(case_id) == returned
    assert returned.readings == (reading,)
    assert returned.revision == 2


def test_second_save_of_a_reading_changes_nothing_even_from_an_old_screen(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    reading = build_volts(1)
    first = store.append_reading(case_id, reading, 1)
    again = store.append_reading(case_id, replace(reading, taken_at=START + timedelta(hours=9)), 1)
    assert again == first
    assert store.load_case(case_id).revision == 2


def test_saved_reading_is_not_replaced_by_another_answer_under_its_id(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    reading = build_volts(1)
    kept = store.append_reading(case_id, reading, 1)
    with pytest.raises(CaseError, match="saved already, with another answer"):
        store.append_reading(case_id, replace(reading, value="19.9 V"), 2)
    assert store.load_case(case_id) == kept


def test_old_screen_is_told_what_came_in_between(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    store.append_reading(case_id, Reading("lamp", "dark", at="det4", by="Kim"), 1)
    store.append_repair(case_id, Repair("conductor_open@det4.in+", START), 2)
    with pytest.raises(CaseChangedError) as raised:
        store.append_reading(case_id, build_volts(1), 1)
    words = str(raised.value)
    assert "since revision 1: reading lamp det4 'dark' by 'Kim'; repair 'conductor_open@det4.in+'" in words
    assert "nothing of yours was saved" in words
    assert store.load_case(case_id).revision == 3


def test_every_kind_of_change_is_told_in_words(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    reading = build_volts(1)
    store.append_reading(case_id, reading, 1)
    changes: list[tuple[Callable[[int], Case], str]] = [
        (lambda n: store.append_retraction(case_id, reading.reading_id, n), "a reading taken back"),
        (lambda n: store.append_closing(case_id, "waiting", n), "closed as waiting"),
        (lambda n: store.append_closing(case_id, "", n), "opened again"),
        (
            lambda n: store.append_acknowledgement(case_id, Acknowledgement("outputs", START), n),
            "'outputs' acknowledged",
        ),
        (lambda n: store.append_site(case_id, SITE_TEXT.replace("5", "6"), n), "the site described anew"),
        (lambda n: store.append_outline(case_id, Outline(notes="x"), n), "contexts, symptom, means, meter or notes"),
    ]
    for revision, (change, words) in enumerate(changes, 2):
        change(revision)
        with pytest.raises(CaseChangedError, match=f"since revision {revision}: .*{words}"):
            store.append_reading(case_id, build_volts(2), revision)


def test_long_absence_names_three_changes_and_counts_the_rest(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    for number in range(1, 6):
        store.append_reading(case_id, build_volts(number), number)
    with pytest.raises(CaseChangedError, match=r"'1.1 V'; .*'2.2 V'; .*'3.3 V'; and 2 more"):
        store.append_reading(case_id, build_volts(9), 1)


def test_revision_that_is_not_reached_yet_is_refused(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    with pytest.raises(CaseChangedError, match="come to revision 1 only, not 7"):
        store.append_reading(case_id, build_volts(1), 7)


def test_reading_taken_back_no_longer_counts_and_stays_in_the_record(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    wrong, right = build_volts(1), build_volts(2)
    store.append_reading(case_id, wrong, 1)
    store.append_retraction(case_id, wrong.reading_id, 2, "leads reversed")
    kept = store.append_reading(case_id, right, 3)
    assert kept.readings == (right,)
    assert [(r.reading, r.why) for r in kept.retracted] == [(wrong, "leads reversed")]
    assert store.append_retraction(case_id, wrong.reading_id, 2) == kept
    with pytest.raises(NotFoundError):
        store.append_retraction(case_id, "0" * 32, 4)


def test_result_of_a_repair_takes_the_place_of_the_one_that_waited_for_it(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    first, second = Repair("fit_end_resistor", START), Repair("join the wire again", START)
    for revision, repair in enumerate((first, second, replace(first, cured=False)), 1):
        kept = store.append_repair(case_id, repair, revision)
    assert kept.repairs == (replace(first, cured=False), second)


def test_case_remembers_site_outline_cautions_and_closing(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    longer = SITE_TEXT.replace("count: 5", "count: 6")
    outline = Outline(("aged",), "earth_fault", None, {}, "handed to a technician")
    caution = Acknowledgement("outputs", START)
    store.append_site(case_id, longer, 1)
    store.append_outline(case_id, outline, 2)
    store.append_acknowledgement(case_id, caution, 3)
    store.append_closing(case_id, "left_impaired", 4)
    kept = store.load_case(case_id)
    assert (kept.site.loops[0].count, kept.site_text) == (6, longer)
    assert (kept.outline, kept.acknowledged, kept.closing, kept.revision) == (outline, (caution,), "left_impaired", 5)


def test_site_that_does_not_read_is_refused_before_it_is_kept(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    with pytest.raises(SourceError):
        store.append_site(case_id, SITE_TEXT.replace("count: 5", "count: many"), 1)
    with pytest.raises(CaseError):
        store.create_case(replace(case, site_text="name: nothing"))
    assert store.load_case(case_id).revision == 1
    assert len(store.list_cases()) == 1


def test_unknown_case_is_not_found(store: CaseStore) -> None:
    with pytest.raises(NotFoundError, match="there is no case 'k3m9-7tqp-x2wd'"):
        store.load_case("k3m9-7tqp-x2wd")


def test_text_that_cannot_be_kept_is_refused_in_words(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    with pytest.raises(CaseError, match="characters that cannot be kept"):
        store.append_reading(case_id, replace(build_volts(1), by="\ud800"), 1)
    with pytest.raises(CaseError, match="too long"):
        store.append_outline(case_id, Outline(notes="x" * 2_000_000), 1)
    with pytest.raises(CaseError, match="is no case id"):
        store.create_case(replace(case, case_id="x\n"))
    assert store.load_case(case_id).revision == 1


@pytest.mark.parametrize(
    ("revision", "kind", "body", "why"),
    [
        (2, "reading", '{"measurement": "vol', "its reading is damaged"),
        (2, "reading", '{"measurement": "volts", "value": "1 V", "taken_at": "2026-03-14T10:42:00"}', "damaged"),
        (2, "photograph", "{}", "'photograph' is not known"),
        (3, "closing", '{"closing": "mended"}', "a revision before this one is missing"),
        (2, "opened", '{"site_text": "", "outline": {}}', "does not begin where it should"),
        (2, "site", '{"site_text": "name: x"}', "its site does not read"),
    ],
)
def test_damaged_row_names_case_and_revision_and_leaves_the_others_alone(
    store: CaseStore, insert_row: InsertRow, revision: int, kind: str, body: str, why: str
) -> None:
    bad, good = (store.create_case(build_invented_case()) for _ in range(2))
    insert_row(bad.case_id, revision, kind, body)
    with pytest.raises(CaseError, match=f"case '{bad.case_id}' cannot be read at revision {revision}: .*{why}"):
        store.load_case(bad.case_id)
    assert store.load_case(good.case_id) == good
    assert {row.case_id for row in store.list_cases()} == {bad.case_id, good.case_id}


def test_list_shows_a_case_whose_beginning_is_damaged(store: CaseStore, insert_row: InsertRow) -> None:
    insert_row("damaged", 1, "opened", "{")
    (row,) = store.list_cases()
    assert (row.case_id, row.site_name, row.is_readable) == ("damaged", "(cannot be read)", False)


def test_list_begins_with_what_was_left_impaired_and_then_the_latest(store: CaseStore) -> None:
    first, second, third = (store.create_case(build_invented_case()).case_id for _ in range(3))
    store.append_closing(first, "left_impaired", 1)
    store.append_closing(second, "left_impaired", 1)
    store.append_closing(second, "mended", 2)
    store.append_reading(third, build_volts(1), 1)
    rows = store.list_cases()
    assert [(r.case_id, r.closing, r.revision) for r in rows] == [
        (first, "left_impaired", 2),
        (third, "", 2),
        (second, "mended", 3),
    ]
    assert rows[0].site_name == "Bench with five heads (invented)"
    assert rows[0].opened_at < rows[0].changed_at
    assert [row.case_id for row in store.list_cases(1)] == [first]


def test_case_opened_again_no_longer_counts_as_left_impaired(store: CaseStore) -> None:
    first, second = (store.create_case(build_invented_case()).case_id for _ in range(2))
    store.append_closing(first, "left_impaired", 1)
    store.append_closing(first, "", 2)
    store.append_reading(second, build_volts(1), 1)
    assert [(r.case_id, r.closing) for r in store.list_cases()] == [(second, ""), (first, "")]


def test_case_created_twice_is_one_case_and_an_id_is_never_shared(store: CaseStore, case: Case) -> None:
    named = replace(case, case_id="k3m9-7tqp-x2wd")
    store.create_case(named)
    kept = store.append_reading(named.case_id, build_volts(1), 1)
    assert store.create_case(named) == kept
    with pytest.raises(CaseError, match="already a case 'k3m9-7tqp-x2wd'"):
        store.create_case(replace(named, symptom="earth_fault"))
    assert len(store.list_cases()) == 1


@pytest.mark.parametrize("change", ["UPDATE ohmward_events SET body = '{}'", "DELETE FROM ohmward_events"])
def test_database_refuses_to_change_or_remove_what_was_written(
    store: CaseStore, url: str, case: Case, change: str
) -> None:
    kept = store.create_case(case)
    engine = create_engine(url)
    with pytest.raises(DBAPIError, match="events are only ever added"), engine.begin() as connection:
        connection.execute(text(change))
    engine.dispose()
    assert store.load_case(kept.case_id) == kept


def _append_until_kept(store: CaseStore, case_id: str, reading: Reading) -> int:
    """Save as a screen does that looks again when told to; return how often it was told."""
    for refusals in range(10_000):
        try:
            store.append_reading(case_id, reading, store.load_case(case_id).revision)
        except CaseChangedError:
            continue
        return refusals
    raise AssertionError("never kept")


def test_threads_that_write_to_one_case_lose_nothing_and_double_nothing(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    readings = [build_volts(n) for n in range(40)]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda reading: _append_until_kept(store, case_id, reading), readings))
    kept = store.load_case(case_id)
    assert sorted(r.reading_id for r in kept.readings) == sorted(r.reading_id for r in readings)
    assert kept.revision == 41


def test_one_of_two_that_write_at_the_same_revision_is_refused(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id

    def save(reading: Reading) -> bool:
        try:
            store.append_reading(case_id, reading, 1)
        except CaseChangedError:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        kept = list(pool.map(save, [build_volts(n) for n in range(4)]))
    assert sorted(kept) == [False, False, False, True]
    assert len(store.load_case(case_id).readings) == 1


def test_reading_saved_by_four_taps_at_once_is_kept_once(store: CaseStore, case: Case) -> None:
    case_id = store.create_case(case).case_id
    reading = build_volts(1)
    with ThreadPoolExecutor(4) as pool:
        returned = list(pool.map(lambda _: store.append_reading(case_id, reading, 1), range(4)))
    assert {r.revision for r in returned} == {2}
    assert store.load_case(case_id).readings == (reading,)
