"""When the base may be met, as a range of weeks; a date moves nothing, and is never promised."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from math import ceil, floor

from bot.talk.turn import Scene
from bot.texts.render import down, joined, metres, say
from planner.forecast import Forecast, NoForecast, NoForecastBecause, forecast
from planner.plan import standing
from planner.record import DiverRecord
from planner.standing import Standing


def forecast_lines(scene: Scene, diver: str) -> Iterator[str]:
    """The range of weeks in which the base may be met, what it stands on, and what it is not."""
    record = scene.record(diver)
    found = forecast(record, rules=scene.rules, at=scene.at)
    state = standing(record, rules=scene.rules, at=scene.at)
    if isinstance(found, NoForecast):
        yield _none_words(found)
    else:
        what = say(f"exercise.{found.exercise}")
        yield say(
            "ahead.base", what=what, base=found.base_m, paths=found.paths,
            courses=courses_words(found),
        )  # fmt: skip
        yield say(
            "ahead.from",
            sessions=found.sessions,
            clean=_percent(found.clean.value),
            low=_percent(found.clean.low_or_value),
            high=_percent(found.clean.high_or_value),
            rate=metres(found.sessions_a_week),
        )
    has_base = isinstance(found, Forecast) or found.because is NoForecastBecause.BASE_MET
    if has_base:
        yield from _steps_after(state)
        yield say("ahead.tempts")


def _percent(share: float) -> str:
    return f"{share * 100:.0f}"


def _none_words(found: NoForecast) -> str:
    return say(f"ahead.{found.because}", sessions=found.sessions, needed=found.sessions_needed)


def courses_words(found: Forecast) -> str:
    """When the courses played out met the base: eight of ten of them, and half of them."""
    low, likely, high = found.low_weeks, found.likely_weeks, found.high_weeks
    most = floor(found.weeks_most)
    if low is None:
        return say("ahead.beyond", most=most)
    half = "" if likely is None or likely <= 1 else say("ahead.half", weeks=ceil(likely))
    if high is None:
        words = say("ahead.open", low=max(1, ceil(low)), most=most)
    else:
        first, last = max(1, floor(low)), max(1, ceil(high))
        key = "range" if first < last else "about" if last > 1 else "about-one"
        words = say(f"ahead.{key}", low=first, high=last)
    return joined((words, half), "; ")


def _steps_after(state: Standing) -> Iterator[str]:
    """What comes after the base: full-lung steps to the stage, each clean on two days."""
    if state.stage_m is None or state.pb_m is None or state.stage_m <= state.pb_m:
        return
    steps = ceil((state.stage_m - state.pb_m) / state.rules["full.step_m"] - 1e-9)
    yield say(
        "ahead.steps-one" if steps == 1 else "ahead.steps",
        steps=steps,
        stage=down(state.stage_m),
        days=int(state.rules["full.clean_days"]),
    )


def by_words(scene: Scene, record: DiverRecord, by_on: date) -> Iterator[str]:
    """Whether a goal fits by a day, said honestly: by forecast, or that it can't be told yet."""
    today = record.local_day(scene.at)
    if by_on <= today:
        yield say("ahead.by-past", on=by_on)
        return
    found = forecast(record, rules=scene.rules, at=scene.at)
    if isinstance(found, NoForecast):
        if found.because in (NoForecastBecause.NO_GOAL, NoForecastBecause.GOAL_REACHED):
            return
        yield _none_words(found)
    else:
        share = found.fits(by_on, on=today)
        key = {0.9: "likely", 0.5: "half", 0.1: "few"}.get(share, "hardly")
        yield say(
            f"ahead.by-{key}", base=found.base_m, paths=found.paths, courses=courses_words(found)
        )
    if isinstance(found, Forecast) or found.because is NoForecastBecause.BASE_MET:
        state = standing(record, rules=scene.rules, at=scene.at)
        yield from _steps_after(state)
        if state.stage_m is not None and state.goal_m is not None and state.stage_m < state.goal_m:
            yield say("ahead.first-stage")
