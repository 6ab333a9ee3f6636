"""The guide leads and the model walks beside it: it skips, proposes, doubts, and carries on."""

from dataclasses import dataclass

import pytest

from diagnostics.readings import Bench, parse_measurement
from diagnostics.reasoning import Action, Diagnosis, Question, Situation, Taken, diagnose
from diagnostics.trees import CANNOT, DONE, History, as_policy, choose_guide, find_doubt, list_ends, walk
from diagnostics.trees.policy import GuidePolicy

GUIDE = "constant_trouble"


def _take(bench: Bench, kind: str, value: float | str, **where: str) -> Taken:
    return Taken(parse_measurement(kind, bench.loop, where), value)


def _ask(bench: Bench, *taken: Taken, can: frozenset[str] | None = None) -> Diagnosis:
    policy = as_policy(choose_guide(GUIDE), bench)
    return diagnose(bench, Question(symptom=GUIDE, taken=taken, can=can), policy)


def _zone(bench: Bench, value_v: float) -> Taken:
    return _take(bench, "volts", value_v, red="panel.zone1+", black="panel.zone1-")


def test_guide_s_first_reading_comes_first(bakery: Bench) -> None:
    found = _ask(bakery)
    assert found.next is not None
    assert found.next.measurement is not None
    assert (found.next.measurement.kind, found.next.measurement.red) == ("volts", "panel.zone1+")


def test_next_step_of_the_guide_follows_the_reading(bakery: Bench) -> None:
    found = _ask(bakery, _zone(bakery, 23.1))
    assert found.next is not None
    assert found.next.measurement is not None
    assert found.next.measurement.kind == "which_dark"


def test_model_carries_on_where_the_guide_ends(bakery: Bench) -> None:
    found = _ask(bakery, _zone(bakery, 23.1), _take(bakery, "which_dark", "det6,det7,det8", at="loop"))
    assert found.next is not None
    assert found.next.action in {"measure", "repair"}
    assert found.next.instead is None
    without = diagnose(
        bakery,
        Question(symptom=GUIDE, taken=(_zone(bakery, 23.1), _take(bakery, "which_dark", "det6,det7,det8", at="loop"))),
    )
    assert found.next == without.next


def test_model_carries_on_where_a_person_cannot(bakery: Bench) -> None:
    found = _ask(bakery, can=frozenset({"ladder"}))
    assert found.next is not None
    assert found.next.measurement is not None
    assert "meter" not in found.next.measurement.tools


def test_settled_ends_the_guide(bakery: Bench) -> None:
    look = _take(bakery, "look", "resistor_missing", at="det8")
    found = _ask(bakery, _zone(bakery, 23.1), look)
    assert found.settled == ("fit_end_resistor", "end")
    assert found.next is not None
    assert found.next.action == "repair"


@pytest.mark.parametrize("site", ["boathouse", "greenhouse"])
def test_shorter_step_is_proposed_only_where_it_tells_more_for_the_minutes(
    site: str, request: pytest.FixtureRequest
) -> None:
    bench: Bench = request.getfixturevalue(site)
    told = _ask(bench).next
    alone = diagnose(bench, Question(symptom=GUIDE)).next
    assert told is not None
    assert alone is not None
    assert alone.measurement is not None
    ratio = (alone.bits / alone.minutes) / (told.bits / told.minutes)
    said_already = alone.measurement.kind == "panel_shows" and alone.measurement.at == "panel"
    longer = alone.minutes > told.minutes
    assert (told.instead is not None) == (ratio >= 1.5 and not said_already and not longer)


@dataclass(frozen=True)
class Insisting:
    """A model that proposes one measurement, whatever the others tell, as if it told everything."""

    key: str

    def choose(self, situation: Situation) -> Action:
        """Return that measurement with its own minutes."""
        number = [m.key for m in situation.measurements].index(self.key)
        return Action("measure", situation.minutes[number], situation.measurements[number], bits=99.0)


@pytest.mark.parametrize(
    ("key", "proposed"),
    [
        ("which_dark|zone2|standby", False),  # it takes longer than volts at the panel
        ("panel_shows|zone1|standby", False),  # as quick, but the zone of the other loop
        ("volts|panel.aux+,panel.aux-|standby", True),  # as quick, and of the supply that both loops share
    ],
)
def test_shorter_step_takes_no_longer_and_is_at_the_loop_in_question(
    hostel: Bench,
    key: str,
    proposed: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    bench = hostel.look_at("zone2")
    policy = GuidePolicy(choose_guide(GUIDE), bench, {}, Insisting(key))
    told = diagnose(bench, Question(symptom=GUIDE), policy).next
    assert told is not None
    assert told.measurement is not None
    assert told.measurement.red == "panel.zone2+"
    assert (told.instead is not None) == proposed


def test_guide_that_leads_away_from_the_readings_is_doubted(bakery: Bench) -> None:
    guide = choose_guide(GUIDE)
    taken = (
        _zone(bakery, 23.1),
        _take(bakery, "look", "resistor_missing", at="det8"),
        _take(bakery, "which_dark", "det2,det3,det4,det5,det6,det7,det8", at="loop"),
    )
    walked = walk(guide, bakery, History(GUIDE, taken, {"note": DONE}))
    assert walked.at == "break_between"
    settled = diagnose(bakery, Question(symptom=GUIDE, taken=taken[:2]))
    doubt = find_doubt(walked, settled)
    assert doubt is not None
    assert doubt.probability < 0.05


def test_guide_that_agrees_is_not_doubted(bakery: Bench) -> None:
    guide = choose_guide(GUIDE)
    taken = (_zone(bakery, 23.1), _take(bakery, "which_dark", "none", at="loop"))
    walked = walk(guide, bakery, History(GUIDE, taken, {"note": DONE}))
    assert walked.at == "at_the_end"
    assert find_doubt(walked, diagnose(bakery, Question(symptom=GUIDE, taken=taken))) is None


def test_from_the_first_step_every_end_can_be_reached() -> None:
    guide = choose_guide(GUIDE)
    assert set(list_ends(guide, guide.first)) == set(guide.ends)
    assert list_ends(guide, "output") == ("output",)
    assert CANNOT not in guide.ends
