"""Words: every step, fault and answer has them, for each listener in each region, with nothing left unfilled."""

import math
import re
import string

import pytest

from diagnostics.faults import list_faults, read_catalogue
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements, list_tokens, parse_value
from diagnostics.reasoning import NOTHING, SYMPTOMS
from diagnostics.reports import (
    Region,
    Words,
    format_percent,
    format_wait,
    localize,
    read_words,
    tell_caution,
    tell_cautions,
)
from diagnostics.visit import LISTENERS, Listener
from tests.wiring.quick import STYLES, wire_quick

REGIONS: tuple[Region, ...] = ("north_america", "europe")
EVERY = [(s, li, r) for s in STYLES for li in LISTENERS for r in REGIONS]
# What a caller without tools or training may be asked; all else is for a technician.
NOT_BY_TELEPHONE = {"on_battery", "opened", "cut_off", "pair_lifted", "known_resistor"}
FOR_CALLERS = {
    "panel_shows", "lamp", "which_dark", "which_lit", "look", "supply_lamps", "event_log", "earth_lamp",
}  # fmt: skip


def is_filled(text: str) -> bool:
    return bool(text.strip()) and not set(text) & set("{}") and "None" not in text


@pytest.mark.parametrize(("style", "listener", "region"), EVERY)
def test_every_step_can_be_asked_and_named(style: str, listener: Listener, region: Region) -> None:
    words = Words(wire_quick(style, 3), listener, region)
    for m in list_measurements(words.loop):
        for text in (words.ask(m), words.name(m)):
            assert is_filled(text), (m.key, text)
        for token in list_tokens(m, words.loop):
            assert is_filled(words.answer(token))


@pytest.mark.parametrize("style", STYLES)
def test_names_of_steps_tell_them_apart(style: str) -> None:
    words = Words(wire_quick(style, 4))
    names = [words.name(m) for m in list_measurements(words.loop)]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("style", STYLES)
def test_faults_and_repairs_are_told_apart(style: str) -> None:
    words = Words(wire_quick(style, 4))
    faults = list_faults(words.loop)
    told = [words.fault(f) for f in faults]
    assert all(is_filled(text) for text in told)
    assert len(set(told)) == len(told)
    for repair in {f.repair_class for f in faults} | {NOTHING}:
        assert is_filled(words.repair(repair))


@pytest.mark.parametrize("region", REGIONS)
def test_complaints_and_cautions_are_told_in_every_region(region: Region) -> None:
    words = Words(wire_quick("two_wire_zone", 2), "technician", region)
    for symptom in SYMPTOMS:
        assert is_filled(words.symptom(symptom))
    for name in read_words().cautions:
        assert is_filled(words.caution(name))
    assert is_filled(words.after_repair())


@pytest.mark.parametrize("region", REGIONS)
def test_cautions_are_told_once_most_severe_first_and_joined_ones_lose_nothing(region: Region) -> None:
    table = read_words(region)
    severity = (
        "is_it_real", "outputs", "foreign_volts", "live_cabinet", "dead_first", "before_ohms", "free_part",
        "meter_left", "ladder",
    )  # fmt: skip
    assert tuple(table.cautions)[: len(severity)] == severity
    told = tell_cautions(["outranked", "ladder", "outputs", "outputs", "tell_people"], region)
    assert told == tuple(tell_caution(name, region) for name in ("outputs", "ladder", "tell_people", "outranked"))
    both = tell_cautions(["out_of_service", "tell_people", "live_cabinet"], region)
    assert both[0] == tell_caution("live_cabinet", region)
    ((_, text),) = both[1:]
    parts = ("person in charge", "on test, until what time", "occupants first", "does not protect while it is lifted")
    for part in (*parts, "head is off", "owner or impairment coordinator", "at once", "what applies"):
        assert part in text
        assert part in " ".join(tell_caution(name, region)[1] for name in ("tell_people", "out_of_service"))
    assert {table.regions[region][word] in text for word in ("station", "authority")} == {True}
    assert len(tell_cautions(list(table.cautions), region)) == len(table.cautions) - len(table.joined_cautions)
    assert len(tell_cautions(list(table.cautions), region, "caller")) == len(table.cautions)


def test_regions_use_their_own_terms() -> None:
    loop = wire_quick("two_wire_zone", 2)
    here, there = (Words(loop, "technician", region) for region in REGIONS)
    assert (here.answer("trouble"), there.answer("trouble")) == ("trouble", "fault")
    assert "supervising station" in here.caution("tell_people")
    assert "alarm receiving centre" in there.caution("tell_people")


