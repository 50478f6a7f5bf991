"""Draws delay against false alarms as SVG, by hand: one file that needs nothing else.

Each panel is one arrangement, each curve one limit, each mark one on-delay. Further left is
sooner, further down is quieter; how far left one can get at all shows as Lorden's bound.
"""

from dataclasses import dataclass
from html import escape
from math import log10

from linetender.reports.axis import ticks
from linetender.reports.palette import DARK, LIGHT, variables

_WIDTH, _HEIGHT = 900.0, 600.0
_TOP, _BOTTOM = 118.0, 404.0
_LANES = 428.0
"""Under it lie those that never sounded falsely, a lane for each limit."""
_LANE_PX = 15.0
_FOOT = 484.0
_PANEL_PX, _FIRST_X, _NEXT_X = 350.0, 66.0, 520.0
_LONGEST_S = 12.0
_LEAST_RATE, _MOST_RATE = 1.0, 1e5
_MOST_TICKS = 6
_COLOURS = ("oxygen", "air", "pulse", "other")
_MARKS = (
    "M-5 -5h10v10h-10z",
    "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0z",
    "M0 -7l7 12h-14z",
    "M0 -7l6 7l-6 7l-6-7z",
)

_STYLE = (
    f"svg{{color-scheme:light dark;{variables(LIGHT)}background:var(--ground)}}"
    f"@media screen and (prefers-color-scheme:dark){{svg{{{variables(DARK)}}}}}"
    "text{fill:var(--text);font:14px system-ui,sans-serif}.small{fill:var(--muted);font-size:13px}"
    ".title{font-size:17px;font-weight:600}.name{font-weight:600}"
    ".grid{stroke:var(--grid);fill:none}.axis{stroke:var(--muted);fill:none}"
    ".limit{stroke:var(--limit);stroke-dasharray:7 4;fill:none}"
    ".bound{stroke:var(--leave);stroke-width:2;stroke-dasharray:2 3;fill:none}"
    ".bound-name{fill:var(--leave)}.shipped{fill:none;stroke:var(--look);stroke-width:3}"
    + "".join(
        f".c{place}{{fill:var(--{name})}}.l{place}{{fill:none;stroke:var(--{name});stroke-width:2}}"
        for place, name in enumerate(_COLOURS)
    )
)


@dataclass(frozen=True)
class Choice:
    """One limit and on-delay, and what they come to.

    Attributes:
        limit_percent: Of the baseline.
        on_delay_s: On-delay.
        delay_s: From the onset to the alarm: the median.
        false_per_1000_h: False alarms; 0 where there was none in the hours lived.
    """

    limit_percent: float
    on_delay_s: float
    delay_s: float
    false_per_1000_h: float


@dataclass(frozen=True)
class Panel:
    """One arrangement.

    Attributes:
        name: What it is called.
        choices: What is drawn.
        bound: (false alarms per 1000 h, seconds that no detector comes below).
        hours: Hours of ordinary use lived.
    """

    name: str
    choices: tuple[Choice, ...]
    bound: tuple[tuple[float, float], ...]
    hours: int


@dataclass(frozen=True)
class DetectionPlot:
    """What is drawn.

    Attributes:
        title: In a line.
        note: Where the figures are from, in a line.
        panels: Two of them, left and right.
        shipped: Limit (%) and on-delay (s) of the default rule, which is ringed.
        budgets: Seconds after which an alarm is too late, each with what that leaves time for.
    """

    title: str
    note: str
    panels: tuple[Panel, Panel]
    shipped: tuple[float, float]
    budgets: tuple[tuple[float, str], ...]


def draw_detection(plot: DetectionPlot) -> str:
    """Return the drawing."""
    parts = _head(plot)
    for panel, left in zip(plot.panels, (_FIRST_X, _NEXT_X), strict=True):
        parts += [*_axes(panel, left), *_budgets(plot, left), *_bound(panel, left)]
        parts += _curves(plot, panel, left)
    return "\n".join([*parts, *_foot(plot), "</svg>\n"])


def _limits(plot: DetectionPlot) -> list[float]:
    return sorted({choice.limit_percent for panel in plot.panels for choice in panel.choices})


def _head(plot: DetectionPlot) -> list[str]:
    about = (
        "Two panels, one for each arrangement. Across: seconds from the onset of the fault to the "
        "alarm. Upwards: false alarms in 1000 hours of ordinary use. One curve for each limit."
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" '
        f'role="img" aria-labelledby="t d"><style>{_STYLE}</style>'
        f'<title id="t">{escape(plot.title)}</title><desc id="d">{about}</desc>'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" style="fill:var(--ground)"/>'
        f'<text class="title" x="14" y="28">{escape(plot.title)}</text>'
    ]
    x = 26.0
    for place, limit in enumerate(_limits(plot)):
        parts.append(
            f'<path class="c{place}" transform="translate({x:g} 51)" d="{_MARKS[place]}"/>'
            f'<text x="{x + 14:g}" y="56">under {limit:g} %</text>'
        )
        x += 118.0
    parts.append(
        f'<circle class="shipped" cx="{x + 4:g}" cy="51" r="9"/>'
        f'<text x="{x + 22:g}" y="56">the default: {plot.shipped[0]:g} %, '
        f"{plot.shipped[1]:g} s</text>"
    )
    return parts


