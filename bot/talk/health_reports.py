"""Reports of harm, by the diver or about somebody else: the facts, the help, and who is asked."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from bot.talk import health_letters as letters_of
from bot.talk.health_scene import HealthScene, Said
from bot.texts.help import help_line
from planner.harm import LEVELS, HarmRow, harm_table, unanswered
from planner.record import Consent, DiverRecord, Fact, Harm, Unwell, Well
from planner.rules import RULES
from storage.outcome import Letter


def rows_of(keys: Iterable[str]) -> list[HarmRow]:
    """The rows, worst first, without those that another one covers in everything."""
    table = harm_table().rows
    rows = sorted({table[k] for k in keys}, key=lambda r: r.gravity)
    # the worst one's text is what is read, whatever another asks beside it
    return [r for r in rows if r is rows[0] or not any(o is not r and _covers(o, r) for o in rows)]


def _covers(big: HarmRow, small: HarmRow) -> bool:
    """Whether one row asks at least as much as another in level, days, doctor and what follows."""

    def asks(r: HarmRow) -> tuple[float, ...]:
        again = r.again_within_days is not None
        return (
            -LEVELS.index(r.level), r.days, r.doctor, r.since_well, r.exhale, r.no_new_depth,
            again, r.shorten_days or 1000,
        )  # fmt: skip

    same = asks(big) == asks(small)
    at_least = all(x >= y for x, y in zip(asks(big), asks(small), strict=True))
    return at_least and (not same or big.place < small.place)


def harm_facts(
    scene: HealthScene, diver: str, rows: Iterable[HarmRow], *, at: datetime, answers: bool
) -> list[Fact]:
    """What is kept of a report: the row only where the diver keeps health check-ins."""
    consent = scene.record(diver).latest(Consent)
    kept = consent is not None and consent.given
    origin = scene.origin(diver, answers=answers)
    return [
        Harm(
            diver=diver,
            happened_at=at,
            said_at=scene.heard.now,
            by=scene.heard.sender,
            origin=origin,
            row=row.key if kept else None,
            level=row.level,
            days=row.days,
            doctor=row.doctor,
            since_well=row.since_well,
        )
        for row in rows
    ]


ONE_EVENT = RULES.session_gap
"""What was said so long apart at most is of one event (house rule)."""


def _with_earlier(record: DiverRecord, rows: list[HarmRow], *, at: datetime) -> list[HarmRow]:
    """The rows, with what they make beside those of the last hours.

    Pink spit told at nine and a sore chest at a quarter past are blood with chest pain. Where the
    row of a doctor's matter was not kept, it may be any with its figures.
    """
    new = {r.key for r in rows}
    earlier = {
        key
        for h in record.of(Harm)
        if timedelta() <= at - h.happened_at <= ONE_EVENT
        for key in ((h.row,) if h.row else _may_be(h))
    }
    made = harm_table().together(new | earlier) - harm_table().together(earlier) - earlier
    return rows_of(new | made) if made else rows


def _may_be(harm: Harm) -> tuple[str, ...]:
    """The rows that a report kept without its row may be of, where a doctor was to be seen today."""
    if harm.level != "doctor-today":
        return ()
    told = (harm.level, harm.days, harm.doctor, harm.since_well)
    return tuple(
        row.key
        for row in harm_table().rows.values()
        if (row.level, row.days, row.doctor, row.since_well) == told
    )


def _lasting(record: DiverRecord, rows: list[HarmRow], *, at: datetime) -> list[HarmRow]:
    """The rows, in the longer form of each that was first told of so long ago and has lasted.

    An ear that still hurts after two days is a doctor's matter. Feeling well, or a day of exhale
    dives, begins anew. Of a row that was not kept nobody knows that it is the same: then only the
    words `still there` ask.
    """
    since = _last_begun_anew_at(record, at=at)
    first: dict[str | None, datetime] = {}
    for h in record.of(Harm):
        if h.happened_at <= at and (since is None or h.happened_at > since):
            first.setdefault(h.row, h.happened_at)
    return rows_of(
        row.longer
        if row.longer is not None
        and row.key in first
        and at - first[row.key] > timedelta(hours=row.longer_after_h)
        else row.key
        for row in rows
    )


def _last_begun_anew_at(record: DiverRecord, *, at: datetime) -> datetime | None:
    """When the diver last said that all is well, or dived by exhale; what came before is another event."""
    # an answer to a call for help says nothing of feeling well
    calls = {u.origin.place for u in record.of(Unwell) if u.grave}
    wells = (w.happened_at for w in record.of(Well) if w.origin.place not in calls)
    dives = (d.happened_at for d in record.dives if d.exercise.is_exhale)
    return max((when for when in (*wells, *dives) if when <= at), default=None)


def reported(scene: HealthScene, diver: str, rows: list[HarmRow], *, at: datetime) -> Said:
    """A report by the diver, or by the keeper of one without a phone."""
    rows = _lasting(scene.record(diver), rows, at=at)
    rows = _with_earlier(scene.record(diver), rows, at=at)
    facts = harm_facts(scene, diver, rows, at=at, answers=True)
    record = scene.with_facts(diver, facts)
    whom = scene.addressee(diver)
    return facts, letters_of.after_harm(scene.heard, scene.room, record, whom, rows, at=scene.at)


def about_other(
    scene: HealthScene, diver: str, rows: list[HarmRow], *, is_call: bool = False
) -> Said:
    """Somebody else's report: help at once if it is grave, and a question to the diver.

    `is_call` where the words are like a call for help besides, whose help is sent with it.
    """
    heard = scene.heard
    whom = scene.addressee(diver)
    letters: list[Letter] = []
    if rows[0].level == "call-now":
        key = rows[0].text if heard.private else f"{rows[0].text}-short"
        letters.append(letters_of.help_letter(heard.chat, key, scene.room, about=diver))
    elif heard.private:
        asked = "thanks_kept" if whom.is_kept else "thanks"
        thanks = help_line(asked if whom.can_dm else "thanks_alone", name=whom.name)
        letters.append(Letter(to=heard.chat, text=thanks, about=diver))
    # what is over in seconds is answered with `all normal` an hour later: it is asked by its name
    grave = is_call or rows[0].level == "call-now" or any(r.key == "3" for r in rows)
    raised = _worry(scene, diver, grave=grave)
    if whom.can_dm and unanswered(scene.with_facts(diver, [raised]), at=scene.at) is not None:
        letters.append(letters_of.worried(whom, by=heard.sender, grave=grave))
    return [raised], letters


def _worry(scene: HealthScene, diver: str, *, grave: bool) -> Unwell:
    """The question that a message raises about a diver, kept where that message stands."""
    heard = scene.heard
    return Unwell(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=False),
        raised_by_other=True,
        grave=grave,
    )


def call_text(scene: HealthScene, diver: str | None) -> Letter:
    """The help for what is like a call by no row: the text of all kinds, to where it was written."""
    key = "emergency" if scene.heard.private else "emergency-short"
    return letters_of.help_letter(scene.heard.chat, key, scene.room, about=diver)


def seems(scene: HealthScene, diver: str, *, is_call: bool) -> Said:
    """What is like harm by no row, and may be about a diver: a question, since no report was made.

    It is the question of somebody's worry, and so is what hangs on it.
    """
    heard = scene.heard
    letters: list[Letter] = []
    is_own = scene.speaks_for(diver)
    if not (is_own or is_call):
        table = harm_table()
        return about_other(scene, diver, [table.rows[table.unanswered_row]])
    whom = scene.addressee(diver)
    if is_own and not (is_call and letters_of.reachable(heard, whom)):
        letters += letters_of.quiet(heard, whom)
    raised = _worry(scene, diver, grave=is_call)
    is_open = unanswered(scene.with_facts(diver, [raised]), at=scene.at) is not None
    if is_open and (letters_of.reachable(heard, whom) if is_own else whom.can_dm):
        letters.append(letters_of.worried(whom, by=heard.sender, grave=is_call))
    return [raised], letters


def about_stranger(scene: HealthScene, rows: list[HarmRow]) -> list[Letter]:
    """About somebody who is not on the roster: help if it is grave; nothing is kept."""
    if rows[0].level != "call-now":
        return []
    heard = scene.heard
    key = rows[0].text if heard.private else f"{rows[0].text}-short"
    return [letters_of.help_letter(heard.chat, key, scene.room, about=None)]
