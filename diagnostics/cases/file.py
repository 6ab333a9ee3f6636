"""A case file, read with every complaint at its line and column.

Codes given here: C001 site not found, C002 a site that cannot be built, C003 unknown symptom, C004 a measurement that
this loop does not have, C005 a value not understood, C006 meter, C007 a reading id given twice, C008 (a warning) a
value that was understood otherwise when it was stored, C009 a reading under a description of the site that is not
there, C010 an earlier description that is no site; those of ``source`` besides.
"""

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TypeVar

from diagnostics.circuit import parse_mode
from diagnostics.errors import DiagnosticsError, Finding, QuantityError, SourceError, find_nearest, quote
from diagnostics.readings import Measurement, parse_measurement, read_table
from diagnostics.reasoning import SYMPTOMS
from diagnostics.source import Document, TreePath, find_value, read_file
from diagnostics.wiring import Loop, Site, build_loop

from .meter import parse_meter_entry
from .notes import Notes
from .record import Case, Reading, Understood
from .schema import MOST_READINGS, MOST_SITE_CHARACTERS, CaseFile, ReadingEntry, RetractedEntry, UnderstoodEntry
from .site_part import find_site
from .site_text import parse_site_text
from .understanding import list_misreadings, understand_value

E = TypeVar("E", bound=ReadingEntry)
_CHECKED = ("measurement", "red", "black", "at", "mode", "value")
_LONGEST_CHECKED = 500  # characters


def read_case(path: Path, *, symptoms: Collection[str] = SYMPTOMS) -> Case:
    """Return the case in a file; a site's path counts from the file's folder. Raises SourceError as ``parse_case``."""
    document = read_file(path)
    return parse_case(document, path.parent, symptoms=symptoms, text=path.read_text("utf-8-sig"))


def parse_case(document: Document, base: Path | None, *, symptoms: Collection[str] = SYMPTOMS, text: str = "") -> Case:
    """Return the case of a document.

    ``base`` is the folder from which a site's path counts; without it only shipped sites and sites written out are
    taken, so that a case from elsewhere opens no file here. ``text`` is what the document was read from: with it a site
    that is written out is kept word for word, comments and all.

    Raises
    ------
    SourceError
        With every finding, each at its line and column.
    """
    notes = Notes(document)
    head = notes.lay(CaseFile, ())
    described = find_site(notes, base, text)
    readings = [entry.build(index) for index, entry in _lay_entries(notes, "readings", ReadingEntry)]
    retracted = [entry.build_retraction(index) for index, entry in _lay_entries(notes, "retracted", RetractedEntry)]
    as_left = tuple(entry.build(index) for index, entry in _lay_entries(notes, "baseline", ReadingEntry))
    _check_ids(notes)
    _check_words(notes, symptoms)
    revised = [*readings, *(item.reading for item in retracted)]
    _check_sites(notes, head, readings, revised)
    if described:
        _check_readings(notes, described[0])
    if notes.findings or not head or not described:
        raise SourceError(notes.findings)
    rest, baseline = head.build_rest(), head.build_baseline(as_left)
    return Case(*described, **rest, readings=tuple(readings), retracted=tuple(retracted), baseline=baseline)


def list_case_warnings(document: Document, case: Case) -> tuple[Finding, ...]:
    """Return a warning (C008) for each reading that this program would understand otherwise than was stored.

    Raises
    ------
    SiteError
        The site cannot be wired.
    """
    numbers = {reading.reading_id: n for n, reading in enumerate(case.readings)}
    found = []
    for misread in list_misreadings(case, build_loop(case.site)):
        line, column = document.places.get(("readings", numbers[misread.reading.reading_id], "value"), (1, 1))
        told = (quote(misread.reading.value), _tell(misread.stored), _tell(misread.now))
        message = "{} was stored as {}; read anew, it is {}".format(*told)
        hint = "what was stored counts; if the text is right, take 'understood' out"
        found.append(Finding(document.file, line, column, "C008", "warning", message, hint))
    return tuple(found)


def _tell(value: Understood | None) -> str:
    return "nothing" if value is None else f"{value.value} {value.unit}".strip()


def _lay_entries(notes: Notes, key: str, model: type[E]) -> list[tuple[int, E]]:
    listed = notes.find(key)
    count = min(len(listed), MOST_READINGS) if isinstance(listed, list) else 0
    laid = ((index, notes.lay(model, (key, index))) for index in range(count))
    return [(index, entry) for index, entry in laid if entry]


def _check_words(notes: Notes, symptoms: Collection[str]) -> None:
    """Hold the symptom and the meter against what is known; what is no text is the schema's business."""
    meter, repairs = notes.find("meter"), notes.find("repairs")
    listed = enumerate(repairs if isinstance(repairs, list) else [])
    since = [(("repairs", n, "now"), row.get("now")) for n, row in listed if isinstance(row, dict)]
    for at, symptom in [(("symptom",), notes.find("symptom")), *since]:
        if isinstance(symptom, str) and symptom and symptom not in symptoms:
            near = find_nearest(symptom, symptoms)
            hint = f"did you mean {quote(near)}?" if near else f"known are {', '.join(symptoms)}"
            notes.add(at, "C003", f"{at[-1]}: {quote(symptom)} is not known here", hint)
    for key, text in meter.items() if isinstance(meter, dict) else ():
        if notes.is_enough:
            return
        try:
            parse_meter_entry(key, text if isinstance(text, str) else "")
        except QuantityError as error:
            notes.add(("meter", key), "C006", error.message, error.hint)


