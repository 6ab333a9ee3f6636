"""A data file is read as it stands, or refused with the place of every fault."""

import copy
import string
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnostics.errors import DiagnosticsError, FaultError, Finding, NotFoundError, SourceError, find_nearest
from diagnostics.source import Document, Tree, find_value, read_document, read_file


def find_faults(text: str) -> list[tuple[int, int, str]]:
    """Return line, column and code of all that is wrong with a text."""
    with pytest.raises(SourceError) as caught:
        read_document(text, "site.yaml")
    assert caught.value.findings
    return [(finding.line, finding.column, finding.code) for finding in caught.value.findings]


def test_text_stays_text_that_other_readers_turn_into_numbers_and_dates() -> None:
    text = "a: 010\nb: 12:30\nc: no\nd: 2026-01-02\ne: 1e3\nf: 0x1F\ng: .inf"
    expected = {"a": "010", "b": "12:30", "c": "no", "d": "2026-01-02", "e": "1e3", "f": "0x1F", "g": ".inf"}
    assert read_document(text, "x").data == expected


@pytest.mark.parametrize("written", ["", "~", "null", "Null", "NULL"])
def test_nothing_written_is_none(written: str) -> None:
    assert read_document(f"a: {written}", "x").data == {"a": None}


@pytest.mark.parametrize("written", ["'~'", '"null"', "''"])
def test_quoted_nothing_is_text(written: str) -> None:
    assert read_document(f"a: {written}", "x").data == {"a": written[1:-1]}


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n", "---\n", "\ufeff"])
def test_empty_file_is_none(text: str) -> None:
    assert read_document(text, "x").data is None


def test_every_value_and_key_has_its_place_counted_from_one() -> None:
    document = read_document("zone: Ω é\nruns:\n  - {length: 12 m}\n  - x\n", "x")
    assert document.places == {
        (): (1, 1),
        ("zone",): (1, 7),
        ("runs",): (3, 3),
        ("runs", 0): (3, 5),
        ("runs", 0, "length"): (3, 14),
        ("runs", 1): (4, 5),
    }
    assert document.key_places == {("zone",): (1, 1), ("runs",): (2, 1), ("runs", 0, "length"): (3, 6)}


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system_count_once(line_end: str) -> None:
    assert read_document(line_end.join(["a: 1", "b: 2"]), "x").places[("b",)] == (2, 4)


def test_byte_order_mark_does_not_shift_the_first_line() -> None:
    assert read_document("\ufeffa: 1", "x").places[("a",)] == (1, 4)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("a: *b", (1, 4, "Y007")),
        ("a: &b 1", (1, 4, "Y007")),
        ("*a : 1", (1, 1, "Y007")),
        ("a: !!int 1", (1, 4, "Y008")),
        ("a: ! x", (1, 4, "Y008")),
        ("a: !!python/object/apply:os.system [ls]", (1, 4, "Y008")),
        ("<<: {a: 1}", (1, 1, "Y009")),
        ("a: 1\nb: 2\na: 3", (3, 1, "Y010")),
        ("? [a, b]\n: 1", (1, 3, "Y011")),
        ("?\n: 1", (1, 2, "Y011")),
        ("~: 1", (1, 1, "Y011")),
        ("a: 1\n---\nb: 2", (2, 1, "Y012")),
        ("a: 1\n\tb: 2", (2, 1, "Y005")),
        ("a: 1\nb: x\x07", (2, 5, "Y004")),
        ("a: x\u202e", (1, 5, "Y004")),
        ("a: x\u2028b: 2", (1, 5, "Y004")),
        ("a: \ud800", (1, 4, "Y004")),
        ("a: b: c", (1, 5, "Y006")),
        ("a: [1, 2", (1, 9, "Y006")),
        ("a: 1\n  b: 2", (2, 4, "Y006")),
        ("a: @x", (1, 4, "Y006")),
        ("[" * 31, (1, 31, "Y013")),
        ("[" * 100_000, (1, 1001, "Y013")),  # libyaml itself stops here, before its first event
        ("- " * 100_000, (1, 61, "Y013")),
        ("[" + "a," * 60_000 + "]", (1, 100_000, "Y014")),
        ("a" * 1_000_001, (1, 1, "Y002")),
        ("é" * 500_001, (1, 1, "Y002")),
    ],
    ids=lambda value: repr(value[:12]) if isinstance(value, str) else None,
)
def test_what_would_surprise_the_author_is_refused_where_it_stands(text: str, fault: tuple[int, int, str]) -> None:
    assert find_faults(text) == [fault]


