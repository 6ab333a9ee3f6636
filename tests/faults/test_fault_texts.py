"""Faults as text: every kind at every place reads back, and what names nothing is told what there is."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.errors import FaultError
from diagnostics.faults import KINDS, Fault, list_faults, parse_fault, parse_faults, read_catalogue
from diagnostics.wiring import Loop
from tests.wiring.quick import STYLES, wire_quick

LOOPS = {style: wire_quick(style, 4) for style in STYLES}
EVERY = [
    (style, kind.name, place) for style, loop in LOOPS.items() for kind in KINDS.values() for place in kind.places(loop)
]


def list_values(kind: str) -> tuple[float | None, ...]:
    name = KINDS[kind].values
    return getattr(read_catalogue().values, name) if name else (None,)


@pytest.mark.parametrize(("style", "kind", "place"), EVERY)
def test_every_kind_at_every_place_reads_back_from_its_text(style: str, kind: str, place: str) -> None:
    for ohm in list_values(kind):
        fault = Fault(kind, place, ohm)
        assert parse_fault(fault.text, LOOPS[style]) == fault
        assert parse_fault(f"  {fault.text} ", LOOPS[style]) == fault


@pytest.mark.parametrize("style", STYLES)
def test_list_holds_every_kind_at_every_place_once(style: str) -> None:
    faults = list_faults(LOOPS[style])
    assert len({f.text for f in faults}) == len(faults)
    assert {(style, f.kind, f.place) for f in faults} == {row for row in EVERY if row[0] == style}
    assert parse_faults(",".join(f.text for f in faults), LOOPS[style]) == faults


@pytest.mark.parametrize("style", STYLES)
def test_right_end_resistor_is_not_among_the_wrong_ones(style: str) -> None:
    wrong = [f.value_ohm for f in list_faults(LOOPS[style]) if f.kind == "end_resistor_wrong"]
    assert 4700.0 not in wrong
    assert len(wrong) == len(read_catalogue().values.end_resistor_ohm) - 1


@pytest.mark.parametrize("text", ["", "  ", "healthy", " healthy "])
def test_nothing_wrong_is_an_empty_list_of_faults(text: str) -> None:
    assert parse_faults(text, LOOPS["two_wire_zone"]) == ()


@pytest.mark.parametrize("value", ["5k6", "5.6k", "5600", "5,6 kΩ", "green blue red gold"])
def test_value_is_read_as_people_write_resistors(value: str) -> None:
    assert parse_fault(f"end_resistor_wrong={value}@end", LOOPS["two_wire_zone"]).value_ohm == pytest.approx(5600.0)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("conductor_opn@det3.in+", "did you mean 'conductor_open'?"),
        ("Conductor_Open@det3.in+", "write KIND@PLACE"),
        ("zzzz@det3.in+", "see: ohmward list kinds"),
        ("conductor_open@det33.in+", "did you mean 'det3.in+'?"),
        ("conductor_open@det9.in+", "det"),
        ("conductor_open", "write KIND@PLACE or KIND=VALUE@PLACE"),
        ("conductor_open@", "write KIND@PLACE or KIND=VALUE@PLACE"),
        ("@end", "write KIND@PLACE or KIND=VALUE@PLACE"),
        ("pair_short@nowhere", "it can be at det1.in, det2.in"),
        ("end_resistor_wrong@end", "write end_resistor_wrong=4k7@PLACE"),
        ("end_resistor_missing=4k7@end", "write end_resistor_missing@PLACE"),
        ("end_resistor_wrong=OL@end", "write end_resistor_wrong=4k7@PLACE"),
        ("end_resistor_wrong=5 V@end", "write end_resistor_wrong=4k7@PLACE"),
        ("com_not_fed@reset", "this loop cannot have it"),
        ("head_off@panel", "it can be at det1"),
    ],
)
def test_text_that_names_no_fault_is_told_what_was_meant(text: str, hint: str) -> None:
    with pytest.raises(FaultError) as refused:
        parse_fault(text, LOOPS["two_wire_zone"])
    assert hint in refused.value.hint
    assert refused.value.text == text


@pytest.mark.parametrize("value", ["0", "-5", "2G", "1e12"])
def test_value_that_no_resistor_has_is_refused(value: str) -> None:
    with pytest.raises(FaultError, match="end_resistor_wrong"):
        parse_fault(f"end_resistor_wrong={value}@end", LOOPS["two_wire_zone"])


def test_one_wrong_fault_among_several_is_named() -> None:
    with pytest.raises(FaultError, match="pair_shorts"):
        parse_faults("head_off@det1, pair_shorts@det2.in", LOOPS["two_wire_zone"])


SOME = st.one_of(st.sampled_from(sorted(KINDS)), st.text("abc_@=", max_size=12))
VALUE = st.one_of(st.just(""), st.sampled_from(["=", "=5k6", "=-1", "=1e99"]), st.text(max_size=6).map("={}".format))
PLACE = st.one_of(st.sampled_from(sorted(LOOPS["four_wire_zone"].pairs)), st.text(max_size=10))


@given(st.one_of(st.text(max_size=40), st.builds("{}{}@{}".format, SOME, VALUE, PLACE)))
@settings(max_examples=300, deadline=None)
def test_any_text_is_a_fault_or_a_fault_error(text: str) -> None:
    loop: Loop = LOOPS["four_wire_zone"]
    try:
        fault = parse_fault(text, loop)
    except FaultError as refused:
        assert refused.message  # noqa: PT017 - both ways out are promises
        return
    assert parse_fault(fault.text, loop) == fault


@pytest.mark.parametrize(("style", "kind", "place"), EVERY)
def test_repair_of_every_fault_is_in_the_catalogue(style: str, kind: str, place: str) -> None:
    fault = Fault(kind, place, list_values(kind)[0])
    names = {d.name for d in LOOPS[style].detectors}
    assert fault.remedy.words
    assert fault.remedy.minutes > 0
    zones = {z.name for z in LOOPS[style].zones}
    assert fault.spot in {"end", "reset", "panel", "loop", *zones, *names, *(f"run {n}" for n in names)}
    assert fault.repair_class[0] == fault.data.remedy
