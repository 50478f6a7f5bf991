"""What people are told about a proof test: what to do in each step, and what it came to."""

from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from linetender.airline.alarm_budget import REACTION_S
from linetender.core.proof import ASKED, ProofKind, ProofResult, ProofStep
from linetender.core.stages import Stage
from linetender.memory.proofs import ProofRecord
from linetender.runtime.proof_messages import ProofView
from linetender.settings.proof_dates import ProofDates, ProofSeen, walked_s

SAFETY = (
    "A proof test breaks the line on purpose, to hear whether its alarms come in time.",
    "  - In clean air only. Nothing is sprayed, poured or sanded meanwhile.",
    "  - The hood is OFF your head, and nobody else's either; the oximeter is off the finger.",
    "  - Tell whoever hears the second box that this is a test.",
    "  - Local rules and licensed practice go first.",
)


class StepWords(NamedTuple):
    """A step's title, what to do before it, at the moment, and after it."""

    title: str
    before: str
    now: str
    after: str


WORDS: dict[ProofKind, StepWords] = {
    ProofKind.FAN_PLUG: StepWords(
        "fan plug pulled",
        "Go to the fan's plug, with this screen or a helper at it.",
        "Pull the fan's plug NOW",
        "Plug the fan in again.",
    ),
    ProofKind.DUCT_PINCHED: StepWords(
        "duct pinched",
        "Get ready to squeeze the duct shut with both hands, or a clamp.",
        "Pinch the duct shut NOW, and hold it",
        "Let the duct go, and look that it is round again.",
    ),
    ProofKind.DUCT_OFF_AT_FAN: StepWords(
        "duct off at the fan",
        "Loosen the duct's clamp at the fan, so that one pull takes it off.",
        "Pull the duct off the fan NOW",
        "Put the duct back on the fan, with its clamp.",
    ),
    ProofKind.DUCT_OFF_AT_HOOD: StepWords(
        "duct off at the hood's end",
        "Loosen the duct where it meets reducer and hose, so that one pull takes it off.",
        "Pull the duct off NOW",
        "Put the duct back, with its clamp.",
    ),
    ProofKind.WALK: StepWords(
        "walk to the way out",
        "Dress as for work, hood in your hand. Start where you work, go out by the way you "
        "would leave, doors shut as they are then; the time ends in clean air outside.",
        "Set off",
        "",
    ),
    ProofKind.BOX_PLUG: StepWords(
        "box plug pulled",
        "This ends the station, and this screen if it is the box's. Have a watch in your hand, "
        "and somebody at the second box or the alarm on the keep-alive.",
        "Start the watch and pull the box's plug NOW",
        "Plug the box in again, and wait until it runs.",
    ),
    ProofKind.EVERYTHING: StepWords(
        "everything pulled",
        "As if the power failed: fan and box lose it together (a shared plug, or the breaker). "
        "The second box must be on a supply of its own. Have a watch in your hand.",
        "Start the watch and cut the power of both NOW",
        "Switch everything on again, and wait until it runs.",
    ),
}

CLOCK_WORDS = {
    "mains": "from the fan's mains contact",
    "pressure": "from the first change of the pressure",
    "button": "from the press of the button",
    "enter": "from Enter",
    "watch": "by your own watch",
    "": "",
}
"""What a time is counted from."""


def outcome_line(record: ProofRecord) -> str:
    """Return what a step came to, in a line."""
    parts = []
    if record.seconds is not None:
        is_walk = record.step == ProofKind.WALK
        verb = "walked in" if is_walk else "sounded after"
        parts.append(f"{verb} {record.seconds:.1f} s {CLOCK_WORDS.get(record.clock, '')}".rstrip())
        if record.limit_s is not None:
            parts.append(f"{record.limit_s:.1f} s at most")
    if record.why:
        parts.append(record.why)
    told = f": {'; '.join(parts)}" if parts else ""
    return f"{record.result.upper()}{told}."


def list_lines(view: ProofView) -> Iterator[str]:
    """Yield past steps, newest last, and until when the proof test is good."""
    if not view.kept:
        yield f"{view.station}: no proof test yet."
    for one in view.kept:
        unsure = "" if one.synchronised else " (clock not set)"
        yield f"{one.ended_at[:16].replace('T', ' ')}{unsure}  {title_of(one.step)}"
        yield f"    {outcome_line(one)}"
    yield due_line(view.dates)