@pytest.mark.parametrize("style", STYLES)
def test_caller_is_asked_for_nothing_that_needs_a_technician(style: str) -> None:
    words = Words(wire_quick(style, 3), "caller")
    for m in list_measurements(words.loop):
        assert ("for a technician" in words.ask(m)) == (m.kind not in FOR_CALLERS or m.mode.word in NOT_BY_TELEPHONE), (
            m.key
        )
        if m.kind == "look":
            assert "without touching" in words.ask(m)


def test_technician_is_told_to_prove_nought_volts_before_ohms() -> None:
    """The order is part of the sentence itself, not only of a caution beside it (design page, 10)."""
    words = Words(wire_quick("two_wire_zone", 3))
    for m in list_measurements(words.loop):
        if m.kind == "ohms":
            text = words.ask(m)
            assert text.index("0 V") < text.index("ohms")
            assert "0 V" in words.caution("before_ohms")


@pytest.mark.parametrize("style", STYLES)
def test_every_placeholder_of_a_sentence_is_known(style: str) -> None:
    table = read_words()
    known = {
        "where",
        "at",
        "beside",
        "there",
        "value",
        "red",
        "black",
        "zone",
        "of_zone",
        "of_loop",
        "pair",
        "lifted",
        *table.regions["europe"],
    }
    for ask in table.ask.values():
        for text in (ask.technician, ask.caller):
            assert {name for _, name, _, _ in string.Formatter().parse(text) if name} <= known
    assert table.ask.keys() == table.names.keys()
    assert {m.kind for m in list_measurements(wire_quick(style, 3))} <= table.ask.keys()


def test_values_are_shown_as_a_meter_shows_them() -> None:
    words = Words(wire_quick("two_wire_zone", 5))
    some = {m.kind: m for m in list_measurements(words.loop)}
    assert words.value(some["ohms"], math.inf) == "OL"
    assert words.value(some["ohms"], 4704.0) == "4.704 kΩ"
    assert words.value(some["volts"], -19.1) == "−19.1 V"
    assert words.value(some["lamp"], "lit") == "lit or blinking"
    dark = parse_value(some["which_dark"], words.loop, "det5 det4")
    assert words.value(some["which_dark"], dark) == "detector 4 and detector 5"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "under 1 %"),
        (0.0099, "under 1 %"),
        (0.01, "1 %"),
        (0.274, "27 %"),
        (0.99, "99 %"),
        (0.995, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_nothing_is_ever_called_certain(share: float, text: str) -> None:
    assert format_percent(share) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (-3, "0 s"),
        (44.2, "45 s"),
        (60, "1 min"),
        (200, "3 min 20 s"),
        (599.5, "10 min"),
        (3600, "1 h 0 min"),
    ],
)
def test_waiting_is_rounded_up(seconds: float, text: str) -> None:
    assert format_wait(seconds) == text


def test_ranges_that_round_to_one_value_are_one() -> None:
    words = Words(wire_quick("two_wire_zone", 2))
    assert words.range(19.101, 19.102, "V") == "19.1 V"
    assert words.range(4650.0, math.inf, "ohm") == "4.65 kΩ to OL"


def list_texts(tree: object) -> list[str]:
    if isinstance(tree, str):
        return [tree]
    some = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list | tuple) else ()
    return [text for part in some for text in list_texts(part)]


# Spellings of the two sides of the ocean that this trade meets, as stems.
SPELT: dict[Region, str] = {
    "north_america": r"colour|neighbour|behaviour|favour|grey|centre|metres?\b|licence|organis|recognis|isolator",
    "europe": r"color|neighbor|behavior|favor|gray|center|meters long|organiz|recogniz|aluminum|\bdisconnect\b",
}


@pytest.mark.parametrize("region", list(SPELT))
def test_each_dialect_keeps_to_its_own_spelling(region: Region) -> None:
    catalogue, table = read_catalogue(), read_words(region)
    own = {"format", "regions", "spoken"}
    remedies = [localize(r.words, region) for r in catalogue.remedies.values()]
    titles = [localize(kind.title, region) for kind in catalogue.kinds.values()]
    guides = [localize(p.read_text("utf-8"), region) for p in sorted(find_shipped("trees").glob("*.yaml"))]
    every = [*list_texts(table.model_dump(exclude=own)), *table.regions[region].values(), *remedies, *titles]
    text = re.sub(r"\w*_\w*", "", "\n".join([*every, *guides]))  # names of entries are no words
    assert re.findall(rf"\w*(?:{SPELT[region]})\w*", text, re.IGNORECASE) == []
