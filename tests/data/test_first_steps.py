"""The first suggestion is one that a good technician would accept (design page, 12; common practice, no source)."""

from functools import cache
from pathlib import Path
from typing import cast

import pytest

from diagnostics.faults import CONTEXTS, Context
from diagnostics.readings import Measurement, list_measurements
from diagnostics.reasoning import SYMPTOMS, Question, diagnose
from diagnostics.source import read_file
from diagnostics.wiring import EARTH, Loop
from tests.reasoning.draw import prepare_bench
from tests.sampling import sample
from tests.wiring.quick import STYLES, wire_quick

Judged = dict[str, dict[str, str]]
STEPS = {
    "panel_shows",
    "zone_volts",
    "supply_volts",
    "supply_lamps",
    "event_log",
    "overnight",
    "reset_volts",
    "detector_volts",
    "ohms",
    "known_resistor",
    "walk_of_few",
    "walk_of_many",
    "lamp",
    "functional_test",
    "head_off",
    "dark_with_head_off",
    "look_panel",
    "look_reset",
    "look_detector",
    "look_end",
    "settings",
    "listen",
    "heads_swapped",
    "opened_volts",
    "earth_lamp",
    "earth_volts",
    "earth_ohms",
    "earth_lifted",
    "earth_opened",
    "ac_volts",
}
FEW = 6
WALKS = ("which_dark", "which_lit")
# Where the engine's first step is refused by the table; the table stays as it is.
REFUSED: dict[tuple[str, str, int, tuple[Context, ...]], str] = {}


@cache
def read_steps() -> dict[str, dict[str, Judged]]:
    """Return symptom → style → accepted and refused → step → reason."""
    document = read_file(Path(__file__).with_name("first_steps.yaml"))
    assert isinstance(document.data, dict)
    assert document.data["format"] == "ohmward-first-steps/1"
    return cast("dict[str, dict[str, Judged]]", document.data["symptoms"])


def name_step(m: Measurement, loop: Loop) -> str:
    """Return the table's name of a measurement."""
    if m.kind in WALKS:
        return "walk_of_few" if len(loop.detectors) <= FEW else "walk_of_many"
    if m.kind == "look":
        named = {"panel": "look_panel", "reset": "look_reset", loop.detectors[-1].name: "look_end"}
        return named.get(m.at, "look_detector")
    if m.kind != "volts" or m.black == EARTH:
        return f"earth_{m.kind}" if m.black == EARTH else m.kind
    by_mode = {"during_reset": "reset_volts", "opened": "opened_volts", "cut_off": "opened_volts"}
    if m.mode.word in by_mode:
        return by_mode[m.mode.word]
    if m.red == loop.zones[0].plus:
        return "zone_volts"
    return "supply_volts" if m.place == "panel" else "detector_volts"


@pytest.mark.parametrize("symptom", SYMPTOMS)
@pytest.mark.parametrize("style", STYLES)
def test_table_judges_every_complaint_with_reasons(symptom: str, style: str) -> None:
    judged = read_steps()[symptom][style]
    accepted, refused = judged["accepted"], judged["refused"]
    assert len(accepted) >= 3 <= len(refused)
    assert accepted.keys() | refused.keys() <= STEPS
    assert not accepted.keys() & refused.keys()
    assert all(len(reason) > 15 for reason in (*accepted.values(), *refused.values()))


@pytest.mark.parametrize("style", STYLES)
def test_table_knows_every_step_there_is(style: str) -> None:
    loop = wire_quick(style, 5)
    assert {name_step(m, loop) for m in list_measurements(loop)} <= STEPS


def list_questions() -> list[object]:
    """Return every complaint, style, size and context; a known disagreement is a strict xfail with its reason."""
    contexts: tuple[tuple[Context, ...], ...] = ((), *((c,) for c in CONTEXTS))
    every = [(s, style, n, c) for s in SYMPTOMS for style in STYLES for n in (5, 12) for c in contexts]
    found: list[object] = []
    for key in every:
        why = REFUSED.get(key)
        marks = [pytest.mark.xfail(strict=True, reason=why)] if why else []
        found.append(pytest.param(*key, marks=marks, id=f"{key[0]}-{key[1]}-{key[2]}-{'+'.join(key[3]) or 'any'}"))
    return found


@pytest.mark.parametrize(("symptom", "style", "detectors", "contexts"), sample(list_questions(), 3))
def test_first_suggestion_is_accepted(symptom: str, style: str, detectors: int, contexts: tuple[Context, ...]) -> None:
    bench = prepare_bench(style, detectors)
    first = diagnose(bench, Question(symptom=symptom, contexts=contexts)).next
    assert first is not None
    assert first.measurement is not None
    judged = read_steps()[symptom][style]
    step = name_step(first.measurement, bench.loop)
    assert step not in judged["refused"], judged["refused"][step]
    assert step in judged["accepted"], f"{step} is not judged yet"


@pytest.mark.parametrize("style", STYLES)
def test_reset_is_pressed_only_after_the_lit_lamp_was_noted(style: str) -> None:
    """*Alarm that will not reset* begins: which lamp is lit? Note it first (design page, section 7)."""
    for context in ((), *((c,) for c in CONTEXTS)):
        first = diagnose(prepare_bench(style, 5), Question(symptom="will_not_reset", contexts=context)).next
        assert first is not None
        assert first.measurement is not None
        if first.measurement.mode.word == "during_reset":
            assert {"evidence_first", "outputs", "tell_people"} <= set(first.measurement.cautions)
