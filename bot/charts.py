"""Pictures, drawn when they are sent and never in a turn: debrief data → PNG.

Depth runs downward, as on the line. Nothing is told by colour: how a dive ended is a word under
its bar and a hatch on it, and the whole picture is grey, so that it reads the same in the sun,
on paper and to an eye that sees no red.
"""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from math import floor
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, ValidationError

from storage.outcome import Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN, HEIGHT_IN, DOTS_PER_IN = 6.0, 7.5, 160
"""960 × 1200 dots: a phone's width with letters of 2 mm and more when it is held upright."""

INK, SOFT, PALE = "#111111", "#6b6b6b", "#d9d9d9"
WHITE = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
HATCHES = {"clean": "", "early": "..", "hard": "//", "stop": "xx"}


class ChartError(Exception):
    """The picture's data can't be read, or nobody knows how to draw its kind."""


class DiveBar(BaseModel):
    """One dive of the session: null where a depth or a target is not known."""

    model_config = ConfigDict(frozen=True, extra="ignore")
    n: int
    depth_m: float | None = None
    target_m: float | None = None
    ending: str


class DebriefData(BaseModel):
    """What a debrief's picture shows; the form of `Picture.data` for the kind `debrief`.

    `{"dives": [{"n": 1, "depth_m": 7, "target_m": 7, "ending": "clean"}],
    "history": [["2026-05-05", 7.0]], "base_m": 19.0, "exercise": "FRC", "diver": "mara",
    "on": "2026-05-05"}`; what is not known is null or left out.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")
    dives: tuple[DiveBar, ...] = ()
    history: tuple[tuple[date, float], ...] = ()
    base_m: float | None = None
    exercise: str | None = None
    diver: str = ""
    on: date | None = None


class BoundBar(BaseModel):
    """A full-lung depth that the exhale depth speaks for by one reading, with its band, metres."""

    model_config = ConfigDict(frozen=True, extra="ignore")
    kind: str
    depth_m: float
    low_m: float
    high_m: float


class ReadyData(BaseModel):
    """What the picture of `ready` shows; the form of `Picture.data` for the kind `ready`.

    `from_m` is the exhale depth that speaks, held or (`is_held` false) the base that is still to
    be held; `binding` is the kind of the least bound.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")
    bounds: tuple[BoundBar, ...]
    binding: str | None = None
    from_m: float | None = None
    is_held: bool = True
    pb_m: float | None = None
    stage_m: float | None = None
    goal_m: float | None = None
    exercise: str | None = None
    diver: str = ""
    on: date | None = None


def draw(picture: Picture) -> bytes:
    """The picture as a PNG."""
    try:
        if picture.kind == "debrief":
            figure = debrief_figure(DebriefData.model_validate_json(picture.data))
        elif picture.kind == "ready":
            figure = ready_figure(ReadyData.model_validate_json(picture.data))
        else:
            raise ChartError(f"no such picture: {picture.kind}")
    except ValidationError as error:
        # The data names a diver: say what is wrong with it, never what it says.
        raise ChartError(f"unreadable data: {error.error_count()} errors") from None
    drawn = io.BytesIO()
    figure.savefig(
        drawn, format="png", dpi=DOTS_PER_IN, facecolor="white", metadata={"Software": None}
    )
    return drawn.getvalue()


def _sheet(diver: str, exercise: str | None, on: date | None) -> Figure:
    """An empty sheet with its title."""
    _make_font_cache_writable()
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), layout="constrained")
    figure.get_layout_engine().set(h_pad=0.12, w_pad=0.08)  # type: ignore[union-attr,call-arg]
    title = " · ".join(filter(None, (diver, exercise, _day(on) if on else "")))
    figure.suptitle(_drawable(title), fontsize=17, fontweight="bold", color=INK)
    return figure


