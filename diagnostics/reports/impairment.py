"""The notice of a case that was left impaired: since when, what is not protected, what must happen now."""

from datetime import UTC, tzinfo

from diagnostics.cases import Case
from diagnostics.errors import CaseError
from diagnostics.visit import find_disturbances, find_hidden

from .page import (
    Markup,
    join,
    put,
    put_typed,
    render_facts,
    render_list,
    render_page,
    render_table,
    tag,
    tell_moment,
    tell_page,
)
from .record import RecordTold
from .record_words import tell_repair
from .word_table import Region


def render_impairment(case: Case, region: Region = "north_america", zone: tzinfo = UTC) -> str:
    """Return the notice of a case that was left impaired: since when, what is not protected, who was told.

    Raises
    ------
    CaseError
        The case is not closed as left impaired.
    SiteError
        The site cannot be wired.
    """
    if case.closing != "left_impaired":
        raise CaseError("only a case that was left impaired has this notice", hint="close the case so first")
    notice = _Notice(RecordTold(case, region, zone))
    title = f"{notice.phrase('title')}: {case.site.name}"
    return render_page(title, notice.head(), notice.what(), notice.cause(), notice.told_whom(), notice.to_do())


class _Notice:
    """The notice of an impairment, part by part."""

    def __init__(self, told: RecordTold) -> None:
        self.told, self.case, self.loop, self.words = told, told.case, told.loop, told.words

    def phrase(self, key: str, **told: str) -> str:
        return tell_page("impairment", key, self.told.region, **told)

    def head(self) -> Markup:
        """Return what this is, where, and since when."""
        since = min((d.since for d in find_disturbances(self.case, self.loop) if d.since), default=None)
        left = self.case.leaving.at if self.case.leaving else None
        moment = tell_moment(since or left, self.told.zone, self.told.region)
        told_since = moment if since or left is None else self.phrase("since_closed", moment=moment)
        facts = [
            (self.told.page("place"), tag("strong", put_typed(self.case.site.name))),
            (self.phrase("since"), tag("strong", put(told_since))),
            (self.told.page("case"), put(self.case.case_id)),
        ]
        invented = find_hidden(self.case) is not None
        mark = [tag("p", put(self.told.page("invented")), class_="box")] if invented else []
        lead = tag("p", put(self.phrase("lead")))
        return join((tag("h1", put(self.phrase("title"))), *mark, tag("div", render_facts(facts), class_="box"), lead))

    def what(self) -> Markup:
        """Return which zones and rooms do not count as protected: all of the loop, until a test shows otherwise."""
        count = len(self.loop.detectors)
        key = "what_one" if count == 1 else "what_zone"
        zones = ", ".join(self.words.noun(z.name) for z in self.loop.zones)
        rooms = "; ".join(self.words.detector(d.name) for d in self.loop.detectors)
        standing = [put(self.words.name(d.measurement)) for d in find_disturbances(self.case, self.loop)]
        told = [tag("p", tag("strong", put(self.phrase(key, zone=zones, count=str(count)))))]
        told += [tag("p", put(self.phrase("until"))), tag("p", put_typed(rooms))]
        more = [tag("h2", put(self.phrase("stands"))), render_list(standing)] if standing else []
        return join((tag("h2", put(self.phrase("what"))), *told, *more))

    def cause(self) -> Markup:
        """Return the complaint, what was put right, and what the person who left has to say."""
        symptom = [put(self.words.symptom(self.case.symptom))] if self.case.symptom else []
        repairs = [put_typed(tell_repair(r, self.words)) for r in self.case.repairs]
        note = [put_typed(self.case.leaving.note)] if self.case.leaving and self.case.leaving.note else []
        return join((tag("h2", put(self.phrase("why"))), render_list([*symptom, *repairs, *note])))

    def told_whom(self) -> Markup:
        """Return who was told, and lines to write on for whoever is told later."""
        left = self.case.leaving
        told = put_typed(left.told) if left and left.told else put(self.phrase("nobody"))
        empty = [[tag("div", class_="line"), tag("div", class_="line")] for _ in range(3)]
        return join(
            (
                tag("h2", put(self.phrase("told"))),
                tag("p", told),
                render_table([self.phrase("name"), self.phrase("moment")], empty),
            )
        )

    def to_do(self) -> Markup:
        """Return what must happen now; what the rules are is the authority's to say."""
        steps = (tag("strong", put(self.phrase("ask"))), put(self.phrase("tell")), put(self.phrase("restore")))
        outranked = tag("p", put(self.told.page("outranked")), class_="small")
        return join((tag("h2", put(self.phrase("do"))), render_list(steps), outranked))
