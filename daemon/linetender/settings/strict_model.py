"""The base of every model of a file that people write."""

from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from linetender.core.fact_names import FactName
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage


class StrictModel(BaseModel):
    """Strict, frozen, no unknown keys, no nan or inf.

    Nested models do not inherit these rules from the model around them, so every
    model of a file derives from this class. Strict mode refuses text for an enum and
    a list for a tuple, which is all that TOML has; those fields say `strict=False`.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, validate_default=True
    )


Slug = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]{0,31}$")]
"""A short name that may stand in topics and file names."""

SLUG_RULE = "made of a-z, 0-9, _ and -, beginning with a letter, at most 32 letters"
"""The same in words."""

Sentence = Annotated[str, Field(min_length=3, max_length=120, pattern=r"\S")]
"""One line for people."""

Reason = Annotated[str, Field(min_length=3, max_length=400, pattern=r"\S")]
"""Why something is as it is."""

Seconds = Annotated[float, Field(ge=0.0, le=3600.0)]
"""A delay: 0 s to one hour."""


class AirPressure(StrEnum):
    """A word of rule files that stands for one of two signals."""

    AIR_PRESSURE_PA = "air_pressure_pa"
    """The pressure across this station's flow element: `duct_pressure_pa` or `hood_pressure_pa`."""


AnySignal = Annotated[Signal, Field(strict=False)]
RuleSignal = AnySignal | Annotated[AirPressure, Field(strict=False)]
"""What a rule may name as its signal."""

AnyFact = Annotated[FactName, Field(strict=False)]
AnyStage = Annotated[Stage, Field(strict=False)]
AnyPriority = Annotated[Priority, Field(strict=False)]
