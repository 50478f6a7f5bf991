"""Draws alarms against delay as SVG, by hand: one file that needs nothing else."""

from dataclasses import dataclass
from html import escape

from linetender.reports.axis import enclosing, ticks
from linetender.reports.palette import DARK, LIGHT, variables
from linetender.reports.tuning import Outcome, frontier

_WIDTH, _HEIGHT = 900.0, 480.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 876.0, 92.0, 400.0
_MOST_TICKS = 8
_LATE_ROOM = 1.15

_STYLE = (
    f"svg{{color-scheme:light dark;{variables(LIGHT)}background:var(--ground)}}"
    f"@media screen and (prefers-color-scheme:dark){{svg{{{variables(DARK)}}}}}"
    "text{fill:var(--text);font:14px system-ui,sans-serif}.small{fill:var(--muted);font-size:13px}"
    ".title{font-size:17px;font-weight:600}.grid{stroke:var(--grid);fill:none}"
    ".axis{stroke:var(--muted);fill:none}.limit{stroke:var(--limit);stroke-dasharray:7 4}"
    ".dot{fill:var(--ground);stroke:var(--muted)}"
    ".curve{fill:none;stroke:var(--air);stroke-width:2}.best{fill:var(--air)}"
    ".present{fill:none;stroke:var(--look);stroke-width:3}"
    ".suggested{fill:none;stroke:var(--other);stroke-width:3}"
)


@dataclass(frozen=True)
class TunePlot:
    """What is drawn.

    Attributes:
        title: Rule and recordings.
        found: All outcomes.
        present: That of the station file.
        suggested: The one that is suggested, or None.
        latest_s: A sound after this (s) comes too late.
    """

    title: str
    found: tuple[Outcome, ...]
    present: Outcome
    suggested: Outcome | None
    latest_s: float


def draw_tuning(plot: TunePlot) -> str:
    """Return the drawing."""
    return "\n".join([*_head(plot), *_axes(plot), *_latest(plot), *_points(plot), "</svg>\n"])


def _head(plot: TunePlot) -> list[str]:
    about = (
        "Each dot is one combination of limit, deadband and delay: how soon a fan that stops "
        "is heard, and how many alarms there would have been."
    )
    marks = [
        ('<circle class="best" cx="{x:g}" cy="51" r="5"/>', "none is better in both"),
        ('<circle class="dot" cx="{x:g}" cy="51" r="4"/>', "all others"),
        ('<rect class="present" x="{y:g}" y="44" width="14" height="14"/>', "station file"),
        ('<path class="suggested" d="M{x:g} 41l10 10l-10 10l-10 -10z"/>', "suggested"),
    ]
    if plot.suggested in (None, plot.present):
        marks.pop()
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" '
        f'role="img" aria-labelledby="t d"><style>{_STYLE}</style>'
        f'<title id="t">{escape(plot.title)}</title><desc id="d">{about}</desc>'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" style="fill:var(--ground)"/>'
        f'<text class="title" x="14" y="28">{escape(plot.title)}</text>'
    ]
    for place, (mark, name) in enumerate(marks):
        x = 26.0 + 200.0 * place
        parts.append(mark.format(x=x, y=x - 7.0))
        parts.append(f'<text x="{x + 16:g}" y="56">{name}</text>')
    return parts


def _axes(plot: TunePlot) -> list[str]:
    parts = []
    low, high = _span_s(plot)
    for value in ticks(low, high, _MOST_TICKS):
        x = _x(plot, value)
        parts.append(
            f'<path class="grid" d="M{x:.1f} {_TOP:g}V{_BOTTOM:g}"/>'
            f'<text class="small" x="{x:.1f}" y="{_BOTTOM + 20:g}" '
            f'text-anchor="middle">{value:g}</text>'
        )
    for value in ticks(0.0, _most(plot), _MOST_TICKS):
        if value != round(value):
            continue
        y = _y(plot, value)
        parts.append(
            f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{_RIGHT:g}"/>'
            f'<text class="small" x="{_LEFT - 8:g}" y="{y + 4:.1f}" '
            f'text-anchor="end">{value:g}</text>'
        )
    parts += [
        f'<path class="axis" d="M{_LEFT:g} {_TOP:g}V{_BOTTOM:g}H{_RIGHT:g}"/>',
        f'<text x="14" y="{_TOP - 10:g}">alarms in these recordings</text>',
        f'<text x="{(_LEFT + _RIGHT) / 2:g}" y="{_BOTTOM + 46:g}" text-anchor="middle">'
        "a fan that stops is heard after (s)</text>",
    ]
    return parts


def _latest(plot: TunePlot) -> list[str]:
    if plot.latest_s > _span_s(plot)[1]:
        return [
            f'<text class="small" x="{_RIGHT:g}" y="{_BOTTOM + 68:g}" text-anchor="end">'
            f"The air in the hood allows {plot.latest_s:.1f} s, right of this plot.</text>"
        ]
    x = _x(plot, plot.latest_s)
    return [
        f'<path class="limit" d="M{x:.1f} {_TOP:g}V{_BOTTOM:g}"/>',
        f'<text class="small" x="{_RIGHT:g}" y="{_BOTTOM + 68:g}" text-anchor="end">'
        f"dashed: from {plot.latest_s:.1f} s on it comes too late</text>",
    ]


def _points(plot: TunePlot) -> list[str]:
    best = frontier(plot.found)
    parts = []
    for one in plot.found:
        if one not in best:
            parts.append(f'<circle class="dot" cx="{_cx(plot, one)}" cy="{_cy(plot, one)}" r="4"/>')
    line = "".join(f"H{_cx(plot, one)}V{_cy(plot, one)}" for one in best[1:])
    parts.append(f'<path class="curve" d="M{_cx(plot, best[0])} {_cy(plot, best[0])}{line}"/>')
    for one in best:
        parts.append(f'<circle class="best" cx="{_cx(plot, one)}" cy="{_cy(plot, one)}" r="5"/>')
    x, y = _x(plot, plot.present.heard_after_s), _y(plot, plot.present.alarms)
    parts.append(f'<rect class="present" x="{x - 9:.1f}" y="{y - 9:.1f}" width="18" height="18"/>')
    if plot.suggested is not None and plot.suggested != plot.present:
        at = f"M{_cx(plot, plot.suggested)} {_cy(plot, plot.suggested)}"
        parts.append(f'<path class="suggested" d="{at}m0 -12l12 12l-12 12l-12 -12z"/>')
    return parts


def _span_s(plot: TunePlot) -> tuple[float, float]:
    times = [one.heard_after_s for one in plot.found]
    if plot.latest_s < max(times) * _LATE_ROOM:
        times.append(plot.latest_s)
    return enclosing(0.0, max(times), _MOST_TICKS)


def _most(plot: TunePlot) -> float:
    return enclosing(0.0, max(1, *(one.alarms for one in plot.found)), _MOST_TICKS)[1]


def _x(plot: TunePlot, at_s: float) -> float:
    low, high = _span_s(plot)
    return _LEFT + (_RIGHT - _LEFT) * (at_s - low) / (high - low)


def _y(plot: TunePlot, alarms: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * alarms / _most(plot)


def _cx(plot: TunePlot, one: Outcome) -> str:
    return f"{_x(plot, one.heard_after_s):.1f}"


def _cy(plot: TunePlot, one: Outcome) -> str:
    return f"{_y(plot, one.alarms):.1f}"
