"""What stands in a record, in words: readings, answers, repairs; a token only where no loop or guide knows it."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from diagnostics.cases import (
    Case,
    GuideAnswer,
    Measured,
    Misreading,
    Reading,
    Repair,
    Saw,
    Suggestion,
    Understood,
    understand_value,
)
from diagnostics.errors import DiagnosticsError
from diagnostics.faults import parse_faults
from diagnostics.readings import Measurement, list_measurements, list_tokens, parse_measurement
from diagnostics.reasoning import Fitting, Foreseen, Reason, is_alternating
from diagnostics.trees import Guide, Say, TwoVoices, find_guide
from diagnostics.units import format_quantity
from diagnostics.visit import Assessment, list_to_measure, rate_repair

from .page import tell_page
from .word_table import Region
from .words import Words, say, tell_symptom

MOST_TOLD: Final = 4  # suspects of one repair by name; more than one more is counted
_SAW: Final[dict[Saw, str]] = {
    "as_suspected": "saw_as_suspected", "other": "saw_other", "nothing": "saw_nothing", "right": "saw_right"
}  # fmt: skip
_MOST_RANGES: Final = 3  # of what was to be expected that are told
_CAUSES: Final[dict[Reason, str]] = {
    "ohms": "out_unknown", "turned": "out_uneven", "own volts": "out_live", "elsewhere": "out_elsewhere",
    "out of range": "out_beyond", "diode": "out_one_way",
}  # fmt: skip
_SHORT: Final[dict[Fitting, str]] = {
    "fits": "out_short_fits", "does not fit": "out_short_not", "cannot tell": "out_short_open"
}  # fmt: skip


def find_read(reading: Reading, words: Words) -> Measurement | None:
    """Return what was measured, or None where this loop has no such measurement."""
    try:
        return parse_measurement(reading.measurement, words.loop, reading.where)
    except DiagnosticsError:
        return None


def name_reading(reading: Reading, words: Words) -> str:
    """Return what was measured; in the words of the record itself where this loop has no such measurement."""
    m = find_read(reading, words)
    return words.name(m) if m else " ".join((reading.measurement, *reading.where.values()))


def tell_typed(reading: Reading, words: Words) -> str:
    """Return what was given: a number as it was typed, a word that was tapped as it stood on the screen."""
    m = find_read(reading, words)
    return reading.value if m is None or m.unit else _tell_word(m, reading.value, words)


def tell_understood(value: Understood | None, reading: Reading, words: Words) -> str:
    """Return what a reading was taken for, with its unit or in words; empty where nobody kept that."""
    if value is None:
        return ""
    if isinstance(value.value, float):
        return format_quantity(value.value, value.unit, 4)
    m = find_read(reading, words)
    return value.value if m is None or m.unit else _tell_word(m, value.value, words)


def tell_read(reading: Reading, words: Words) -> str:
    """Return what was read as it is said everywhere: a number with its unit; as typed where nothing is made of it."""
    m = find_read(reading, words)
    if m is None:  # of another loop, or of another program
        return tell_understood(reading.understood, reading, words) or reading.value
    try:
        return words.value(m, understand_value(m, words.loop, reading))
    except DiagnosticsError:
        return reading.value


def _tell_word(m: Measurement, text: str, words: Words) -> str:
    """Return a word, or a list of detectors, as a person reads it; what is no answer stays as it is."""
    tokens = [token.strip() for token in text.split(",")]
    known = list_tokens(m, words.loop)
    return words.value(m, ",".join(tokens)) if all(token in known for token in tokens) else text


def tell_misreading(m: Misreading, words: Words, region: Region = "north_america") -> str:
    """Return that a reading would be understood otherwise now than it was when it was stored."""
    reading = m.reading
    now = tell_page("record", "misread_nothing", region) if m.now is None else tell_understood(m.now, reading, words)
    told = f"{name_reading(reading, words)}: {reading.value} ({tell_understood(m.stored, reading, words)})"
    return tell_page("record", "misread", region, reading=told, now=now)


def tell_mended(text: str, words: Words) -> str:
    """Return a repair as a case keeps it, in words: a class of the catalogue, a fault of this loop, or as typed."""
    told = words.told_repair(text)
    if told != text:
        return told
    try:
        return words.faults(parse_faults(text, words.loop)) if "@" in text else text
    except DiagnosticsError:
        return text


def tell_suspected(repair: Repair, words: Words) -> str:
    """Return the faults that a repair was for, in the words of the suspects; of several, that it is one of them."""
    names = list(dict.fromkeys(tell_mended(text, words) for text in repair.suspected))
    if len(names) < 2:
        return "".join(names)
    count = len(names) if len(names) <= MOST_TOLD + 1 else MOST_TOLD
    more = [say("and_more", words.region, count=str(len(names) - count))] if len(names) > count else []
    return say("one_of", words.region, names="; ".join([*names[:count], *more]))


def _tell_was_suspected(repair: Repair, words: Words) -> str:
    """Return the faults that a repair was for as a sentence."""
    key = "repair_suspected" if len(repair.suspected) == 1 else "repair_suspected_several"
    return say(key, words.region, faults=tell_suspected(repair, words))


def tell_seen(repair: Repair, words: Words) -> str:
    """Return what was seen at a repair, or an empty text where nobody said."""
    found = tell_mended(repair.found, words) if repair.found else ""
    if not repair.saw:  # a record of an earlier program names which it was, and no more
        return found
    return say(_SAW[repair.saw], words.region) + (f": {found}" if found else "")


def is_other_found(repair: Repair) -> bool:
    """Return whether what was seen there is not what the readings had pointed to; not of a repair taken back."""
    return repair.saw == "other" and bool(repair.suspected) and repair.cured is not None


def tell_other_found(repair: Repair, words: Words) -> str:
    """Return that what was mended is not what the readings had pointed to, with both; call it where that is so."""
    told = [say("seen_not_suspected", words.region, suspected=tell_suspected(repair, words))]
    if repair.found:
        told.append(say("seen_instead", words.region, found=repair.found))
    return " ".join(told)


def tell_out(repair: Repair, words: Words) -> str:
    """Return what the meter showed of what came out at a repair, leads turned too; empty where nobody measured."""
    told = [_tell_measured(one, words) for one in repair.out]
    read = say("out_read_turned", words.region, read=told[0], turned=told[1]) if len(told) > 1 else "".join(told)
    if repair.diode is None:
        return read
    on_diode = say("out_read_diode", words.region, diode=_tell_measured(repair.diode, words))
    return "; ".join(filter(None, [read, on_diode]))


def _tell_measured(one: Measured, words: Words) -> str:
    """Return one value as it was understood, to as many digits as what was to be expected is told."""
    value = one.understood.number
    told = one.value if isinstance(value, str) else format_quantity(value, one.understood.unit)
    return say("out_alternating", words.region, read=told) if is_alternating(one.value) else told


def tell_foreseen(asked: Sequence[Foreseen], words: Words) -> str:
    """Return between which values what came out should read, in the meter's ohms: ``about 312 Ω, 248 Ω to 412 Ω``."""
    told = list(dict.fromkeys(_tell_range(some, words) for some in _merge_ranges(asked)))[:_MOST_RANGES]
    first, *others = told
    for other in others:
        first = say("out_or", words.region, one=first, other=other)
    return first


