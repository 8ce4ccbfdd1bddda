"""The view "Sheet": a song in lines of counts, its plan, its doubts, and every correction.

Addresses name a song and, after the question mark, what is danced to it
(`phrasefit.desk.plans`); without a routine the song is shown alone.  Whatever changes
something answers with the sheet as it is then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit import pipeline
from phrasefit.corrections.document import (
    LEVELS,
    ODD_BAR_BEATS,
    correction_document,
    read_correction,
    saved_in,
)
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, Stale, changing, reading
from phrasefit.desk.history import History, mark_of
from phrasefit.desk.plans import request_of
from phrasefit.desk.songs import analysis_of
from phrasefit.errors import NoFitError, ParameterError
from phrasefit.fields import Fields
from phrasefit.fit import fit_routine
from phrasefit.fit.grid import count_grid
from phrasefit.fit.request import ChangePlace, PlanRequest
from phrasefit.hand_out import check_belongs
from phrasefit.model import Correction, CountGrid, FitPlan
from phrasefit.reports.correction_words import correction_words
from phrasefit.reports.doubts import doubts_alone, doubts_of
from phrasefit.reports.fit_text import plans_worth_showing
from phrasefit.reports.level_words import other_count_words
from phrasefit.reports.page.document import page_document, song_document
from phrasefit.reports.questions import Answer, Hearing, Question, questions_of
from phrasefit.reports.song_view import (
    SongView,
    doubtful_ones,
    gaps,
    loud_shares,
    odd_bars,
    weak_starts,
)
from phrasefit.reports.start_words import option_words
from phrasefit.reports.words import (
    cautions,
    changes_words,
    reasons,
    tempo_and_course_words,
    verdict,
    verdict_line,
)
from phrasefit.store import Store

STEPS = ("undo", "redo", "as-heard")
MOST_REVISIONS = 10**9
MOST_AT_ONCE = 4  # changes that are one step
USUAL_ODD_BARS = (2, 3, 4, 5, 6)  # beats; what a menu has room for
SHOWN_STARTS = 6
ELSEWHERE = "what was changed outside the desk"
AS_HEARD = "back to how it was heard"
NEWER = (
    "this song has been changed in another window meanwhile; this is how it is now: look at it,"
    " and do yours again if it is still needed"
)

Kept = dict[str, Any] | None  # a correction as the store keeps it


# ------------------------------------------------------------------------ the sheet


def sheet_of(desk: Desk, store: Store, content_hash: str, query: Any) -> dict[str, Any]:
    """Lay out the sheet that an address names.

    Raises
    ------
    NotThere
        If song or routine is not known.
    ParameterError
        If a number is out of range, or no plan has what is demanded.
    NoFitError
        If there is no plan.
    """
    analysis = analysis_of(desk, store, content_hash)
    history = _history_now(store, content_hash)
    fit = _fit_of(desk, store, analysis, query)
    bar_map = analysis.bar_map
    grid = fit.grid if fit else count_grid(bar_map)
    plan = fit.plan if fit else None
    view = SongView(bar_map=bar_map, grid=grid, fit=fit, plan=plan)
    loud = loud_shares(pipeline.loudness_of_counts(analysis, grid.times_s))
    questions = questions_of(
        bar_map,
        grid,
        doubts_of(fit) if fit else doubts_alone(bar_map, grid),
        routine=fit.routine if fit else None,
        settled=history.settled,
    )
    return {
        "hash": content_hash,
        "artist": bar_map.artist,
        "sheet": page_document(fit, fit.plan, origin=None) if fit else song_document(bar_map, grid),
        "loudness": [round(float(share), 2) for share in loud],
        "notes": _notes(view),
        "remarks": [_sentence(note) for note in bar_map.notes],
        "doubtful": sorted({count for count, _ in doubtful_ones(view)} | {*weak_starts(view)}),
        "can": _possible(grid, bar_map.meter),
        "corrections": _corrections(history, analysis.correction),
        "questions": [_question(question) for question in questions],
        "plan": _plan(desk, analysis, fit) if fit else None,
    }


def _history_now(store: Store, content_hash: str) -> History:
    """Recall what was done, up to what is kept of the song now."""
    history = History(store.desk_item("history", content_hash))
    history.catch_up(store.get_correction(content_hash), ELSEWHERE)
    return history


def _fit_of(desk: Desk, store: Store, analysis: pipeline.Analysis, query: Any) -> FitPlan | None:
    if not query.get("routine") and not query.get("counts"):
        return None
    return _fitted(desk, analysis, request_of(store, query))


def _fitted(desk: Desk, analysis: pipeline.Analysis, request: PlanRequest) -> FitPlan:
    made = desk.opened.made(analysis, request, lambda: fit_routine(analysis.bar_map, request))
    assert isinstance(made, FitPlan)
    return made


def _notes(view: SongView) -> list[dict[str, Any]]:
    """List what is said under the lines beside the plan's own events."""
    lengths = view.grid.times_s[1:] - view.grid.times_s[:-1]
    notes = [{"kind": "odd", "at": first, "row": words} for first, _, words in odd_bars(view)]
    return notes + [
        {"kind": "gap", "at": count, "row": f"no beat for {lengths[count]:.1f} s"}
        for count in gaps(view.grid)
    ]


