"""JSON objects for outsiders: SI numbers with their unit beside them, ``null`` is *not known*."""

import math
from collections.abc import Sequence
from typing import Any

from diagnostics.cases import Misreading
from diagnostics.circuit import Mode, list_mode_words
from diagnostics.faults import CONTEXTS, KINDS, SIGNS, read_catalogue
from diagnostics.readings import (
    Faults,
    Measurement,
    PredictedReading,
    Prediction,
    list_measurements,
    list_tokens,
)
from diagnostics.reasoning import (
    NOTHING,
    Action,
    Candidate,
    Diagnosis,
    Expected,
    SuspectGroup,
    find_met_defects,
    read_symptoms,
)
from diagnostics.visit import Assessment, Guidance
from diagnostics.wiring import Loop, find_defects, read_parts

from .explain import explain_next
from .location import build_spot_object, find_location
from .mend import list_mend_places, list_mends
from .record_words import tell_stops
from .words import Words

Object = dict[str, Any]
LEAST_SHOWN = 1e-4


def round_number(value: float, digits: int = 10) -> float | str | None:
    """Return a number with so many significant digits, ``"OL"`` for over-range, None for *not a number*."""
    if math.isinf(value):
        return "OL"
    if math.isnan(value):
        return None
    return float(f"{value:.{digits}g}")


def write_faults(faults: Faults) -> str:
    """Return a hypothesis as the command line writes it."""
    return ",".join(f.text for f in faults) or "healthy"


def build_where(m: Measurement) -> Object:
    """Return measurement, leads or place, and mode."""
    leads = {"red": m.red, "black": m.black} if m.red else {"at": m.at}
    return {"measurement": m.kind, **leads, "mode": m.mode.text}


def build_prediction(prediction: Prediction, loop: Loop, fault: Faults, mode: Mode) -> Object:
    """Return the answer of ``predict``."""
    return {
        "format": "ohmward-prediction/1",
        "site": loop.site.name,
        "fault": write_faults(fault),
        "mode": mode.text,
        "readings": [*(_build_reading(r) for r in prediction.readings), *_build_words(prediction, loop, mode)],
        "panel": prediction.panel,
        "earth": None if prediction.earth is None else prediction.earth.replace("_", " "),
        "states": prediction.states,
        "never_settles": list(prediction.chatter),
    }


def _build_reading(r: PredictedReading) -> Object:
    if r.instead:
        circuit: Object = {"value": None, "ideal": round_number(r.ideal), "sd": None, "unit": r.measurement.unit}
        return {**build_where(r.measurement), **circuit, "instead": r.instead}
    return {
        **build_where(r.measurement),
        "value": round_number(r.value),
        "ideal": round_number(r.ideal),
        "sd": round_number(r.sd, 6),
        "unit": r.measurement.unit,
    }


def _build_words(prediction: Prediction, loop: Loop, mode: Mode) -> list[Object]:
    """Return what panel and lamps show, as readings without a number; a lamp that is dark in standby tells nothing."""
    bare: Object = {"mode": mode.text, "ideal": None, "sd": None, "unit": None}
    lamps = {"powered": "lit", "dark": "dark", "latched": "alarm"}
    rows = [
        {"measurement": "panel_shows", "at": "panel", **bare, "value": state} for state in prediction.panel.values()
    ]
    watched = [d.name for d in loop.detectors if d.shows_power]
    found = [(name, lamps[prediction.states[name]]) for name in watched]
    return rows + [{"measurement": "lamp", "at": name, **bare, "value": lamp} for name, lamp in found]


def build_diagnosis(assessment: Assessment, words: Words) -> Object:
    """Return the answer of ``diagnose``."""
    d = assessment.diagnosis
    shown = [c for n, c in enumerate(d.candidates) if c.probability >= LEAST_SHOWN or n == 0]
    return {
        "format": "ohmward-diagnosis/1",
        "candidates": [_build_candidate(c, words) for c in shown],
        "not_modelled": round_number(d.not_modelled, 6),
        "groups": [_build_group(g) for g in d.groups],
        "settled": d.settled is not None,
        "understood_otherwise": [_build_misreading(m, assessment) for m in assessment.misread],
        "defects": [*_build_defects(words), *_build_met(assessment, words)],
        "contradiction": _build_contradiction(assessment, words),
        "stop": [text for _, text in tell_stops(assessment, words)],
        "next": None if d.next is None else _build_next(d, d.next, words),
        "verdict": None if d.settled is None else _build_verdict(d.settled, words) | _build_location(assessment, words),
    }