def test_thirty_levels_are_still_read() -> None:
    assert read_document("[" * 30 + "]" * 30, "x").data is not None


def test_quoted_merge_sign_is_an_ordinary_key() -> None:
    assert read_document("'<<': 1", "x").data == {"<<": "1"}


def test_repeated_key_names_the_first_place() -> None:
    with pytest.raises(SourceError, match=r"site\.yaml:3:1: error Y010 key 'a' stands here twice, first at line 1"):
        read_document("a: 1\nb: 2\na: 3", "site.yaml")


def test_all_faults_are_told_together_in_the_order_of_the_file() -> None:
    assert find_faults("a: &x 1\nb: *x\na: !t 2\nc: {d: 1, d: 2}") == [
        (1, 4, "Y007"),
        (2, 4, "Y007"),
        (3, 1, "Y010"),
        (3, 4, "Y008"),
        (4, 11, "Y010"),
    ]


def test_keys_of_a_refused_key_do_not_count_as_keys_of_the_file() -> None:
    assert find_faults("a: 1\n? {a: 2}\n: {a: 3}\nb: 4") == [(2, 3, "Y011")]


def test_alias_bomb_is_refused_without_being_unfolded() -> None:
    lines = ["a0: &a0 [x, x]"] + [f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, 25)]
    codes = {code for _, _, code in find_faults("\n".join(lines))}
    assert codes == {"Y007"}


def test_findings_stop_at_a_hundred() -> None:
    assert len(find_faults("- *a\n" * 5000)) == 100


def test_every_refusal_is_a_line_of_plain_words() -> None:
    with pytest.raises(SourceError) as caught:
        read_document("a: [1, 2", "trees/x.yaml")
    assert str(caught.value) == "trees/x.yaml:1:9: error Y006 this list is not closed, or lacks a comma; check [ and ]"


def test_file_is_read_with_its_own_name(tmp_path: Path) -> None:
    path = tmp_path / "loop.yaml"
    path.write_bytes("\ufeffname: küche\r\n".encode())
    assert read_file(path) == Document(
        {"name": "küche"}, {(): (1, 1), ("name",): (1, 7)}, path.as_posix(), {("name",): (1, 1)}
    )


def test_file_that_cannot_be_read_is_a_finding_at_its_start(tmp_path: Path) -> None:
    (tmp_path / "latin.yaml").write_bytes(b"a: 1\nb: \xe9")
    (tmp_path / "large.yaml").write_bytes("é".encode() * 600_000)
    (tmp_path / "loop.yaml").symlink_to(tmp_path / "loop.yaml")
    names = {
        "missing.yaml": "Y001",
        "": "Y001",
        "latin.yaml": "Y003",
        "large.yaml": "Y002",
        "loop.yaml": "Y001",
        "a\0b": "Y001",
    }
    for name, code in names.items():
        with pytest.raises(SourceError) as caught:
            read_file(tmp_path / name)
        assert [(finding.line, finding.column, finding.code) for finding in caught.value.findings] == [(1, 1, code)]


def test_file_that_the_system_refuses_is_a_finding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked.yaml"
    path.write_text("a: 1")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(SourceError, match="Y001 cannot be read: Permission denied"):
        read_file(path)


def test_find_value_follows_a_path_and_gives_none_beyond_it() -> None:
    tree = read_document("a: [x, {b: y}]", "x").data
    assert find_value(tree, ("a", 1, "b")) == "y"
    assert [find_value(tree, path) for path in (("a", 5), ("a", "b"), ("c",), ("a", 0, 0))] == [None] * 4


def test_findings_sort_by_place_and_print_in_one_line() -> None:
    early = Finding("trees/x.yaml", 2, 5, "T003", "error", "unknown step 'a'", "did you mean 'b'?")
    late = Finding("trees/x.yaml", 12, 1, "T001", "warning", "no title")
    assert SourceError([late, early, late]).findings == (early, late)
    assert str(early) == "trees/x.yaml:2:5: error T003 unknown step 'a'; did you mean 'b'?"
    assert str(late) == "trees/x.yaml:12:1: warning T001 no title"
    assert late.to_json() == {
        "file": "trees/x.yaml",
        "line": 12,
        "column": 1,
        "code": "T001",
        "severity": "warning",
        "message": "no title",
        "hint": "",
    }


