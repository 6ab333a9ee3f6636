"""What the screens share: the store, the case in the URL, sentences, messages, and the guard round every callback.

Session state is a cache of texts only: a reload loses nothing that matters.
"""

import functools
import logging
import re
import uuid
import zlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import streamlit as st

from diagnostics.cases import Case, CaseStore, default_store_url
from diagnostics.errors import CaseChangedError, DiagnosticsError, SourceError
from diagnostics.reports import Region, Words, localize, say, tell_cautions
from diagnostics.visit import Assessment, Listener, assess_case, find_listener, list_beyond, tell_meaning

from .draft import VIEW, begin_drawing, find_kept, forget, gather

_Alert = Literal["info", "success", "warning", "error"]
NEW = "new"
PLANT = "plant"  # in the place of a case: a trainer hides a fault
SEEN, NOT_STORED, TOLD, _WRITING, _ACTED = "seen", "not_stored", "came_of_it", "writing", "acted"
_LONG = 16  # detectors; from here on the first reckoning takes more than a moment
# Names of our own keys, and the two parts of the page that Streamlit names for tests.
_STYLE = """
[data-testid="stRadio"] [role="radiogroup"] label, [data-testid="stCheckbox"] label {padding: .45rem 0;}
[data-testid="stMarkdown"] h2, [data-testid="stHeading"] h1 {padding-top: .25rem;}
.st-key-closing [data-testid="stCaptionContainer"] {color: inherit; opacity: 1;}
[data-testid="stButtonGroup"] button, [data-testid="stButtonGroup"] button * {white-space: normal; overflow: visible;}
[data-testid="stButtonGroup"] button {height: auto; text-align: left;}
[data-testid="stButtonGroup"] button[data-variant="pills"] {border-radius: 1rem; padding: .3rem .75rem;}
[data-testid="stButtonGroup"] button {color: inherit !important; min-height: 2.4rem;}
[data-testid="stButtonGroup"] [data-selected="true"] {box-shadow: inset 0 -4px 0 currentColor;}
[data-testid="stButtonGroup"] [data-selected="true"] p {font-weight: 700;}
[data-testid="stAlertContainer"], [data-testid="stAlertContainer"] p {color: inherit !important;}
.st-key-page_head p {font-size: .78rem; line-height: 1.35;}
button .stMarkdownEllipsis, button .stMarkdownEllipsis p {white-space: normal; overflow: visible; text-overflow: clip;}
.st-key-page_head p span, .st-key-page_head p small {font-size: inherit;}
input::placeholder {color: inherit !important; opacity: .8 !important;}
[data-testid="stBottomBlockContainer"] {padding-bottom: 1rem; padding-top: .75rem;}
.st-key-ways button, .st-key-sides button {padding-left: .5rem; padding-right: .5rem;}
@media (max-width: 640px) {
  [data-testid="stMain"] [data-testid="stVerticalBlock"] {gap: .6rem;}
  [data-testid="stMarkdown"] p, [data-testid="stMarkdown"] li {line-height: 1.5;}
  [data-testid="stHeading"] h3 {padding: 0 0 .4rem;}
}
"""
_TO_TOP = "document.querySelector('[data-testid=stMain]')?.scrollTo(0, 0);"
_TO = "setTimeout(() => document.querySelector('.st-key-{key}')?.scrollIntoView({{block: 'center'}}), 50);"
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:[mkM]?Ω|[kmµ]?V|[mµ]?A|Ah|°C|m|ft|mm²|AWG|min|s|h|%)(?!\w))|(?<=\bzone) (?=\d)"
)
_SPECIAL = re.compile(r"[\\`*_\[\]<>~$#!|]|:(?=[\w+/-]+[:\[]|//)|(?<=\w)@(?=\w)|(?<=\bwww)\.")


@st.cache_resource(max_entries=8, show_spinner=False)
def _open_store(url: str) -> CaseStore:
    return CaseStore(url)


def open_store() -> CaseStore:
    """Return the store, opened once a process. Raises CaseError."""
    return _open_store(default_store_url())


