"""Cases of real work, put into the store without a screen; what nobody hid, nobody simulates."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from diagnostics.cases import Acknowledgement, Case, CaseStore, Outline, parse_site_text, read_case
from diagnostics.visit import SAFETY, RepairNote, record_reading, record_repair
from tests.cases.mended import prove
from tests.screens.conftest import Visitor

BAKERY = Path(__file__).parents[2] / "cases" / "sites" / "bakery.yaml"
CALL = BAKERY.parents[1] / "bakery_call.yaml"  # a conductor open, plus or minus: only a look tells
OWN = BAKERY.read_text("utf-8").replace("Corner bakery, new wing (invented)", "Bakery of one's own (invented)")
START = datetime.now(UTC) - timedelta(minutes=5)  # of this visit: what is older was another one


def describe(store: CaseStore, site_text: str = "", *, complaint: bool = True) -> Case:
    """Return a case at the bakery, or another site, safe and described; with its complaint or before."""
    text = site_text or BAKERY.read_text("utf-8")
    case = store.create_case(Case(parse_site_text(text, "site"), text))
    for name in (*SAFETY, "for_us", "described", *(["complaint_told"] if complaint else [])):
        case = store.append_acknowledgement(case.case_id, Acknowledgement(name, START), case.revision)
    outline = Outline(("new",), "constant_trouble" if complaint else "", None, {}, "")
    return store.append_outline(case.case_id, outline, case.revision)


def describe_call(store: CaseStore) -> Case:
    """Return the call at the bakery with all its readings, at its verdict."""
    case = describe(store)
    for reading in read_case(CALL).readings:
        case = record_reading(store, case, reading)
    return case


def build_restored(store: CaseStore, site_text: str = "") -> Case:
    """Return such a case with its end resistor fitted and all tests done."""
    case = record_repair(store, describe(store, site_text), "fit_end_resistor@end", cured=True)
    return prove(store, case, "det8")


def write_note(visitor: Visitor, text: str) -> Visitor:
    """Type into the field of several lines at the closing."""
    visitor.at.text_area(key="note").set_value(text)
    visitor.run()
    return visitor


def mend_joint(store: CaseStore) -> Case:
    """Return a case at the bakery whose repair cured: a bad joint of 312 Ω, by what was read."""
    foreseen = ("joint_resistive@det3.in+: along, 312, 248 to 412 ohm",)
    note = RepairNote(("joint_resistive=312@det3.in+",), foreseen=foreseen)
    return record_repair(store, describe(store), "mend_conductor@run det3", cured=True, note=note)
