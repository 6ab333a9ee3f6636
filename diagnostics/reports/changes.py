"""What has happened to a case meanwhile, in words, for whoever has shown it as it was before."""

from collections.abc import Sequence
from typing import Final

from diagnostics.cases import (
    Body,
    Closed,
    Corrected,
    GuideAnswer,
    Outline,
    ProofResult,
    Reading,
    Repair,
    Retracted,
    SiteDescribed,
)

from .record_words import name_reading, tell_read, tell_repair
from .words import Words, say, tell_closing

_NAMED: Final[dict[type[Body], str]] = {
    Retracted: "moved_back",
    SiteDescribed: "moved_site",
    Outline: "moved_outline",
}


def tell_changes(bodies: Sequence[Body], words: Words) -> tuple[str, ...]:
    """Return what has happened, one line each, in its order; what needs no line of its own is one line together."""
    lines = [_tell(body, words) for body in bodies]
    told = list(dict.fromkeys(line for line in lines if line))
    return (*told, *([say("moved_noted", words.region)] if bodies and not told else []))


def _tell(body: Body, words: Words) -> str:
    """Return one thing that has happened, or an empty text."""
    told = ""
    match body:
        case Reading():
            told = _tell_reading(body, words)
        case Corrected():
            told = say("moved_corrected", words.region, reading=_tell_reading(body.reading, words))
        case Repair():
            known = {True: "cured", False: "still_faulty", None: "not_known"}[body.cured]
            mark = "" if body.saw == "right" else say(known, words.region)
            told = f"{tell_repair(body, words)} {mark}".rstrip()
        case Closed():
            name = tell_closing(body.closing, words.region)[0] if body.closing else ""
            told = say("closed_as", words.region, closing=name) if name else say("moved_opened", words.region)
        case GuideAnswer():
            told = say("moved_answered", words.region, answer=body.answer)
        case ProofResult():
            key = "moved_test_done" if body.done else "moved_test_failed" if body.failed else "moved_test_not"
            told = say(key, words.region)
        case Retracted() | SiteDescribed() | Outline():
            told = say(_NAMED[type(body)], words.region)
        case _:
            pass
    return told


def _tell_reading(reading: Reading, words: Words) -> str:
    return f"{name_reading(reading, words)}: {tell_read(reading, words)}"