def _axes(panel: Panel, left: float) -> list[str]:
    right = left + _PANEL_PX
    parts = [
        f'<text x="{left:g}" y="{_TOP - 34:g}"><tspan class="name">{escape(panel.name)}</tspan>: '
        "false alarms in 1000 h</text>"
    ]
    for value in ticks(0.0, _LONGEST_S, _MOST_TICKS):
        x = _x(left, value)
        parts.append(
            f'<path class="grid" d="M{x:.1f} {_TOP:g}V{_FOOT:g}"/><text class="small" '
            f'x="{x:.1f}" y="{_FOOT + 20:g}" text-anchor="middle">{value:g}</text>'
        )
    decades = range(round(log10(_LEAST_RATE)), round(log10(_MOST_RATE)) + 1)
    rows = [(_y(10.0**decade), f"{10**decade:,}".replace(",", " ")) for decade in decades]
    for y, label in [*rows, (_LANES + 1.5 * _LANE_PX, "none")]:
        parts.append(
            f'<text class="small" x="{left - 6:g}" y="{y + 4:.1f}" text-anchor="end">{label}</text>'
        )
    parts += [f'<path class="grid" d="M{left:g} {y:.1f}H{right:g}"/>' for y, _ in rows]
    parts += [
        f'<path class="axis" d="M{left:g} {_TOP:g}V{_FOOT:g}H{right:g}"/>',
        f'<text x="{(left + right) / 2:g}" y="{_FOOT + 42:g}" text-anchor="middle">'
        "from the onset to the alarm, median (s)</text>",
    ]
    return parts


def _budgets(plot: DetectionPlot, left: float) -> list[str]:
    parts = []
    for number, (budget_s, _) in enumerate(plot.budgets, start=1):
        x = _x(left, budget_s)
        parts.append(
            f'<path class="limit" d="M{x:.1f} {_TOP - 8:g}V{_FOOT:g}"/>'
            f'<text class="small" x="{x:.1f}" y="{_TOP - 12:g}" text-anchor="middle">'
            f"budget {number}</text>"
        )
    return parts


def _bound(panel: Panel, left: float) -> list[str]:
    points = [(_x(left, at_s), _y(rate)) for rate, at_s in sorted(panel.bound)]
    if not points:
        return []
    line = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    x = points[-1][0] + 7.0
    return [
        f'<path class="bound" d="M{line}"/>',
        f'<text class="small bound-name" x="{x:.1f}" y="{_TOP + 15:g}">bound</text>',
    ]


def _curves(plot: DetectionPlot, panel: Panel, left: float) -> list[str]:
    parts = []
    for place, limit in enumerate(_limits(plot)):
        chosen = [choice for choice in panel.choices if choice.limit_percent == limit]
        chosen.sort(key=lambda choice: choice.on_delay_s)
        lane = _LANES + _LANE_PX * place
        at = [(_x(left, one.delay_s), _y(one.false_per_1000_h, lane)) for one in chosen]
        line = "L".join(f"{x:.1f} {y:.1f}" for x, y in at)
        parts.append(f'<path class="l{place}" d="M{line}"/>')
        for (x, y), choice in zip(at, chosen, strict=True):
            parts.append(
                f'<path class="c{place}" transform="translate({x:.1f} {y:.1f})" '
                f'd="{_MARKS[place]}"><title>{choice.limit_percent:g} %, {choice.on_delay_s:g} s: '
                f"{choice.delay_s:.2f} s, {choice.false_per_1000_h:.0f} in 1000 h</title></path>"
            )
            if (choice.limit_percent, choice.on_delay_s) == plot.shipped:
                parts.append(f'<circle class="shipped" cx="{x:.1f}" cy="{y:.1f}" r="11"/>')
    return parts


def _foot(plot: DetectionPlot) -> list[str]:
    lines = [
        "; ".join(
            f"budget {number}: at {at_s:.1f} s, {left_for}"
            for number, (at_s, left_for) in enumerate(plot.budgets, start=1)
        ),
        plot.note,
    ]
    return [
        f'<text class="small" x="14" y="{_HEIGHT - 34 + 20 * row:g}">{escape(line)}</text>'
        for row, line in enumerate(lines)
    ]


def _x(left: float, at_s: float) -> float:
    return left + _PANEL_PX * min(at_s, _LONGEST_S) / _LONGEST_S


def _y(rate: float, none_y: float = _LANES) -> float:
    if rate <= 0.0:
        return none_y
    part = log10(max(rate, _LEAST_RATE) / _LEAST_RATE) / log10(_MOST_RATE / _LEAST_RATE)
    return _BOTTOM - (_BOTTOM - _TOP) * min(part, 1.0)
