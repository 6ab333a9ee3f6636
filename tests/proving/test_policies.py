"""Ways of working compared: populations told by their hash, the same faults for all, intervals by the book.

Outside world: the score interval of a share is worked by hand from the formula of Wilson (1927), formula from memory.
"""

import json
import math
import re

import pytest

from diagnostics.cli.main import run
from diagnostics.cli.referee import ask_here
from diagnostics.errors import NotFoundError
from diagnostics.proving.policies import (
    find_mean,
    find_population,
    find_share,
    hash_population,
    list_styles,
    play_population,
    read_populations,
    tally_policies,
)
from diagnostics.referee import Line, Plant, UnseenError, Visit, read_spreads
from diagnostics.referee.visit import Step


@pytest.mark.parametrize("name", list(read_populations()))
def test_a_population_is_the_one_on_record(name: str) -> None:
    population = find_population(name)
    assert hash_population(population, ask_here) == population.sha256
    other = population.model_copy(update={"seed": population.seed + 1})
    assert hash_population(other, ask_here) != population.sha256


def test_an_unknown_population_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(NotFoundError) as refused:
        find_population("every_stile")
    assert "every_style" in refused.value.hint


def test_a_share_has_the_score_interval() -> None:
    """8 of 10, z = 1.96: centre (0.8 + 3.8416/20)/(1 + 0.38416) = 0.7167, half width 0.2266."""
    share = find_share([True] * 8 + [False] * 2)
    assert (share.value, share.low, share.high) == pytest.approx((0.8, 0.4902, 0.9433), abs=5e-4)
    assert find_share([True] * 5).high == 1.0
    assert find_share([]).count == 0


def test_a_mean_has_the_interval_of_the_normal_law() -> None:
    """Of 2, 4, 6 minutes: mean 4, standard deviation 2, half width 1.96·2/√3."""
    mean = find_mean([2.0, 4.0, 6.0])
    assert (mean.value, mean.high - mean.value) == pytest.approx((4.0, 1.96 * 2 / math.sqrt(3)))
    assert find_mean([3.0]).high == math.inf


def build_visit(
    policy: str, number: int, minutes: float, *, ended: str = "restored", right: bool | None = True
) -> Visit:
    visit = Visit("malt_house", "head", "new", "constant_trouble", policy, (1, number))
    visit.steps, visit.ended, visit.right = [Step("measure", "volts", "1 V", minutes)], ended, right
    return visit


def test_a_visit_that_restores_nothing_is_charged_another_and_all_are_held_to_ours_fault_by_fault() -> None:
    visits = [build_visit("ours", 1, 30), build_visit("ours", 2, 50)]
    visits += [build_visit("half", 1, 40, right=False), build_visit("half", 2, 60, ended="given up", right=None)]
    ours, half = tally_policies(visits)
    assert (ours.minutes.value, ours.longer) == (40.0, None)
    assert half.longer is not None
    assert half.longer.value == pytest.approx((10 + 10 + read_spreads().minutes.second_visit) / 2)
    assert (half.wrongly_settled, half.never_settled, half.restored.value) == (1, 1, 0.5)
    assert [style for style, _ in list_styles(visits)] == ["dry_contacts"]


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let visits be over at once: no one would call for every third fault, all others take 10 minutes."""

    def play_quickly(_line: Line, plant: Plant, policy: str) -> Visit:
        if plant.seed[1] % 3 == 0:
            raise UnseenError(plant.text)
        visit = build_visit(policy, plant.seed[1], 10.0)
        visit.fault = plant.fault
        return visit

    monkeypatch.setattr("diagnostics.proving.policies.play_visit", play_quickly)


@pytest.mark.usefixtures("quick")
def test_every_way_of_working_gets_the_same_faults_and_what_is_left_out_is_told() -> None:
    told = list[str]()
    population = find_population("every_style").model_copy(update={"styles": ("dry_contacts",)})
    visits = play_population(population, ask_here, ("ours", "half"), 4, tell=told.append)
    planted = [[v.fault for v in visits if v.policy == policy] for policy in ("ours", "half")]
    assert planted[0] == planted[1]
    assert [v.seed[1] for v in visits if v.policy == "half"] == [1, 2, 4, 5]
    assert [re.match(r"left out, nothing to call for: \S+ \S+@\S+", text) is not None for text in told] == [True, True]


def test_a_rehearsal_is_one_whole_visit_and_the_same_for_the_same_seed(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("rehearse", "bench_dry_contacts", "--fault", "conductor_open@det3.in_a", "--seed", "4", "--json")
    assert run(words) == 0
    first = capsys.readouterr().out
    assert run(words) == 0
    assert capsys.readouterr().out == first
    told = json.loads(first)
    assert (told["symptom"], told["ended"], told["restored"]) == ("constant_trouble", "restored", True)
    assert told["minutes"] == pytest.approx(sum(step["minutes"] for step in told["steps"]), abs=0.01)
    assert told["settled"] == {"remedy": "mend_conductor", "place": "run det3"}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("rehearse", "bench_dry_contacts", "--fault", "spur@det2"), 1, "nothing shows"),
        (("rehearse", "bench_class_a", "--fault", "end_of_life@det2"), 1, "no words for end_of_life"),
        (("rehearse", "bench_dry_contacts", "--fault", "head_of@det2"), 1, "no fault kind 'head_of'"),
        (("bench", "policies", "--policies", "ours,hunch"), 2, "no way of working 'hunch'"),
        (("bench", "policies", "--style", "dry_contact"), 2, "did you mean 'dry_contacts'?"),
    ],
)
def test_what_cannot_be_played_is_said(
    words: tuple[str, ...], code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(words) == code
    assert said in capsys.readouterr().err


@pytest.mark.usefixtures("quick")
def test_the_table_of_ways_of_working_tells_each_style_and_all(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("bench", "policies", "--count", "3", "--style", "dry_contacts", "--policies", "ours,cheapest")
    assert run(words) == 0
    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if line and not line.startswith(" ") and "_" in line] == ["dry_contacts"]
    assert len(re.findall(r"^(?:ours|cheapest) +3 +10.0 ", out, flags=re.MULTILINE)) == 4