@st.cache_resource(max_entries=64, show_spinner=False)
def _assess(_case: Case, meaning: str) -> Assessment:
    del meaning  # it names the case for the cache
    return assess_case(_case, guided=True)


def assess(case: Case) -> Assessment:
    """Return what a case means; the same meaning is reckoned once, also for a reading that is only thought of."""
    if case.site.detector_count < _LONG:
        return _put_in(case, _assess(case, tell_meaning(case)))
    with st.spinner(tell("working")):
        return _put_in(case, _assess(case, tell_meaning(case)))


def _put_in(case: Case, known: Assessment) -> Assessment:
    """Return what another case of the same meaning was found to be, with the readings of this one."""
    return replace(known, case=case, unsafe=list_beyond(case, known.loop))


def find_region() -> Region:
    """Return the dialect, which the URL keeps."""
    return "europe" if st.query_params.get("region") == "europe" else "north_america"


def tell(key: str, **told: str) -> str:
    """Return a sentence of the screens in the chosen dialect, each number on one line with its unit."""
    return hold_units(say(key, find_region(), **told))


def hold_units(text: str) -> str:
    """Return a text in which no line breaks between a number and its unit."""
    return _BEFORE_UNIT.sub("\u00a0", text)


def build_words(assessment: Assessment) -> Words:
    """Return the words for this loop in the chosen dialect, for whoever is asked: a technician, or a caller."""
    return Words(assessment.loop, find_listener(assessment.case), find_region())


def plain(text: str) -> str:
    """Return a text whose signs mean nothing to Markdown: nobody's room name may draw a picture from elsewhere."""
    return hold_units(_SPECIAL.sub(r"\\\g<0>", text))


def find_case_id() -> str:
    """Return the case that the URL names, or an empty text."""
    return str(st.query_params.get("case", ""))[:60]


def go_to(case_id: str) -> None:
    """Put a case into the URL; an empty text leads to the start."""
    forget(case=case_id)


def turn_to(view: str) -> None:
    """Show another side of the case in hand: ``""`` is the next step."""
    forget(at_work=True, **{VIEW: view})


def find_view() -> str:
    """Return which side of the case is shown."""
    return find_kept(VIEW)


def load(case_id: str, revision: int) -> Case:
    """Return a case as the screen has shown it, to be written to: whatever came in between, the store sees it."""
    st.session_state[_WRITING] = True
    return open_store().load_case(case_id, revision)


def begin_screen() -> None:
    """Begin a screen; what was typed since the last one is in the address before anything of it can go."""
    if not st.session_state.pop(_ACTED, False):  # otherwise the tap has gathered, and has said what becomes of it
        gather()
    begin_drawing()


def leave_unwritten() -> None:
    """Note that nothing was written after all, though a case was loaded for it."""
    st.session_state[_WRITING] = False


def guarded(callback: Callable[..., None], label: str = "") -> Callable[..., None]:
    """Wrap a callback: what goes wrong becomes a message on the next screen, never a traceback.

    ``label`` is what the button says: if the case has moved on, the message tells what was not stored.
    """

    @functools.wraps(callback)
    def run(*args: Any) -> None:  # noqa: ANN401 - whatever the callback takes
        st.session_state[_WRITING] = False
        gather()
        st.session_state[_ACTED] = True
        try:
            callback(*args)
            if st.session_state[_WRITING] and "problem" not in st.session_state:
                st.session_state.pop(SEEN, None)  # what is new in the case is of one's own making
        except CaseChangedError:
            st.session_state[NOT_STORED] = label
        except DiagnosticsError as error:
            st.session_state["problem"] = write_problem(error)
        except Exception:  # noqa: BLE001 - the outermost frame of a callback
            st.session_state["problem"] = log_incident()

    return run


def log_incident() -> str:
    """Log the error in hand under a number, and return a kind sentence with it."""
    incident = uuid.uuid4().hex[:8]
    logging.getLogger("ohmward").error("incident %s", incident, exc_info=True)  # noqa: LOG014 - called where an error is in hand
    return tell("incident", incident=incident)