def test_errors_keep_their_facts_through_a_copy() -> None:
    fault = copy.copy(FaultError("unknown fault 'x'", text="x@det1", hint="did you mean 'y'?"))
    assert (str(fault), fault.text) == ("unknown fault 'x'; did you mean 'y'?", "x@det1")
    findings = SourceError([Finding("f", 1, 1, "Y001", "error", "no")])
    assert copy.copy(findings).findings == findings.findings


@pytest.mark.parametrize(
    ("error", "builtin"), [(FaultError, ValueError), (SourceError, ValueError), (NotFoundError, LookupError)]
)
def test_errors_are_ours_and_the_builtin_that_callers_expect(error: type[Exception], builtin: type[Exception]) -> None:
    assert issubclass(error, DiagnosticsError)
    assert issubclass(error, builtin)


@pytest.mark.parametrize(
    ("word", "nearest"), [("zone", "zones"), ("ZONES", "zones"), ("xyz", None), ("", None), ("z" * 10_000, None)]
)
def test_nearest_word_is_found_or_none(word: str, nearest: str | None) -> None:
    assert find_nearest(word, ["zones", "name", "supply_v"]) == nearest


WORDS = st.text(st.sampled_from(string.ascii_letters + string.digits + " .:-#'\"[]{}&*!|>%@`,?~Ωé"), max_size=12)
TREES: st.SearchStrategy[Tree] = st.recursive(
    WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=20,
)


@given(tree=TREES, flow=st.booleans(), indent=st.integers(2, 6))
def test_what_another_program_writes_reads_back_the_same(tree: Tree, flow: bool, indent: int) -> None:  # noqa: FBT001
    text = yaml.safe_dump(tree, default_flow_style=flow, indent=indent, allow_unicode=True, default_style="'")
    assert read_document(text, "x").data == tree


@given(tree=TREES, flow=st.booleans())
def test_places_are_those_of_the_independent_python_parser(tree: Tree, flow: bool) -> None:  # noqa: FBT001
    text = yaml.safe_dump(tree, default_flow_style=flow, allow_unicode=True, default_style='"')
    document = read_document(text, "x")
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    assert dict(document.places) == dict(_walk(node, ()))


def _walk(node: yaml.Node | None, path: tuple[str | int, ...]) -> list[tuple[tuple[str | int, ...], tuple[int, int]]]:
    assert node is not None
    mark = node.start_mark
    assert mark is not None
    found = [(path, (mark.line + 1, mark.column + 1))]
    if isinstance(node, yaml.SequenceNode):
        for index, item in enumerate(node.value):
            found += _walk(item, (*path, index))
    if isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            found += _walk(value, (*path, key.value))
    return found


TOKENS = [
    "a",
    "a:",
    "- ",
    "[",
    "]",
    "{",
    "}",
    ",",
    ": ",
    "? ",
    "&x ",
    "*x",
    "!!str ",
    "|",
    ">",
    "'",
    '"',
    "\n",
    "  ",
    "\t",
    "#",
    "---",
    "...",
    "%YAML 1.1",
]
TOKENS += ["<<", "~", "\\", "@", "\u00a0", "\ufeff", "\x00", "Ω", "\ud800", "\r", "\u2028"]
HOSTILE = st.text(max_size=300) | st.lists(st.sampled_from(TOKENS), max_size=120).map("".join)
HOSTILE |= st.builds(lambda token, times: token * times, st.sampled_from(TOKENS), st.integers(1, 5000))


@settings(max_examples=500, deadline=1000, suppress_health_check=[HealthCheck.too_slow])
@given(text=HOSTILE)
def test_hostile_text_is_read_or_refused_within_a_second(text: str) -> None:
    try:
        document = read_document(text, "x")
    except SourceError as error:
        assert error.findings  # noqa: PT017 - both outcomes are allowed
        assert all(finding.line >= 1 and finding.column >= 1 for finding in error.findings)  # noqa: PT017
    else:
        assert set(document.places) >= set(document.key_places)
