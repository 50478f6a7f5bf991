"""Draws one curve of a session as SVG, by hand: no library, nothing to install.

Each plot is drawn twice, for a wide and for a narrow page; the style sheet shows one.
"""

from dataclasses import dataclass, field
from html import escape
from math import ceil

from linetender.core.instants import from_seconds, to_seconds
from linetender.reports.axis import enclosing, ticks, time_ticks
from linetender.reports.marks import labels
from linetender.reports.session_facts import Episode, StageFact
from linetender.reports.trace import Piece

WIDE_PX = 900.0
NARROW_PX = 420.0

_LANE = 26.0
_HEIGHT = 150.0
_FOOT = 46.0
_MOST_TICKS = 7
_STAGE_NAMES = {"idle": "not worn", "pre_use": "check", "worn": "worn", "service": "service"}


@dataclass(frozen=True)
class Plot:
    """What is drawn.

    Attributes:
        key: Unlike that of any other plot of the page.
        kind: Colour: `air`, `oxygen`, `pulse` or `other`.
        title: Name of the quantity with its unit.
        unit: The unit.
        about: What the plot shows, in words, for those who do not see it.
        pieces: The curve.
        piece_ns: Length of one piece (ns).
        gap_ns: A longer time without a piece is a time without a reading.
        length_s: Of the session.
        span: Values that the axis shows at least.
        relative_uncertainty: Twice this part of the mean up and down is drawn as a band.
        limits: Lines to draw, each with its name (for the caption).
        alarms: Marks to draw.
        stages: Strip to draw under the plot; empty for none.
    """

    key: str
    kind: str
    title: str
    unit: str
    about: str
    pieces: list[Piece]
    piece_ns: int
    gap_ns: int
    length_s: float
    span: tuple[float, float]
    relative_uncertainty: float = 0.0
    limits: tuple[tuple[float, str], ...] = ()
    alarms: tuple[Episode, ...] = ()
    stages: tuple[StageFact, ...] = field(default=())


def draw(plot: Plot) -> str:
    """Return both drawings of a plot."""
    return _Drawing(plot, WIDE_PX, "wide").text() + _Drawing(plot, NARROW_PX, "narrow").text()


