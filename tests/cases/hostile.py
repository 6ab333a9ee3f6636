"""Files that no friend would write: plain ones with a few things done to them, each number always the same."""

import json
import random
import textwrap
from collections.abc import Callable

from tests.cases.invented import SITE_TEXT

PLAIN = f"""\
format: ohmward-case/1
case_id: k3m9-7tqp-x2wd
site:
{textwrap.indent(SITE_TEXT, "  ")}
context: [altered]
symptom: constant_trouble
readings:
  - {{measurement: volts, red: panel.zone1+, black: panel.zone1-, value: 23.9, understood: {{value: "23.9", unit: V}}}}
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
suggestions:
  - {{action: measure, what: "lamp|det4|standby", suggested_at: "2026-03-14T10:41:00Z", outcome: followed, by: model}}
guide_answers:
  - {{guide: constant_trouble, step: note, answer: done, at: "2026-03-14T10:41:00Z"}}
tests:
  - {{test: reset, done: no, why: panel locked, noted_at: "2026-03-14T11:50:00Z"}}
closing: left_impaired
leaving: {{at: "2026-03-14T12:00:00Z", told: the owner, note: parts ordered}}
described_at: "2026-03-14T10:43:00Z"
earlier_sites:
  - {{described_at: "2026-03-14T10:40:00Z", site_text: {json.dumps(SITE_TEXT)}}}
baseline:
  - {{measurement: volts, red: panel.zone1+, black: panel.zone1-, value: 19.2 V}}
baseline_from: k3m9-7tqp-x2we
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


def build_hostile(number: int, plain: str = PLAIN) -> str:
    """Return the file of a number: the plain one with a few things done to it, always the same."""
    draw = random.Random(number)  # noqa: S311 - no secret
    text = plain
    for _ in range(draw.choice([1, 1, 1, 2, 3, 6])):
        text = draw.choice(CHANGES)(draw, text) or "a"
    return text
