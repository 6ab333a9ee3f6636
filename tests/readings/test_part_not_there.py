"""Under a fault that a part is not there nobody puts leads on it: what is seen instead is told, and no volts."""

import json

import numpy as np
import pytest

from diagnostics.circuit import STANDBY
from diagnostics.cli.main import run
from diagnostics.faults import KINDS, list_faults, parse_fault, read_catalogue
from diagnostics.locate import find_shipped
from diagnostics.proving import prove_guide
from diagnostics.readings import Bench, find_seen_instead, list_measurements, predict_mode
from diagnostics.reasoning import Action, Question, Situation, diagnose
from diagnostics.reports import Words, list_expected
from diagnostics.source import read_document
from diagnostics.trees import parse_guide
from diagnostics.visit import build_bench
from diagnostics.wiring import Loop, build_loop, read_site

SITES = find_shipped("cases") / "sites"
MISSING, COIL = "end_relay_missing@end", "endrelay.coil+,endrelay.coil-"


class AskAtCoil:
    """A way of working that meters the coil of the supervision relay, whatever would tell more."""

    def choose(self, situation: Situation) -> Action:
        """Return the one measurement."""
        m = next(m for m in situation.measurements if m.red == "endrelay.coil+" and m.mode == STANDBY)
        return Action("measure", 5.0, m, bits=1.0)


def wire(site: str) -> Loop:
    return build_loop(read_site(SITES / f"{site}.yaml"))


def test_prediction_says_what_is_seen_and_no_volts(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", "boathouse", "--fault", MISSING, "--at", COIL]) == 0
    told = capsys.readouterr().out
    assert "endrelay.coil+ to endrelay.coil-: no supervision relay at the end\n" in told
    assert run(["predict", "boathouse", "--fault", MISSING, "--at", COIL, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["readings"][0]
    assert (found["value"], found["sd"], found["instead"]) == (None, None, "end_relay_missing")


def test_only_what_is_not_there_has_no_reading() -> None:
    """Beside it every pair is read; on the sound loop, and with a relay that is dead, the coil is too."""
    loop = wire("hostel")
    (fault, *others) = [f for f in list_faults(loop) if f.kind == "end_relay_missing"]
    assert others, "two loops, a relay each"
    gone = [r.measurement.red for r in predict_mode(loop, [fault], STANDBY).readings if r.instead]
    relay = loop.chains[0].end_relay
    assert gone
    assert all(terminal.startswith(f"{relay}.") for terminal in gone)
    for text in ("", "end_relay_dead@end"):
        faults = [parse_fault(text, wire("boathouse"))] if text else []
        assert not any(r.instead for r in predict_mode(wire("boathouse"), faults, STANDBY).readings)


@pytest.mark.parametrize("site", sorted(path.stem for path in SITES.glob("*.yaml")))
def test_every_kind_whose_part_is_metered_and_missing_says_so(site: str) -> None:
    """Of all kinds that eyes find as something missing, only those whose terminals go with it lose a reading."""
    loop = wire(site)
    metered = {name.partition(".")[0] for pair in loop.meter_points for name in pair}
    removing = {f for f in list_faults(loop) if f.data.removes}
    lost = {f for f in list_faults(loop) if any(find_seen_instead(m, loop, [f]) for m in list_measurements(loop))}
    assert lost == removing
    assert len(removing) == len([chain for chain in loop.chains if chain.end_relay and chain.end_relay in metered])
    assert {kind for kind in KINDS if read_catalogue().kinds[kind].removes} == {"end_relay_missing"}


def narrow(*texts: str) -> Bench:
    """Return the boathouse with the sound loop and these faults alone."""
    bench = build_bench(read_site(SITES / "boathouse.yaml"))
    some = [(), *((parse_fault(text, bench.loop),) for text in texts)]
    return bench.narrow(np.array([bench.hypotheses.index(faults) for faults in some]))


def test_what_each_answer_would_mean_names_what_is_seen_instead() -> None:
    bench = narrow(MISSING, "end_relay_dead@end")
    found = diagnose(bench, Question(symptom="no_trouble_with_head_off"), AskAtCoil())
    told = {words: shown for shown, words in list_expected(found, Words(bench.loop))}
    gone = [shown for cause, shown in told.items() if "relay at the end missing" in cause]
    assert gone == ["no supervision relay at the end"]
    others = [shown for cause, shown in told.items() if "missing" not in cause]
    assert others
    assert all(shown.endswith(" V") for shown in others)


GUIDE = """format: ohmward-guide/1
symptom: no_trouble_with_head_off
title: No trouble with a head off
about: One step at the coil.
first: coil
steps:
  coil: {measure: volts, across: end_relay, otherwise: there, cannot: gone}
ends:
  there: {suspects: [looped_uncut], say: The relay is there.}
  gone: {suspects: [end_relay_missing], say: The relay is not there.}
"""


def test_guide_that_meters_the_coil_goes_on_as_for_somebody_who_cannot() -> None:
    guide = parse_guide(read_document(GUIDE, "coil.yaml"))
    ends = {str(p.fault.text if p.fault else ""): p.end for p in prove_guide(guide, {"": narrow(MISSING)}).proofs}
    assert ends[MISSING] == "gone"
