"""Faults of reset, detectors, unused zones and the display, each by its tell-tale (design page, section 4).

The rows are the project's own consequence table, derived from the circuit; that a detector lets go only after its
supply has been away for a while, and that a display may keep an old trouble until it is reset, is common practice, no
source.
"""

import numpy as np
import pytest

from diagnostics.circuit import parse_mode
from diagnostics.errors import SourceError
from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, list_measurements, predict_mode
from diagnostics.source import read_document
from diagnostics.wiring import Loop, build_loop, parse_site, read_site
from tests.wiring.quick import wire_quick

SITES = find_shipped("cases") / "sites"


@pytest.fixture(scope="module")
def boathouse() -> Loop:
    """Return four-wire detectors with a supervision relay, fed through a reset relay."""
    return build_loop(read_site(SITES / "boathouse.yaml"))


@pytest.fixture(scope="module")
def chapel() -> Loop:
    """Return a loop on zone 1 of a panel whose zone 2 is not used."""
    return build_loop(read_site(SITES / "chapel.yaml"))


def show(loop: Loop, fault: str, mode: str = "standby") -> dict[str, str | None]:
    """Return what each zone shows."""
    return predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop)).panel


def read(loop: Loop, fault: str, red: str, mode: str = "standby") -> float:
    """Return the volts at a red lead's terminal, as predicted for its own black lead."""
    found = predict_mode(loop, parse_faults(fault, loop), parse_mode(mode, loop)).readings
    return next(r.value for r in found if r.measurement.red == red)


def answer(loop: Loop, fault: str, kind: str, at: str) -> str:
    """Return the likeliest answer to a measurement in words."""
    m = next(m for m in list_measurements(loop) if m.kind == kind and m.at == at)
    (forecast,) = Bench(loop, [(), parse_faults(fault, loop)]).forecast_all([m])
    assert forecast.chance is not None
    return forecast.tokens[int(np.argmax(forecast.chance[1]))]


@pytest.mark.parametrize("fault", ["reset_not_assigned@panel", "reset_wrong_position@panel", "reset_wrong_area@panel"])
def test_reset_that_never_reaches_the_relay_gives_no_coil_volts_and_no_click(boathouse: Loop, fault: str) -> None:
    assert show(boathouse, fault) == {"zone1": "normal"}
    assert read(boathouse, fault, "panel.reset+", "during_reset") < 0.1
    assert read(boathouse, "", "panel.reset+", "during_reset") > 15.0
    assert answer(boathouse, fault, "listen", "reset") == "silent"
    assert answer(boathouse, fault, "functional_test", "det2") == "reports_and_stays"


@pytest.mark.parametrize("fault", ["contact_welded@reset", "reset_bypassed@reset"])
def test_welded_or_bypassed_contact_moves_and_drops_nothing(boathouse: Loop, fault: str) -> None:
    assert show(boathouse, fault) == {"zone1": "normal"}
    assert read(boathouse, fault, "panel.reset+", "during_reset") > 15.0
    assert read(boathouse, fault, "reset.nc", "during_reset") > 20.0
    assert read(boathouse, "", "reset.nc", "during_reset") < 0.1
    assert answer(boathouse, fault, "listen", "reset") == "clicks"


def test_pulse_that_is_too_short_reads_right_everywhere_and_clears_nothing(boathouse: Loop) -> None:
    fault = "reset_too_short@panel"
    for red in ("reset.nc", "panel.reset+"):
        assert read(boathouse, fault, red, "during_reset") == pytest.approx(
            read(boathouse, "", red, "during_reset"), abs=1e-6
        )
    assert answer(boathouse, fault, "functional_test", "det1") == "reports_and_stays"
    assert show(boathouse, fault, "after_reset:det1") == {"zone1": "alarm"}
    assert show(boathouse, "", "after_reset:det1") == {"zone1": "normal"}


def test_pulse_that_is_too_short_holds_two_wire_detectors_as_well() -> None:
    loop = wire_quick("two_wire_zone", 4)
    assert show(loop, "reset_too_short@panel", "after_reset:det3") == {"zone1": "alarm"}
    assert show(loop, "", "after_reset:det3") == {"zone1": "normal"}


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire"])
def test_stuck_detector_is_in_alarm_its_lamp_says_which_and_reset_does_not_help(style: str) -> None:
    loop = wire_quick(style, 4)
    fault = "detector_stuck@det3"
    assert "alarm" in show(loop, fault).values()
    assert "alarm" in show(loop, fault, "after_reset:det3").values()
    assert answer(loop, fault, "which_lit", "loop") == "det3"
    assert answer(loop, "", "which_lit", "loop") == "none"
    assert answer(loop, fault, "functional_test", "det3") == "alarm_already"


def test_short_pair_is_an_alarm_with_no_lamp_lit() -> None:
    loop = wire_quick("two_wire_zone", 4)
    assert show(loop, "pair_short@det3.in") == {"zone1": "alarm"}
    assert answer(loop, "pair_short@det3.in", "which_lit", "loop") == "none"


def test_end_resistor_on_the_other_contact_of_the_supervision_relay_is_an_open_zone(boathouse: Loop) -> None:
    fault = "end_relay_wrong_contact@end"
    assert show(boathouse, fault) == {"zone1": "trouble"}
    assert read(boathouse, fault, "panel.zone1+") > 23.0
    assert read(boathouse, fault, "endrelay.coil+") == pytest.approx(read(boathouse, "", "endrelay.coil+"), rel=1e-3)
    # The contact closes when the detector supply fails: the fault that it should report cures it.
    assert show(boathouse, fault + ",aux_dead@panel") == {"zone1": "normal"}


def test_unused_zone_is_quiet_until_it_is_left_on(chapel: Loop) -> None:
    assert show(chapel, "") == {"zone1": "normal", "zone2": "normal"}
    assert show(chapel, "unused_zone_on@zone2") == {"zone1": "normal", "zone2": "trouble"}
    assert answer(chapel, "unused_zone_on@zone2", "known_resistor", "zone2") == "normal"


def test_loop_on_a_zone_that_is_said_to_be_unused_is_refused() -> None:
    text = (SITES / "chapel.yaml").read_text("utf-8").replace("{senses: fire, ", "{senses: unused, ")
    with pytest.raises(SourceError, match="which is said to be unused"):
        parse_site(read_document(text, "chapel.yaml"))


def test_latched_display_shows_trouble_over_right_volts_and_clears_with_a_reset(boathouse: Loop) -> None:
    fault = "display_latched@zone1"
    assert show(boathouse, fault) == {"zone1": "trouble"}
    assert read(boathouse, fault, "panel.zone1+") == pytest.approx(read(boathouse, "", "panel.zone1+"))
    assert answer(boathouse, fault, "known_resistor", "panel") == "normal"
    assert answer(boathouse, "zone_input_damaged@zone1", "known_resistor", "panel") == "trouble"


@pytest.mark.parametrize("site", ["mill", "chapel"])
def test_output_that_stays_on_during_reset_holds_the_alarm(site: str) -> None:
    loop = build_loop(read_site(SITES / f"{site}.yaml"))
    fault = "output_never_drops@panel"
    assert show(loop, fault) == show(loop, "")
    assert abs(read(loop, fault, "det1.in+", "during_reset")) > 20.0
    assert abs(read(loop, "", "det1.in+", "during_reset")) < 0.5
    assert answer(loop, fault, "functional_test", "det2") == "reports_and_stays"
    assert answer(loop, "", "functional_test", "det2") == "reports_and_clears"
