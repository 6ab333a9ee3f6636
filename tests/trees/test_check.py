"""What is wrong with a guide is found before any loop is known, all at once, each thing at its place."""

from pathlib import Path

import pytest

from diagnostics.errors import Finding, SourceError
from diagnostics.readings import read_table
from diagnostics.trees import ACROSS, AT, Step, find_step_measurement, list_guide_files, read_guide
from diagnostics.trees.reach import can_be_taken
from diagnostics.wiring import build_loop, read_site

from .conftest import SITES, SMALL

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
    "T114": (
        "measure: volts\n    across: zone",
        "measure: which_dark\n    at: panel",
        15,
        "at: zone, zone_pair, module, loop",
    ),
    "S002": ("across: zone", "acros: zone", 15, "did you mean 'across'?"),
    "T115": ("    measure: volts\n", "", 14, "a step is one of measure, ask, do or known"),
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
    spoilt = [
        code for code in SPOILS if code not in {"S002", "T115", "T103", "T107", "T108", "T109", "T110", "T113", "T114"}
    ]
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
    told = check(small_guide, SMALL.replace("    usual: 'no'\n", "").replace("    otherwise: emergency\n", "", 1))
    assert [f.code for f in told] == ["T115", "T107"]  # nor is a way for "None" asked for


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


def test_what_can_still_be_understood_is_told_beside_what_cannot(small_guide: Path) -> None:
    """A key that is none, a key that lacks, a list where a text belongs: the rest is checked all the same."""
    text = SMALL
    for old, new in (
        ("symptom: constant_trouble", "symptom: constant_truble"), ("    usual: 'no'\n", ""),
        ("across: zone", "acros: zone"), ("when: right, go: panel_side", "when: rihgt, go: panel_sied"),
        ("when: below 1 V", "when: [[below 1]]"), ("zone_input_damaged", "zone_input_damagd"),
        ("    say: The field is right.\n", ""), ("conductor_open", "conducter_open"),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new, 1)
    told = [(f.line, f.code) for f in check(small_guide, text)]
    # The goal in the broken list of branches is the one thing that nobody can check before the list is mended.
    assert list(dict.fromkeys(told)) == [
        (2, "T102"), (8, "T115"), (14, "S002"), (17, "S003"), (17, "S004"), (23, "S001"), (23, "T111"), (25, "T111"),
    ]  # fmt: skip


def check(path: Path, text: str) -> tuple[Finding, ...]:
    """Return the findings of a guide that is refused."""
    path.write_text(text, "utf-8")
    with pytest.raises(SourceError) as error:
        read_guide(path)
    return error.value.findings


@pytest.mark.parametrize(
    ("step", "place", "words"),
    [
        # A walk is told loop by loop, which the panel is none of.
        ("measure: which_dark\n    at: panel", (15, 9), "which_dark cannot be taken at panel; at: zone"),
        ("measure: lamp", (14, 14), "lamp cannot be taken without a place; at: first, middle, last"),
        ("measure: look\n    across: zone", (15, 13), "look cannot be taken across zone; at: panel"),
        # The two ends of one core are told by ohms alone.
        ("measure: volts\n    across: ring_plus", (15, 13), "volts cannot be taken across ring_plus; across: zone"),
        ("measure: volts\n    across: battery\n    mode: during_reset", (16, 11), "leave 'mode' out"),
        ("ask: which_dark\n    usual: none\n    at: panel", (14, 10), "write 'measure: which_dark'"),
        ("ask: Is it damp?\n    usual: 'no'\n    at: panel", (16, 9), "'at' belongs to a step with 'measure'"),
    ],
)
def test_a_step_that_nobody_can_take_is_refused(
    step: str, place: tuple[int, int], words: str, small_guide: Path
) -> None:
    text = SMALL.replace("measure: volts\n    across: zone", step)
    (found,) = (f for f in check(small_guide, text) if f.code == "T114")
    assert ((found.line, found.column), found.severity) == (place, "error")
    assert words in str(found)


STEPS = [
    Step(measure=kind, at=at, across=across, mode=mode, otherwise="anywhere")
    for kind in read_table().kinds
    for mode in (None, "standby", "during_reset")
    for at, across in [(None, None), *((name, None) for name in AT), *((None, name) for name in ACROSS)]
]


def test_no_step_is_refused_that_a_shipped_loop_offers() -> None:
    refused = [step for step in STEPS if not can_be_taken(step)]
    loops = [build_loop(read_site(path)) for path in SITES.values()]
    assert len(refused) > len(STEPS) / 2
    assert [step for step in refused for loop in loops if find_step_measurement(step, loop)] == []


@pytest.mark.parametrize("path", [p for p in list_guide_files() if p.parent.name != "shared"], ids=lambda p: p.stem)
def test_a_place_that_is_none_is_found_in_every_shipped_guide(path: Path, tmp_path: Path) -> None:
    """The first reading of each guide, moved to where nobody can take it."""
    (tmp_path / "shared").symlink_to(path.parent / "shared")
    lines = path.read_text("utf-8").splitlines()
    n = next(n for n, line in enumerate(lines) if line.startswith("    measure: "))
    named = lines[n + 1].startswith(("    at:", "    across:"))
    lines[n : n + 1 + named] = ["    measure: which_lit", "    at: reset"]
    found = [f for f in check(tmp_path / "guide.yaml", "\n".join(lines)) if f.code == "T114"]
    assert [(f.line, f.column) for f in found] == [(n + 2, 9)]
