"""What headers hold of filters: invented entries, and one that is reckoned."""

import random
from typing import Any

from linetender.airline.filter_history import FilterHistory, FilterPoint
from linetender.airline.filter_outlook import FilterCare, outlook_of
from linetender.settings.filter_care import filter_entry

DAY_S = 86_400.0
FITTED = "2031-03-01T09:00:00+00:00"

YOUNG: dict[str, Any] = {
    "kind": "filter",
    "made_at": FITTED,
    "was_new": True,
    "label": "H13",
    "hours": 6.0,
    "measured_by": "resistance",
    "outlook": "few_points",
    "loading": None,
    "limit": None,
    "due_hours": None,
    "due_hours_from": None,
    "due_hours_to": None,
    "projected_at": "",
    "projected_from": "",
    "projected_to": "",
    "due_at": "",
}
LOADING = YOUNG | {
    "hours": 24.04,
    "outlook": "projected",
    "loading": 1.4043,
    "limit": 2.0,
    "due_hours": 59.4,
    "due_hours_from": 56.2,
    "due_hours_to": 62.8,
    "projected_at": "2031-05-09T10:00:00+00:00",
    "projected_from": "2031-04-19T10:00:00+00:00",
    "projected_to": "2031-05-28T10:00:00+00:00",
    "due_at": "2031-05-09T10:00:00+00:00",
}
OVER = LOADING | {
    "hours": 61.0,
    "loading": 2.031,
    "projected_from": "",
    "projected_to": "",
    "projected_at": "2031-04-30T10:00:00+00:00",
    "due_at": "2031-04-30T10:00:00+00:00",
}
BY_AIR = LOADING | {"measured_by": "flow_at_speed", "loading": 0.913, "limit": 0.8}


def entry_after(uses: int) -> dict[str, Any]:
    """Return what the ledger makes of a filter that doubles its resistance in 60 h."""
    drawn = random.Random(20_311)
    begin_s = 1_930_000_000.0
    points = tuple(
        FilterPoint(
            began_s=begin_s + use * 2.3 * DAY_S,
            synchronised=True,
            hours=2.0,
            element_pa=60.0,
            filter_pa=40.0 * (1.0 + (2 * use + 1) / 60.0) * drawn.gauss(1.0, 0.01),
            temperature_c=20.0,
        )
        for use in range(uses)
    )
    history = FilterHistory(begin_s, True, points, "H13")
    return filter_entry(outlook_of(history, FilterCare(), 0.5, begin_s + uses * 2.3 * DAY_S))
