"""Two faults at once, and what no catalogue holds: drawn by seed, played to their end, counted as they ended."""

import json

import numpy as np
import pytest

from diagnostics.cli.main import run
from diagnostics.proving.doubles import Double, _find_seed, play_pairs, rate_saving
from diagnostics.proving.unmodelled import End, Outsider, play_outsiders, tally_unmodelled
from diagnostics.referee import OUTSIDE, NoRoomError, Plant, build_world, find_complaint, read_spreads
from diagnostics.referee.answers import find_answer
from diagnostics.referee.outside import apply_outside
from diagnostics.referee.panel import mode_states
from diagnostics.referee.world import solve
from tests.external.referee_line import open_line
from tests.proving.test_calibration import stand_at


def test_both_faults_of_a_pair_are_found_either_way() -> None:
    stand = stand_at("malt_house")
    pairs = play_pairs(stand, count=2, seed=1)
    assert pairs == play_pairs(stand, count=2, seed=1)
    for pair in pairs:
        assert len(pair.faults.split(",")) == 2
        assert min(pair.together, pair.apart) > pair.knowing > 20  # two repairs and a round of tests
        assert 0 <= pair.second_search < pair.apart - pair.knowing
        assert pair.restored


def test_a_pair_is_played_only_where_all_is_right_once_both_are_mended() -> None:
    """Of 14 drawn worlds of this site two have a panel that complains of the sound loop: nothing would restore them."""
    stand, spreads = stand_at("weaving_shed"), read_spreads()
    drawn = [build_world(stand.line, stand.site, "healthy", (n, 0), spreads) for n in (6, 12)]
    assert [find_complaint(world) for world in drawn] == ["no_trouble_with_head_off"] * 2
    for number in (6, 12):
        seed = _find_seed(stand, (number,))
        assert find_complaint(build_world(stand.line, stand.site, "healthy", seed, spreads)) is None


def build_pair(together: float, apart: float) -> Double:
    return Double(
        "malt_house", "head_off@det1,head_off@det2", together, apart, 40.0, 15.0, 0, 1,
        restored=True, apart_restored=True,
    )  # fmt: skip


def test_what_is_saved_is_a_share_of_all_minutes() -> None:
    found = rate_saving([build_pair(60, 100), build_pair(100, 100), build_pair(80, 100)])
    assert found.saved_share.value == pytest.approx(0.2)
    assert found.saved_minutes.value == pytest.approx(20.0)
    assert found.saved_share.low < 0.2 < found.saved_share.high
    assert found.saved_of_rest.value == pytest.approx(60 / 180)
    assert found.second_search.value == pytest.approx(45 / 300)
    assert (found.wrong, found.apart_wrong) == (0.0, 1.0)


@pytest.mark.parametrize("effect", sorted(OUTSIDE))
def test_an_effect_outside_the_catalogue_moves_volts(effect: str) -> None:
    stand = stand_at("hill_hostel")
    sound, strange = (
        build_world(stand.line, stand.site, fault, (4, 1), read_spreads()) for fault in ("healthy", f"outside.{effect}")
    )
    moved_v = 0.0
    for mode in ("standby", "alarm:det9"):
        before, after = (solve(world, mode_states(world, mode)) for world in (sound, strange))
        moved_v = max(moved_v, *(abs(before[name] - after[name]) for name in before))
    assert moved_v > 0.3


def test_an_effect_without_a_place_for_it_is_refused() -> None:
    rng = np.random.default_rng(1)
    for effect in sorted(OUTSIDE):
        with pytest.raises(NoRoomError):
            apply_outside(effect, [], rng)


def test_a_repair_of_its_own_run_is_not_wrong_and_anything_else_is() -> None:
    visits = play_outsiders(stand_at("orchard_office"), count=4, seed=1)
    assert visits == play_outsiders(stand_at("orchard_office"), count=4, seed=1)
    for visit in visits:
        assert (visit.settled is None) is (visit.end in {"not modelled", "does not fit", "undecided"})
        if visit.end == "its place":
            assert visit.settled is not None
            assert visit.settled[1].startswith("run det")


def test_ends_outside_the_catalogue_are_counted() -> None:
    ends: tuple[End, ...] = ("not modelled", "does not fit", "wrongly", "its place", "undecided")
    tally = tally_unmodelled([Outsider("malt_house", "cell_in_run", "constant_trouble", end, None, 3) for end in ends])
    assert [s.value for s in (tally.said, tally.its_place, tally.wrongly, tally.undecided)] == [0.4, 0.2, 0.2, 0.2]


def test_eyes_and_settings_show_nothing_of_what_has_no_name() -> None:
    stand = stand_at("orchard_office")
    plant = Plant(stand.site, "outside.cell_in_run", "aged", (1, 1))
    world = build_world(open_line(), stand.site, plant.fault, plant.seed)
    looks = [row for row in stand.rows.values() if row["measurement"] in {"look", "settings"}]
    assert {find_answer(world, plant, row) for row in looks} == {"as_it_should_be"}


def test_the_bench_tells_pairs_and_what_fits_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(("bench", "doubles", "--style", "dry_contacts", "--count", "1", "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["count"] == len(told["pairs"]) == 2
    assert run(("bench", "unmodelled", "--style", "dry_contacts", "--count", "1", "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows"]["every effect"]["said"]["count"] == len(told["visits"]) == 2
