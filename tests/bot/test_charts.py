"""The debrief's picture: what it shows, and that it can be read in the sun and without colour."""

import io
import json
import subprocess
import sys

import numpy as np
import pytest
from matplotlib.image import imread
from matplotlib.text import Text

from bot.charts import ChartError, DebriefData, ReadyData, debrief_figure, draw, ready_figure
from storage.outcome import Picture

FULL = {
    "dives": [
        {"n": 1, "depth_m": 7, "target_m": 7, "ending": "clean"},
        {"n": 2, "depth_m": 8.5, "target_m": 8, "ending": "hard"},
        {"n": 3, "depth_m": 5, "target_m": 8, "ending": "stop"},
        {"n": 4, "depth_m": None, "target_m": 4, "ending": "stop"},
    ],
    "history": [["2026-04-28", 6.0], ["2026-05-05", 7.0]],
    "base_m": 19.0,
    "exercise": "FRC",
    "diver": "mara",
    "on": "2026-05-05",
}


def words(data: dict) -> list[str]:
    """Every word of the figure, drawn, so that what matplotlib refuses to set is found."""
    figure = debrief_figure(DebriefData.model_validate(data))
    figure.savefig(io.BytesIO(), format="png", dpi=40)
    return [t.get_text() for t in figure.findobj(Text) if t.get_text()]


def pixels(data: dict) -> np.ndarray:
    png = draw(Picture(kind="debrief", data=json.dumps(data)))
    return imread(io.BytesIO(png), format="png")[:, :, :3]


def test_each_dive_is_told_in_words():
    """A dive's depth and ending stand under its bar, also where the depth is not known."""
    shown = words(FULL)
    assert {"7 m\nclean", "8.5 m\nhard", "5 m\nstop", "depth ?\nstop"} <= set(shown)
    assert "mara · FRC · 5 May" in shown
    assert "base 19 m" in shown


def test_depth_runs_downward():
    """On both depth axes the surface is above."""
    for axes in debrief_figure(DebriefData.model_validate(FULL)).axes:
        bottom, top = axes.get_ylim()
        assert top == 0 < bottom


def test_bars_hang_to_the_depth_reached():
    """A bar is as long as its dive was deep, and a dive of unknown depth has none."""
    session = debrief_figure(DebriefData.model_validate(FULL)).axes[0]
    assert [bar.get_height() for bar in session.patches] == [7, 8.5, 5]


def test_target_marks_stand_at_the_targets():
    """Each target is a line at its own depth, a missed one too."""
    session = debrief_figure(DebriefData.model_validate(FULL)).axes[0]
    assert [line.get_ydata()[0] for line in session.lines] == [7, 8, 8, 4]


def test_nothing_is_told_by_colour():
    """Every pixel is grey."""
    drawn = pixels(FULL)
    assert np.allclose(drawn[:, :, 0], drawn[:, :, 1])
    assert np.allclose(drawn[:, :, 1], drawn[:, :, 2])


def test_endings_differ_in_the_drawing():
    """Two sessions that differ in one dive's ending alone have different bars."""
    stop = {**FULL, "dives": [{"n": 1, "depth_m": 7, "target_m": 7, "ending": "stop"}]}
    clean = {**FULL, "dives": [{"n": 1, "depth_m": 7, "target_m": 7, "ending": "clean"}]}
    hatches = [
        debrief_figure(DebriefData.model_validate(d)).axes[0].patches[0].get_hatch()
        for d in (stop, clean)
    ]
    assert hatches[0] != hatches[1]


def test_it_fits_a_phone():
    """Portrait, and no letter under 12 points at 6 inches of width."""
    height, width, _ = pixels(FULL).shape
    assert (width, height) == (960, 1200)
    figure = debrief_figure(DebriefData.model_validate(FULL))
    figure.savefig(io.BytesIO(), format="png", dpi=40)
    assert min(t.get_fontsize() for t in figure.findobj(Text) if t.get_text()) >= 12


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"dives": [{"n": 1, "depth_m": None, "target_m": None, "ending": "stop"}]},
        {"history": [["2026-05-05", 7.0]], "base_m": None},
        {"dives": [{"n": n, "depth_m": 3, "ending": "early"} for n in range(1, 13)]},
        {"history": [[f"2026-0{m}-0{d}", m + d / 10] for m in (3, 4, 5) for d in (1, 4, 8)]},
        {"diver": "a$b$c{\\frac\n", "exercise": "RV", "base_m": 2},
    ],
)
def test_missing_values_are_drawn_too(data: dict):
    """Whatever is missing or many, there is a picture with ink on it."""
    assert (pixels(data) < 0.5).sum() > 500


