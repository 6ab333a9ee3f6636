"""Whatever a case file holds, the answer comes within a second, and it is a case or findings, never a traceback."""

import sys
import time
from pathlib import Path

import pytest

from diagnostics.cases import parse_case, write_case
from diagnostics.errors import Finding, SourceError
from diagnostics.source import read_document
from tests.cases.hostile import PLAIN, build_hostile

FILES = 500
LONGEST_S = 1.0 if sys.gettrace() is None else 3.0  # a tracer, such as coverage before 3.12, takes most of the time


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
