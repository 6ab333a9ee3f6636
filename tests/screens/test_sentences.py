"""Sentences of the screens: each that is asked for is there, and each that is there is used."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from diagnostics.cases import CLOSINGS
from diagnostics.faults import CONTEXTS, SIGNS, list_faults
from diagnostics.readings import list_measurements, read_table
from diagnostics.reasoning import SYMPTOMS
from diagnostics.reports import Words, read_words, tell_caution, tell_closing
from diagnostics.wiring import Style, build_loop, read_site

ROOT = Path(__file__).parents[2] / "diagnostics"
SOURCES = [path for folder in ("screens", "reports", "cli") for path in (ROOT / folder).glob("*.py")]


def read_sources() -> str:
    return "\n".join(path.read_text("utf-8") for path in SOURCES)


def test_every_sentence_that_is_asked_for_is_there() -> None:
    screens = "\n".join(path.read_text("utf-8") for path in (ROOT / "screens").glob("*.py"))
    asked = set(re.findall(r"""\btell\(\s*["']([a-z_]+)["']""", screens))
    asked |= set(re.findall(r"""\bsay\(\s*["']([a-z_]+)["']""", (ROOT / "reports" / "explain.py").read_text("utf-8")))
    assert len(asked) > 100
    assert asked - set(read_words().screen) == set()


def test_every_sentence_is_used_somewhere() -> None:
    whole = read_sources()
    assert [key for key in read_words().screen if not re.search(f"[\"']{key}[\"']", whole)] == []


@pytest.mark.parametrize("region", ["north_america", "europe"])
def test_every_caution_and_closing_can_be_told(region: str) -> None:
    for name in {c for kind in read_table().kinds.values() for c in kind.cautions} | {"ladder", "outranked"}:
        assert all(tell_caution(name, region))  # type: ignore[arg-type]
    for closing in CLOSINGS:
        assert not closing or all(tell_closing(closing, region))  # type: ignore[arg-type]


def test_words_cover_kinds_contexts_and_styles() -> None:
    words = read_words()
    other = {
        "look_head",
        "ohms_lifted",
        "ohms_to_earth",
        "which_dark_returned",
        "how_many_dark_returned",
        "earth_opened_cut_off",
        "volts_opened",
        "volts_field",
        "volts_pair_lifted",
        "volts_both_lifted",
        "volts_known_resistor",
        "volts_cut_off",
    }  # kinds asked for in another way
    assert set(words.names) == set(words.ask) == set(read_table().kinds) | other
    assert set(words.contexts) == {*CONTEXTS, *SIGNS}
    assert set(words.styles) == set(words.style_words) == {str(s) for s in Style}
    assert set(words.caution_titles) == set(words.cautions)


def test_no_screen_reckons_and_no_screen_holds_a_class_or_a_changing_value() -> None:
    for path in (ROOT / "screens").glob("*.py"):
        text = path.read_text("utf-8")
        assert not re.search(r"^class ", text, re.MULTILINE), path.name
        assert not re.search(r"^[A-Z_a-z]+ = (\[|set\()", text, re.MULTILINE), path.name
        assert not re.search(r"\b(numpy|pandas|math)\b", text), path.name


@pytest.mark.parametrize(
    ("region", "strange"), [("north_america", r"\b[Mm]ains\b|call point"), ("europe", r"\b[Tt]rouble\b|pull station")]
)
def test_no_word_of_the_other_dialect_stands_in_what_is_shown(region: str, strange: str) -> None:
    table = read_words(region)
    shown = [*_list_texts(table.model_dump(exclude={"format", "regions", "spoken"}))]
    assert len(shown) > 500
    assert [text for text in shown if re.search(strange, re.sub(r"{.*?}", "", text))] == []
    loop = build_loop(read_site(ROOT.parent / "cases" / "sites" / "guest_house.yaml"))
    words = Words(loop, region=region)  # type: ignore[arg-type]
    told = [text for f in list_faults(loop) for text in (words.faults((f,)), words.repair(f.repair_class))]
    asked = [text for m in list_measurements(loop) for text in (words.ask(m), words.name(m))]
    told += [words.symptom(name) for name in SYMPTOMS]
    assert [text for text in (*told, *asked) if re.search(strange, text)] == []


def _list_texts(tree: object) -> Iterator[str]:
    if isinstance(tree, str):
        yield tree
    elif isinstance(tree, Mapping | tuple):
        for value in tree.values() if isinstance(tree, Mapping) else tree:
            yield from _list_texts(value)
