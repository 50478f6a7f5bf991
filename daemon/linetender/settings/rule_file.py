"""Rule sets as people write them: one table `[rule.ID]` per alarm rule, one condition in each.

The condition is whichever of the keys in `CONDITION_KEYS` is given; the other keys
qualify it or say how the alarm behaves.
"""

from typing import Annotated, Any, Literal

from pydantic import Field

from linetender.core.fact_names import FactName
from linetender.core.plan import Arrangement, Side
from linetender.settings.strict_model import (
    AnyFact,
    AnyPriority,
    AnyStage,
    Reason,
    RuleSignal,
    Seconds,
    Sentence,
    Slug,
    StrictModel,
)

CONDITION_KEYS = (
    "below",
    "above",
    "percent_of_taught",
    "outside",
    "below_baseline",
    "above_baseline",
    "falls",
    "rises",
    "jumps",
    "drift",
    "heading",
    "stuck",
    "stale",
    "contact",
    "held",
    "fact",
    "fact_stale",
    "check_in_missed",
    "any_of",
    "all_of",
)

EACH_FAR_END = "each_far_end"
"""As subject of `fact_stale`: one rule per second box that the station file names."""

FACTS = ", ".join(FactName)
"""Their names in words."""

Limit = Annotated[float, Field(ge=-1e6, le=1e6)]
Distance = Annotated[float, Field(ge=0, le=1e6)]
Window = Annotated[float, Field(ge=0.2, le=3600)]
Word = Annotated[str, Field(min_length=1, max_length=64)]


class Change(StrictModel):
    """`falls` and `rises`: by how much, within how long."""

    by: float = Field(gt=0, le=1e6, description="change in the signal's unit, above 0")
    within_s: Window = Field(description="seconds")


class Jump(StrictModel):
    """`jumps`: over one level shortly after having been under another."""

    above: Limit = Field(description="level that is exceeded, in the signal's unit")
    from_below: Limit = Field(description="level it came from, not over `above`")
    until: Limit = Field(description="level at which it has gone back, not over `above`")
    within_s: Window = Field(description="seconds")


class DriftFor(StrictModel):
    """`drift`: small deviations from a reference, summed up (CUSUM)."""

    reference: Limit | Literal["baseline"] = Field(
        description='the value while all is well, in the signal\'s unit, or "baseline"'
    )
    side: Annotated[Side, Field(strict=False)] = Field(
        Side.DOWN, description='"down", "up" or "both"'
    )
    k: float = Field(
        ge=0, le=1e4, description="taken off each deviation, 0 or more: half the shift to be found"
    )
    h: float = Field(gt=0, le=1e6, description="the sum from which on it is present, above 0")
    sigma: float | None = Field(
        None,
        gt=0,
        le=1e4,
        description="standard deviation of a window mean, in the signal's unit, above 0: "
        "k and h are in units of it",
    )


class HeadingFor(StrictModel):
    """`heading`: on the way over a limit."""

    below: Limit | None = Field(None, description="a limit under the value, in the signal's unit")
    above: Limit | None = Field(None, description="or one over it; one of the two")
    within_s: Window = Field(description="how far it looks ahead, seconds, 0.2 to 3600")
    over_s: float = Field(ge=2.4, le=3600, description="the slope is taken over, seconds")
    smoothing: float = Field(
        0.2, gt=0, le=1, description="weight of the latest window mean in the level, above 0 to 1"
    )


class After(StrictModel):
    """`stuck` and `check_in_missed`."""

    after_s: Seconds = Field(gt=0, description="seconds, above 0")


class StaleFor(StrictModel):
    """`stale`: no good reading."""

    after_s: Seconds = Field(gt=0, description="seconds, above 0")
    followed: Slug | None = Field(
        None, description="id of a rule whose condition held before the last good reading"
    )
    followed_within_s: Seconds = Field(60.0, gt=0, description="seconds, above 0")


class HeldFor(StrictModel):
    """`held`: a button kept pressed."""

    contact: Word = Field(description='role of a switch, e.g. "answer"')
    after_s: Seconds = Field(gt=0, description="seconds, above 0")


class FactStaleFor(StrictModel):
    """`fact_stale`: a confirmation that does not come."""

    fact: AnyFact = Field(description=f"name of the fact: {FACTS}")
    subject: Word = Field(description=f'which box or device, or "{EACH_FAR_END}"')
    after_s: Seconds = Field(gt=0, description="seconds, above 0")
    wearer_after_s: Seconds | None = Field(
        None, gt=0, description="seconds, for a second box whose role is wearer"
    )


class RisesToEntry(StrictModel):
    """`rises_to`: priority with time."""

    priority: AnyPriority = Field(description='"medium" or "high"')
    after_s: Seconds = Field(gt=0, description="seconds after the raise, above 0")


