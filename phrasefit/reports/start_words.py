"""Where the dance begins, and why not elsewhere, in words."""

from __future__ import annotations

from phrasefit.clock import clock_time
from phrasefit.fit.regret import FELT_POINTS
from phrasefit.fit.starts import usual_intros
from phrasefit.meters import DANCE_METERS
from phrasefit.model import FitPlan, Plan, StartOption
from phrasefit.reports.event_words import counts_words


def is_on_vocals(fit: FitPlan, plan: Plan) -> bool:
    """Tell whether the dance begins where the singing does, as far as a person said so."""
    return plan.start_count == fit.grid.singing


def start_words(fit: FitPlan, plan: Plan) -> str:
    """Say when count 1 comes, counted from the first one and from the first phrase."""
    sung = " on the vocals" if is_on_vocals(fit, plan) else ""
    text = f"count 1{sung} at {clock_time(plan.start_s)}"
    if plan.intro_counts > 0:
        text += f", after an intro of {counts_words(plan.intro_counts)} from the first one"
    elif plan.intro_counts == 0:
        text += ", on the first one of the song: there is no intro to count in on"
    else:
        text += f", {counts_words(-plan.intro_counts)} before the first one"
    phrase = plan.intro_from_phrase_counts
    if phrase != plan.intro_counts and phrase > 0:
        text += f" ({counts_words(phrase)} from count 1 of the first phrase)"
    return text


def intro_words(plan: Plan) -> str:
    """Name in the least room what comes before count 1, counted as `start_words` counts it."""
    return f"intro {plan.intro_counts}" if plan.intro_counts > 0 else "intro"


def option_words(fit: FitPlan, option: StartOption) -> str:
    """Say what is special about a start, and what speaks against it if it is not the plan's."""
    sung = "on the vocals" * (option.start_count == fit.grid.singing)
    against = why_not(fit, option) if option.start_count != fit.plan.start_count else ""
    return "; ".join(filter(None, (sung, against)))


def why_not(fit: FitPlan, option: StartOption) -> str:
    """Say what speaks against another start, what weighs most first; what it costs in points."""
    intro, routine = option.intro_counts, fit.routine
    group, usual = DANCE_METERS[routine.meter].group_counts, usual_intros(routine)
    sung = option.start_count == fit.grid.singing
    reasons = []
    if intro < group:
        reasons.append("no room for a count-in")
    elif intro < min(usual):
        reasons.append(f"only {counts_words(intro)} to count in")
    elif intro > max(usual) and not sung:
        reasons.append("a long wait")
    if not fit.grid.strength[option.start_count] and not sung:
        reasons.append("no phrase begins there")
    if routine.intro_counts not in (None, intro):
        reasons.append(f"the routine asks for {routine.intro_counts}")
    elif min(usual) <= intro <= max(usual) and intro not in usual and not sung:
        reasons.append(f"an unusual intro ({' or '.join(map(str, usual))} is expected)")
    less = max(plan.score for plan in fit.plans) - option.score
    if less >= FELT_POINTS and not reasons:
        reasons.append("fewer phrases are met from there")
    if reasons:
        return "; ".join(reasons)
    return "as good, but later" if option.start_count > fit.plan.start_count else "nearly as good"