def _possible(grid: CountGrid, meter: int) -> dict[str, Any]:
    """Say which corrections a menu may offer, as changes of the counts shown."""
    half, double = (factor / grid.beats_per_count for factor in (0.5, 2.0))
    low, high = ODD_BAR_BEATS
    return {
        "half": half if half in LEVELS else None,
        "double": double if double in LEVELS else None,
        "odd_bars": [n for n in USUAL_ODD_BARS if n != meter and low <= n <= high],
        "meter": meter,
    }


def _corrections(history: History, correction: Correction) -> dict[str, Any]:
    return {
        "revision": history.revision,
        "mark": mark_of(history.correction),
        "words": correction_words(correction, decimals=1),
        "undo": history.undo_words,
        "redo": history.redo_words,
        "singing_at_s": correction.singing_at_s,
    }


def _question(question: Question) -> dict[str, Any]:
    return {
        "key": question.key,
        "words": question.words,
        "why": question.why,
        "answers": [_answer(answer) for answer in question.answers],
        "neither": question.neither,
        "advice": question.advice,
    }


def _answer(answer: Answer) -> dict[str, Any]:
    change = None if answer.change is None else correction_document(answer.change)
    return {"words": answer.words, "hearing": _hearing(answer.hearing), "change": change}


def _hearing(hearing: Hearing | None) -> dict[str, Any] | None:
    if hearing is None:
        return None
    return {
        "start_s": hearing.start_s,
        "end_s": hearing.end_s,
        "clicks_s": hearing.clicks_s,
        "strong_s": hearing.strong_s,
    }


# --------------------------------------------------------------------- what stands beside


def _plan(desk: Desk, analysis: pipeline.Analysis, fit: FitPlan) -> dict[str, Any]:
    """Say how the routine fits, which other plans there are, and where else it may begin."""
    request = fit.request
    free = fit
    if request.start_is_given:  # the other starts are those of a plan that may choose
        free = _fitted(desk, analysis, replace(request, start_s=None, intro=None, changes=None))
    tempo = "; ".join(filter(None, (tempo_and_course_words(fit), other_count_words(fit))))
    return {
        "verdict": [verdict_line(fit, fit.plan), _sentence(tempo)],
        "more": verdict(fit, fit.plan),
        "reasons": [*reasons(fit, fit.plan), *cautions(fit), *fit.routine.assumed],
        "changes": request.changes,
        "most": request.max_changes,
        "start_is_given": request.start_is_given,
        "plans": [
            {
                "changes": plan.n_changes,
                "score": plan.score,
                "words": changes_words(plan),
                "start_s": plan.start_s,
                "advised": plan is fit.advised,
                "shown": plan is fit.plan,
            }
            for plan in plans_worth_showing(fit)
        ],
        "starts": [
            {
                "start_s": option.start_s,
                "intro": option.intro_counts,
                "score": option.score,
                "words": option_words(free, option),
                "shown": option.start_s == fit.plan.start_s,
            }
            for option in free.start_options[:SHOWN_STARTS]
        ],
        "places": [
            *(_place(fit.grid, place, wanted=True) for place in request.demanded),
            *(_place(fit.grid, place, wanted=False) for place in request.forbidden),
        ],
    }


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _place(grid: CountGrid, place: ChangePlace, *, wanted: bool) -> dict[str, Any]:
    count = int(abs(grid.times_s[:-1] - place.at_s).argmin())
    return {"kind": place.kind.value, "at_s": place.at_s, "at": count, "wanted": wanted}


# --------------------------------------------------------------------------- changes

Work = Callable[[History, pipeline.Analysis, Correction], pipeline.Analysis]


class _Behind(Exception):
    """The page has not seen the latest change."""


