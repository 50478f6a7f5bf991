"""What tuning found, as tables and a curve of plain text."""

from linetender.reports.tuning import Grid, Outcome, frontier

_BAR_COLUMNS = 30


def table(grid: Grid, found: tuple[Outcome, ...], present: Outcome, columns: int) -> list[str]:
    """Return the alarms of each limit (down) and delay (across), a table for each deadband.

    A star is the combination of the station file, brackets those that come too late.

    Args:
        grid: The combinations.
        found: Their outcomes.
        present: That of the station file.
        columns: Width of the terminal.
    """
    lines = []
    by_settings = {
        (one.settings.limit_percent, one.settings.deadband_percent, one.settings.on_delay_s): one
        for one in found
    }
    width = max(len(_cell(one, present)) for one in found) + 1
    at_once = max(1, (columns - 11) // max(width, 8))
    for deadband in grid.deadbands_percent:
        for start in range(0, len(grid.on_delays_s), at_once):
            delays = grid.on_delays_s[start : start + at_once]
            lines += ["", f"Alarms by limit and delay, deadband {deadband:g} %:"]
            head = "".join(f"{f'{delay:g} s':>{max(width, 8)}}" for delay in delays)
            lines.append(f"{'limit':>9}{head}")
            for limit in grid.limits_percent:
                cells = [_cell(by_settings[limit, deadband, delay], present) for delay in delays]
                row = "".join(f"{cell:>{max(width, 8)}}" for cell in cells)
                lines.append(f"{f'{limit:g} %':>9}{row}")
    return lines


def curve(found: tuple[Outcome, ...], latest_s: float, *, bars: bool = True) -> list[str]:
    """Return the fewest alarms that each time until the sound can be had for.

    Args:
        found: The outcomes.
        latest_s: What comes later is too late (s).
        bars: Draw the alarms as bars as well.
    """
    best = frontier(found)
    most = max(1, *(one.alarms for one in best))
    lines = ["", "Heard after, and the fewest alarms that this costs:"]
    for one in best:
        bar = f"|{'#' * round(_BAR_COLUMNS * one.alarms / most):<{_BAR_COLUMNS}} " if bars else ""
        late = " too late" if one.heard_after_s > latest_s else ""
        lines.append(f"{one.heard_after_s:7.1f} s {bar}{one.alarms:>6} ({_settings(one)}){late}")
    return lines


def _settings(one: Outcome) -> str:
    return f"{one.settings.limit_percent:g} %, {one.settings.on_delay_s:g} s"


def _cell(one: Outcome, present: Outcome) -> str:
    text = f"{one.alarms}*" if one == present else f"{one.alarms}"
    return f"({text})" if one.spare_s < 0.0 else text
