"""What is wrong with a guide is found before any loop is known, all at once, each thing at its place."""

from pathlib import Path

import pytest

from diagnostics.errors import SourceError
from diagnostics.trees import read_guide

from .conftest import SMALL

SPOILS = {
    "T101": ("first: real", "uses: [suply_path]\nfirst: real", 5, "no part 'suply_path' in shared/"),
    "T102": ("symptom: constant_trouble", "symptom: constant_truble", 2, "did you mean 'constant_trouble'?"),
    "T103": ("measure: volts", "measure: vlots", 14, "did you mean 'volts'?"),
    "T104": ("across: zone", "across: zoen", 15, "did you mean 'zone'?"),
    "T105": ("when: right", "when: rihgt", 17, "did you mean 'right'?"),
    "T106": ("go: panel_side", "go: panel_sied", 17, "did you mean 'panel_side'?"),
    "T107": ("    otherwise: emergency", "    otherwise: field", 22, "nothing leads to the end 'emergency'"),
    "T108": ("    otherwise: field", "    otherwise: real", 8, "lead in a circle: real → zone_volts"),
    "T109": ("    otherwise: field\n", "", 14, "no way for minus, dead, low, high"),
    "T110": ("when: below 1 V", "when: [below 1 V, right]", 18, "an earlier branch has taken 'right'"),
    "T111": ("end_resistor_missing", "end_resistor_mising", 27, "did you mean 'end_resistor_missing'?"),
    "T112": ("    usual: 'no'", "    usual: 'no'\n    cautions: [is_it_reel]", 10, "did you mean 'is_it_real'?"),
    "T113": ("first: real", "first: reel", 5, "did you mean 'real'?"),
    "S002": ("across: zone", "acros: zone", 15, "did you mean 'across'?"),
    "S007": ("    measure: volts\n", "", 14, "a step is one of measure, ask, do or known"),
}


def test_small_guide_is_sound(small_guide: Path) -> None:
    guide = read_guide(small_guide)
    assert (guide.name, list(guide.ends)) == ("small", ["emergency", "panel_side", "field"])


@pytest.mark.parametrize("code", SPOILS)
def test_each_mistake_has_its_code_its_place_and_what_to_do(code: str, small_guide: Path) -> None:
    old, new, line, words = SPOILS[code]
    assert SMALL.count(old) >= 1
    small_guide.write_text(SMALL.replace(old, new, 1), "utf-8")
    with pytest.raises(SourceError) as error:
        read_guide(small_guide)
    found = [f for f in error.value.findings if f.code == code]
    assert found, error.value.findings
    assert (found[0].line, words in str(found[0])) == (line, True), found[0]


def test_all_mistakes_come_at_once(small_guide: Path) -> None:
    text = SMALL
    spoilt = [code for code in SPOILS if code not in {"S002", "S007", "T103", "T107", "T108", "T109", "T110", "T113"}]
    for code in spoilt:
        old, new, *_ = SPOILS[code]
        text = text.replace(old, new, 1)
    small_guide.write_text(text, "utf-8")
    with pytest.raises(SourceError) as error:
        read_guide(small_guide)
    assert {f.code for f in error.value.findings} >= set(spoilt)


def test_guide_without_a_question_s_usual_answer_is_refused(small_guide: Path) -> None:
    small_guide.write_text(SMALL.replace("    usual: 'no'\n", ""), "utf-8")
    with pytest.raises(SourceError, match="the answer of an ordinary day"):
        read_guide(small_guide)


def test_end_names_suspects_or_stops(small_guide: Path) -> None:
    small_guide.write_text(SMALL.replace("stop: 'yes', ", ""), "utf-8")
    with pytest.raises(SourceError, match="an end names 'suspects', or says 'stop: yes'"):
        read_guide(small_guide)


def test_part_beside_the_guide_goes_before_the_shipped_one(small_guide: Path) -> None:
    shared = small_guide.parent / "shared"
    shared.mkdir()
    part = "format: ohmward-guide-part/1\nabout: Mine.\nfirst: one\nsteps:\n  one: {do: Look., go: done}\nends:\n"
    (shared / "supply_path.yaml").write_text(part + "  done: {suspects: [healthy], say: Mine.}\n", "utf-8")
    text = SMALL.replace("first: real", "uses: [supply_path]\nfirst: real").replace(
        "cannot: field", "cannot: supply_path"
    )
    small_guide.write_text(text, "utf-8")
    guide = read_guide(small_guide)
    assert guide.steps["zone_volts"].cannot == "supply_path.one"
    assert str(guide.ends["supply_path.done"].say) == "Mine."
