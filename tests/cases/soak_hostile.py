"""Give the readers of sites, cases and finding guides thousands of hostile files, and count what came of them.

``python tests/cases/soak_hostile.py [FILES]``: 20,000 files, of all three kinds, unless told otherwise. Whatever a
file holds, the answer is what it says or findings, never a traceback, and comes within a second of processor time.
"""

import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path.insert(0, str(CHECKOUT))

from diagnostics.cases import parse_case  # noqa: E402 - the checkout must be found first
from diagnostics.errors import SiteError, SourceError  # noqa: E402
from diagnostics.source import read_document  # noqa: E402
from diagnostics.trees import parse_guide  # noqa: E402
from diagnostics.wiring import build_loop, parse_site  # noqa: E402
from tests.cases.hostile import PLAIN, build_hostile  # noqa: E402
from tests.cases.invented import SITE_TEXT  # noqa: E402

LONGEST_S = 1.0
Read = Callable[[str, Path], None]


@dataclass(slots=True)
class Reader:
    """One kind of file: a plain text, how it is read, and what came of the hostile ones."""

    plain: str
    read: Read
    answers: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    bad: list[int] = field(default_factory=list)


def read_site_text(text: str, _folder: Path) -> None:
    """Read a site and wire it; a site that cannot be wired says so."""
    build_loop(parse_site(read_document(text, "hostile.yaml")))


def read_case_text(text: str, folder: Path) -> None:
    """Read a case."""
    parse_case(read_document(text, "hostile.yaml"), folder, text=text)


def read_guide_text(text: str, folder: Path) -> None:
    """Read a finding guide."""
    parse_guide(read_document(text, "hostile.yaml"), folder)


def build_readers() -> dict[str, Reader]:
    """Return the three kinds; the plain texts read without a finding."""
    guide = (CHECKOUT / "trees" / "constant_trouble.yaml").read_text("utf-8")
    whole = (CHECKOUT / "cases" / "sites" / "bench_module_four_wire.yaml").read_text("utf-8")
    readers = {
        "site": Reader(whole + "note: a site for tests\n" if "note:" not in whole else whole, read_site_text),
        "small site": Reader(SITE_TEXT, read_site_text),
        "case": Reader(PLAIN, read_case_text),
        "guide": Reader(guide, read_guide_text),
    }
    for reader in readers.values():
        reader.read(reader.plain, CHECKOUT / "trees")
    return readers


def give(reader: Reader, number: int, folder: Path) -> None:
    """Give a reader the hostile file of a number, and note what came of it."""
    text = build_hostile(number, reader.plain)
    start_s = time.process_time()
    try:
        reader.read(text, folder)
        answer = "read"
    except (SourceError, SiteError):
        answer = "refused"
    except Exception:  # noqa: BLE001 - whatever it is, it is what this program looks for
        traceback.print_exc()
        answer = "TRACEBACK"
    took_s = time.process_time() - start_s
    reader.answers[answer] += 1
    reader.slowest_s = max(reader.slowest_s, took_s)
    if answer == "TRACEBACK" or took_s > LONGEST_S:
        reader.bad.append(number)


def soak(files: int) -> dict[str, Reader]:
    """Give so many files in turn to the readers."""
    readers = build_readers()
    turns = [readers["site"], readers["case"], readers["guide"], readers["small site"], readers["case"]]
    with tempfile.TemporaryDirectory() as folder:
        for number in range(files):
            give(turns[number % len(turns)], number, Path(folder))
    return readers


def main(arguments: list[str]) -> int:
    """Run the soak and print what came of it; 1 when anything was not answered as it should."""
    readers = soak(int(arguments[0]) if arguments else 20_000)
    for name, r in readers.items():
        counts = ", ".join(f"{count} {answer}" for answer, count in sorted(r.answers.items()))
        print(f"{name}: {counts}; slowest {r.slowest_s * 1e3:.0f} ms; bad {r.bad[:20] or 'none'}")  # noqa: T201
    return int(any(r.bad for r in readers.values()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
