"""The record of a visit as one printable page."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo

from diagnostics.cases import Case, Reading, Repair, Suggestion, list_misreadings
from diagnostics.units import format_quantity
from diagnostics.visit import (
    HEAD_OFF,
    SAFETY,
    ProofItem,
    assess_case,
    find_disturbances,
    find_haste,
    find_hidden,
    is_told,
    list_other_loops,
    list_proof,
    list_test_ends,
)
from diagnostics.wiring import build_loop

from .cautions import tell_caution
from .learn import tell_panel
from .mend import tell_range
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
from .record_words import (
    is_other_found,
    list_causes_unknown,
    name_reading,
    tell_asked,
    tell_cause_short,
    tell_misreading,
    tell_offer,
    tell_other_found,
    tell_repair,
    tell_seen,
    tell_speaker,
    tell_suspected,
    tell_typed,
    tell_understood,
)
from .standing import render_standing
from .word_table import Region
from .words import Words, format_wait, tell_closing


def render_record(case: Case, region: Region = "north_america", zone: tzinfo = UTC) -> str:
    """Return the record of a whole case as one self-contained HTML page; moments by the clock of ``zone``.

    Raises
    ------
    SiteError
        The site cannot be wired.
    """
    told = RecordTold(case, region, zone)
    parts = (told.head, told.site, told.complaint, told.safety, told.standing, told.readings)
    visit = (told.taken_back, told.baseline, told.suggested, told.answers, told.repairs)
    end = (told.tests, told.disturbed, told.closed_before, told.closing)
    title = f"{told.phrase('title')}: {case.site.name}"
    return render_page(title, *(section() for section in (*parts, *visit, *end)))


def tell_test(item: ProofItem, words: Words, region: Region = "north_america") -> str:
    """Return one test of the list after a repair: what is done, and at which detector or terminals."""
    if item.recheck is not None:
        m = item.recheck.measurement
        red, black = words.terminal(m.red), words.terminal(m.black)
        return tell_page("record", item.test, region, red=red, black=black, range=tell_range(item.recheck, words))
    key = "head_off_test_at" if item.test == HEAD_OFF and item.at else item.test
    if item.test == HEAD_OFF and all(d.is_contact for d in words.loop.detectors):  # a contact has no head to take off
        key = "wire_off_test_at" if item.at else "wire_off_test"
    return tell_page("record", key, region, at=words.noun(item.at) if item.at else "")


def tell_reasons(item: ProofItem, region: Region = "north_america") -> str:
    """Return why a test is on the list, or an empty text: it always is."""
    return ", ".join(tell_page("record", reason, region) for reason in item.reasons)


def _drop_empty(heads: list[str], rows: list[list[Markup]]) -> tuple[list[str], list[list[Markup]]]:
    """Leave out the columns in which nothing stands: nobody named is no line of its own."""
    kept = [n for n in range(len(heads)) if any(row[n] for row in rows)]
    return [heads[n] for n in kept], [[row[n] for n in kept] for row in rows]


class RecordTold:
    """One case told for a page, section by section."""

    def __init__(self, case: Case, region: Region, zone: tzinfo) -> None:
        self.case, self.region, self.zone = case, region, zone
        self.loop = build_loop(case.site)
        self.words = Words(self.loop, "technician", region)
        self.other_loops = list_other_loops(case)
        self.numbers = {r.reading_id: str(n) for n, r in enumerate(case.readings, 1)}

    def phrase(self, key: str, **told: str) -> str:
        """Return a sentence of the record."""
        return tell_page("record", key, self.region, **told)

    def page(self, key: str) -> str:
        """Return a sentence that all pages share."""
        return tell_page("page", key, self.region)

    def moment(self, at: datetime | None) -> Markup:
        """Return a moment by the clock of whoever reads; its date is never broken over two lines."""
        day, space, clock = tell_moment(at, self.zone, self.region).partition(" ")
        return Markup(tag("bdi", put(day), class_="day") + put(space + clock)) if at else put(day + space + clock)

    def section(self, key: str, *inside: Markup) -> Markup:
        """Return a section with its heading."""
        return join((tag("h2", put(self.phrase(key))), *inside))

    def line(self, key: str) -> Markup:
        """Return a sentence as a paragraph."""
        return tag("p", put(self.phrase(key)))

    def head(self) -> Markup:
        """Return title, place and case; that it is invented stands on top."""
        known = [(self.page("place"), tag("strong", put_typed(self.case.site.name)))]
        if self.case.case_id:
            known += [(self.page("case"), put(self.case.case_id)), (self.page("revision"), put(self.case.revision))]
        invented = [tag("p", put(self.page("invented")), class_="box")] if find_hidden(self.case) is not None else []
        outranked = tag("p", put(self.page("outranked")), class_="small")
        return join((tag("h1", put(self.phrase("title"))), *invented, render_facts(known), outranked))

    def site(self) -> Markup:
        """Return what is installed, as described last, and the defects that nobody complained of."""
        site, case = self.case.site, self.case
        zones = (self._tell_zone(name) for name in site.zones)
        ends = (format_quantity(loop.end_resistor.resistance, "ohm") for loop in site.loops if loop.end_resistor)
        styles = (self.words.table.styles[loop.style] for loop in site.loops)
        every = (*case.readings, *(item.reading for item in case.retracted))
        is_marked = any(r.site_revision in self.other_loops for r in every)
        facts = [
            ("note", put_typed(site.note)),
            ("wiring", put(", ".join(styles))),
            ("detectors", put("; ".join(self.words.detector(d.name) for d in self.loop.detectors))),
            ("zones", put("; ".join(zones))),
            ("ends", put(", ".join(ends))),
            ("panel", put(tell_panel(site))),
            ("described", put(self.phrase("described_anew") if is_marked else "")),
        ]
        defects = [self.section("defects", render_list(put(d) for d in self.words.defects()))]
        return join((self.section("site", self._facts(facts)), *(defects if self.words.defects() else [])))

    def _facts(self, facts: Iterable[tuple[str, Markup]]) -> Markup:
        return render_facts((self.phrase(key), value) for key, value in facts)

    def _tell_zone(self, name: str) -> str:
        zone = self.case.site.zones[name]
        senses = {"fire": self.phrase("fire"), "co": self.phrase("co")}.get(zone.senses, zone.senses)
        value = format_quantity(zone.end_resistor, "ohm")
        return self.phrase("zone", zone=self.words.noun(name), senses=senses, value=value)

    def complaint(self) -> Markup:
        """Return what was complained of, the loop's past, and what was at hand."""
        case, table = self.case, self.words.table
        symptom = self.words.symptom(case.symptom) if case.symptom else self.page("not_said")
        can = [table.tools.get(c, c) for c in case.can or ()]
        return self.section(
            "complaint",
            self._facts(
                [
                    ("symptom", put(symptom)),
                    ("context", put(", ".join(table.contexts.get(c, c) for c in case.contexts))),
                    ("can", put(", ".join(can))),
                    ("meter", put(", ".join(f"{key} {text}" for key, text in case.meter.items()))),
                    ("notes", put_typed(case.notes)),
                ]
            ),
        )

    def safety(self) -> Markup:
        """Return when each of the first cautions was accepted, and until when the system was on test, at each visit."""
        given = {name: [a.at for a in self.case.acknowledged if a.caution == name] for name in SAFETY}
        facts = [(tell_caution(name, self.region)[0], self._tell_moments(given[name])) for name in SAFETY]
        ends = list_test_ends(self.case)
        more = [(self.phrase("on_test"), self._tell_moments(ends))] if ends else []
        return self.section("safety", render_facts([*facts, *more]))

    def _tell_moments(self, some: Sequence[datetime]) -> Markup:
        """Return moments in their order, one for each visit; that there is none is said."""
        return put("; ".join(tell_moment(at, self.zone, self.region) for at in some or (None,)))

    def standing(self) -> Markup:
        """Return where the search stands, for whoever takes it up; nothing once it has come to an end."""
        case = self.case
        done = case.closing in {"mended", "no_fault_found", "not_ours"} or any(r.cured for r in case.repairs)
        if done or not is_told(case):
            return Markup("")
        return render_standing(assess_case(case, guided=True), self.words)

    def readings(self) -> Markup:
        """Return every reading that counts, typed and understood, and what would be read otherwise now."""
        case = self.case
        if not case.readings:
            return self.section("readings", self.line("no_readings"))
        rows = [[put(n), *self._tell_reading(r)] for n, r in enumerate(case.readings, 1)]
        misread = [tell_misreading(m, self.words, self.region) for m in list_misreadings(case, self.loop)]
        boxes = (tag("p", put_typed(text), class_="box") for text in misread)
        return self.section(
            "readings", render_table(*_drop_empty([self.phrase("number"), *self._heads()], rows)), *boxes
        )

    def _heads(self) -> list[str]:
        return [self.phrase(key) for key in ("when", "who", "what", "typed", "understood", "complaint_there")]

    def _tell_reading(self, r: Reading) -> list[Markup]:
        name = name_reading(r, self.words)
        if r.site_revision in self.other_loops:
            name = f"{name} ({self.phrase('described_before')})"
        stored = r.understood
        value = tell_understood(stored, r, self.words) if stored else self.page("not_noted")
        there = self.phrase(r.condition) if r.condition else ""
        return [
            self.moment(r.taken_at),
            put_typed(r.by),
            put(name),
            put_typed(tell_typed(r, self.words)),
            put(value),
            put(there),
        ]

    def taken_back(self) -> Markup:
        """Return the readings that no longer count, with why and what stands in their place."""
        rows = []
        for item in self.case.retracted:
            number = self.numbers.get(item.replaced_by)
            why = [item.why, self.phrase("replaced", number=number) if number else ""]
            rows.append([*self._tell_reading(item.reading), put_typed(", ".join(text for text in why if text))])
        return self._table("taken_back", [*self._heads(), self.phrase("why")], rows)

    def _table(self, key: str, heads: list[str], rows: list[list[Markup]]) -> Markup:
        """Return a section with a table, or nothing where there are no rows."""
        return self.section(key, render_table(*_drop_empty(heads, rows))) if rows else Markup("")

    def baseline(self) -> Markup:
        """Return the readings of an earlier visit that this one is held against."""
        known = self.case.baseline
        rows = [self._tell_reading(replace(r, site_revision=self.case.site_revision)) for r in known.readings]
        if not rows:
            return Markup("")
        source = tag("p", put(self.phrase("baseline_from", case=known.case_id))) if known.case_id else Markup("")
        return self.section("baseline", source, render_table(*_drop_empty(self._heads(), rows)))

    def suggested(self) -> Markup:
        """Return the steps that were suggested, by whom, and what became of each."""
        heads = [self.phrase(key) for key in ("when", "by", "what", "outcome")]
        rows = [
            [
                self.moment(s.suggested_at),
                put_typed(tell_speaker(s, self.region)),
                put_typed(tell_offer(s, self.words, self.region)),
                self._outcome(s),
            ]
            for s in self.case.suggestions
        ]
        return self._table("suggested", heads, rows)

    def _outcome(self, s: Suggestion) -> Markup:
        number = self.numbers.get(s.reading_id)
        return put(f"{self.phrase(s.outcome)}{f', {number}' if number else ''}")

    def answers(self) -> Markup:
        """Return the answers to the finding guide that are no measurements."""
        heads = [self.phrase(key) for key in ("when", "step", "answer")]
        some = self.case.guide_answers
        rows = [[self.moment(a.at), put_typed(tell_asked(a)), put_typed(a.answer)] for a in some]
        return self._table("answers", heads, rows)

    def repairs(self) -> Markup:
        """Return what was put right, what had been suspected there and what was seen, and whether it cured.

        Where what was seen, or what came out, is not what had been suspected, a box of its own says so.
        """
        rows = [self._tell_repair(r) for r in self.case.repairs]
        if not rows:
            return self.section("repairs", self.line("no_repairs"))
        heads = [self.phrase(key) for key in ("when", "what", "suspected_then", "seen", "came_out", "cured", "who")]
        others = [tell_other_found(r, self.words) for r in self.case.repairs if is_other_found(r)]
        others += list_causes_unknown(self.case, self.words)
        boxes = (tag("p", put_typed(text), class_="box") for text in others)
        return self.section("repairs", render_table(*_drop_empty(heads, rows)), *boxes)

    def _tell_repair(self, r: Repair) -> list[Markup]:
        """Return one row of the repairs; what nobody said of what was seen is told as that."""
        marks = {True: self.page("yes"), False: self.page("no"), None: self.phrase("not_known")}
        kept = replace(r, suspected=(), saw=r.saw if r.saw == "right" else "", found="", out=(), diode=None)
        done = tell_repair(kept, self.words)
        seen = tell_seen(r, self.words) or (self.page("not_said") if r.suspected else "")
        out = tell_cause_short(self.case, r, self.words)
        typed = (put_typed(text) for text in (done, tell_suspected(r, self.words), seen, out))
        return [self.moment(r.done_at), *typed, put("" if r.saw == "right" else marks[r.cured]), put_typed(r.by)]

    def tests(self) -> Markup:
        """Return the fixed list of tests, and in a box of its own what was not tested."""
        if not any(r.cured for r in self.case.repairs):
            return self.section("tests", self.line("no_tests"))
        items = list_proof(self.case, self.loop)
        rows = [[put(self._tell_test(i)), put_typed(self._tell_result(i)), self._tested_at(i)] for i in items]
        missing = [put_typed(self._tell_test(i)) for i in items if i.result is None or not i.result.done]
        untested = join((tag("strong", put(self.phrase("untested"))), render_list(missing)))
        box = tag("div", untested, class_="box") if missing else self.line("all_tested")
        return self.section("tests", render_table([self.phrase(k) for k in ("test", "result", "when")], rows), box)

    def _tell_test(self, item: ProofItem) -> str:
        reasons = tell_reasons(item, self.region)
        return f"{tell_test(item, self.words, self.region)}{f' ({reasons})' if reasons else ''}"

    def _tell_result(self, item: ProofItem) -> str:
        if item.result is None:
            return f"{self.phrase('not_done')}: {self.page('not_noted')}"
        if item.reading is not None:
            typed = tell_typed(item.reading, self.words)
            return f"{self.phrase('done' if item.result.done else 'not_right')}: {typed}"
        if item.result.failed:
            return f"{self.phrase('failed')}{': ' if item.result.why else ''}{item.result.why}"
        if not item.result.done:
            return f"{self.phrase('not_done')}: {item.result.why}"
        if haste := find_haste(self.case, self.loop, item):
            after, delay = (format_wait(seconds) for seconds in haste)
            return f"{self.phrase('done')}; {self.phrase('hasty', after=after, delay=delay)}"
        return self.phrase("done")

    def _tested_at(self, item: ProofItem) -> Markup:
        return self.moment(item.result.noted_at) if item.result else put("")

    def disturbed(self) -> Markup:
        """Return what still stands lifted, bridged or off."""
        standing = find_disturbances(self.case, self.loop)
        if not standing:
            return self.section("disturbed", self.line("no_disturbed"))
        rows = [[put(self.words.name(d.measurement)), self.moment(d.since)] for d in standing]
        return self.section("disturbed", render_table([self.phrase("what"), self.phrase("since")], rows))

    def closed_before(self) -> Markup:
        """Return each closing that was taken back by opening the case again."""
        heads = [self.phrase(key) for key in ("when", "closed_as", "told", "note", "who")]
        rows = [
            [self.moment(left.at if left else None), put(tell_closing(item.closing, self.region)[0])]
            + [put_typed(text) for text in ((left.told, left.note, left.by) if left else ("", "", ""))]
            for item in self.case.earlier_closings
            for left in (item.leaving,)
        ]
        return self._table("closed_before", heads, rows)

    def closing(self) -> Markup:
        """Return how the visit ended and who was told, with a line to sign on."""
        case = self.case
        if not case.closing:
            return self.section("closing", self.line("open"))
        name, _ = tell_closing(case.closing, self.region)  # the sentence behind it is for whoever closes a case
        left = case.leaving
        said = (put_typed(left.by), put_typed(left.told), put_typed(left.note)) if left else (Markup(""),) * 3
        facts = zip(("when", "who", "told", "note"), (self.moment(left.at if left else None), *said), strict=True)
        how = self._facts([("closed_as", tag("strong", put(name)))])
        sign = tag("p", put(self.phrase("signature")), tag("div", class_="line"))
        return self.section("closing", how, self._facts(facts), sign)
