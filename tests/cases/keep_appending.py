"""A program to be killed: appends readings to a case and prints the id of each one that the store has acknowledged."""

import sys

from diagnostics.cases import CaseStore, build_reading_id
from diagnostics.errors import CaseChangedError
from tests.cases.invented import build_volts


def run(url: str, case_id: str) -> None:
    """Append until killed; other programs write to the same store, and maybe to the same case."""
    store = CaseStore(url, patience_s=30.0)
    revision = store.load_case(case_id).revision
    number = 0
    while True:
        reading = build_volts(number, by=build_reading_id())
        try:
            revision = store.append_reading(case_id, reading, revision).revision
        except CaseChangedError:
            revision = store.load_case(case_id).revision
            continue
        sys.stdout.write(f"{reading.reading_id}\n")
        sys.stdout.flush()
        number += 1


if __name__ == "__main__":
    run(sys.argv[1], sys.argv[2])