def test_a_name_is_no_formula():
    """Dollar signs in a name are drawn as they stand."""
    assert any(w.startswith(r"a\$x\$") for w in words({**FULL, "diver": "a$x$"}))


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("debrief", '{"diver": "mara"'),
        ("debrief", '{"dives": [{"ending": "mara"}]}'),
        ("pie", "{}"),
    ],
)
def test_unreadable_data_is_an_error_of_ours(kind: str, data: str):
    """What can't be drawn raises ChartError, whose text repeats nothing of the data."""
    with pytest.raises(ChartError) as raised:
        draw(Picture(kind=kind, data=data))
    assert "mara" not in str(raised.value)
    assert raised.value.__cause__ is None


def test_importing_the_room_does_not_load_matplotlib():
    """Matplotlib is loaded with the first picture, and pyplot never."""
    code = (
        "import sys, json, bot.charts as c; from storage.outcome import Picture\n"
        "assert 'matplotlib' not in sys.modules\n"
        "c.draw(Picture(kind='debrief', data='{}'))\n"
        "assert 'matplotlib' in sys.modules and 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


READY = {
    "bounds": [
        {"kind": "rule", "depth_m": 35.0, "low_m": 35.0, "high_m": 35.0},
        {"kind": "chest", "depth_m": 43.2, "low_m": 27.5, "high_m": 98.0},
        {"kind": "mouth", "depth_m": 41.6, "low_m": 23.5, "high_m": 50.0},
    ],
    "binding": "rule",
    "from_m": 17.5,
    "pb_m": 32.0,
    "stage_m": 42.0,
    "goal_m": 42.0,
    "exercise": "FRC",
    "diver": "pia",
    "on": "2026-07-01",
}


def ready_words(data: dict) -> list[str]:
    figure = ready_figure(ReadyData.model_validate(data))
    figure.savefig(io.BytesIO(), format="png", dpi=40)
    return [t.get_text() for t in figure.findobj(Text) if t.get_text()]


def test_each_bound_is_told_in_words_and_one_binds():
    """Above each bar what it is and its depth, down to half a metre; the binding one is called that."""
    shown = ready_words(READY)
    assert {"rule\n35 m\nbinds", "chest\n43 m\n", "mouth\n41.5 m\n"} <= set(shown)
    assert "17.5 m held speaks for, on full lungs" in shown
    assert "pia · FRC · 1 Jul" in shown


def test_a_stage_that_is_the_goal_has_one_name():
    """Best and goal stand at their lines; a stage apart from the goal has a line of its own."""
    assert {"best 32 m", "goal 42 m"} <= set(ready_words(READY))
    apart = ready_words(READY | {"goal_m": 60.0})
    assert {"best 32 m", "stage 42 m", "goal 60 m"} <= set(apart)


def test_names_of_near_lines_stand_apart():
    """A line between two others has its name on the side where there is room."""
    figure = ready_figure(
        ReadyData.model_validate(READY | {"pb_m": 49.0, "stage_m": 50.0, "goal_m": 60.0})
    )
    names = {t.get_text(): t for t in figure.findobj(Text)}
    assert names["best 49 m"].get_verticalalignment() == "bottom"
    assert names["stage 50 m"].get_verticalalignment() == "top"


def test_bars_of_bounds_hang_to_their_depths():
    """Bars as deep as the bounds; a band beyond the picture ends at its edge."""
    axes = ready_figure(ReadyData.model_validate(READY)).axes[0]
    bottom, top = axes.get_ylim()
    assert top == 0 < bottom
    assert [bar.get_height() for bar in axes.patches] == [35.0, 43.2, 41.6]
    deepest = max(max(line.get_ydata()) for line in axes.lines)
    assert deepest <= bottom


def test_the_ready_picture_is_grey():
    """No point of the picture has a colour."""
    png = draw(Picture(kind="ready", data=json.dumps(READY)))
    dots = imread(io.BytesIO(png), format="png")[:, :, :3]
    assert float((dots.max(axis=2) - dots.min(axis=2)).max()) < 0.02


def test_a_ready_picture_of_nothing_is_an_error():
    """Data that can't be read are named by how many errors, never by what they say."""
    with pytest.raises(ChartError, match="unreadable data"):
        draw(Picture(kind="ready", data='{"diver": "pia"}'))