class ConditionFields(StrictModel):
    """One condition with what qualifies it."""

    signal: RuleSignal | None = Field(
        None, description="a signal, or air_pressure_pa for that of this station's element"
    )
    signals: Annotated[tuple[RuleSignal, ...], Field(strict=False)] = Field(
        (), min_length=0, description="signals of `stale`, all of which must be silent"
    )
    deadband: Distance | None = Field(
        None, description="how far the signal must recover, in its own unit, 0 or more"
    )
    deadband_percent: float | None = Field(
        None, ge=0, le=50, description='the same for "required" and percent_of_taught, 0 to 50 %'
    )
    below: Limit | Literal["required"] | None = Field(
        None, description='a limit in the signal\'s unit, or "required" for the required airflow'
    )
    minus_uncertainties: float | None = Field(
        None, ge=0, le=3, description='standard uncertainties taken off, with below = "required"'
    )
    above: Limit | None = Field(None, description="a limit in the signal's unit")
    percent_of_taught: float | None = Field(
        None, ge=101, le=500, description="a limit above, in % of element.normal_pa"
    )
    outside: Annotated[tuple[Limit, Limit], Field(strict=False)] | None = Field(
        None, description="[low, high] in the signal's unit"
    )
    below_baseline: Distance | None = Field(
        None, gt=0, description="distance under the wearer's baseline, above 0"
    )
    also_below: Limit | None = Field(
        None, description="with below_baseline: a limit that counts as well"
    )
    normal_from: Limit | None = Field(
        None, description="with also_below: the baseline from which that limit counts"
    )
    above_baseline: Distance | None = Field(
        None, gt=0, description="distance over the wearer's baseline, above 0"
    )
    falls: Change | None = Field(None, description="{ by = …, within_s = … }")
    rises: Change | None = Field(None, description="{ by = …, within_s = … }")
    jumps: Jump | None = Field(
        None, description="{ above = …, from_below = …, until = …, within_s = … }"
    )
    drift: DriftFor | None = Field(
        None, description="{ reference = …, side = …, k = …, h = …, sigma = … }"
    )
    heading: HeadingFor | None = Field(
        None, description="{ below = …, within_s = …, over_s = …, smoothing = … }"
    )
    stuck: After | None = Field(None, description="{ after_s = … }")
    stale: StaleFor | None = Field(None, description="{ after_s = … }")
    contact: Word | None = Field(None, description='role of a switch, e.g. "fan_mains"')
    when: Literal["open", "closed", "broken"] | None = Field(
        None, description='with contact: "open", "closed" or "broken"'
    )
    held: HeldFor | None = Field(None, description='{ contact = "answer", after_s = … }')
    fact: AnyFact | None = Field(None, description=f"name of a fact: {FACTS}")
    subject: Word | None = Field(None, description="with fact: which device, box or disk")
    fact_stale: FactStaleFor | None = Field(
        None, description="{ fact = …, subject = …, after_s = … }"
    )
    check_in_missed: After | None = Field(None, description="{ after_s = … }")
    any_of: Annotated[tuple["ConditionFields", ...], Field(strict=False)] | None = Field(
        None, min_length=1, max_length=8, description="list of conditions"
    )
    all_of: Annotated[tuple["ConditionFields", ...], Field(strict=False)] | None = Field(
        None, min_length=1, max_length=8, description="list of conditions"
    )

    @property
    def condition_keys(self) -> tuple[str, ...]:
        """The condition keys that are given; exactly one makes a condition."""
        return tuple(key for key in CONDITION_KEYS if getattr(self, key) is not None)


class _RuleFields(ConditionFields):
    on_delay_s: Seconds | None = Field(None, description="seconds until it is raised, 0 to 3600")
    off_delay_s: Seconds | None = Field(None, description="seconds until it clears, 0 to 3600")
    priority: AnyPriority | None = Field(None, description='"high", "medium" or "low"')
    latching: bool | None = Field(None, description="true: stays until it is reset")
    killer: bool | None = Field(None, description="true: an answer buys at most 15 s of quiet")
    loss_of_air: bool | None = Field(
        None, description="true: works outside use once air has been good"
    )
    technical: bool | None = Field(None, description="true: about the equipment, not the person")
    stages: Annotated[tuple[AnyStage, ...], Field(strict=False)] | None = Field(
        None, min_length=1, max_length=4, description='of "idle", "pre_use", "worn", "service"'
    )
    arrangements: (
        Annotated[
            tuple[Annotated[Arrangement, Field(strict=False)], ...],
            Field(strict=False),
        ]
        | None
    ) = Field(None, min_length=1, max_length=2, description='of "fan_side", "wearer_side"')
    suppressed_by: Annotated[tuple[Slug, ...], Field(strict=False)] | None = Field(
        None, max_length=8, description="ids of rules"
    )
    rises_to: RisesToEntry | None = Field(None, description="{ priority = …, after_s = … }")
    realarm_s: Seconds | None = Field(
        None, description="seconds until an answered alarm sounds again; 0 for never"
    )
    calls: Annotated[tuple[Slug, ...], Field(strict=False)] | None = Field(
        None, max_length=32, description="names of contacts"
    )


class RuleEntry(_RuleFields):
    """`[rule.ID]`: a whole rule."""

    priority: AnyPriority = Field(description='"high", "medium" or "low"')
    stages: Annotated[tuple[AnyStage, ...], Field(strict=False)] = Field(
        min_length=1, max_length=4, description='of "idle", "pre_use", "worn", "service"'
    )
    say: Sentence = Field(description="one sentence for people, 3 to 120 letters")
    reason: Reason = Field(description="why the rule and its numbers are as they are")


class RuleChange(_RuleFields):
    """`[rules.change.ID]`: what a station changes in a rule of its base."""

    say: Sentence | None = Field(None, description="one sentence for people, 3 to 120 letters")
    reason: Reason | None = Field(None, description="why; needed where the change is looser")

    @property
    def changed(self) -> dict[str, Any]:
        """The keys that are given, without the reason."""
        return {key: getattr(self, key) for key in sorted(self.model_fields_set) if key != "reason"}


class RuleSet(StrictModel):
    """A rule file."""

    schema_: Literal[1] = Field(alias="schema", description="version of the file's form: 1")
    rule: dict[Slug, RuleEntry] = Field(min_length=1, description="one table [rule.ID] per rule")