def _build_misreading(m: Misreading, assessment: Assessment) -> Object:
    """Return a reading, by its number in the order taken, that would be read otherwise now; what was stored counts."""
    number = [r.reading_id for r in assessment.case.readings].index(m.reading.reading_id)
    stored, now = ({"value": u.value, "unit": u.unit or None} if u else None for u in (m.stored, m.now))
    return {"reading": number, "typed": m.reading.value, "stored": stored, "now": now}


def build_guide(guidance: Guidance | None) -> Object | None:
    """Return where the finding guide stands: a step that waits, an end, or left; None where no guide leads."""
    if guidance is None:
        return None
    walk = guidance.walk
    return {"name": walk.guide.name, "at": walk.at, "reached": walk.reached, "say": tell_guide(guidance)}


def tell_guide(guidance: Guidance) -> str | None:
    """Return what the guide says to a technician where it stands, or None where it says nothing."""
    step, end = guidance.walk.step, guidance.walk.end
    said = end.say if end else (step.say or step.ask or step.do) if step else None
    return None if said is None else str(said)


def _build_defects(words: Words) -> list[Object]:
    pairs = zip(find_defects(words.loop), words.defects(), strict=True)
    return [{"defect": name, "words": told} for name, told in pairs]


def _build_met(assessment: Assessment, words: Words) -> list[Object]:
    found = find_met_defects(assessment.loop, assessment.taken)
    return [
        {"defect": met.name, "place": met.at, "words": told}
        for met, told in zip(found, words.met_defects(assessment.taken), strict=True)
    ]


def _build_candidate(c: Candidate, words: Words) -> Object:
    return {
        "fault": write_faults(c.faults),
        "kind": ",".join(f.kind for f in c.faults) or "healthy",
        "place": ",".join(f.place for f in c.faults),
        "probability": round_number(c.probability, 6),
        "words": words.faults(c.faults),
    }


def _build_group(g: SuspectGroup) -> Object:
    return {
        "members": [write_faults(m) for m in g.members],
        "probability": round_number(g.probability, 6),
        "d_prime": round_number(g.d_prime, 4),
        "split_by": None if g.split_by is None else build_where(g.split_by),
    }


def _build_contradiction(assessment: Assessment, words: Words) -> Object | None:
    found = assessment.diagnosis.contradiction
    if found is None:
        return None
    taken = assessment.taken[found.reading]
    read = f"{words.ask(taken.measurement)} {words.value(taken.measurement, taken.value)}"
    why = f"The readings do not fit together, and this is the one to doubt: {read}"
    return {"reading": found.reading, "why": why}


def _build_next(d: Diagnosis, action: Action, words: Words) -> Object:
    base: Object = {"action": action.action, "minutes": round_number(action.minutes, 6), "why": explain_next(d, words)}
    if action.measurement is None:
        cautions: tuple[str, ...] = ()
        if action.action == "repair" and d.next_class is not None:
            cautions = list_repair_cautions(d.next_class, list_mend_places(list_mends(d, d.next_class, words)))
        if action.action == "repair" and d.next_class is not None:
            base |= {"remedy": d.next_class[0], "place": d.next_class[1]}
        return {**base, "expected": [], "cautions": [words.caution(c) for c in cautions]}
    m = action.measurement
    return {
        **base,
        **build_where(m),
        "ask": words.ask(m),
        "settling_s": m.data.settling,
        "expected": [_build_expected(e, d) for e in d.expected if e.group < len(d.groups)],
        "cautions": [words.caution(c) for c in m.cautions],
    }


