"""Reckoning ahead: while a person reads the next screens, what a loop would read under its faults is worked out."""

import logging
import threading
from typing import Final

from diagnostics.cases import Case

from .assess import assess_case

# Longer loops are left alone: a call that is given up would keep the machine busy for minutes.
LONGEST: Final = 40


def prepare(case: Case) -> threading.Thread | None:
    """Begin to reckon a case in the background, so that its bench is warm when it is asked for; None if too long.

    Nothing depends on it: whoever asks earlier waits for the same rows, or makes them.
    """
    if case.site.detector_count > LONGEST:
        return None
    thread = threading.Thread(target=_reckon, args=(case,), name="prepare", daemon=True)
    thread.start()
    return thread


def _reckon(case: Case) -> None:
    try:
        assess_case(case, guided=True)
    except Exception:
        logging.getLogger("ohmward").warning("could not reckon ahead", exc_info=True)
