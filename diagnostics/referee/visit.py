"""One whole visit in a drawn world: complaint, measurements, verdict, repair, tests, until the loop is right again.

A repair is followed by the same tests whatever way of working led to it. One that did not cure is told to the engine,
and the visit goes on. Where a way of working has nothing left to do, it repairs what leads.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from .answers import Person, write_spot
from .line import Line, RefusedError, Row
from .panel import NeverSettlesError
from .people import find_complaint, find_healthy_complaint, find_sound_seed
from .plants import Plant
from .policies import Chooser, choose_any, choose_asked, choose_cheapest, choose_guided, choose_half
from .rounds import find_round_minutes, find_still, find_told, play_round
from .score import has_right_hands, is_named
from .spreads import Spreads, read_spreads
from .world import build_world

MOST_STEPS, MOST_REPAIRS = 25, 3
_START = datetime(2030, 1, 7, 8, tzinfo=UTC)


class UnseenError(LookupError):
    """Nobody would call for this fault: the loop looks as it does when nothing is wrong."""


@dataclass(frozen=True, slots=True)
class Step:
    """One measurement, repair or round of tests: what, what came of it, and its minutes; a slip by its words."""

    action: str
    what: str
    result: str
    minutes: float
    slip: str = ""


@dataclass(slots=True)
class Visit:
    """A whole visit: what was planted, what was done, how it ended.

    ``settled`` is what the engine first settled on; ``right`` whether that was the planted repair, None where it never
    settled; ``named`` whether the planted kind and place was then still a candidate.
    """

    site: str
    fault: str
    context: str
    symptom: str
    policy: str
    seed: tuple[int, ...]
    steps: list[Step] = field(default_factory=list)
    settled: tuple[str | None, str | None] | None = None
    right: bool | None = None
    named: bool | None = None
    ended: str = ""
    belief: str = ""
    settled_minutes: float | None = None

    @property
    def minutes(self) -> float:
        """Return the minutes of the whole visit."""
        return sum(step.minutes for step in self.steps)

    @property
    def restored(self) -> bool:
        """Return whether the loop was right again and tested."""
        return self.ended == "restored"


@dataclass(slots=True)
class _Play:
    """What changes during a visit."""

    line: Line
    plant: Plant
    visit: Visit
    person: Person
    stand: str = "panel"
    readings: list[Row] = field(default_factory=list)
    repairs: list[Row] = field(default_factory=list)
    latest: Row = field(default_factory=dict)
    known: dict[str, str] = field(default_factory=dict)
    answer: str | None = None  # to what the way of working has asked last

    @property
    def clock(self) -> str:
        return (_START + timedelta(minutes=self.visit.minutes)).isoformat()


def play_visit(line: Line, plant: Plant, policy: str, spreads: Spreads | None = None) -> Visit:
    """Play one visit to its end.

    Raises
    ------
    UnseenError
        Nothing would show that anything is wrong.
    NeverSettlesError, NotPlayedError
        The world never comes to rest; the referee has no words for the fault.
    """
    wide = spreads or read_spreads()
    seed = find_sound_seed(line, plant.site, plant.seed, wide)
    world = build_world(line, plant.site, plant.fault, seed, wide)
    symptom = find_complaint(world)
    if symptom is None or symptom == find_healthy_complaint(line, plant.site):
        raise UnseenError(plant.text)
    visit = Visit(plant.site.stem, plant.fault, plant.context, symptom, policy, plant.seed)
    play = _Play(line, plant, visit, Person(world, plant))
    if told := find_told(world, plant, symptom):
        _note(play, *told)
    try:
        _play_on(play, _build_chooser(play))
    except RefusedError as error:
        visit.ended, visit.belief = "refused", f"{error}\n{write_case(play)}"
    return visit


def _build_chooser(play: _Play) -> Chooser:
    rows = play.line.list_rows("measurements", play.plant.site)
    rows = rows if play.visit.policy == "ours" else tuple(r for r in rows if r["measurement"] != "overnight")
    half = choose_half(rows, play.visit.symptom, len(play.person.world.detectors))
    return {
        "ours": lambda: choose_asked(rows, lambda: play.latest),
        "guide": lambda: choose_guided(rows, lambda: play.latest, half),
        "half": lambda: half,
        "cheapest": lambda: choose_cheapest(rows),
        "random": lambda: choose_any(rows, play.person.world.draw("random order")),
        "knowing": lambda: half,
    }[play.visit.policy]()


def _play_on(play: _Play, chooser: Chooser) -> None:
    """Play until the loop is right again, or nothing is left that this visit could do."""
    if play.visit.policy == "knowing":
        _mend_planted(play)
    while not play.visit.ended:
        play.latest = _diagnose(play)
        wanted = _find_repair(play)
        if wanted is None and len(play.readings) < MOST_STEPS and _take_next(play, chooser):
            continue
        wanted = wanted or _find_leader(play)
        if wanted is None:
            play.visit.ended = "given up"
        else:
            _repair(play, wanted)


def _mend_planted(play: _Play) -> None:
    play.visit.belief = "knows what was planted"
    _repair(play, (play.line.find_kind(play.plant.site, play.plant.kind)["remedy"], play.plant.place))
    play.visit.ended = play.visit.ended or "given up"


def _take_next(play: _Play, chooser: Chooser) -> bool:
    """Take the next measurement of a way of working; False where it has nothing left, or asks for no measurement."""
    try:
        row = next(chooser) if play.answer is None else chooser.send(play.answer)
        while play.visit.policy != "ours" and write_spot(row) in play.known:  # nobody reads it again
            row = chooser.send(play.known[write_spot(row)])
    except StopIteration:
        return False
    slips = len(play.person.slipped)
    seen = play.person.read(row)
    minutes = find_minutes(row, play.stand)
    play.stand = row["place"]
    slip = play.person.slipped[-1] if len(play.person.slipped) > slips else ""
    told = f"{seen}, the fault away" if play.person.away else seen
    play.visit.steps.append(Step("measure", write_spot(row), told, minutes, slip))
    _note(play, row, seen, away=play.person.away)
    play.answer = seen
    return True


def find_minutes(row: Row, stand: str) -> float:
    """Return the minutes of a listed measurement for someone who stands at a place: the work and the way."""
    if row["place"] == stand:
        return float(row["minutes_there"])
    ways = read_spreads().minutes
    way = row["minutes_at_panel"] - row["minutes_there"] if stand == "panel" else ways.between
    return float(row["minutes_there"] + (ways.back if row["place"] == "panel" else way))


def write_case(play: _Play) -> str:
    """Return the case file of a visit so far, with the site written out in it."""
    plant = play.plant
    return build_case(plant, play.visit.symptom, play.readings, play.repairs)


def build_case(plant: Plant, symptom: str, readings: Sequence[Row], repairs: Sequence[Row] = ()) -> str:
    """Return a case file with the site written out in it."""
    site = "\n".join("  " + line for line in plant.site.read_text(encoding="utf-8").splitlines())
    head = f"format: ohmward-case/1\nsite:\n{site}\ncontext: [{plant.contexts}]\nsymptom: {symptom}\n"
    lists = (("readings", readings), ("repairs", repairs))
    return head + "".join(f"{name}: {json.dumps(list(rows), ensure_ascii=False)}\n" for name, rows in lists)


def _diagnose(play: _Play) -> Row:
    words = ("diagnose", "-", *(["--guide"] if play.visit.policy == "guide" else []))
    return play.line.ask(words, write_case(play))


def _find_repair(play: _Play) -> tuple[str | None, str] | None:
    """Return the repair that is due: what the engine settled on, or offers because no measurement would tell more."""
    if play.latest["settled"]:
        verdict = play.latest["verdict"]
        if play.visit.settled is None:
            _note_settled(play, verdict["remedy"], verdict["place"] or "")
        return verdict["remedy"], verdict["place"] or ""
    asked = play.latest["next"]
    if asked is not None and asked["action"] == "repair":
        return asked["remedy"], asked["place"]
    return None


def _note_settled(play: _Play, remedy: str | None, place: str) -> None:
    visit = play.visit
    visit.settled, visit.settled_minutes = (remedy, place), visit.minutes
    if not play.repairs:  # after a repair that did not cure, it had help
        visit.right = has_right_hands(play.line, play.plant, remedy, place)
        visit.named = is_named(play.latest, play.plant)
    visit.belief = tell_belief(play.latest)


def tell_belief(diagnosis: Row) -> str:
    """Return what the engine believes, in a line: the likeliest faults, what is not modelled, any contradiction."""
    left = ", ".join(f"{c['fault']} {c['probability']:.3f}" for c in diagnosis["candidates"][:6])
    doubt = diagnosis["contradiction"]
    return f"{left}; not modelled {diagnosis['not_modelled']:.3g}" + (f"; {doubt['why']}" if doubt else "")


def _find_leader(play: _Play) -> tuple[str | None, str] | None:
    """Return the likeliest repair that was not made yet, of a pair of faults the first such; None for none."""
    tried = {repair["fault"] for repair in play.repairs}
    for candidate in play.latest["candidates"]:
        for kind, place in zip(candidate["kind"].split(","), candidate["place"].split(","), strict=False):
            remedy = None if kind == "healthy" else play.line.find_kind(play.plant.site, kind)["remedy"]
            if remedy is not None and f"{remedy}@{place}" not in tried:
                return remedy, place
    return None


def _repair(play: _Play, wanted: tuple[str | None, str]) -> None:
    """Repair, test, and go on where that did not cure."""
    visit, (remedy, place) = play.visit, wanted
    visit.belief = visit.belief or tell_belief(play.latest)
    if remedy is None:
        visit.ended = "left as sound"
        return
    kinds = play.line.list_rows("kinds", play.plant.site)
    minutes = sum(next(k["remedy_minutes"] for k in kinds if k["remedy"] == word) for word in remedy.split(" + "))
    is_right = any(
        has_right_hands(play.line, play.plant, *pair)
        for pair in zip(remedy.split(" + "), place.split(" + "), strict=False)
    )
    visit.steps.append(Step("repair", f"{remedy}@{place}", "the planted fault" if is_right else "another", minutes))
    cured = _test(play, place, is_right=is_right)
    play.repairs.append({"fault": f"{remedy}@{place}", "done_at": play.clock, "cured": cured})
    play.stand = "panel"
    if cured:
        visit.ended = "restored"
    elif len(play.repairs) >= MOST_REPAIRS:
        visit.ended = "given up"


def _test(play: _Play, place: str, *, is_right: bool) -> bool:
    """Test after a repair and add the minutes: detectors touched, the farthest, one a kind, a head off, a reset."""
    world, plant = play.person.world, play.plant
    if is_right:
        world = build_world(play.line, plant.site, "healthy", world.seed, world.spreads)
        play.person.world = world
    try:
        complaint = find_complaint(world)
    except NeverSettlesError:
        complaint = "never settles"
    cured = complaint is None or complaint == find_healthy_complaint(play.line, plant.site)
    round_ = play_round(world, plant, place)
    minutes = find_round_minutes(world, place) if cured else round_.minutes
    play.visit.steps.append(Step("test", f"after {place or 'it'}", "right" if cured else str(complaint), minutes))
    play.known.clear()  # what was read before the repair may be otherwise now
    if not cured and (still := find_still(world, plant, round_, str(complaint))):
        _note(play, *still)
    return cured


def _note(play: _Play, row: Row, seen: str, *, away: bool = False) -> None:
    """Note what was read or seen; while the fault is away it says nothing of it."""
    leads: Row = {key: row[key] for key in ("red", "black", "at") if row.get(key)}
    absent = {"condition": "absent"} if away else {}
    if not away:
        play.known[write_spot(row)] = seen
    where = {"measurement": row["measurement"], **leads, "mode": row["mode"]}
    play.readings.append({**where, "value": seen, "taken_at": play.clock, **absent})


def tell_visit(visit: Visit) -> list[str]:
    """Return a visit in lines for a terminal."""
    head = f"{visit.fault} at {visit.site} ({visit.context}), {visit.symptom}, {visit.policy}"
    told = [f"  {s.action} {s.what}: {s.result}  [{s.minutes:.1f} min]" + _tell_slip(s) for s in visit.steps]
    right = {True: "right", False: "WRONG", None: "never"}[visit.right]
    named = "" if visit.settled is None else f" on {visit.settled[0]}@{visit.settled[1]}"
    return [head, *told, f"  settled {right}{named}; {visit.ended} after {visit.minutes:.1f} min", f"  {visit.belief}"]


def _tell_slip(step: Step) -> str:
    return f"  (a slip: {step.slip.rpartition(' for ')[2]} was right)" if step.slip else ""