def _changed(desk: Desk, request: Request, sent: Fields, work: Work) -> dict[str, Any]:
    """Let `work` add a step to the history, and keep what it makes of the song."""
    content_hash = request.path_params["content_hash"]
    seen = (sent.whole("revision", low=0, high=MOST_REVISIONS), sent.text("mark"))
    with desk.store() as store:
        found = desk.opened.found(store, content_hash)
        if found is None:
            raise NotThere("this song is not among those heard; add it again in Songs")

        def decide(kept: Kept, past: Kept) -> tuple[Kept, dict[str, Any]]:
            history = History(past)
            history.catch_up(kept, ELSEWHERE)
            if seen != (history.revision, mark_of(kept)):
                raise _Behind
            result = work(history, found, _read(kept))
            desk.opened.remember(content_hash, result, history.correction or None)
            return history.correction or None, history.document()

        try:
            store.edit_song(content_hash, decide)
        except _Behind:
            state = _after_change(desk, store, content_hash, request.query_params)
            raise Stale(NEWER, state=state) from None
        state = _after_change(desk, store, content_hash, request.query_params)
    desk.tell_song(content_hash, {"revision": state["corrections"]["revision"]})
    return state


def _after_change(desk: Desk, store: Store, content_hash: str, query: Any) -> dict[str, Any]:
    """Lay out the sheet; the song alone, and why, where nothing can be danced to it any more."""
    try:
        return sheet_of(desk, store, content_hash, query)
    except (NoFitError, ParameterError) as exc:
        return sheet_of(desk, store, content_hash, {}) | {"trouble": str(exc)}


def _read(kept: Kept) -> Correction:
    return read_correction(Fields("what is corrected", kept or {}))


def _correct(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    """Add a change to the song's corrections, or several, one after the other, as one step."""
    tables = sent.tables("changes", most=MOST_AT_ONCE) or [sent.table("change")]
    changes = [read_correction(Fields("what was corrected", table.values)) for table in tables]
    if pipeline.UNTOUCHED in changes:
        raise ParameterError("nothing was corrected; load the page again")

    def add(history: History, found: pipeline.Analysis, old: Correction) -> pipeline.Analysis:
        for change in changes:
            result = pipeline.added(found, old, change)
            old = result.correction
        words = ", ".join(correction_words(change, decimals=1) for change in changes)
        history.change(correction_document(old), words)
        return result

    return _changed(desk, request, sent, add)


def _take(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    """Add what was corrected in a rehearsal page, and saved there as a file."""
    name = sent.text("name")
    saved = saved_in(sent.table("file").values, name)

    def add(history: History, found: pipeline.Analysis, old: Correction) -> pipeline.Analysis:
        shown = pipeline.corrected(found, old)
        check_belongs(saved, shown, song=shown.bar_map.title, file=name, drop='"As it was heard"')
        result = pipeline.added(found, old, saved.change)
        words = correction_words(saved.change, decimals=1)
        history.change(correction_document(result.correction), words)
        return result

    return _changed(desk, request, sent, add)


def _settle(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    """Remember that a question is answered without a correction."""
    question = sent.text("question")
    if not question:
        raise ParameterError("no question was answered; load the page again")

    def settle(history: History, found: pipeline.Analysis, old: Correction) -> pipeline.Analysis:
        history.change(history.correction, "an answer that all is as it is", settles=question)
        return pipeline.corrected(found, old)

    return _changed(desk, request, sent, settle)


def _step(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    """Undo, redo, or go back to how the song was heard."""
    what = request.path_params["step"]
    if what not in STEPS:
        raise NotThere("the desk knows no such step; load the page again")

    def go(history: History, found: pipeline.Analysis, old: Correction) -> pipeline.Analysis:
        if what == "undo":
            history.undo()
        elif what == "redo":
            history.redo()
        else:
            history.change({}, AS_HEARD)
        return pipeline.corrected(found, _read(history.correction))

    return _changed(desk, request, sent, go)


def _sheet(desk: Desk, request: Request) -> dict[str, Any]:
    with desk.store() as store:
        return sheet_of(desk, store, request.path_params["content_hash"], request.query_params)


ROUTES: list[BaseRoute] = [
    Route("/api/sheet/{content_hash}", reading(_sheet)),
    Route("/api/sheet/{content_hash}/correct", changing(_correct), methods=["POST"]),
    Route("/api/sheet/{content_hash}/take", changing(_take), methods=["POST"]),
    Route("/api/sheet/{content_hash}/settle", changing(_settle), methods=["POST"]),
    Route("/api/sheet/{content_hash}/step/{step}", changing(_step), methods=["POST"]),
]
