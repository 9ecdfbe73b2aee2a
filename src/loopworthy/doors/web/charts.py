"""Charts: axes that hold their points, with round ticks, for templates/parts/chart.html."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a chart: its name, and its points with a gap where y is None."""

    name: str
    points: tuple[tuple[float, float | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitLine:
    """A limit drawn across a chart."""

    y: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A line chart, as templates/parts/chart.html draws it; at most four lines."""

    id: str
    title: str
    summary: str
    x_label: str
    y_label: str
    x_min: float
    x_max: float
    y_min: float
    y_max: float
    x_ticks: tuple[tuple[float, str], ...]
    y_ticks: tuple[tuple[float, str], ...]
    series: tuple[Line, ...]
    limits: tuple[LimitLine, ...] = ()
    table_head: tuple[str, ...] = ()
    table_rows: tuple[tuple[str, ...], ...] = ()


def line_chart(
    *,
    id: str,
    title: str,
    summary: str,
    x_label: str,
    y_label: str,
    series: Sequence[Line],
    limits: Sequence[LimitLine] = (),
    least_span: float = 1.0,
    whole_x: bool = False,
    table_head: tuple[str, ...] = (),
    table_rows: tuple[tuple[str, ...], ...] = (),
) -> Chart:
    """A chart whose axes hold all its points and limits.

    Parameters
    ----------
    least_span : float
        The y axis spans at least this, so that noise does not look like a change; in the unit of y.
    whole_x : bool
        Whether x counts things, so that only whole numbers are marked.
    """
    xs = [x for line in series for x, _ in line.points]
    ys = [y for line in series for _, y in line.points if y is not None] + [limit.y for limit in limits]
    x_min, x_max, x_ticks = _axis(xs, 1.0, 5, whole=whole_x)
    y_min, y_max, y_ticks = _axis(ys, least_span, 5)
    return Chart(
        id=id,
        title=title,
        summary=summary,
        x_label=x_label,
        y_label=y_label,
        x_min=x_min,
        x_max=x_max,
        y_min=y_min,
        y_max=y_max,
        x_ticks=x_ticks,
        y_ticks=y_ticks,
        series=tuple(series[:4]),
        limits=tuple(limits),
        table_head=table_head,
        table_rows=table_rows,
    )


def _axis(
    values: Sequence[float], least_span: float, about: int, *, whole: bool = False
) -> tuple[float, float, tuple[tuple[float, str], ...]]:
    """Ends and ticks of an axis: round steps of 1, 2 or 5 that hold every value."""
    low, high = (min(values), max(values)) if values else (0.0, least_span)
    if high - low < least_span:
        middle = (low + high) / 2
        low, high = middle - least_span / 2, middle + least_span / 2
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw)
    step = max(step, 1.0) if whole else step
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    ticks = tuple((number * step, f"{number * step:.{places}f}") for number in range(first, last + 1))
    return first * step, last * step, ticks
