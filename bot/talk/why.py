"""`why`: where the last figures come from, what bound the target, and what the model leaves out."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from bot.shorthand.reading import Command
from bot.talk.keys import briefed
from bot.talk.planned import planned
from bot.talk.profile import litres
from bot.talk.tell import reason_words
from bot.talk.turn import Handler, Scene
from bot.talk.views import OF_HEALTH, only, paused, private_answer
from bot.texts.render import clock, down, has, joined, say
from planner.figure import Figure
from planner.full import FullPlan, full_plan
from planner.lungs import Lungs
from planner.plan import plan, standing
from planner.pressure import (
    FRESH_KG_PER_M3,
    GAUGE_BAR_PER_M,
    SEA_KG_PER_M3,
    SURFACE_BAR,
    Site,
)
from planner.reasons import ASKED_IN_GROUP, Bar, Cap, Plan, Refusal
from planner.record import Brief, DiverRecord, Exercise
from planner.rules import Rules
from planner.sources import cited, source
from storage.outcome import Outcome

if TYPE_CHECKING:
    from planner.reach import Reach


def why(command: Command, scene: Scene, diver: str) -> Outcome:
    """`why`: each cap on the last target with figure, mark and source; lungs; what is left out."""
    record, rules = scene.record(diver), scene.rules
    state = standing(record, rules=rules, at=scene.at)
    if state.is_under_age:
        return private_answer(scene, diver, paused(scene, diver))
    lines = [*_why_target(scene, record)]
    lines.append(say("why.rules"))
    rv = state.exercise is Exercise.RV
    for name in _PRACTICE_RV if rv else _PRACTICE_FRC:
        lines.append(ruled(rules, name, "why.listed"))
    if rv:
        lines.append(say("why.straight-in", source=source("yu-2024").short))
    lines += _why_lungs(state.lungs)
    lines.append(_why_site(record.site))
    if state.exercise is not None:
        from planner.reach import reach_of  # numpy is loaded with the first reach

        lines += _why_reach(reach_of(record, state.exercise, at=scene.at, rules=rules))
    lines.append(say("why.left-out"))
    return private_answer(scene, diver, lines)


_PRACTICE_FRC = (
    "exercise.rv_from_pb_m",
    "exercise.frc_base_share",
    "cap.most",
    "rest.nights",
    "rest.nights_after_new",
    "base.frc_clean",
)
_PRACTICE_RV = (
    "exercise.rv_from_pb_m",
    "exercise.rv_base_share",
    "cap.most",
    "rest.nights",
    "rest.nights_after_new",
    "base.rv_days",
)


def _why_target(scene: Scene, record: DiverRecord) -> Iterator[str]:
    """The last target that was told, as its caps stood then; and what bars one now."""
    now = planned(scene, record.diver)
    brief = record.latest(Brief)
    if brief is not None and not paused(scene, record.diver):
        yield from _why_brief(scene, record, brief)
    if isinstance(now, Refusal):
        yield say("why.no-target")
        for bar in now.bars:
            yield _bar_line(_bar_words(scene, now, bar), bar, scene.rules)
    elif brief is None:
        yield say("why.none-told")


def _why_brief(scene: Scene, record: DiverRecord, brief: Brief) -> Iterator[str]:
    then: Plan | FullPlan | Refusal
    if brief.exercise is Exercise.FULL:
        then = full_plan(record, rules=scene.rules, at=brief.happened_at)
    else:
        then = plan(record, rules=scene.rules, at=brief.happened_at)
    if isinstance(then, Refusal):
        return
    yield say(
        "why.target",
        depth=down(briefed(then)[1]),
        what=say(f"exercise.{brief.exercise}"),
        on=record.local_day(brief.happened_at),
        time=clock(brief.happened_at, record.timezone),
    )
    yield from (_cap_line(cap, scene) for cap in then.caps)
    if isinstance(then, FullPlan):
        fill = then.fill
        yield say(
            "why.full-fill",
            low=fill.low_m,
            high=fill.high_m,
            rule=ruled(scene.rules, "full.fill_margin_m"),
        )
        yield say("why.full-turn")


def _cap_line(cap: Cap, scene: Scene) -> str:
    if cap.depth_m is not None:
        what = say("why.at-most", depth=down(cap.depth_m))
    else:
        assert cap.not_before_at is not None
        what = say("why.from", time=clock(cap.not_before_at, scene.zone))
    key = f"why.{cap.because}"
    return say(
        "why.cap",
        what=what,
        because=say(key) if has(key) else cap.because.value,
        rule=ruled(scene.rules, cap.figure),
    )


def _bar_words(scene: Scene, refusal: Refusal, bar: Bar) -> str:
    if bar.because in ASKED_IN_GROUP:
        return say(f"why.{bar.because}")
    return " ".join(reason_words(scene, only(refusal, (bar,))))


def _bar_line(words: str, bar: Bar, rules: Rules) -> str:
    # a bar of health has its figures in the table of harm, and says no category
    if bar.because in OF_HEALTH:
        return say("why.rule", rule=words)
    return say("why.bar", words=words, rule=ruled(rules, bar.figure))


def ruled(rules: Rules, name: str, key: str = "why.figure") -> str:
    """A figure of policy: what it says with its value, its mark in words and its source.

    >>> from planner.rules import RULES
    >>> ruled(RULES, "step.frc_m")
    'FRC, deeper: 1 m; house rule'
    >>> ruled(RULES, "opening.frc_share")
    '80 % of held, for the first dive of an FRC day; house rule'
    """
    rule = rules.rule(name)
    part = f"why.in-{name.partition('.')[0]}"
    says = f"{say(part) if has(part) else ''}{rule.says}"
    return say(key, figure=_with_value(says, rule.figure), cited=cited(rule.figure))


def _with_value(says: str, figure: Figure) -> str:
    """What a figure says with its value: a share in per cent, a unit that was said not again."""
    if not figure.unit:
        share = f"{figure.value * 100:g} %"
        return f"{share} {says}" if says.startswith("of ") else f"{says}: {share}"
    unit = "" if figure.unit in says.split() else f" {figure.unit}"
    return f"{says}: {figure.value:g}{unit}"


def _why_reach(own: Reach) -> Iterator[str]:
    """What the mouth gives, learned from the diver's own dives; nothing before there are any."""
    if not own.trials:
        return
    ratio = own.ratio
    yield say(
        "why.reach",
        dives=own.trials,
        ratio=f"{ratio.value:.1f}",
        low=f"{ratio.low_or_value:.1f}",
        high=f"{ratio.high_or_value:.1f}",
        cited=cited(ratio),
    )


