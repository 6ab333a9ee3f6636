"""The cases of this store as a list to choose from."""

from diagnostics.cases import Case, CaseStore
from diagnostics.errors import CaseError

from .marks import find_hidden

MOST_LISTED = 1000  # of all cases, those that were changed last; invented


def list_visits(store: CaseStore, limit: int = 12, word: str = "") -> tuple[Case | str, ...]:
    """Return the cases to show in a list: left impaired, then open, then closed; newest first.

    With ``word`` those in which it stands anywhere: in a name, a room, a note, the number of the case. A case that
    cannot be read is given by its id. Of practice nothing is impaired: it stands with what is closed.
    """
    rows = store.list_cases(MOST_LISTED, word)
    impaired = {r.case_id: _load_or_name(store, r.case_id) for r in rows if r.closing == "left_impaired"}
    first = {name for name, case in impaired.items() if isinstance(case, str) or find_hidden(case) is None}
    ranked = sorted(rows, key=lambda r: 0 if r.case_id in first else 1 if not r.closing else 2)
    return tuple(impaired.get(r.case_id) or _load_or_name(store, r.case_id) for r in ranked[:limit])


def _load_or_name(store: CaseStore, case_id: str) -> Case | str:
    try:
        return store.load_case(case_id)
    except CaseError:
        return case_id