def _check_readings(notes: Notes, site: Site) -> None:
    """Hold each reading against what this loop can be asked, and its value against what that can answer."""
    try:
        loop = build_loop(site)
    except DiagnosticsError as error:
        notes.add(("site",), "C002", error.message, error.hint)
        return
    for key in ("readings", "baseline", "retracted"):
        _check_listed(notes, loop, key)


def _check_listed(notes: Notes, loop: Loop, key: str) -> None:
    listed = notes.find(key)
    for index, entry in enumerate(listed[:MOST_READINGS] if isinstance(listed, list) else ()):
        if notes.is_enough:
            return
        texts = {part: entry.get(part, "") for part in _CHECKED} if isinstance(entry, dict) else {}
        written = {
            part: text for part, text in texts.items() if isinstance(text, str) and len(text) <= _LONGEST_CHECKED
        }
        if written.get("measurement") and len(written) == len(_CHECKED):  # else the schema has complained
            measurement, red, black, at, mode, value = (written[part] for part in _CHECKED)
            stored = _find_stored(notes, (key, index, "understood"))
            reading = Reading(measurement, value, red, black, at, mode, understood=stored)
            check = _check_number if key == "retracted" else _check_reading
            check(notes, loop, (key, index), reading)


def _find_stored(notes: Notes, path: TreePath) -> Understood | None:
    """Return what the file says was understood; where that is not well formed the schema has complained."""
    try:
        return UnderstoodEntry.model_validate(find_value(notes.document.data, path)).build()
    except ValueError:
        return None


def _check_reading(notes: Notes, loop: Loop, path: TreePath, reading: Reading) -> None:
    try:
        measurement = parse_measurement(reading.measurement, loop, reading.where)
    except DiagnosticsError as error:
        notes.add((*path, _find_blamed(reading, loop)), "C004", error.message, error.hint)
        return
    _check_value(notes, loop, path, measurement, reading)


def _check_number(notes: Notes, loop: Loop, path: TreePath, reading: Reading) -> None:
    """Hold the number of a reading that was taken back against what can be typed.

    It may be of a loop that was described before, which had other detectors: nothing else of it is asked.
    """
    try:
        measurement = parse_measurement(reading.measurement, loop, reading.where)
    except DiagnosticsError:
        return
    if measurement.unit:
        _check_value(notes, loop, path, measurement, reading)


def _check_value(notes: Notes, loop: Loop, path: TreePath, measurement: Measurement, reading: Reading) -> None:
    try:
        understand_value(measurement, loop, reading)
    except DiagnosticsError as error:
        notes.add((*path, "value"), "C005", error.message, error.hint)


def _find_blamed(reading: Reading, loop: Loop) -> str:
    """Return the key whose value keeps the reading from being one of this loop's measurements."""
    if reading.measurement not in read_table().kinds:
        return "measurement"
    if reading.mode and not _is_mode(reading.mode, loop):
        return "mode"
    wrong = (key for key in ("red", "black") if reading.where.get(key, loop.terminals[0]) not in loop.terminals)
    return next(wrong, "at" if reading.at else "red" if reading.red else "measurement")


def _is_mode(text: str, loop: Loop) -> bool:
    try:
        parse_mode(text, loop)
    except DiagnosticsError:
        return False
    return True


def _check_sites(notes: Notes, head: CaseFile | None, readings: Sequence[Reading], every: Sequence[Reading]) -> None:
    """Hold each earlier description against the site format, and each reading against their number and order."""
    if head is None:
        return
    count = len(head.earlier_sites) + 1
    if sum(len(entry.site_text) for entry in head.earlier_sites) > MOST_SITE_CHARACTERS:
        notes.add(("earlier_sites",), "C010", f"more than {MOST_SITE_CHARACTERS} characters", "keep the last ones")
        return
    for index, entry in enumerate(head.earlier_sites):
        try:
            parse_site_text(entry.site_text, notes.document.file)
        except SourceError as error:
            notes.add(("earlier_sites", index, "site_text"), "C010", f"is no site: {error.findings[0].message}")
    revisions = [r.site_revision for r in readings]
    if any(r.site_revision > count for r in every) or revisions != sorted(revisions):
        message = f"site_revision counts the descriptions of the site in their order, from 1 to {count}"
        notes.add(("readings",), "C009", message, "readings stand in the order taken")


def _check_ids(notes: Notes) -> None:
    """Note an id that stands on two readings: the second would be taken for a repeat of the first."""
    seen: set[str] = set()
    for key in ("readings", "retracted"):
        listed = notes.find(key)
        for index, entry in enumerate(listed if isinstance(listed, list) else ()):
            given = entry.get("id") if isinstance(entry, dict) else None
            if isinstance(given, str) and given in seen:
                notes.add(
                    (key, index, "id"), "C007", f"the id {quote(given)} stands on an earlier reading", "take it out"
                )
            elif isinstance(given, str):
                seen.add(given)
