"""Who the diver is: body, measured volumes, PB, goal, reported base, and what is wanted.

Said in private; typed in a group, it is kept all the same and answered in private.
"""

from __future__ import annotations

from datetime import date

from bot.shorthand.reading import Command
from bot.talk.age import answered, is_under_age
from bot.talk.ahead import by_words
from bot.talk.aside import line_for, privately, whose
from bot.talk.turn import Handler, Scene
from bot.talk.views import paused
from bot.texts.render import day, down, joined, metres, say
from planner.bases import void_bases
from planner.figure import Figure, OutOfRange
from planner.held import sizes
from planner.lungs import Implausible, Lungs, lungs_of, predict, with_measured
from planner.plan import standing
from planner.record import (
    PB,
    Body,
    Consent,
    DiverRecord,
    Exercise,
    Fact,
    Goal,
    Harm,
    Ping,
    ReportedBase,
    Sex,
    UnderAge,
    Unwell,
    Volume,
    VolumeKind,
    day_begins_at,
)
from planner.sources import source
from planner.standing import Standing
from storage.outcome import Outcome

_LITRES = (VolumeKind.TLC, VolumeKind.FRC, VolumeKind.RV, VolumeKind.VC)


def _answered(
    scene: Scene, diver: str, text: str, *facts: Fact, buttons: tuple[str, ...] = ()
) -> Outcome:
    """The facts, and a private answer; each button says its label's line for the diver."""
    row = tuple(
        scene.key(label, line_for(scene, diver, label), diver, may_press=(scene.sender,))
        for label in buttons
    )
    return Outcome(
        facts=facts,
        letters=privately(
            scene, whose(scene, diver) + text, keys=(row,) if row else (), about=diver
        ),
    )


def _now(scene: Scene, record: DiverRecord) -> Standing:
    return standing(record, rules=scene.rules, at=scene.at)


# the body


def me(command: Command, scene: Scene, diver: str) -> Outcome:
    """`me f 34y 172cm`: sex, age and height, answered with what they predict, as bands."""
    sex = Sex(str(command.args["sex"]))
    age_y = int(_number(command, "age_y"))
    height_m = _number(command, "height_m")
    if is_under_age(age_y, rules=scene.rules):
        fact_of_age = UnderAge(**scene.carried(diver, command.line))
        return _answered(scene, diver, answered(scene, diver), fact_of_age)
    try:
        predict(sex=sex, age_y=age_y, height_m=height_m, extrapolate=True)
    except OutOfRange as error:
        text = say(f"profile.{error.what}-range", low=_plain(error.low), high=_plain(error.high))
        return _answered(scene, diver, text)
    fact = Body(**scene.carried(diver, command.line), sex=sex, age_y=age_y, height_m=height_m)
    lungs = lungs_of(scene.after((fact,)).record(diver))
    assert lungs is not None
    text = "\n".join(
        (
            say(
                "profile.me",
                sex=say(f"profile.sex-{sex.value}"),
                age=age_y,
                height=f"{height_m * 100:.0f}",
            ),
            *volume_lines(lungs),
        )
    )
    return _answered(scene, diver, text, fact)