def _why_lungs(lungs: Lungs | None) -> Iterator[str]:
    if lungs is None:
        yield say("why.no-lungs")
        return
    volumes = (("TLC", lungs.tlc_l), ("FRC", lungs.frc_l), ("RV", lungs.rv_l))
    for said, alike in groupby(volumes, key=lambda volume: cited(volume[1])):
        of_one = joined(
            say("why.volume", what=what, litres=litres(figure)) for what, figure in alike
        )
        yield say("why.lungs", volumes=of_one, cited=said)
    afloat = lungs.frc_afloat_l
    yield say(
        "why.lungs-afloat",
        low=f"{afloat.value:.2f}",
        cited=cited(afloat),
    )


def _why_site(site: Site) -> str:
    """What a metre of depth means at the group's site, and the pressure that it begins from."""
    density = SEA_KG_PER_M3 if site.salt else FRESH_KG_PER_M3
    read = say("people.site-gauge" if site.gauge else "people.site-rope")
    return say(
        "why.site",
        read=read,
        bar=f"{site.bar_per_m:.4f}".rstrip("0"),
        cited=cited(GAUGE_BAR_PER_M if site.gauge else density),
        surface=f"{site.surface_bar:.3f}",
        altitude=f"{site.altitude_m:g}",
        air=cited(SURFACE_BAR),
    )


HANDLERS: dict[str, Handler] = {"why": why}
"""What this room answers, by the command's name."""