def ready_figure(data: ReadyData) -> Figure:
    """The bounds as bars from the surface with their bands, against best, stage and goal."""
    figure = _sheet(data.diver, data.exercise, data.on)
    axes = figure.subplots()
    lines = _named_depths(data)
    deepest = max((b.depth_m for b in data.bounds), default=10.0)
    shown = max([deepest * 1.15, *(depth for depth, _ in lines)])
    title = "What it speaks for on full lungs"
    if data.from_m is not None:
        held = "held speaks" if data.is_held else ", once held, would speak"
        title = f"{_metres(data.from_m)} m{' ' if data.is_held else ''}{held} for, on full lungs"
    _depth_axis(axes, title, [shown])
    reach = axes.get_ylim()[0]
    count = max(len(data.bounds), 1)
    axes.set_xlim(-0.5, count + 0.5)
    heads = []
    for place, bound in enumerate(data.bounds):
        binds = bound.kind == data.binding
        axes.bar(
            place, bound.depth_m, width=0.6, color=PALE, edgecolor=INK, zorder=2,
            linewidth=3.0 if binds else 1.2, hatch="//" if binds else "",
        )  # fmt: skip
        _draw_band(axes, place, bound, reach)
        depth = _metres(floor(bound.depth_m * 2 + 1e-9) / 2)
        heads.append(f"{_drawable(bound.kind)}\n{depth} m\n{'binds' if binds else ''}")
    axes.set_xticks(range(len(heads)), heads)
    axes.xaxis.tick_top()
    for depth_m, name, is_above in _with_sides(lines):
        axes.axhline(depth_m, color=INK, linewidth=2.0, linestyle=(0, (6, 3)), zorder=3)
        axes.annotate(
            name, (1.0, depth_m), xycoords=("axes fraction", "data"),
            xytext=(-2, 4 if is_above else -4), textcoords="offset points", ha="right",
            va="bottom" if is_above else "top", fontsize=13, fontweight="bold", color=INK, zorder=6,
        )  # fmt: skip
    return figure


def _draw_band(axes: Axes, place: int, bound: BoundBar, reach: float) -> None:
    """The band as a line with ends; one that leaves the picture has no lower end."""
    if bound.low_m >= bound.high_m:
        return
    is_whole = bound.high_m <= reach
    high = bound.high_m if is_whole else reach
    axes.plot([place, place], [bound.low_m, high], color=INK, linewidth=2.0, zorder=5)
    for end in (bound.low_m, high) if is_whole else (bound.low_m,):
        axes.plot([place - 0.1, place + 0.1], [end, end], color=INK, linewidth=2.0, zorder=5)


def _with_sides(lines: Sequence[tuple[float, str]]) -> Iterator[tuple[float, str, bool]]:
    """Each line with whether its name stands above it: the side where its neighbour is further."""
    depths = [depth for depth, _ in lines]
    for n, (depth, name) in enumerate(lines):
        before = depth - depths[n - 1] if n else depth
        after = depths[n + 1] - depth if n + 1 < len(depths) else 0.0
        yield depth, name, n == 0 or (before > after and n + 1 < len(depths))


def _named_depths(data: ReadyData) -> list[tuple[float, str]]:
    """Best, stage and goal, those of one depth under one name, the shallowest first."""
    named: dict[float, list[str]] = {}
    for name, depth in (("best", data.pb_m), ("stage", data.stage_m), ("goal", data.goal_m)):
        if depth is not None:
            named.setdefault(depth, []).append(name)
    return [
        # a stage that is the goal is called that; where all three are one, it is reached
        (depth, f"{names[-1]} {_metres(depth)} m")
        for depth, names in sorted(named.items())
    ]


def debrief_figure(data: DebriefData) -> Figure:
    """Two panels: the session's dives against their targets, and clean depth over the weeks."""
    figure = _sheet(data.diver, data.exercise, data.on)
    session, weeks = figure.subplots(2, 1, height_ratios=(1.15, 1.0))
    _draw_session(session, data.dives)
    _draw_weeks(weeks, data.history, data.base_m)
    return figure


def _draw_session(axes: Axes, dives: Sequence[DiveBar]) -> None:
    _depth_axis(
        axes, "Dives and their targets", [d.depth_m for d in dives] + [d.target_m for d in dives]
    )
    reach = axes.get_ylim()[0]
    axes.set_xlim(-0.6, max(len(dives), 3) - 0.4)
    for place, dive in enumerate(dives):
        if dive.depth_m is not None:
            axes.bar(
                place, dive.depth_m, width=0.62, color=PALE, edgecolor=INK, linewidth=1.4,
                hatch=HATCHES.get(dive.ending, "++"), zorder=2,
            )  # fmt: skip
        if dive.target_m is not None:
            axes.plot(
                [place - 0.42, place + 0.42], [dive.target_m] * 2, color=INK, linewidth=4,
                solid_capstyle="butt", zorder=4,
                label="target" if not _labels(axes) else "_target",
            )  # fmt: skip
        depth = "depth ?" if dive.depth_m is None else f"{_metres(dive.depth_m)} m"
        axes.text(
            place, _room_for_words(dive, reach) + reach * 0.03,
            f"{depth}\n{_drawable(dive.ending)}", ha="center", va="top", zorder=3,
            fontsize=_fitting(len(dives)), color=INK, linespacing=1.15, bbox=WHITE,
        )  # fmt: skip
    axes.set_xticks(range(len(dives)), [str(dive.n) for dive in dives])
    axes.xaxis.tick_top()
    if _labels(axes):
        # Beside the title, where no bar and no word can come under it.
        axes.legend(
            loc="lower right", bbox_to_anchor=(1.0, 1.08), fontsize=13, frameon=False,
            borderaxespad=0,
        )  # fmt: skip
    if not dives:
        axes.text(
            0.5, 0.5, "no dives", transform=axes.transAxes, ha="center", fontsize=14, color=SOFT
        )


