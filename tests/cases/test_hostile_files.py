"""Whatever a case file holds, the answer comes within a second, and it is a case or findings, never a traceback."""

import random
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from diagnostics.cases import parse_case, write_case
from diagnostics.errors import Finding, SourceError
from diagnostics.source import read_document
from tests.cases.invented import SITE_TEXT

FILES = 500
LONGEST_S = 1.0 if sys.gettrace() is None else 3.0  # a tracer, such as coverage before 3.12, takes most of the time
PLAIN = f"""\
format: ohmward-case/1
case_id: k3m9-7tqp-x2wd
site:
{textwrap.indent(SITE_TEXT, "  ")}
context: [altered]
symptom: constant_trouble
readings:
  - {{measurement: volts, red: panel.zone1+, black: panel.zone1-, mode: standby, value: "23.9 V"}}
  - {{measurement: lamp, at: det4, value: dark, taken_at: "2026-03-14T10:42:00Z", by: Kim}}
  - {{measurement: ohms, red: panel.zone1+, black: panel.zone1-, mode: lifted, value: OL, condition: present}}
  - {{measurement: known_resistor, at: panel, mode: "known_resistor:4k7", value: trouble}}
  - {{measurement: dark_with_head_off, at: det3, mode: "head_off:det3", value: "det4, det5"}}
meter: {{volts: "0.5 % + 2", counts: 6000, input_ohm: 10M}}
can: [meter, ladder]
repairs:
  - {{fault: join the wire, done_at: "2026-03-14T11:42:00Z", cured: yes}}
retracted:
  - {{measurement: lamp, at: det4, value: lit, retracted_at: "2026-03-14T10:45:00Z", why: wrong head}}
"""
NASTY = (
    "", "~", "null", "yes", "-1", "0", "1e400", "-1e-400", "nan", "inf", "9" * 400, "0x10", "1_000", "١٢", "½",
    "OL", "..", "[", "]", "{", "}", "[[[[", "&a", "*a", "!!python/object:os.system", "<<: {}", "|", ">",
    "%YAML 1.1", "---", "...", "\t", "\x00", "\x1b[2J", "\u202e", "\ufeff", "\U0001f6a8", "'", '"', '"\\ud800"',
    "#", ": ", "- ", "? ", "/dev/zero", "/etc/passwd", "../../../../etc/passwd", "C:\\con", "a" * 5000,
    "det999999999999", "det-1", "det٣", "detx", "alarm:", "alarm:det3:det3", "known_resistor:",
    "known_resistor:0", "known_resistor:1e300", "head_off:det3/co", "9999-12-31T23:59:59-23:59",
    "0001-01-01T00:00:00+23:59", "10:42", "1700000000", "'; DROP TABLE ohmward_events; --", "{measurement: {}}",
    "[a, b]", "(a+)+$", "%s%n", "\\", "two_wire_zone", "four_wire_zone", "count: 128", "count: 129",
)  # fmt: skip


def _cut(draw: random.Random, text: str) -> str:
    start = draw.randrange(len(text))
    return text[:start] + text[start + draw.randrange(1, 40) :]


def _put_in(draw: random.Random, text: str) -> str:
    start = draw.randrange(len(text))
    return text[:start] + draw.choice(NASTY) + text[start:]


def _replace_word(draw: random.Random, text: str) -> str:
    words = [word.strip(",[]{}\"'") for word in text.split()]
    return text.replace(
        draw.choice([word for word in words if word] or ["a"]), draw.choice(NASTY), draw.choice([1, -1])
    )


