"""Values as people type them: volts, ohms, words, lists of detectors."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.errors import QuantityError
from diagnostics.readings import Measurement, list_measurements, list_tokens, parse_value
from diagnostics.units import OVER
from tests.wiring.quick import STYLES, wire_quick

LOOP = wire_quick("two_wire_zone", 6)
FOUR = wire_quick("four_wire_zone", 3)


def find(kind: str, at: str = "") -> Measurement:
    return next(m for m in list_measurements(LOOP) if m.kind == kind and (not at or m.at == at))


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("volts", "23.9 V", 23.9),
        ("volts", "23,9", 23.9),
        ("volts", "-19.8", -19.8),
        ("volts", "−19.8 V", -19.8),
        ("volts", "850 mV", 0.85),
        ("volts", "0", 0.0),
        ("ohms", "4.72 k", 4720.0),
        ("ohms", "4k7", 4700.0),
        ("ohms", "4,72 kΩ", 4720.0),
        ("ohms", "850", 850.0),
        ("ohms", "1.2 MΩ", 1.2e6),
        ("ohms", "OL", OVER),
        ("ohms", "ol", OVER),
        ("ohms", "O.L MΩ", OVER),
        ("panel_shows", "Trouble", "trouble"),
        ("panel_shows", "fault", "trouble"),
        ("panel_shows", "ok", "normal"),
        ("panel_shows", "quiet", "normal"),
        ("lamp", "blinks", "lit"),
        ("lamp", "OFF", "dark"),
        ("lamp", "red", "alarm"),
        ("functional_test", "reports and clears", "reports_and_clears"),
        ("functional_test", "silent", "no_report"),
        ("functional_test", "alarm-already", "alarm_already"),
        ("head_off", "fault", "trouble"),
        ("look", "fine", "as_it_should_be"),
        ("look", "resistor missing", "resistor_missing"),
        ("settings", "wrong", "setting_wrong"),
        ("known_resistor", "normal", "normal"),
        ("which_dark", "none", "none"),
        ("which_dark", "det4,det5", "det4,det5"),
        ("which_dark", " Det5; det4  and det4", "det4,det5"),
        ("which_dark", "det6 det2", "det2,det6"),
        ("dark_with_head_off", "det6", "det6"),
    ],
)
def test_value_is_understood(kind: str, text: str, value: float | str) -> None:
    understood = parse_value(find(kind), LOOP, text)
    assert understood == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("volts", "4.7 kΩ", "volts are wanted"),
        ("volts", "OL", "over range"),
        ("volts", "", "nothing is written"),
        ("volts", "about twenty", "does not read as volts"),
        ("volts", "1,234", "write 1.234 or 1234"),
        ("volts", "nan", "does not read as volts"),
        ("volts", "1e99", "too large"),
        ("ohms", "23.9 V", "ohms are wanted"),
        ("ohms", "4.7 m", "mega is a capital M"),
        ("ohms", "-12", "prove 0 V"),
        ("ohms", "−3.1 kΩ", "prove 0 V"),
        ("panel_shows", "truoble", "did you mean 'trouble'?"),
        ("panel_shows", "xyz", "choose one of normal, trouble, alarm"),
        ("lamp", "", "choose one of lit, dark, alarm"),
        ("lamp", "trouble", "no answer to lamp"),
        ("functional_test", "report", "did you mean"),
        ("which_dark", "", "write none"),
        ("which_dark", "det9", "det9"),
        ("which_dark", "none, det2", "none"),
        ("which_dark", "detector 2", "detector"),
        ("dark_with_head_off", "det1", "'det1' is no other detector"),
    ],
)
def test_value_that_is_none_is_refused_with_what_is_wanted(kind: str, text: str, words: str) -> None:
    measurement = find(kind, "det1" if kind == "dark_with_head_off" else "")
    with pytest.raises(QuantityError) as refused:
        parse_value(measurement, LOOP, text)
    assert words in str(refused.value)


@pytest.mark.parametrize("style", STYLES)
def test_every_word_that_is_offered_is_understood_as_itself(style: str) -> None:
    loop = wire_quick(style, 3)
    for m in list_measurements(loop):
        for token in list_tokens(m, loop):
            if token != m.at:
                assert parse_value(m, loop, token) == token


@given(st.sampled_from(list_measurements(FOUR)), st.text(max_size=30))
@settings(max_examples=300, deadline=None)
def test_any_text_is_a_value_or_a_quantity_error(measurement: Measurement, text: str) -> None:
    try:
        value = parse_value(measurement, FOUR, text)
    except QuantityError as refused:
        assert refused.message  # noqa: PT017 - both ways out are promises
        return
    if isinstance(value, str):
        assert parse_value(measurement, FOUR, value) == value
    else:
        assert value == value  # noqa: PLR0124 - it is a number, never nan
