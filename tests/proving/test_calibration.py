"""What beliefs are worth: scores as the book has them, visits drawn from what the engine believes.

Outside world: scikit-learn for Brier score, log-loss and the bins of a calibration curve.
"""

import json
import re
from functools import cache

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, log_loss

from diagnostics.cli.main import run
from diagnostics.cli.referee import ask_here
from diagnostics.faults import parse_faults, read_catalogue
from diagnostics.proving.calibration import (
    Told,
    list_bins,
    play_visits,
    rate_brier,
    rate_calibration,
    rate_error,
    rate_log_loss,
    write_drawn,
)
from diagnostics.proving.stand import Stand, build_stand
from diagnostics.referee.line import SITES


@cache
def stand_at(stem: str) -> Stand:
    return build_stand(ask_here, next(site for site in SITES if site.stem == stem))


def draw_beliefs(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return probabilities, nought and one among them, and what was so, drawn from others than were said."""
    rng = np.random.default_rng(5)
    said = np.concatenate([rng.beta(0.7, 0.6, count - 2), [0.0, 1.0]])
    return said, rng.uniform(size=count) < 0.1 + 0.8 * said


def test_scores_are_those_of_scikit_learn() -> None:
    said, held = draw_beliefs(4000)
    assert rate_brier(said, held) == pytest.approx(brier_score_loss(held, said), rel=1e-12)
    assert rate_log_loss(said, held) == pytest.approx(log_loss(held, said), rel=1e-12)


def test_bins_are_those_of_a_calibration_curve_of_scikit_learn() -> None:
    said, held = draw_beliefs(4000)
    shares, means = calibration_curve(held, said, n_bins=10, strategy="uniform")
    bins = list_bins(said, held)
    assert sum(count for count, _, _ in bins) == said.size
    assert [mean for _, mean, _ in bins] == pytest.approx(list(means))
    assert [share for _, _, share in bins] == pytest.approx(list(shares))


def test_the_calibration_error_is_how_far_each_bin_is_off_by_its_weight() -> None:
    """Of 4 that were said to be 0.25 all held, of 6 that were said to be 0.95 four: (4·0.75 + 6·0.95 − 4)/10."""
    said, held = np.array([0.25] * 4 + [0.95] * 6), np.array([True] * 8 + [False] * 2)
    assert rate_error(said, held) == pytest.approx((4 * 0.75 + abs(6 * 0.95 - 4)) / 10)
    assert rate_error(np.array([1.0, 0.0]), np.array([True, False])) == 0.0


def build_told(*, said: float, held: bool, right: bool | None, verified: bool | None) -> Told:
    return Told("malt_house", "head_off@det1", "constant_trouble", (said,), (held,), right, verified)


def test_visits_are_counted_as_they_ended() -> None:
    right = build_told(said=0.97, held=True, right=True, verified=True)
    mended = build_told(said=0.96, held=False, right=False, verified=True)
    open_ = build_told(said=0.5, held=True, right=None, verified=None)
    found = rate_calibration([right] * 7 + [mended] * 2 + [open_])
    assert (found.visits, found.beliefs) == (10, 10)
    assert found.right.value == pytest.approx(7 / 9)
    assert (found.verified.value, found.never.value) == (1.0, 0.1)
    assert found.brier.low < found.brier.value < found.brier.high


@pytest.mark.parametrize("wide", [False, True])
def test_visits_begin_with_what_the_engine_believes_and_are_the_same_for_the_same_seed(*, wide: bool) -> None:
    told = play_visits(stand_at("malt_house"), count=5, seed=3, wide=wide)
    assert told == play_visits(stand_at("malt_house"), count=5, seed=3, wide=wide)
    assert len({visit.fault for visit in told}) > 2
    for visit in told:
        assert len(visit.said) == len(visit.held) > 1
        assert all(0 < p <= 1 + 1e-9 for p in visit.said)
        assert visit.held[-1] is (visit.right is True) or visit.right is None
        assert visit.said[-1] >= 0.95 or visit.right is None


def test_matched_visits_are_mostly_right_where_they_settle() -> None:
    """Slips and effects outside the catalogue are among them, as often as is believed."""
    told = play_visits(stand_at("bottling_hall"), count=15, seed=1, wide=False)
    settled = [visit for visit in told if visit.right is not None]
    assert len(settled) > 10
    assert sum(visit.right is True for visit in settled) >= len(settled) - 1


def test_what_is_not_modelled_happens_in_matched_worlds_and_only_there(monkeypatch: pytest.MonkeyPatch) -> None:
    often = read_catalogue().values.model_copy(update={"not_modelled_share": 0.95})
    believed = read_catalogue().model_copy(update={"values": often})
    monkeypatch.setattr("diagnostics.reasoning.belief.read_catalogue", lambda: believed)
    for wide, expected in ((False, True), (True, False)):
        told = play_visits(stand_at("malt_house"), count=2, seed=4, wide=wide)
        assert all(visit.fault.startswith("outside.") == expected for visit in told)


def test_a_drawn_value_is_spread_as_widely_as_the_engine_believes() -> None:
    loop, rng = stand_at("malt_house").bench.loop, np.random.default_rng(2)
    faults = parse_faults("leak=1k@det2.in_contact", loop)
    drawn = [write_drawn(faults, rng) for _ in range(300)]
    ohms = np.log([float(re.split("[=@]", text)[1]) / 1000 for text in drawn])
    assert abs(float(np.mean(ohms))) < 0.06
    assert float(np.std(ohms)) == pytest.approx(0.35, rel=0.15)
    assert write_drawn((), rng) == "healthy"
    assert write_drawn(parse_faults("end_resistor_wrong=1k@end", loop), rng) == "end_resistor_wrong=1k@end"


def test_the_bench_tells_both_kinds_of_worlds(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("bench", "calibration", "--style", "dry_contacts", "--count", "2", "--json")
    assert run(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert {name: told[name]["visits"] for name in ("matched", "wide")} == {"matched": 4, "wide": 4}
    assert run(words[:-1]) == 0
    assert len(re.findall(r"^(?:matched|wide) worlds: 4 visits", capsys.readouterr().out, flags=re.MULTILINE)) == 2
    assert run(("bench", "calibration", "--style", "dry_contact")) == 2
    assert "did you mean 'dry_contacts'?" in capsys.readouterr().err
