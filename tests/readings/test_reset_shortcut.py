"""The short way to *does reset clear it* agrees with the whole sequence of steps."""

import numpy as np
import pytest

from diagnostics.circuit import apply_steps, build_network, settle_from_rest
from diagnostics.faults import build_all_edits
from diagnostics.readings import STATES, Bench, Measurement, list_measurements
from diagnostics.readings.states import find_zone_chances
from diagnostics.reasoning import list_hypotheses
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site


def _tell_whole_sequence(loop: Loop, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return whether each hypothesis reports, and whether the alarm is still there after the whole reset."""
    hypotheses = list_hypotheses(loop)
    rest = settle_from_rest(build_network(loop, [build_all_edits(loop, h) for h in hypotheses]))
    alarmed = apply_steps(rest, [{f"{name}.smoke": True}])
    after = apply_steps(alarmed, [{f"{name}.smoke": False}, {"panel.reset": True}, {"panel.reset": False}])
    alarm = STATES.index("alarm")
    return find_zone_chances(alarmed)[1][:, alarm] > 0.5, find_zone_chances(after)[1][:, alarm] > 0.5


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone"])
@pytest.mark.parametrize("name", ["det1", "det3", "det5"])
def test_short_way_and_whole_sequence_agree_for_every_single_fault(style: str, name: str) -> None:
    loop = build_loop(build_quick_site(QuickDescription(style, "5", "4k7"))[0])
    (test,) = (m for m in list_measurements(loop) if m.kind == "functional_test" and m.at == name)
    bench = Bench(loop, list_hypotheses(loop))
    (forecast,) = bench.forecast_all([test])
    (shown,) = bench.forecast_all([Measurement("panel_shows", at="panel")])
    assert forecast.chance is not None
    assert shown.chance is not None
    reports, stays = _tell_whole_sequence(loop, name)
    fresh = shown.chance[:, STATES.index("alarm")] < 0.5
    says_stays = forecast.chance[:, forecast.tokens.index("reports_and_stays")] > 0.5
    wrong = np.flatnonzero(fresh & reports & (stays != says_stays))
    assert [bench.hypotheses[n][0].text for n in wrong if bench.hypotheses[n]] == []
    staying = {bench.hypotheses[n][0].kind for n in np.flatnonzero(says_stays)}
    by_itself = {"reset_too_short"} | ({"zone_cannot_power"} if style == "two_wire_zone" else set())
    assert staying >= by_itself
    assert (staying > by_itself) == (style == "four_wire_zone")
