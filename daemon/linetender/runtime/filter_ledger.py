"""Notes what the air through the filter shows, and keeps it in the station's memory.

Counted are the seconds in which air moves, in whatever stage: a filter loads whenever it is
blown through. A stretch ends when the air has been still for a minute, or after four hours;
it is stored after its first minute, every five minutes, at the end of a use and at its own
end. So a power cut costs five minutes of the ledger at most.
"""

import asyncio
import contextlib
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue
from statistics import fmean
from typing import NamedTuple

from linetender.airline.filter_history import FilterPoint
from linetender.airline.filter_outlook import FilterCare, outlook_of
from linetender.core.events import Event, StageChanged
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.plan import AirPlan
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.memory.filters import filter_in_place, filters_in, fit_filter, keep_point
from linetender.memory.store import MemoryFault, Store, open_store
from linetender.runtime.clock import WallClock
from linetender.settings.filter_care import date_text, exponent_of
from linetender.settings.station import Station

_LOG = logging.getLogger(__name__)

MOVES_FROM = 0.3
"""Air moves from this part of the normal airflow on (chosen: well over draught and zero)."""

SETTLES_S = 30.0
"""A fan comes up and a hand turns its knob within that (chosen): hours count, figures do not."""

STILL_S = 60.0
LONGEST_S = 4 * 3600.0
STORED_EVERY_S = 300.0
LOOKS_EVERY_S = 10.0
MINUTE_S = 60.0

Keep = Callable[[FilterPoint, bool], None]
"""Takes a stretch as it stands, and whether it is over."""


class _Minute(NamedTuple):
    """Means over a minute; None for what was not read."""

    element_pa: float | None
    filter_pa: float | None
    fan_rpm: float | None
    temperature_c: float | None


@dataclass
class _Stretch:
    """Air that has been moving; times in s."""

    began_s: float = 0.0
    synchronised: bool = False
    run_s: float = 0.0
    still_s: float = 0.0
    stored_s: float = 0.0
    wait_s: float = MINUTE_S
    second: list[_Minute] = field(default_factory=list)
    minutes: list[_Minute] = field(default_factory=list)


