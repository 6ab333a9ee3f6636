"""The loop described, or described anew: each is a revision of the site in the record."""

from datetime import UTC, datetime

from diagnostics.cases import Acknowledgement, Case, CaseStore, parse_site_text, write_site
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError, SiteError
from diagnostics.wiring import Loop, build_loop

from .assess import build_bench, understand
from .marks import DESCRIBED, find_hidden, is_accepted
from .rooms import find_twice, name_rooms


def describe_site(store: CaseStore, case: Case, site_text: str, name: str = "site") -> Case:
    """Describe the loop, or describe it anew; ``name`` stands for the file in findings.

    Raises
    ------
    SourceError, SiteError
        The text is no site, or the site cannot be wired; nothing was stored.
    CaseError
        A fault is hidden in the loop: another may not have its place, and to say so would tell what it is.
    """
    bench = build_bench(parse_site_text(site_text, name))
    _check_old_readings(bench.loop, case)
    if find_hidden(case) is not None and not _is_same_loop(case.site_text, bench.loop):
        raise CaseError("the loop of a case for practice stays as it is", hint="begin another case for another loop")
    if is_accepted(case, DESCRIBED):
        return store.append_site(case.case_id, site_text, case.revision)
    return store.append_site(case.case_id, site_text, case.revision, Acknowledgement(DESCRIBED, datetime.now(UTC)))


def list_other_loops(case: Case) -> frozenset[int]:
    """Return which earlier descriptions of the site, counted from 1, are of another loop than the one that holds now.

    Rooms that were named since make no other loop: what was read under the old names is read of the same wires.
    """
    now = build_loop(case.site)
    return frozenset(n for n, site in enumerate(case.earlier_sites, 1) if not _is_same_loop(site.site_text, now))


def _is_same_loop(site_text: str, now: Loop) -> bool:
    try:
        then = build_loop(parse_site_text(site_text, "earlier site"))
    except DiagnosticsError:  # a record of another program
        return False
    return (then.elements, then.zones) == (now.elements, now.zones)


def tell_place(store: CaseStore, case: Case, name: str, room: str) -> Case:
    """Note which room a detector is in, on a loop whose order is not known; it is a revision of the description.

    Raises
    ------
    NotFoundError
        There is no such detector, or its loop has an order already.
    CaseError
        No room is given, or one that is another detector's.
    """
    chain = build_loop(case.site).find_chain(name)
    if chain is None or chain.has_order or name not in (names := [d.name for d in chain.detectors]):
        raise NotFoundError(f"{name[:40]!r} is no detector whose place is to be found")
    if not room.strip():
        raise CaseError("say in which room that detector is", hint="as people there call it")
    others = [text for number, text in chain.spec.places.items() if number != names.index(name) + 1]
    if twice := find_twice([*others, room]):
        raise CaseError(f"“{twice}” is another detector already", hint=f"tell them apart, {twice} 2 for instance")
    places = dict(sorted({**chain.spec.places, names.index(name) + 1: room.strip()[:120]}.items()))
    told = chain.spec.model_copy(update={"places": places})
    loops = tuple(told if spec == chain.spec else spec for spec in case.site.loops)
    return describe_site(store, case, write_site(case.site.model_copy(update={"loops": loops})))


def tell_rooms(store: CaseStore, case: Case, rooms: tuple[str, ...]) -> Case:
    """Note which room each detector is in, in the order of the wiring; it is a revision of the description.

    Raises
    ------
    SiteError
        There are more rooms than detectors.
    CaseError
        No room is named.
    """
    if not any(rooms):
        raise CaseError("name at least one room", hint="one a line, in the order of the wiring")
    return describe_site(store, case, write_site(name_rooms(case.site, rooms)))


def _check_old_readings(loop: Loop, case: Case) -> None:
    for n, reading in enumerate(case.readings, 1):
        try:
            understand(loop, reading)
        except DiagnosticsError as error:
            message = f"reading {n} cannot have been taken on this loop: {error.message}"
            raise SiteError(message, hint="take that reading back first, or keep the old description") from error