class _Drawing:
    def __init__(self, plot: Plot, width: float, name: str) -> None:
        self.plot = plot
        self.name = name
        self.width = width
        self.left, self.right = 46.0, width - 52.0
        self.top = _LANE + 24.0
        self.bottom = self.top + _HEIGHT
        self.silent_over_ns = max(plot.gap_ns, 2 * plot.piece_ns)
        self.runs = self._split()
        self.low, self.high = self._range()

    def text(self) -> str:
        plot, key = self.plot, f"{self.plot.key}-{self.name}"
        height = self.bottom + _FOOT + (22.0 if plot.stages else 0.0)
        parts = [
            f'<svg class="{self.name} {plot.kind}" viewBox="0 0 {self.width:g} {height:g}" '
            f'role="img" aria-labelledby="{key}-t {key}-d">'
            f'<title id="{key}-t">{escape(plot.title)}</title>'
            f'<desc id="{key}-d">{escape(plot.about)}</desc>',
            *self._axes(),
            *self._hatches(),
            *self._curves(),
            *self._limits(),
            *self._marks(),
            *self._silence_names(),
            *self._stages(),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def _range(self) -> tuple[float, float]:
        values = [*self.plot.span, *(value for value, _ in self.plot.limits)]
        pieces = self.plot.pieces
        values += [piece.low for piece in pieces] + [piece.high for piece in pieces]
        doubt = 1.0 + 2.0 * self.plot.relative_uncertainty
        values += [piece.mean * doubt for piece in pieces]
        return enclosing(min(values), max(values), _MOST_TICKS)

    def x(self, at_s: float) -> float:
        part = at_s / self.plot.length_s if self.plot.length_s > 0.0 else 0.0
        return self.left + (self.right - self.left) * min(1.0, max(0.0, part))

    def y(self, value: float) -> float:
        part = (value - self.low) / (self.high - self.low)
        return self.bottom - _HEIGHT * min(1.0, max(0.0, part))

    def _axes(self) -> list[str]:
        left, right, bottom = self.left, self.right, self.bottom
        parts = [f'<text class="small" x="2" y="{self.top - 13:g}">{escape(self.plot.unit)}</text>']
        for value in ticks(self.low, self.high, _MOST_TICKS):
            y = self.y(value)
            parts.append(f'<path class="grid" d="M{left:g} {y:.1f}H{right:g}"/>')
            parts.append(
                f'<text class="small" x="{left - 6:g}" y="{y + 4:.1f}" '
                f'text-anchor="end">{value:g}</text>'
            )
        for at_s, label in time_ticks(self.plot.length_s, int((right - left) // 90)):
            x = self.x(at_s)
            anchor = "middle" if x + 22.0 < right else "end"
            parts.append(f'<path class="axis" d="M{x:.1f} {bottom:g}v5"/>')
            parts.append(
                f'<text class="small" x="{x:.1f}" y="{bottom + 22:g}" '
                f'text-anchor="{anchor}">{label}</text>'
            )
        unit = "h:min:s" if self.plot.length_s >= 3600 else "min:s"
        parts.append(f'<path class="axis" d="M{left:g} {self.top:g}V{bottom:g}H{right:g}"/>')
        parts.append(
            f'<text class="small" x="{left:g}" y="{bottom + 39:g}">'
            f"time since the beginning ({unit})</text>"
        )
        return parts

    def _curves(self) -> list[str]:
        parts = []
        most = self.right - self.left  # a piece per px
        for run in self.runs:
            kept = thinned(run, ceil(most * len(run) / len(self.plot.pieces)))
            points = [(self.x(to_seconds(piece.at_ns)), piece) for piece in kept]
            if len(points) == 1:
                x, piece = points[0]
                parts.append(
                    f'<circle class="dots" cx="{x:.1f}" cy="{self.y(piece.mean):.1f}" r="2"/>'
                )
                continue
            u = 2.0 * self.plot.relative_uncertainty
            if u > 0.0:
                edge = [(x, p.mean * (1.0 - u), p.mean * (1.0 + u)) for x, p in points]
                parts.append(f'<path class="doubt" d="{self._band(edge)}"/>')
            edge = [(x, p.low, p.high) for x, p in points]
            parts.append(f'<path class="range" d="{self._band(edge)}"/>')
            line = "L".join(f"{x:.1f} {self.y(p.mean):.1f}" for x, p in points)
            parts.append(f'<path class="curve" d="M{line}"/>')
        return parts

    def _band(self, edge: list[tuple[float, float, float]]) -> str:
        there = "L".join(f"{x:.1f} {self.y(high):.1f}" for x, _, high in edge)
        back = "L".join(f"{x:.1f} {self.y(low):.1f}" for x, low, _ in reversed(edge))
        return f"M{there}L{back}Z"

    def _split(self) -> list[list[Piece]]:
        """Split the curve where there was no reading for longer than one stands."""
        runs: list[list[Piece]] = []
        for piece in self.plot.pieces:
            if runs and piece.at_ns - runs[-1][-1].at_ns <= self.silent_over_ns:
                runs[-1].append(piece)
            else:
                runs.append([piece])
        return runs

    def _silences(self) -> list[tuple[float, float]]:
        """Return where there was no reading, from x to x."""
        edges_ns = [0, *(at for run in self.runs for at in (run[0].at_ns, run[-1].at_ns))]
        edges_ns.append(from_seconds(self.plot.length_s))
        return [
            (self.x(to_seconds(from_ns)), self.x(to_seconds(to_ns)))
            for from_ns, to_ns in zip(edges_ns[::2], edges_ns[1::2], strict=True)
            if to_ns - from_ns > self.silent_over_ns
        ]

    def _hatches(self) -> list[str]:
        return [
            f'<rect class="silent" x="{x:.1f}" y="{self.top:g}" '
            f'width="{to - x:.1f}" height="{_HEIGHT:g}"/>'
            for x, to in self._silences()
        ]

    def _silence_names(self) -> list[str]:
        """Over all else, so that no line crosses the words."""
        return [
            f'<rect class="name-ground" x="{(x + to) / 2 - 38:.1f}" y="{self.top + 6:g}" '
            f'width="76" height="20"/><text x="{(x + to) / 2:.1f}" y="{self.top + 20:g}" '
            'text-anchor="middle">no reading</text>'
            for x, to in self._silences()
            if to - x > 90.0
        ]

    def _limits(self) -> list[str]:
        """Lines with their values beside the plot; what they are limits of, the caption says."""
        parts = []
        label_y = self.bottom + 100.0
        for value in sorted({value for value, _ in self.plot.limits}):
            y = self.y(value)
            parts.append(f'<path class="limit" d="M{self.left:g} {y:.1f}H{self.right:g}"/>')
            label_y = min(y + 4.0, label_y - 15.0)
            parts.append(
                f'<text class="small" x="{self.right + 4:g}" y="{label_y:.1f}">{value:.4g}</text>'
            )
        return parts

    def _marks(self) -> list[str]:
        alarms = self.plot.alarms
        xs = [self.x(alarm.at_s) for alarm in alarms]
        parts = []
        for alarm in alarms:
            lines = {"leave": alarm.leave_s}
            if alarm.leave_s != alarm.at_s:
                lines["look"] = alarm.at_s
            for kind, at_s in lines.items():
                if at_s is not None:
                    foot = f"{_LANE - 2:g}V{self.bottom:g}"
                    parts.append(f'<path class="mark-line {kind}" d="M{self.x(at_s):.1f} {foot}"/>')
        for label in labels(alarms, xs, self.left - 20.0, self.right + 12.0):
            kind = "leave" if label.is_leave else "look"
            corner = 0 if label.is_leave else 11
            parts.append(
                f'<rect class="mark {kind}" x="{label.x - label.width / 2:.1f}" y="2" '
                f'width="{label.width:.1f}" height="22" rx="{corner}"/>'
                f'<text class="mark-name {kind}" x="{label.x:.1f}" y="17.5">{label.text}</text>'
            )
        return parts

    def _stages(self) -> list[str]:
        stages = self.plot.stages
        ends = [*(stage.at_s for stage in stages), self.plot.length_s][1:]
        top = self.bottom + _FOOT
        parts = []
        for stage, end_s in zip(stages, ends, strict=True):
            x, to = self.x(stage.at_s), self.x(end_s)
            parts.append(
                f'<rect class="stage" x="{x:.1f}" y="{top:g}" width="{to - x:.1f}" height="20"/>'
            )
            name = _STAGE_NAMES[stage.stage]
            if to - x > 8.0 * len(name) + 6.0:
                parts.append(
                    f'<text x="{(x + to) / 2:.1f}" y="{top + 14.5:g}" '
                    f'text-anchor="middle">{name}</text>'
                )
        return parts


def thinned(pieces: list[Piece], most: int) -> list[Piece]:
    """Join neighbours until there are no more pieces than that; no extreme is lost."""
    together = -(-len(pieces) // most) if most > 0 else 1
    if together <= 1:
        return pieces
    groups = [pieces[at : at + together] for at in range(0, len(pieces), together)]
    return [
        Piece(
            group[len(group) // 2].at_ns,
            min(piece.low for piece in group),
            max(piece.high for piece in group),
            sum(piece.mean for piece in group) / len(group),
        )
        for group in groups
    ]