def write_problem(error: DiagnosticsError) -> str:
    """Return an error as lines to read: what is wrong, what to do."""
    if isinstance(error, SourceError):
        return "\n\n".join(plain(str(finding)) for finding in error.findings)
    message, hint = (localize(text[:1].upper() + text[1:], find_region()) for text in (error.message, error.hint))
    return f"**{plain(message)}.**" + (f"\n\n{plain(hint)}." if hint else "")


def show_alert(kind: _Alert, text: str) -> None:
    """Show a message in a coloured field with a sign of its own: colour is never the only signal."""
    show = {"info": st.info, "success": st.success, "warning": st.warning, "error": st.error}[kind]
    sign = {"info": "info", "success": "check_circle", "warning": "warning", "error": "block"}[kind]
    show(text, icon=f":material/{sign}:")


def show_messages() -> None:
    """Show what the last tap came to, or what went wrong with it, once, and bring it into view.

    The button is far below it.
    """
    told, problem = st.session_state.pop(TOLD, ""), st.session_state.pop("problem", "")
    if not (told or problem):
        return
    with st.container(key="message"):
        show_alert("error" if problem else "info", problem or told)
    bring_into_view("message", uuid.uuid4().hex)


def show_main_button(label: str, callback: Callable[..., None], args: tuple[object, ...], key: str) -> None:
    """Show the one main action at the lower edge, where a thumb is."""
    with st.bottom:
        st.button(label, key=key, type="primary", width="stretch", on_click=guarded(callback, label), args=args)


def show_button(label: str, callback: Callable[..., None], args: tuple[object, ...], key: str) -> None:
    """Show another action, as wide as the page."""
    st.button(label, key=key, width="stretch", on_click=guarded(callback, label), args=args)


def show_side(name: str, view: str, key: str) -> None:
    """Show the way to another side of the case, no wider than its words."""
    st.button(tell(name), key=key, on_click=guarded(turn_to), args=(view,))


def show_note(text: str) -> None:
    """Show something in small letters, but as dark as all others: it is read in sunlight."""
    st.markdown(f":small[{text}]")


def is_dark() -> bool:
    """Return whether the page is dark now, as far as the browser has told."""
    return st.context.theme.type == "dark"


def show_style() -> None:
    """Make rows of choices as high as a thumb, and the lower edge no higher than its button."""
    st.html(f"<style>{_STYLE}</style>")


def show_top(step: str) -> None:
    """Bring the upper edge of a new step into view: the page would stay where the last one was left.

    The script is our own constant; ``step`` only makes it another one, so that it runs once a step.
    """
    number = zlib.crc32(step.encode())
    st.html(f"<script>/* {number} */{_TO_TOP}</script>", unsafe_allow_javascript=True)


def bring_into_view(key: str, once: str) -> None:
    """Scroll to the container of this key, one of our own constants; again only when ``once`` is another text."""
    number = zlib.crc32(once.encode())
    st.html(f"<script>/* {number} */{_TO.format(key=key)}</script>", unsafe_allow_javascript=True)


def show_cautions(
    names: tuple[str, ...], read: frozenset[str] = frozenset(), listener: Listener = "technician"
) -> None:
    """Show cautions before what they belong to: in full, or as one line that opens where they were ``read`` before."""
    fresh = tell_cautions([name for name in names if name not in read], find_region(), listener)
    known = tell_cautions([name for name in names if name in read], find_region(), listener)
    if fresh:
        with st.container(border=True):
            _show_told(fresh)
    if known:
        with st.expander(f"⚠ {' · '.join(title for title, _ in known)}"):
            _show_told(known)


def _show_told(cautions: Sequence[tuple[str, str]]) -> None:
    for title, text in cautions:
        st.markdown(f"⚠ **{title}.** {text}")


def find_zone() -> ZoneInfo:
    """Return the clock of the person who reads, as far as the browser tells it."""
    try:
        return ZoneInfo(st.context.timezone or "UTC")
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def format_moment(moment: datetime) -> str:
    """Return a moment on the clock of the person who reads it; with the day when it is not today."""
    zone = find_zone()
    here, today = moment.astimezone(zone), datetime.now(UTC).astimezone(zone)
    return here.strftime("%H:%M") if here.date() == today.date() else here.strftime("%d %b %Y, %H:%M")
