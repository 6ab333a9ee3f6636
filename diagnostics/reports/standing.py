"""Where the search stands in a case that is handed on: what is suspected, what was ruled out by what, what is next."""

from diagnostics.visit import Assessment, RuledOut, list_ruled_out

from .explain import explain_next, list_suspects
from .page import Markup, join, put_typed, render_list, render_table, tag, tell_page
from .record_words import name_reading, tell_typed
from .words import Words, format_percent

_MOST = 3  # suspects that one reading ruled out, told by name; more are counted


def render_standing(assessment: Assessment, words: Words) -> Markup:
    """Return the section as HTML."""
    heads = [_phrase(key, words) for key in ("share", "suspected")]
    suspects = [[put_typed(text) for text in row] for row in list_suspects(assessment.diagnosis, words)]
    out = [_tell_ruled_out(item, words) for item in list_ruled_out(assessment)]
    return join(
        (
            tag("h2", put_typed(_phrase("standing", words))),
            render_table(heads, suspects),
            tag("p", tag("strong", put_typed(_phrase("ruled_out", words)))),
            render_list(put_typed(line) for line in out)
            if out
            else tag("p", put_typed(_phrase("none_ruled_out", words))),
            tag("p", tag("strong", put_typed(_phrase("next", words)))),
            tag("p", put_typed(tell_next(assessment, words))),
        )
    )


def _phrase(key: str, words: Words, **told: str) -> str:
    return tell_page("record", key, words.region, **told)


def _tell_ruled_out(item: RuledOut, words: Words) -> str:
    names = list(dict.fromkeys(words.faults(faults) for faults in item.suspects))
    more = len(names) - _MOST
    some = [*names[:_MOST], *([_phrase("and_more", words, count=str(more))] if more > 0 else [])]
    read = f"{name_reading(item.reading, words)}: {tell_typed(item.reading, words)}"
    told = {"number": str(item.number), "reading": read, "share": format_percent(item.share)}
    return _phrase("ruled_out_by", words, **told, suspects="; ".join(some))


def tell_next(assessment: Assessment, words: Words) -> str:
    """Return the next step in a sentence, or that there is none, or that there must be none."""
    d = assessment.diagnosis
    if assessment.unsafe or (assessment.guidance is not None and assessment.guidance.stops):
        return _phrase("next_stop", words)
    if d.next is not None and d.next.measurement is not None:
        return words.ask(d.next.measurement)
    return explain_next(d, words)