def _swap_lines(draw: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return "".join(lines)


def _repeat_line(draw: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True)
    at = draw.randrange(len(lines))
    return "".join([*lines[:at], *[lines[at]] * draw.choice([2, 3, 300]), *lines[at + 1 :]])


def _change_character(draw: random.Random, text: str) -> str:
    at = draw.randrange(len(text))
    return text[:at] + chr(draw.choice([draw.randrange(32, 127), draw.randrange(0x110000)])) + text[at + 1 :]


CHANGES: tuple[Callable[[random.Random, str], str], ...] = (
    _cut, _put_in, _replace_word, _replace_word, _replace_word, _swap_lines, _repeat_line, _change_character,
)  # fmt: skip


def build_hostile(number: int) -> str:
    """Return the file of a number: the plain one with a few things done to it, always the same."""
    draw = random.Random(number)  # noqa: S311 - no secret
    text = PLAIN
    for _ in range(draw.choice([1, 1, 1, 2, 3, 6])):
        text = draw.choice(CHANGES)(draw, text) or "a"
    return text


def _answer(text: str, base: Path | None) -> tuple[str, float]:
    """Return what became of a file, and the processor seconds it took; other programs on the machine do not count.

    Anything but findings goes through. A file that was read must also come back from what is written of it.
    """
    findings: tuple[Finding, ...] = ()
    case = None
    start_s = time.process_time()
    try:
        case = parse_case(read_document(text, "hostile.yaml"), base, text=text)
    except SourceError as error:
        findings = error.findings
    took_s = time.process_time() - start_s
    if case is None:
        assert findings
        assert all(f.line >= 1 and f.column >= 1 and f.message and len(str(f)) < 2000 for f in findings)
        return "refused", took_s
    again = write_case(case)
    assert parse_case(read_document(again, "again.yaml"), None, text=again) == case
    return "read", took_s


def test_hostile_files_get_an_answer_within_a_second(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _answer(PLAIN, None)[0] == "read"
    answers, slowest_s = {"read": 0, "refused": 0}, 0.0
    for number in range(FILES):
        try:
            answer, took_s = _answer(build_hostile(number), tmp_path)
        except Exception as error:
            error.add_note(f"hostile file {number}")
            raise
        assert took_s < LONGEST_S, f"hostile file {number} took {took_s:.2f} s"
        answers[answer] += 1
        slowest_s = max(slowest_s, took_s)
    with capsys.disabled():
        print(f"\n  hostile case files: {answers}, slowest {slowest_s * 1e3:.0f} ms")  # noqa: T201 - figures are the result
    assert answers["read"] >= FILES // 50, "the changes are too gross to reach the checks"
    assert answers["refused"] >= FILES // 2, "the changes are too tame"


READING = "  - {measurement: lamp, at: det128, value: lit}\n"
BIG_HEAD = PLAIN[: PLAIN.index("readings:")].replace("count: 5", "count: 128")


@pytest.mark.parametrize(
    "text",
    [
        BIG_HEAD + "readings:\n" + READING * 200,
        BIG_HEAD + "readings:\n" + "".join(READING.replace("128", f"{n % 128 + 1}") for n in range(200)),
        BIG_HEAD + "readings:\n" + READING * 20_000,
        BIG_HEAD + "readings:\n" + READING.replace("det128", "det129") * 200,
        BIG_HEAD + "readings:\n" + READING.replace("lamp", "l" * 400) * 200,
        BIG_HEAD + "readings:\n" + READING.replace("lit", "l" * 400) * 200,
        BIG_HEAD + f"readings:\n  - {{measurement: dark_with_head_off, at: det1, value: {'det2 ' * 90}}}\n" * 150,
        BIG_HEAD + "readings:\n" + "  - " + "[" * 28 + "]" * 28 + "\n",
        BIG_HEAD + "readings: " + "[" * 5000,
        BIG_HEAD + "readings: [" + "x," * 45_000 + "]",
        BIG_HEAD + "meter: {" + ", ".join(f"k{n}: x" for n in range(20_000)) + "}",
        BIG_HEAD + "meter: {volts: '" + "0" * 200_000 + "%'}",
        BIG_HEAD + "symptom: " + "x" * 400_000 + "\n",
        BIG_HEAD + "notes: '" + "\u00e9" * 400_000 + "'\n",
        "format: ohmward-case/1\nsite: " + "a" * 400_000,
        "format: ohmward-case/1\nsite: " + "../" * 20_000 + "x",
        "format: ohmward-case/1\nsite: 'a\\0b'",
        'format: ohmward-case/1\nsite: "a\\0b"',
    ],
    ids=range(18),
)
def test_large_and_deep_files_get_an_answer_within_a_second(text: str, tmp_path: Path) -> None:
    _, took_s = _answer(text, tmp_path)
    assert took_s < LONGEST_S
