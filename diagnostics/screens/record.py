"""The record to take along, and the closed case: how it was left, by whom, and who was told."""

import re
import unicodedata
from datetime import UTC, datetime, tzinfo
from functools import partial

import streamlit as st

from diagnostics.cases import Case, CaseStore, write_case
from diagnostics.errors import DiagnosticsError
from diagnostics.reports import Region, render_card, render_impairment, render_record, tell_closing, tell_panel
from diagnostics.visit import (
    Assessment,
    come_back,
    find_disturbances,
    find_hidden,
    is_described,
    list_untested,
    reopen_case,
)

from .back import name_disturbed
from .baseline import show_kept
from .proof import name_untested
from .seen import show_other_found
from .session import (
    assess,
    build_words,
    find_region,
    find_zone,
    format_moment,
    go_to,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_main_button,
    show_messages,
    show_side,
    tell,
)
from .suspects import show_readings
from .tries import show_hidden
from .verdict import show_repairs

_LONGEST_NAME = 40
_NOT_SAFE = re.compile(r"[^a-z0-9]+")
# What a file is called, by its kind; the page it is, or the case itself.
_NAMES = {"record": "record", "impairment": "impairment-notice", "card": "values-card", "case": "case"}
_LABELS = {"record": "file_record", "impairment": "file_impairment", "card": "file_card", "case": "file_case"}


def show_closed(case: Case) -> None:
    """Show how a case was left, its files, what was repaired, tested and read; and let it be opened again."""
    st.title(tell("closed_title"), anchor=False)
    show_messages()
    name, text = tell_closing(case.closing, find_region())
    told = f"**{tell('closed_as', closing=name)}**"
    more = {"left_impaired": text, "waiting": tell("closed_waiting")}.get(case.closing, "")  # what is still to be done
    show_alert("warning" if more else "success", f"{told}\n\n{more}" if more else told)
    _show_leaving(case)
    if any(a.caution == "described" for a in case.acknowledged):
        assessment = assess(case)
        show_hidden(case, build_words(assessment))  # in practice what everybody waits for: before the files
        show_files(case)
        _show_deeds(assessment)
    show_button(tell("open_again"), _open_again, (case.case_id, case.revision), "open_again")


def show_come_back(case: Case, left_at: datetime) -> None:
    """Ask whoever goes on after a long break to begin a visit; what is off still, and the record, stand before that."""
    st.title(tell("come_back_title"), anchor=False)
    show_messages()
    st.markdown(tell("come_back_last", when=format_moment(left_at)))
    st.markdown(tell("come_back_why"))
    if is_described(case):
        words = build_words(assess(case))
        if off := [name_disturbed(d.measurement, words) for d in find_disturbances(case, words.loop)]:
            show_alert("warning", tell("come_back_off", names="; ".join(off)))
        show_record_so_far(case)
    show_main_button(tell("come_back"), _come_back, (case.case_id, case.revision), "come_back")


def _come_back(case_id: str, revision: int) -> None:
    """Begin another visit to an open case; nothing half said at the last one stays in the address."""
    come_back(open_store(), load(case_id, revision))
    go_to(case_id)


def _show_leaving(case: Case) -> None:
    """Show when, by whom, who was told, and the note, each as it was typed."""
    left = case.leaving
    if left is None:
        return
    facts = {
        "closed_when": format_moment(left.at),
        "closed_told": left.told,
        "closed_note": left.note,
        "closed_who": left.by,
    }
    lines = [f"**{tell(key)}:** {_keep_lines(text)}" for key, text in facts.items() if text]
    st.markdown("\n\n".join(lines))


def _keep_lines(text: str) -> str:
    """Return a typed text for Markdown, its lines still lines."""
    return "  \n".join(plain(line.strip()) for line in text.splitlines())


def _show_deeds(assessment: Assessment) -> None:
    case, words = assessment.case, build_words(assessment)
    show_repairs(case, words)
    show_other_found(case, words)
    missing = list_untested(case, words.loop) if any(r.cured for r in case.repairs) else ()
    if missing:
        show_alert("warning", f"**{tell('not_tested_title')}**\n\n{name_untested(missing, words)}")
    show_kept(case, words)
    show_readings(assessment, may_change=False)


def show_files(case: Case, title: str = "record_title") -> None:
    """Offer the record as files: to print, to keep, to hand on; each is made when it is asked for."""
    store, region, zone = open_store(), find_region(), find_zone()
    kinds = [*(["impairment"] if case.closing == "left_impaired" else []), "record", "card"]
    kinds += [] if find_hidden(case) is not None and not case.closing else ["case"]  # it says what is hidden
    st.subheader(tell(title), anchor=False)
    for kind in kinds:
        st.download_button(
            tell(_LABELS[kind]), partial(build_file, store, case.case_id, kind, region, zone),
            build_file_name(case, kind, zone), "application/yaml" if kind == "case" else "text/html",
            key=f"file_{kind}", on_click="ignore", width="stretch", icon=":material/download:",
        )  # fmt: skip


def build_file(store: CaseStore, case_id: str, kind: str, region: Region, zone: tzinfo) -> str:
    """Return one file of a case as it stands now; a case that cannot be written says why in its place."""
    try:
        case = store.load_case(case_id)
        if kind == "impairment":
            return render_impairment(case, region, zone)
        if kind == "card":
            return render_card(case.site, region, datetime.now(zone).date())
        return write_case(case) if kind == "case" else render_record(case, region, zone)
    except DiagnosticsError as error:  # made aside from the page: there is no other place to say it
        return f"{error.message}\n{error.hint}\n"


def build_file_name(case: Case, kind: str, zone: tzinfo) -> str:
    """Return a file name of plain letters: what it is, which site, and when the case was closed, or today."""
    at = case.leaving.at if case.closing and case.leaving else datetime.now(UTC)
    letters = unicodedata.normalize("NFKD", case.site.name).encode("ascii", "ignore").decode().lower()
    site = _NOT_SAFE.sub("-", letters)[:_LONGEST_NAME].strip("-") or case.case_id
    ending = "yaml" if kind == "case" else "html"
    practice = "practice-" if find_hidden(case) is not None else ""
    return f"{practice}{_NAMES[kind]}-{site}-{at.astimezone(zone).date().isoformat()}.{ending}"


def show_record_so_far(case: Case) -> None:
    """Show what the description says and assumes, and offer the files of a case that is still open; folded away."""
    with st.expander(tell("record_so_far")):
        _show_record(case)


def show_more_of_case(case: Case) -> None:
    """Offer what is seldom wanted at a step, folded away: the complaint, the loop's description, the record so far."""
    with st.expander(tell("more_of_case"), key="more_of_case"):
        with st.container(horizontal=True, gap="xsmall"):
            show_side("complaint_title", "complaint", "to_complaint")
            show_side("describe_again", "describe", "to_describe")
        _show_record(case)


def _show_record(case: Case) -> None:
    notes = [*case.site.note.splitlines(), *filter(None, [tell_panel(case.site)])]
    if notes:
        st.markdown(f"**{tell('site_note')}**\n\n" + "\n".join(f"- {plain(line)}" for line in notes))
    show_files(case)


def _open_again(case_id: str, revision: int) -> None:
    """Begin a new visit to this case; nothing half said at the last one stays in the address."""
    reopen_case(open_store(), load(case_id, revision))
    go_to(case_id)