def _draw_weeks(axes: Axes, history: Sequence[tuple[date, float]], base_m: float | None) -> None:
    _depth_axis(axes, "Clean depth over the weeks", [depth for _, depth in history] + [base_m])
    points = sorted(history)
    days = [on.toordinal() for on, _ in points]
    first, last = (days[0], days[-1]) if days else (0, 0)
    margin = max(3.0, (last - first) * 0.08)
    axes.set_xlim(first - margin, last + margin)
    if base_m is not None:
        axes.axhline(base_m, color=INK, linewidth=2.2, linestyle=(0, (6, 3)), zorder=2)
        axes.annotate(
            f"base {_metres(base_m)} m", (0.0, base_m), xycoords=("axes fraction", "data"),
            xytext=(4, -5), textcoords="offset points", ha="left", va="top",
            fontsize=13, fontweight="bold", color=INK, bbox=WHITE,
        )  # fmt: skip
    if not points:
        axes.text(
            0.5,
            0.4,
            "no clean dive yet",
            transform=axes.transAxes,
            ha="center",
            fontsize=14,
            color=SOFT,
        )
        axes.set_xticks([])
        return
    depths = [depth for _, depth in points]
    axes.plot(days, depths, color=INK, linewidth=1.8, marker="o", markersize=8, zorder=3)
    axes.annotate(
        f"{_metres(depths[-1])} m", (days[-1], depths[-1]), xytext=(0, -11),
        textcoords="offset points", ha="center", va="top", fontsize=13, color=INK, bbox=WHITE,
    )  # fmt: skip
    axes.set_xticks(ticks := _spread(days), [_day(date.fromordinal(day)) for day in ticks])


def _depth_axis(axes: Axes, title: str, depths: Iterable[float | None]) -> None:
    """A depth axis: the surface above, room for two lines of words below the deepest mark."""
    from matplotlib.ticker import MaxNLocator

    deepest = max((depth for depth in depths if depth is not None), default=10.0)
    axes.set_title(title, fontsize=14, loc="left", color=INK, pad=8)
    axes.set_ylim(max(deepest, 2.0) * 1.32, 0.0)
    axes.set_ylabel("depth, m", fontsize=13, color=INK)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    axes.grid(axis="y", color=PALE, linewidth=1.0, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=13, colors=INK, length=0)
    for side in ("right", "bottom", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["top"].set_color(INK)
    axes.spines["top"].set_linewidth(2.0)


def _room_for_words(dive: DiveBar, reach: float) -> float:
    """Where two lines of words go: under the bar, or under a target that is in the way."""
    depth_m, target_m = dive.depth_m or 0.0, dive.target_m or 0.0
    return (
        depth_m
        if dive.depth_m is not None and depth_m + reach * 0.24 < target_m
        else max(depth_m, target_m)
    )


def _labels(axes: Axes) -> bool:
    return bool(axes.get_legend_handles_labels()[1])


def _fitting(dives: int) -> int:
    """The size of the words under a bar, so that neighbours don't touch."""
    return 14 if dives <= 5 else 12 if dives <= 7 else 9


def _metres(depth_m: float) -> str:
    return f"{depth_m:.1f}".removesuffix(".0")


def _day(on: date) -> str:
    return f"{on.day} {on:%b}"


def _drawable(words: str) -> str:
    """A name as it can be drawn: `$` would begin a formula, a control character is no letter."""
    return "".join(c if c.isprintable() else " " for c in words)[:60].replace("$", r"\$")


def _spread(days: Sequence[int], at_most: int = 4) -> list[int]:
    """At most so many of the days, the first and the last among them, none too near another."""
    if len(set(days)) == 1:
        return [days[0]]
    first, last = days[0], days[-1]
    count = min(at_most, len(set(days)))
    return sorted(
        {
            min(days, key=lambda d: abs(d - (first + (last - first) * i / (count - 1))))
            for i in range(count)
        }
    )


def _make_font_cache_writable() -> None:
    """Matplotlib keeps a cache of fonts; where the home folder is read-only, give it a place.

    Has to happen before its first import; whoever runs the bot may have set a folder already.
    """
    if "MPLCONFIGDIR" not in os.environ:
        home = os.path.expanduser("~")
        if not os.access(home, os.W_OK):
            os.environ["MPLCONFIGDIR"] = tempfile.mkdtemp(prefix="buoyside-fonts-")
