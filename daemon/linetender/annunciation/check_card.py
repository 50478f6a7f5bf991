"""The card for the pre-use check: what to look at, in which order, and what the codes mean.

It is printed once and hung beside the button; it is made from the station's plan, so that
it speaks only of parts that are fitted.
"""

from collections.abc import Iterator
from textwrap import wrap

from linetender.annunciation.check_words import step_words
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.step_plan import STEP_CODES, StepKind

WIDTH = 78

_LOOK_AT = (
    "Air inlet: upwind, off the ground, away from your own exhaust, flues, engines, "
    "dryers and drains.",
    "Hose locked at the collar: tug it.",
)
_ARM = "ARM switch on (siren and keep-alive alarm)."
_PURGE = "The hood goes on only after the line was purged for two minutes: two chirps say so."


def check_card(plan: Plan) -> str:
    """Return the card of a station as plain text, at most 78 columns wide."""
    lines = [f"PRE-USE CHECK: {plan.station}", "=" * WIDTH, ""]
    for number, tap in enumerate(_taps(plan), start=1):
        lines += wrap(f"{number}. {tap}", WIDTH, subsequent_indent="   ")
    lines += ["", "LOOK AT THIS BEFORE THE SECOND TAP", ""]
    for point in _points(plan):
        lines += wrap(f"[ ] {point}", WIDTH, subsequent_indent="    ")
    lines += ["", "IF IT CHIRPS AND BLINKS A CODE, THE CHECK HAS FAILED", ""]
    lines += wrap(
        "Count: so many chirps, a pause, so many. Mend it, then tap to begin anew. Until "
        "then the station says NOT CHECKED, and watches all the same.",
        WIDTH,
    )
    lines += [""]
    for code, title, mend in _codes(plan):
        lines += wrap(f"{code}  {title}: {mend}.", WIDTH, subsequent_indent="     ")
    lines += [
        "",
        *wrap(
            "If air stops, oxygen falls or you feel unwell: leave the contaminated area, "
            "then take the hood off. Hold the button for 2 s to call for help.",
            WIDTH,
        ),
    ]
    return "\n".join(lines) + "\n"


def _taps(plan: Plan) -> Iterator[str]:
    kinds = {step.kind for step in plan.steps}
    yield "Fan off. Oximeter on, if there is one. TAP: the check begins."
    yield "Fan on, full. Go through the list below, then TAP once for all of it."
    if StepKind.HEARD in kinds:
        yield (
            "Two chirps: hood on, loudest tool running. The siren will sound some time "
            "later. TAP within 5 s of hearing it."
        )
    yield (
        "Four chirps: READY. The use begins with the hood off its hook, or one more tap. "
        "No four chirps: not checked."
    )


def _points(plan: Plan) -> Iterator[str]:
    yield from _LOOK_AT
    within = "" if plan.exit_time_s is None else f" within {plan.exit_time_s:g} s"
    yield f"The way out is clear; you are outside{within}."
    kinds = {step.kind for step in plan.steps}
    if StepKind.LAMP in kinds:
        yield "Every lamp flashed after the first tap; the green one goes on blinking."
    yield _ARM + " No such switch: go on."
    if StepKind.PURGE in kinds:
        yield _PURGE


def _codes(plan: Plan) -> Iterator[tuple[str, str, str]]:
    told: set[StepKind] = set()
    for step in sorted(plan.steps, key=lambda step: STEP_CODES[step.kind]):
        if step.kind in told:
            continue
        told.add(step.kind)
        words = step_words(step.kind, step.id)
        title = words.title
        if step.kind is StepKind.FAR_END:
            title = "Second box hears"
        elif step.kind is StepKind.BASELINE:
            title = "Oximeter reads well"
        limit_min = to_seconds(step.limit_ns) / 60.0
        code = "-".join(str(number) for number in STEP_CODES[step.kind])
        yield code, f"{title} (within {limit_min:.3g} min)", words.mend
