"""Draws one figure over many sessions as SVG: a bar from lowest to highest, a dot at the mean."""

from dataclasses import dataclass
from html import escape
from typing import NamedTuple

from linetender.reports.axis import enclosing, ticks
from linetender.reports.plot import NARROW_PX, WIDE_PX

_LEFT, _RIGHT, _TOP, _HEIGHT, _FOOT = 46.0, 14.0, 32.0, 130.0, 46.0
_BOTTOM = _TOP + _HEIGHT
_MOST_TICKS = 6


class Extent(NamedTuple):
    """A figure of one session, and between which values it was; None where that is not told."""

    mean: float
    lowest: float | None = None
    highest: float | None = None


@dataclass(frozen=True)
class TrendPlot:
    """What is drawn.

    Attributes:
        key: Unlike that of any other plot of the page.
        kind: Colour, as of `Plot`.
        title: Name of the quantity with its unit.
        unit: The unit.
        about: What it shows, in words.
        sessions: Number of sessions on the axis.
        figures: By number of the session, counted from 1; those without are left out.
        limits: At which values a dashed line stands.
    """

    key: str
    kind: str
    title: str
    unit: str
    about: str
    sessions: int
    figures: dict[int, Extent]
    limits: tuple[float, ...] = ()


def draw_trend(plot: TrendPlot) -> str:
    """Return both drawings, for wide and narrow pages."""
    return _drawn(plot, WIDE_PX, "wide") + _drawn(plot, NARROW_PX, "narrow")


def _drawn(plot: TrendPlot, width: float, name: str) -> str:
    key = f"{plot.key}-{name}"
    parts = [
        f'<svg class="{name} {plot.kind}" viewBox="0 0 {width:g} {_BOTTOM + _FOOT:g}" role="img" '
        f'aria-labelledby="{key}-t {key}-d"><title id="{key}-t">{escape(plot.title)}</title>'
        f'<desc id="{key}-d">{escape(plot.about)}</desc>',
        f'<text class="small" x="2" y="{_TOP - 15:g}">{escape(plot.unit)}</text>',
        *_axes(plot, width),
        *_limits(plot, width),
        *_bars(plot, width),
    ]
    return "\n".join([*parts, "</svg>\n"])


def _y(plot: TrendPlot, value: float) -> float:
    low, high = _range(plot)
    return _BOTTOM - _HEIGHT * (value - low) / (high - low)


def _step(plot: TrendPlot, width: float) -> float:
    return (width - _LEFT - _RIGHT) / plot.sessions


def _axes(plot: TrendPlot, width: float) -> list[str]:
    parts = []
    low, high = _range(plot)
    for value in ticks(low, high, _MOST_TICKS):
        parts.append(
            f'<path class="grid" d="M{_LEFT:g} {_y(plot, value):.1f}H{width - _RIGHT:g}"/>'
            f'<text class="small" x="{_LEFT - 6:g}" y="{_y(plot, value) + 4:.1f}" '
            f'text-anchor="end">{value:g}</text>'
        )
    every = max(1, -(-plot.sessions // int((width - _LEFT) // 30)))
    for number in range(1, plot.sessions + 1, every):
        x = _LEFT + _step(plot, width) * (number - 0.5)
        parts.append(
            f'<text class="small" x="{x:.1f}" y="{_BOTTOM + 22:g}" '
            f'text-anchor="middle">{number}</text>'
        )
    parts.append(
        f'<text class="small" x="{_LEFT:g}" y="{_BOTTOM + 39:g}">number of the session</text>'
    )
    return parts


def _limits(plot: TrendPlot, width: float) -> list[str]:
    return [
        f'<path class="limit" d="M{_LEFT:g} {_y(plot, value):.1f}H{width - _RIGHT:g}"/>'
        for value in plot.limits
    ]


def _bars(plot: TrendPlot, width: float) -> list[str]:
    parts = []
    step = _step(plot, width)
    bar = max(2.0, min(14.0, step * 0.5))
    for number, one in plot.figures.items():
        x = _LEFT + step * (number - 0.5)
        if one.lowest is not None and one.highest is not None:
            top, foot = _y(plot, one.highest), _y(plot, one.lowest)
            parts.append(
                f'<rect class="extent" x="{x - bar / 2:.1f}" y="{top:.1f}" width="{bar:.1f}" '
                f'height="{max(1.0, foot - top):.1f}"/>'
            )
        parts.append(
            f'<circle class="dots" cx="{x:.1f}" cy="{_y(plot, one.mean):.1f}" '
            f'r="{min(4.0, bar):.1f}"/>'
        )
    return parts


def _range(plot: TrendPlot) -> tuple[float, float]:
    values = [value for one in plot.figures.values() for value in one if value is not None]
    values += plot.limits
    return enclosing(min(values, default=0.0), max(values, default=1.0), _MOST_TICKS)