def due_line(dates: ProofDates, now: datetime | None = None) -> str:
    """Return how the proof test stands, in a line; `now` says whether it is past its date."""
    if not dates.due:
        return "Proof test: never done. Do it: linetender proof"
    parts = []
    if dates.failed:
        parts.append(f"FAILED: {', '.join(title_of(one) for one in dates.failed)}")
    elif now is not None and now >= datetime.fromisoformat(dates.due):
        parts.append(f"DUE since {dates.due[:10]}")
    else:
        parts.append(f"good until {dates.due[:10]}")
    if dates.missing:
        parts.append(f"never done: {', '.join(title_of(one) for one in dates.missing)}")
    return f"Proof test: {'; '.join(parts)}."


def title_of(step: str) -> str:
    """Return what people call a step."""
    return WORDS[ProofKind(step)].title if step in WORDS else step.replace("_", " ")


def step_lines(step: ProofStep, number: int, count: int) -> Iterator[str]:
    """Yield what comes, before a step begins."""
    words = WORDS[step.kind]
    yield ""
    yield f"Step {number} of {count}: {words.title}"
    yield f"  {words.before}"
    if step.limit_s is not None:
        by = "something else must sound" if step.kind in ASKED else f"the alarm {step.rule} comes"
        yield f"  Expected: {by} within {step.limit_s:.1f} s."
    if step.stage is Stage.WORN:
        yield (
            "  Its alarm works only while the hood is worn: the station takes it as worn for this "
            "step, though it lies beside you, and calls whoever it calls. Warn them."
        )


def summary_lines(
    view: ProofView, steps: tuple[ProofStep, ...], done: dict[str, ProofRecord]
) -> Iterator[str]:
    """Yield what a proof test came to: what was done now, what was not, and the budget."""
    yield f"Proof test of {view.station}"
    width = max(len(title_of(step.kind.value)) for step in steps)
    for step in steps:
        name = step.kind.value
        one = done.get(name)
        told = "not done" if one is None else outcome_line(one)
        yield f"  {title_of(name):{width}}  {told}"
    yield from budget_lines(view)
    if not view.is_kept:
        yield "Nothing of it is kept: this run has no memory (--state FOLDER gives it one)."
    yield due_line(view.dates)


def budget_lines(view: ProofView) -> Iterator[str]:
    """Yield the alarm budget with what was measured: sound, reaction, way out."""
    if view.time is None:
        return
    seen = [ProofSeen(one.ended_at, one.step, one.result, one.seconds) for one in view.kept]
    last = {one.step: one for one in seen if one.result != ProofResult.PENDING}
    timed = [step.kind.value for step in view.steps if step.rule]
    sounds = [one.seconds for name in timed if (one := last.get(name)) and one.seconds is not None]
    reckoned_s, measured_s = view.time.needed_s - REACTION_S, max(sounds, default=0.0)
    # The rules are reckoned with at their worst, so that one good day takes nothing off.
    sound_s = max(reckoned_s, measured_s)
    how = "measured" if measured_s > reckoned_s else f"reckoned; measured {measured_s:.1f} s"
    if not sounds:
        how = "reckoned; nothing measured yet"
    walk_s = walked_s(seen)
    exit_s = walk_s if walk_s is not None else view.exit_time_s
    line = f"Alarm budget: {sound_s:.1f} s to the sound ({how})"
    if exit_s is None:
        yield f"{line}; nobody has walked the way out yet: linetender proof --step walk"
        return
    whole_s, has_s = sound_s + REACTION_S + exit_s, view.time.available_s
    enough = whole_s <= has_s
    yield (
        f"{line} + {REACTION_S:g} s to react + {exit_s:.1f} s to leave = {whole_s:.1f} s. The hood "
        f"gives {has_s:.1f} s until 3 % carbon dioxide: {'enough' if enough else 'NOT ENOUGH'}."
    )
    if not enough and not view.time.opens_hood:
        yield "Open the hood while going, and start the station anew: LEAVE is to say so."