def list_repair_cautions(repair_class: tuple[str, str] | None, at: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the cautions that go with a repair, by name: where it is made decides between cabinet and ladder.

    ``at`` are other places where the work may be: a resistor that belongs at the end is perhaps found at the panel.
    The loop is out of service where a wire or a head comes off for it; so it may be for a repair in plain words. It is
    made dead first where wires are landed or joined.
    """
    remedies, spots = ((repair_class or NOTHING)[n].split(" + ") for n in (0, 1))
    known = read_catalogue().remedies
    lifts = ["out_of_service"] if any(name not in known or known[name].lifts for name in remedies) else []
    lifts += ["dead_first"] if any(name in known and known[name].rewires for name in remedies) else []
    climbs = {spot.removeprefix("run ").startswith(("det", "end")) for spot in (*spots, *at)}
    at = [caution for caution, where in (("live_cabinet", False), ("ladder", True)) if where in climbs]
    return ("outputs", "tell_people", "evidence_first", *lifts, *at)


def _build_expected(e: Expected, d: Diagnosis) -> Object:
    leader = write_faults(d.groups[e.group].members[0])
    if e.state is not None:
        return {"for": leader, "state": e.state}
    low, high = (round_number(v or 0.0, 6) for v in (e.low, e.high))
    return {"for": leader, "low": low, "high": high, "unit": e.unit}


def _build_verdict(settled: tuple[str, str], words: Words) -> Object:
    if settled == NOTHING:
        return {
            "remedy": None,
            "place": None,
            "words": words.repair(settled),
            "minutes": 0.0,
            "parts": [],
            "after": words.after_repair(),
        }
    remedy = read_catalogue().remedies[settled[0]]
    return {
        "remedy": settled[0],
        "place": settled[1],
        "words": words.repair(settled),
        "minutes": remedy.minutes,
        "parts": list(remedy.parts),
        "after": words.after_repair(),
    }


def _build_location(assessment: Assessment, words: Words) -> Object:
    """Return where along the cable the fault lies, null where nothing that was read says so."""
    found = find_location(assessment)
    return {"location": None if found is None else build_spot_object(*found, words)}


def build_list(what: str, loop: Loop | None) -> list[Object]:
    """Return the rows of ``list``; those of places, terminals, measurements and modes need a loop."""
    match what:
        case "kinds":
            return [_build_kind(name, loop) for name in KINDS]
        case "symptoms":
            return [{"symptom": name, "about": s.about} for name, s in read_symptoms().symptoms.items()]
        case "profiles":
            return _list_profiles()
        case "contexts":
            return [{"context": c} for c in (*CONTEXTS, *SIGNS)]
        case _:
            if loop is None:
                raise ValueError(f"list {what} needs a site")
            return _list_of_loop(what, loop)


def _list_profiles() -> list[Object]:
    table = read_parts()
    rows = []
    for name, p in table.profiles.items():
        attributes = table.families[p.family].attributes
        values = {
            key: {
                "default": p.values.get(key, a.default),
                "unit": a.unit,
                "spread_percent": a.spread,
                "one_of": list(a.one_of) or None,
                "about": a.about,
            }
            for key, a in attributes.items()
        }
        rows.append({"profile": name, "family": p.family, "about": p.about, "values": values, "source": "invented"})
    return rows


def _build_kind(name: str, loop: Loop | None) -> Object:
    kind, data = KINDS[name], read_catalogue().kinds[name]
    places = None if loop is None else list(kind.places(loop))
    remedy = read_catalogue().remedies[data.remedy]
    return {
        "kind": name, "about": data.title, "family": data.family, "value_unit": "ohm" if kind.values else None,
        "places": places, "remedy": data.remedy, "remedy_words": remedy.words, "remedy_minutes": remedy.minutes,
        "seen_as": data.sees.token, "seen_at": data.sees.at, "seen_share": data.sees.share,
        "settings_share": data.settings_share,
    }  # fmt: skip


def _list_of_loop(what: str, loop: Loop) -> list[Object]:
    if what == "modes":
        return [{"mode": m} for m in list_mode_words(loop)]
    if what == "terminals":
        return [{"terminal": t} for t in loop.terminals if t != "earth"]
    if what == "places":
        places = dict.fromkeys(p for kind in KINDS.values() for p in kind.places(loop))
        return [{"place": p, "kinds": [n for n, k in KINDS.items() if p in k.places(loop)]} for p in places]
    return [_build_measurement(m, loop) for m in list_measurements(loop)]


def _build_measurement(m: Measurement, loop: Loop) -> Object:
    return {
        **build_where(m), **({"beside": m.beside} if m.beside else {}), "place": m.place,
        "unit": m.unit or None, "answers": list(list_tokens(m, loop)) or None,
        "minutes_at_panel": round_number(m.find_minutes("panel"), 6),
        "minutes_there": round_number(m.find_minutes(m.place), 6),
        "tools": sorted(m.tools), "settling_s": m.data.settling, "cautions": list(m.cautions), "about": m.data.about,
    }  # fmt: skip