def _merge_ranges(asked: Sequence[Foreseen]) -> list[Foreseen]:
    """Return what is foreseen with ranges that overlap made one, about the likeliest of them; in the order given."""
    merged: list[Foreseen] = []
    for each in asked:
        inside = [m for m in merged if each.low_ohm <= m.high_ohm and m.low_ohm <= each.high_ohm]
        if not inside:
            merged.append(each)
            continue
        low, high = (
            end([getattr(m, name) for m in (*inside, each)]) for end, name in ((min, "low_ohm"), (max, "high_ohm"))
        )
        at = merged.index(inside[0])
        merged = [m for m in merged if m not in inside]
        merged.insert(at, replace(inside[0], low_ohm=low, high_ohm=high))
    return merged


def _tell_range(each: Foreseen, words: Words) -> str:
    low, about, high = (format_quantity(ohm, "ohm") for ohm in (each.low_ohm, each.about_ohm, each.high_ohm))
    key = "out_open" if math.isinf(each.high_ohm) else "out_touching" if not each.low_ohm else "out_about"
    return say(key, words.region, about=about, low=low, high=high)


def tell_cause(case: Case, repair: Repair, words: Words) -> tuple[Fitting, str] | None:
    """Return whether what came out fits what had been suspected, and that in full; None where it was not measured."""
    told = rate_repair(case, repair)
    if told is None:
        return None
    asked = list_to_measure(case, repair)
    facts = {
        "read": tell_out(repair, words),
        "ranges": tell_foreseen(asked, words) if asked else "",
        "kept": say("out_kept", words.region, suspected=_tell_was_suspected(repair, words)),
    }
    key = "out_fits" if told.reason is None else _CAUSES[told.reason]
    return told.fitting, say(key, words.region, **facts)


