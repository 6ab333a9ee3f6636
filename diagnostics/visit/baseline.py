"""How a site was left at an earlier visit, found again and kept with a new case."""

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import Final

from diagnostics.cases import Acknowledgement, Baseline, Case, CaseStore, Reading
from diagnostics.circuit import STANDBY
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError
from diagnostics.locate import find_shipped
from diagnostics.readings import Measurement, PredictedReading, list_measurements, parse_measurement, predict_mode
from diagnostics.reasoning import Taken
from diagnostics.wiring import Loop, Site, build_loop, read_site

from .assess import understand
from .marks import find_hidden, is_tested

_ASKED, _KEPT, _NOT_KEPT = "baseline_asked ", "baseline_kept", "baseline_not_kept"
_FAR_SDS: Final = 4.0  # *invented*: a reading farther than this from the sound loop is asked about
# Modes in which a sound loop has one value; in all others something was done to it.
_SOUND_MODES: Final = ("standby", "during_reset", "lifted", "lifted_supply_on")


def list_as_left(case: Case) -> tuple[Reading, ...]:
    """Return the readings that tell how a restored loop was left: volts and ohms after the last repair that cured.

    Empty unless the case is closed as mended, with its tests done. The latest reading of each set-up counts.
    """
    if case.closing != "mended" or not is_tested(case) or find_hidden(case) is not None:
        return ()
    mended_at = max(r.done_at for r in case.repairs if r.cured)
    loop = build_loop(case.site)
    latest: dict[str, Reading] = {}
    for reading in case.readings:
        if reading.taken_at is not None and reading.taken_at >= mended_at and (name := _name_sound(loop, reading)):
            latest.pop(name, None)
            latest[name] = reading
    return tuple(latest.values())


def _name_sound(loop: Loop, reading: Reading) -> str:
    """Return the set-up of a reading that a sound loop has a number for, or an empty text."""
    try:
        measurement = parse_measurement(reading.measurement, loop, reading.where)
    except DiagnosticsError:
        return ""
    return measurement.set_up if measurement.unit and measurement.mode.word in _SOUND_MODES else ""


def find_baseline(store: CaseStore, case: Case) -> Baseline | None:
    """Return how this very loop was left at the last visit that restored it, or None.

    It must have been described the same, but for its note: a name alone may stand for many places. Whether it is the
    same place is for a person to say, so nothing is taken over by itself. Raises CaseError where the store does.
    """
    wanted = _strip(case.site)
    for case_id in store.list_closed("mended"):
        try:
            earlier = store.load_case(case_id)
        except (CaseError, NotFoundError):
            continue  # one damaged case does not take the others away
        same = case_id != case.case_id and _strip(earlier.site) == wanted and keeps_baseline(earlier)
        if same and (readings := list_as_left(earlier)):
            return Baseline(readings, case_id)
    return None


def is_example(site: Site) -> bool:
    """Return whether a site is a shipped example, taken as it stands, but for its note: many try it, none owns it.

    How one of them left it says nothing of where the next one begins, so it is not offered unless somebody asks.
    """
    return _strip(site) in _list_examples()


@cache
def _list_examples() -> tuple[Site, ...]:
    return tuple(_strip(read_site(path)) for path in sorted((find_shipped("cases") / "sites").glob("*.yaml")))


def list_left_so_far(case: Case) -> tuple[Reading, ...]:
    """Return what ``list_as_left`` would if the case were closed as mended now."""
    return list_as_left(replace(case, closing="mended"))


def list_to_leave(loop: Loop) -> tuple[Measurement, ...]:
    """Return what is worth reading once more when a loop is restored: volts in standby that need no ladder."""
    return tuple(m for m in list_measurements(loop) if m.unit == "V" and m.mode == STANDBY and "ladder" not in m.tools)


def find_sound(loop: Loop, m: Measurement, value: float) -> PredictedReading | None:
    """Return what a sound loop shows where a value (V or ohm) lies far from it, or None: nothing is odd."""
    readings = predict_mode(loop, (), m.mode).readings
    sound = next((r for r in readings if r.measurement.key == m.key), None)
    far = sound is not None and abs(value - sound.value) > _FAR_SDS * sound.sd
    return sound if far else None


def keeps_baseline(case: Case) -> bool:
    """Return whether the readings of a restored case may be a baseline: yes, until somebody says that they may not."""
    said = [a.caution for a in case.acknowledged if a.caution in {_KEPT, _NOT_KEPT}]
    return not said or said[-1] == _KEPT


def keep_baseline(store: CaseStore, case: Case, *, keep: bool) -> Case:
    """Note whether the readings of a restored case are to be this site's baseline."""
    if keeps_baseline(case) == keep:
        return case
    given = Acknowledgement(_KEPT if keep else _NOT_KEPT, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def is_baseline_asked(case: Case) -> bool:
    """Return whether a person has said, for the description that holds, if anything changed since the last visit."""
    return any(a.caution == f"{_ASKED}{case.site_revision}" for a in case.acknowledged)


def answer_baseline(store: CaseStore, case: Case, baseline: Baseline) -> Case:
    """Note that it was asked whether anything has changed since, and keep the baseline; an empty one: it has, or may.

    Raises as ``adopt_baseline``.
    """
    list_baseline(case.site, baseline)
    name = f"{_ASKED}{case.site_revision}"
    given = () if is_baseline_asked(case) else (Acknowledgement(name, datetime.now(UTC)),)
    if baseline != case.baseline:
        return store.append_baseline(case.case_id, baseline, case.revision, *given)
    return store.append_acknowledgements(case.case_id, given, case.revision)


def _strip(site: Site) -> Site:
    return site.model_copy(update={"note": ""})


def adopt_baseline(store: CaseStore, case: Case, baseline: Baseline) -> Case:
    """Store a baseline with a case, once a person has said that it is the same place; an empty one takes it out.

    Raises
    ------
    FaultError, QuantityError
        A reading of it is none of this loop; nothing was stored.
    """
    list_baseline(case.site, baseline)
    return store.append_baseline(case.case_id, baseline, case.revision)


def list_baseline(site: Site, baseline: Baseline) -> tuple[Taken, ...]:
    """Return a baseline as the reasoning takes it: readings of the sound loop, as they were understood."""
    loop = build_loop(site)
    return tuple(understand(loop, reading) for reading in baseline.readings)