class FilterLedger:
    """A listener of the live station that notes what a filter lets through.

    Args:
        air: How air is derived; None: the hours worn are counted.
        wall: The time of day.
        keep: Where stretches go.
    """

    def __init__(self, air: AirPlan | None, wall: WallClock, keep: Keep) -> None:
        self._air = air
        self._wall = wall
        self._keep = keep
        self._last_ns: int | None = None
        self._stretch = _Stretch()

    def tell(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Take how the station stands: once a second, and at each change."""
        now_ns, last_ns = snapshot.now_ns, self._last_ns
        self._last_ns = now_ns
        # After a gap, such as a computer asleep, nobody knows what the air did.
        passed_s = 0.0 if last_ns is None else min(2.0, to_seconds(now_ns - last_ns))
        stretch = self._stretch
        if self._moves(snapshot):
            self._go_on(passed_s, snapshot)
        else:
            stretch.still_s += passed_s
        is_end = any(isinstance(e, StageChanged) and e.before is Stage.WORN for e in events)
        is_over = stretch.still_s >= STILL_S or stretch.run_s >= LONGEST_S
        is_due = is_end or stretch.run_s - stretch.stored_s >= stretch.wait_s
        if stretch.run_s >= MINUTE_S and (is_over or is_due):
            stretch.stored_s, stretch.wait_s = stretch.run_s, STORED_EVERY_S
            self._keep(self._point(), is_over)
        if is_over:
            self._stretch = _Stretch()

    def close(self) -> None:
        """Keep the stretch that the end of the run breaks off."""
        if self._stretch.run_s >= MINUTE_S:
            self._keep(self._point(), True)
        self._stretch = _Stretch()

    def _go_on(self, passed_s: float, snapshot: Snapshot) -> None:
        stretch = self._stretch
        if stretch.run_s == 0.0:
            wall = self._wall()
            stretch.began_s = datetime.fromisoformat(wall.at).timestamp()
            stretch.synchronised = wall.synchronised
        stretch.run_s += passed_s
        stretch.still_s = 0.0
        if passed_s > 0.0 and stretch.run_s > SETTLES_S:
            stretch.second.append(self._read(snapshot))
            if len(stretch.second) >= MINUTE_S:
                stretch.minutes.append(_means(stretch.second))
                stretch.second = []

    def _moves(self, snapshot: Snapshot) -> bool:
        if self._air is None:
            return snapshot.stage is Stage.WORN
        element_pa = self._element_pa(snapshot)
        if element_pa is None or element_pa <= 0.0:
            return False
        return bool((element_pa / self._air.normal_pa) ** self._air.exponent >= MOVES_FROM)

    def _element_pa(self, snapshot: Snapshot) -> float | None:
        if self._air is None:
            return None
        reading_pa = _value(snapshot, self._air.signal)
        if reading_pa is None:
            return None
        return (reading_pa - self._air.zero_pa) * self._air.pressure_factor

    def _read(self, snapshot: Snapshot) -> _Minute:
        temperature_c = _value(snapshot, Signal.AMBIENT_TEMPERATURE_C)
        if temperature_c is None:
            temperature_c = _value(snapshot, Signal.ELEMENT_TEMPERATURE_C)
        return _Minute(
            self._element_pa(snapshot),
            _value(snapshot, Signal.FILTER_PRESSURE_PA),
            _value(snapshot, Signal.FAN_SPEED_RPM),
            temperature_c,
        )

    def _point(self) -> FilterPoint:
        """The middle half of the minutes, in the order of their pressure: no hose stood on."""
        stretch = self._stretch
        ordered = sorted(stretch.minutes, key=lambda minute: minute.element_pa or 0.0)
        quarter = len(ordered) // 4
        means = _means(ordered[quarter : len(ordered) - quarter])
        hours = stretch.run_s / 3600.0
        return FilterPoint(stretch.began_s, stretch.synchronised, hours, *means)


class FilterKeeper:
    """Keeps stretches in the station's memory, from a thread of its own.

    Args:
        folder: The station's state folder.
        care: When the filter counts as due.
        exponent: n of Q = k·Δp^n of the flow element.
        due: Until when the filter is good as the run begins (ISO 8601), or empty.
        wall: The time of day.
    """

    def __init__(
        self, folder: Path, care: FilterCare, exponent: float, due: str, wall: WallClock
    ) -> None:
        self._folder = folder
        self._care = care
        self._exponent = exponent
        self._wall = wall
        self._due = due
        self._looked_s = -LOOKS_EVERY_S
        self._filter_row = 0
        self._row: int | None = None
        self._wishes: SimpleQueue[Callable[[Store], None] | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="filter-ledger", daemon=True)
        self._thread.start()

    def keep(self, point: FilterPoint, is_over: bool) -> None:
        """Keep a stretch as it stands; returns at once."""
        self._wishes.put(lambda store: self._store(store, point, is_over))

    def due(self) -> str:
        """Return until when the filter is good, and look again meanwhile: it may be a new one."""
        if time.monotonic() - self._looked_s >= LOOKS_EVERY_S:
            self._looked_s = time.monotonic()
            self._wishes.put(self._look)
        return self._due

    async def until_looked(self, within_s: float = 0.5) -> None:
        """Look whether it is a new one; return once that is done, or took too long.

        Args:
            within_s: In real time, also where the station's own time stands or flies.
        """
        loop, looked = asyncio.get_running_loop(), asyncio.Event()

        def wake() -> None:
            with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
                loop.call_soon_threadsafe(looked.set)

        def look(store: Store) -> None:
            try:
                self._look(store)
            finally:
                wake()

        timer = threading.Timer(within_s, wake)
        timer.daemon = True
        timer.start()
        self._wishes.put(look)
        try:
            await looked.wait()
        finally:
            timer.cancel()

    def close(self, within_s: float = 2.0) -> None:
        """Store what waits and stop, `within_s` at most."""
        self._wishes.put(None)
        self._thread.join(within_s)

    def _run(self) -> None:
        store: Store | None = None
        while (wish := self._wishes.get()) is not None:
            try:
                store = store or open_store(self._folder)
                wish(store)
            except (MemoryFault, OSError, ValueError) as error:
                _LOG.warning("the filter's hours are not kept: %s", error)
        if store is not None:
            store.close()

    def _store(self, store: Store, point: FilterPoint, is_over: bool) -> None:
        if self._row is None:
            # A stretch stays with the filter it began with, whatever is changed meanwhile.
            in_place = filter_in_place(store)
            if in_place is None:
                known = point.synchronised
                in_place = fit_filter(store, point.began_s, synchronised=known, is_new=False)
            self._filter_row = in_place
        self._row = keep_point(store, self._filter_row, point, self._row)
        if is_over:
            self._row = None
            self._look(store)

    def _look(self, store: Store) -> None:
        filters = filters_in(store)
        if not filters:
            return
        now_s = datetime.fromisoformat(self._wall().at).timestamp()
        due_s = outlook_of(filters[-1], self._care, self._exponent, now_s).due_s
        self._due = date_text(due_s)


def filter_keeper_of(station: Station, folder: Path, wall: WallClock) -> FilterKeeper | None:
    """Return what keeps the hours of a station's filter; None where its file tells of none."""
    if station.filter is None:
        return None
    outlook = station.filter.outlook
    due = "" if outlook is None else date_text(outlook.due_s)
    return FilterKeeper(folder, station.filter.care, exponent_of(station.plan.air), due, wall)


def _value(snapshot: Snapshot, signal: Signal) -> float | None:
    for view in snapshot.signals:
        if view.signal is signal:
            is_fresh = view.age_ns is not None and view.age_ns <= max(
                SIGNAL_FACTS[signal].gap_ns, SECOND_NS
            )
            return view.value if is_fresh else None
    return None


def _means(seen: list[_Minute]) -> _Minute:
    """Return the mean of each quantity that at least half of them have."""
    known = [[value for value in column if value is not None] for column in zip(*seen, strict=True)]
    if not known:
        return _Minute(None, None, None, None)
    return _Minute(*(fmean(each) if 2 * len(each) >= len(seen) else None for each in known))