def _plain(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else f"{value:.2f}"


def volume_lines(lungs: Lungs) -> tuple[str, ...]:
    """The volumes with their bands, what was measured, and where the predicted ones come from."""
    figures = (
        (VolumeKind.TLC, lungs.tlc_l),
        (VolumeKind.FRC, lungs.frc_l),
        (VolumeKind.RV, lungs.rv_l),
        (VolumeKind.VC, lungs.vc_l),
    )
    lines = [
        say(
            "profile.volume",
            what=kind.value.upper(),
            litres=litres(figure),
            how=say(
                "profile.measured"
                if kind in lungs.measured
                else "profile.from-measured"
                if not figure.is_band
                else "profile.predicted"
            ),
        )
        for kind, figure in figures
    ]
    afloat = lungs.frc_afloat_l
    lines.append(
        say(
            "profile.afloat",
            low=f"{afloat.value:.2f}",
            source=source(str(afloat.source)).short,
        )
    )
    predicted = [f for kind, f in figures if f.is_band and f.source is not None]
    if predicted:
        found = source(str(predicted[0].source))
        lines.append(say("profile.source", where=found.where))
    for what in lungs.extrapolated:
        lines.append(say(f"profile.extrapolated-{what}"))
    for kind in lungs.dropped:
        lines.append(say("profile.dropped", what=kind.value.upper()))
    return tuple(lines)


def litres(figure: Figure) -> str:
    """A volume with its band: `5.56 L (4.6–6.5)`.

    >>> from planner.figure import Mark
    >>> litres(Figure(value=5.562, unit="l", mark=Mark.QUOTED, low=4.578, high=6.546))
    '5.56 L (4.6–6.5)'
    """
    value = f"{figure.value:.2f} L"
    if not figure.is_band:
        return value
    return f"{value} ({figure.low_or_value:.1f}–{figure.high_or_value:.1f})"


def volume(command: Command, scene: Scene, diver: str) -> Outcome:
    """`tlc|frc|rv|vc 2.9`: a measured volume in place of the predicted one."""
    kind = VolumeKind(str(command.args["volume"]))
    value_l = _number(command, "value")
    before = lungs_of(scene.record(diver))
    if before is not None:
        try:
            _with_one(before, kind, value_l)
        except Implausible as error:
            return _answered(scene, diver, _implausible(error, before))
    fact = Volume(**scene.carried(diver, command.line), volume=kind, value=value_l)
    lungs = lungs_of(scene.after((fact,)).record(diver))
    head = say("profile.volume-kept", what=kind.value.upper(), litres=f"{value_l:.2f} L")
    more = (say("profile.volume-alone"),) if lungs is None else volume_lines(lungs)
    return _answered(scene, diver, "\n".join((head, *more)), fact)


def _with_one(lungs: Lungs, kind: VolumeKind, value_l: float) -> Lungs:
    match kind:
        case VolumeKind.TLC:
            return with_measured(lungs, tlc_l=value_l)
        case VolumeKind.FRC:
            return with_measured(lungs, frc_l=value_l)
        case VolumeKind.RV:
            return with_measured(lungs, rv_l=value_l)
        case _:
            return with_measured(lungs, vc_l=value_l)


def _implausible(error: Implausible, lungs: Lungs) -> str:
    return say(
        f"profile.{error.why.value}",
        what=error.kind.value.upper(),
        value=f"{error.value_l:g}",
        low=f"{error.low_l:.2f}",
        high=f"{error.high_l:.2f}",
        tlc=f"{lungs.tlc_l.value:.2f}",
        rv=f"{lungs.rv_l.value:.2f}",
    )


def mouth(command: Command, scene: Scene, diver: str) -> Outcome:
    """`mouth 90ml`: the charge as the diver measured it."""
    return _space(command, scene, diver, VolumeKind.MOUTH, _number(command, "value"))


def mask(command: Command, scene: Scene, diver: str) -> Outcome:
    """`mask 120ml`: the mask's volume."""
    return _space(command, scene, diver, VolumeKind.MASK, _number(command, "value"))


def noseclip(command: Command, scene: Scene, diver: str) -> Outcome:
    """`noseclip`: a mask of nothing."""
    return _space(command, scene, diver, VolumeKind.MASK, 0.0)


def _space(
    command: Command, scene: Scene, diver: str, kind: VolumeKind, value_ml: float
) -> Outcome:
    low, high = _SPACES_ML[kind]
    if not low <= value_ml <= high:
        text = say(f"profile.{kind.value}-range", low=f"{low:g}", high=f"{high:g}")
        return _answered(scene, diver, text)
    fact = Volume(**scene.carried(diver, command.line), volume=kind, value=value_ml)
    key = (
        "profile.noseclip" if kind is VolumeKind.MASK and not value_ml else f"profile.{kind.value}"
    )
    return _answered(scene, diver, say(key, ml=f"{value_ml:g}"), fact)


# the valid range of planner.spaces; what lies outside is a slip of the thumb
_SPACES_ML = {VolumeKind.MOUTH: (1.0, 500.0), VolumeKind.MASK: (0.0, 400.0)}


# PB, goal, base


def _only_kept(scene: Scene, diver: str, fact: Fact) -> Outcome:
    """Under age what is told is kept, and answered with nothing to dive by."""
    text = "\n".join((say("profile.kept"), *paused(scene, diver)))
    return _answered(scene, diver, text, fact)


def pb(command: Command, scene: Scene, diver: str) -> Outcome:
    """`pb 38`: the deepest full-lung dive with a mouthfill so far; it settles the exercise."""
    depth_m = _number(command, "depth_m")
    fact = PB(**scene.carried(diver, command.line), depth_m=depth_m)
    if _now(scene, scene.record(diver)).is_under_age:
        return _only_kept(scene, diver, fact)
    state = _now(scene, scene.after((fact,)).record(diver))
    lines = [say("profile.pb", depth=depth_m)]
    if state.pb_m is not None and state.pb_m > depth_m:
        lines.append(say("profile.pb-deeper", depth=state.pb_m))
    lines += _aim_lines(scene, state, diver)
    return _answered(scene, diver, "\n".join(lines), fact)


def goal(command: Command, scene: Scene, diver: str) -> Outcome:
    """`goal 45` or `goal 45 by 2026-09-12`: answered with the exercise and its base."""
    depth_m = _number(command, "depth_m")
    by_on = command.args.get("by_on")
    assert by_on is None or isinstance(by_on, date)
    before = _now(scene, scene.record(diver))
    fact = Goal(**scene.carried(diver, command.line), depth_m=depth_m, by_on=by_on)
    if before.is_under_age:
        return _only_kept(scene, diver, fact)
    if _too_far_after_reached(before, depth_m):
        assert before.pb_m is not None
        far = down(before.pb_m + before.rules["goal.further_m"])
        text = say("profile.goal-too-far", reached=before.goal_m or 0.0, far=far)
        return _answered(scene, diver, text, buttons=(f"goal {far}",))
    state = _now(scene, scene.after((fact,)).record(diver))
    lines = [say("profile.goal", depth=depth_m), *_aim_lines(scene, state, diver)]
    if by_on is not None:
        record = scene.after((fact,)).record(diver)
        lines += by_words(scene, record, by_on)
        if by_on > record.local_day(scene.at):
            lines.append(say("profile.goal-by", on=f"{day(by_on)} {by_on.year}"))
    return _answered(scene, diver, "\n".join(lines), fact)


def _too_far_after_reached(state: Standing, depth_m: float) -> bool:
    """Whether a goal was reached on dives of this log, and the next one is too far past it."""
    return (
        state.pb_m is not None
        and state.goal_m is not None
        and state.pb_m >= state.goal_m
        and state.last_dive is not None
        and depth_m > state.pb_m + state.rules["goal.further_m"]
    )


def _aim_lines(scene: Scene, state: Standing, diver: str) -> list[str]:
    """Exercise, stage and base as they stand, or what is missing for them; no opening while health bars."""
    if state.pb_m is None:
        return [say("profile.pb-missing")]
    rv = state.exercise is Exercise.RV
    if state.goal_m is None:
        return [
            say("profile.exercise-rv" if rv else "profile.exercise-frc"),
            say("profile.goal-missing"),
        ]
    if state.goal_m <= state.pb_m:
        return [
            say(
                "profile.goal-reached",
                goal=state.goal_m,
                pb=state.pb_m,
                far=state.pb_m + state.rules["goal.further_m"],
            )
        ]
    stage_m, base_m = state.stage_m, state.base_m
    assert stage_m is not None
    assert base_m is not None
    lines = [
        say(
            "profile.aim-rv" if rv else "profile.aim-frc",
            base=base_m,
            stage=stage_m,
        )
    ]
    if stage_m < state.goal_m:
        lines.append(
            say("profile.staged", stage=stage_m, goal=state.goal_m, why=_why_staged(state))
        )
    barred = paused(scene, diver)
    if barred:
        lines += barred
    elif state.held_m is None:
        example = f"{'rv 6' if rv else 'frc 18'} {scene.at.astimezone(scene.zone):%Y-%m}"
        lines.append(say("profile.nothing-held", first=state.first_m, example=example))
        if state.lungs is None:
            lines.append(say("profile.me-missing"))
    else:
        lines.append(say("profile.held", held=state.held_m, opening=state.opening_m or 0.0))
    return lines


def _why_staged(state: Standing) -> str:
    rules = state.rules
    first_m = rules["stage.first_m"]
    if state.exercise is Exercise.FRC and state.stage_m == first_m:
        return say("profile.staged-first", first=float(first_m))
    return say("profile.staged-over-pb", over=float(rules["stage.over_pb_m"]))


def base(command: Command, scene: Scene, diver: str) -> Outcome:
    """`base frc 18 2026-03`: what was clean before the log began, and what it counts as."""
    exercise = Exercise(str(command.args["exercise"]))
    depth_m = _number(command, "depth_m")
    on = command.args["on"]
    assert isinstance(on, date)
    record = scene.record(diver)
    today = record.local_day(scene.at)
    if on > today:
        return _answered(scene, diver, say("profile.base-future", on=on))
    # The day as told is a local one, and the fold asks for the instant at which it began.
    happened_at = day_begins_at(on, timezone=record.timezone)
    fact = ReportedBase(
        **scene.carried(diver, command.line, happened_at=happened_at),
        exercise=exercise,
        depth_m=depth_m,
        on=on,
    )
    if _now(scene, record).is_under_age:
        return _only_kept(scene, diver, fact)
    after = scene.after((fact,)).record(diver)
    state = _now(scene, after)
    if fact in void_bases(after):
        lines = [say("caution.no-target")]
    else:
        lines = _base_lines(scene, fact, state, days=(today - on).days)
    # while health bars, what bars is said in place of where it would open
    lines += paused(scene, diver) or _opens_lines(state, exercise)
    return _answered(scene, diver, "\n".join(lines), fact)


def _base_lines(scene: Scene, fact: ReportedBase, state: Standing, *, days: int) -> list[str]:
    """What a reported base counts as, and what the time since then leaves of it."""
    rules = scene.rules
    exercise = fact.exercise
    frc = exercise is Exercise.FRC
    size = sizes(rules, exercise)
    share, most_m = size.reported_share, None if frc else size.reported_most_m
    counts_m = size.reported_counts_m(fact.depth_m)
    lines = [
        say(
            "profile.base-frc" if frc else "profile.base-rv",
            what=exercise.value.upper(),
            depth=fact.depth_m,
            on=fact.on,
            counts=counts_m,
            share=f"{share * 100:.0f}",
            most=metres(most_m or 0.0),
        )
    ]
    if days > rules["held.window_d"] and state.tracks[exercise].over_since is not None:
        lines.append(say("profile.base-old", days=days))
    elif state.exercise is not None and state.exercise is not exercise:
        lines.append(say("profile.base-other", now=state.exercise.value.upper()))
    elif state.held_m is not None and state.held_m != counts_m:
        ago = {0: "today", 1: "one"}.get(days, "many")
        lines.append(say(f"profile.base-laid-off-{ago}", days=days, held=state.held_m))
    return lines


def _opens_lines(state: Standing, exercise: Exercise) -> tuple[str, ...]:
    """Where the next session opens, by the exercise that the base was told of."""
    if state.exercise is not exercise or state.opening_m is None or state.held_m is None:
        return ()
    return (say("profile.base-opens", opening=state.opening_m),)


# what is wanted


def share(command: Command, scene: Scene, diver: str) -> Outcome:
    """`share on` / `share off`: whether health check-ins are kept."""
    on = bool(command.args["on"])
    fact = Consent(**scene.carried(diver, command.line), given=on)
    if on:
        return _answered(scene, diver, say("profile.share-on"), fact)
    record = scene.record(diver)
    kept = any(isinstance(f, Unwell) or (isinstance(f, Harm) and f.row) for f in record.facts)
    text = joined((say("profile.share-off"), say("profile.share-off-kept") if kept else ""), "\n")
    return _answered(scene, diver, text, fact, buttons=("forget health",) if kept else ())


def ping(command: Command, scene: Scene, diver: str) -> Outcome:
    """`ping on` / `ping off`: a word when the interval is over."""
    on = bool(command.args["on"])
    fact = Ping(**scene.carried(diver, command.line), on=on)
    return _answered(scene, diver, say("profile.ping-on" if on else "profile.ping-off"), fact)


def _number(command: Command, name: str) -> float:
    """An argument that is a number; the parser has seen to that."""
    value = command.args[name]
    assert isinstance(value, int | float)
    return float(value)


HANDLERS: dict[str, Handler] = {
    "me": me,
    "volume": volume,
    "mouth": mouth,
    "mask": mask,
    "noseclip": noseclip,
    "pb": pb,
    "goal": goal,
    "base": base,
    "share": share,
    "ping": ping,
}
"""What this room answers, by the command's name."""
