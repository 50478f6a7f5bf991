"""Puts the facts of a session together once its recording has passed by."""

from pathlib import Path
from typing import Any

import msgspec

from linetender.annunciation.cautions import CAUTIONS
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.recording.lines import Segment
from linetender.reports.filter_story import CANNOT_BE_READ, FilterSeen, filter_seen
from linetender.reports.limits import limits_of
from linetender.reports.session_facts import (
    AirFacts,
    Desaturations,
    Episode,
    SessionFacts,
    SignalFigures,
)
from linetender.reports.session_gathering import Gathering


def facts_of(
    gathering: Gathering, files: tuple[Path, ...], *, ended: bool, lines_lost: int
) -> SessionFacts:
    """Return the facts of a session that was read to its end."""
    header, plan = gathering.first, gathering.plan
    assert header and plan, "a reader yields a header or raises"
    over_worn = gathering.worn_ns > 0
    worn_s = to_seconds(gathering.worn_ns)
    of_s = worn_s if over_worn else gathering.clock.length_s
    alarms = _alarms_of(gathering)
    leaves = sum(one.priority == Priority.HIGH for one in alarms)
    return SessionFacts(
        station=header.station,
        arrangement=plan.arrangement.value,
        software=header.software,
        files=tuple(file.name for file in files),
        begins=header.wall if header.synchronised else "",
        length_s=gathering.clock.length_s,
        worn_s=worn_s,
        figures_of="worn" if over_worn else "session",
        ended=ended,
        lines_lost=lines_lost,
        segments=tuple(gathering.clock.segments),
        stages=tuple(gathering.stages),
        alarms=alarms,
        steps=tuple(gathering.steps),
        baselines=tuple(gathering.baselines),
        signals=_figures_of(gathering, of_s, over_worn=over_worn),
        desaturations=_desaturations_of(gathering, over_worn=over_worn),
        false_leaves=gathering.false_leaves,
        leaves=leaves,
        looks=len(alarms) - leaves,
        air=_air_of(plan),
        limits=limits_of(plan),
        filter=_filter_of(header),
        calibrations=header.calibrations,
        exceptions=plan.exceptions,
        cautions=tuple(caution.full for caution in CAUTIONS),
    )


def _alarms_of(gathering: Gathering) -> tuple[Episode, ...]:
    return tuple(
        msgspec.structs.replace(one, proof=gathering.proofs.step_at(one.at_s))
        for one in gathering.episodes.found
    )


def _figures_of(gathering: Gathering, of_s: float, *, over_worn: bool) -> dict[str, SignalFigures]:
    return {
        signal.value: record.figures(of_s, over_worn=over_worn)
        for signal, record in gathering.records.items()
    }


def _desaturations_of(gathering: Gathering, *, over_worn: bool) -> tuple[Desaturations, ...]:
    spo2 = gathering.records.get(Signal.SPO2_PERCENT)
    return spo2.desaturations(over_worn=over_worn) if spo2 else ()


def _air_of(plan: Plan) -> AirFacts | None:
    air = plan.air
    if air is None:
        return None
    is_calibrated = air.k_l_min is not None
    return AirFacts(
        is_calibrated=is_calibrated,
        relative_uncertainty=air.relative_uncertainty if is_calibrated else None,
        required_l_min=air.required_l_min,
        normal_pa=air.normal_pa,
    )


def _filter_of(header: Segment) -> dict[str, Any]:
    """Return what the station file says of the filter, and what its memory held at the start."""
    told = dict(header.settings.get("filter", {}))
    try:
        seen = filter_seen(header.calibrations)
    except ValueError as error:
        # What became of the air is reported nevertheless.
        return told | {CANNOT_BE_READ: str(error)}
    return told if seen is None else told | _ledger_of(seen)


def _ledger_of(seen: FilterSeen) -> dict[str, Any]:
    """Put what the ledger held into words that a page can list; leave out what is not known."""
    is_new = "new_on" if seen.was_new else "found_in_place_on"
    told = {
        is_new: seen.made_at[:10],
        "note": seen.label,
        "hours_of_use": seen.hours,
        "loading_measured_by": seen.measured_by.value.replace("_", " "),
        "loading_percent_of_new": _percent(seen.loading),
        "due_at_percent_of_new": _percent(seen.limit),
        "due_on": seen.due_at[:10],
        "due_not_before_with_90_percent": seen.projected_from[:10],
        "due_not_after_with_90_percent": seen.projected_to[:10],
    }
    return {key: value for key, value in told.items() if value not in (None, "")}


def _percent(part: float | None) -> float | None:
    return None if part is None else round(100.0 * part, 1)