def tell_cause_short(case: Case, repair: Repair, words: Words) -> str:
    """Return what came out read and whether it fits, for a cell of a table; empty where nobody measured."""
    read, told = tell_out(repair, words), rate_repair(case, repair)
    return f"{read}: {say(_SHORT[told.fitting], words.region)}" if told else read


def list_causes_unknown(case: Case, words: Words) -> tuple[str, ...]:
    """Return, of each repair of which what came out does not fit, or cannot be told, that in full."""
    told = (tell_cause(case, repair, words) for repair in case.repairs)
    return tuple(each[1] for each in told if each is not None and each[0] != "fits")


def tell_repair(repair: Repair, words: Words) -> str:
    """Return what was put right, what had been suspected there and what was seen, as one text."""
    return " ".join(list_told(repair, words))


def list_told(repair: Repair, words: Words) -> tuple[str, ...]:
    """Return what was put right, what had been suspected there and what was seen, each as a sentence of its own."""
    told = [tell_mended(repair.fault, words)]
    if repair.saw == "right":
        told.append(say("repair_not_needed", words.region))
    if repair.own_words:
        told.append(say("repair_own_words", words.region, words=repair.own_words))
    if repair.suspected:
        told.append(_tell_was_suspected(repair, words))
    if repair.saw != "right" and (seen := tell_seen(repair, words)):
        told.append(say("repair_seen", words.region, seen=seen))
    if read := tell_out(repair, words):
        told.append(say("repair_out", words.region, read=read))
    if repair.now:
        told.append(say("repair_now", words.region, symptom=tell_symptom(repair.now, words.region)))
    return tuple(told)


def tell_stops(assessment: Assessment, words: Words) -> tuple[tuple[str, str], ...]:
    """Return, as title and text, why nothing more is measured: volts that no loop has, one for each such reading."""
    return tuple(tell_stop(reading, words) for reading in assessment.unsafe)


def tell_stop(reading: Reading, words: Words) -> tuple[str, str]:
    """Return, as title and text, that nothing more is measured after this reading before it is made safe."""
    told = f"{name_reading(reading, words)}: {tell_read(reading, words)}"
    return say("unsafe_title", words.region), say("unsafe", words.region, reading=told)


def tell_offer(s: Suggestion, words: Words, region: Region) -> str:
    """Return the step that was suggested."""
    if s.action == "hand_over":
        return tell_page("record", "hand_over", region)
    known = next((m for m in list_measurements(words.loop) if m.key == s.what), None)
    return words.name(known) if known else tell_mended(s.what, words)


def tell_speaker(s: Suggestion, region: Region) -> str:
    """Return who suggested a step: the model, or the finding guide by its title."""
    if s.by == "model":
        return tell_page("record", "by_model", region)
    guide = find_guide(s.guide)
    return tell_page("record", "by_guide", region, guide=guide.title if guide else s.guide)


def tell_asked(a: GuideAnswer) -> str:
    """Return what a finding guide asked, or asked to be done; its names where no guide has that step."""
    guide = find_guide(a.guide)
    said = _find_said(guide, a.step)
    return said or f"{guide.title if guide else a.guide} / {a.step}"


def _find_said(guide: Guide | None, step: str) -> str:
    found = guide.steps.get(step) if guide else None
    said: Say | None = (found.ask or found.do) if found else None
    return said.technician if isinstance(said, TwoVoices) else str(said or "")
