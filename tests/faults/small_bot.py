"""A small bot, written by hand, for tests of the worker and the store: no planner, no grammar."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bot.app import Functions, Worker
from bot.heard import Heard, Kind
from bot.shorthand.reading import Chatter, Reading
from planner.agenda import Due, DueKind
from planner.record import (
    Debriefed,
    Dive,
    DiverRecord,
    Done,
    Ending,
    Exercise,
    Harm,
    Origin,
    Strike,
)
from storage.outcome import AddMember, Delivery, Forget, Key, Letter, Member, Outcome, Room
from storage.store import Incoming, Store, Turn

START = datetime(2026, 5, 5, 8, 30, tzinfo=UTC)
GROUP = "g:line"


def at(minutes: float) -> datetime:
    """So many minutes after the start."""
    return START + timedelta(minutes=minutes)


def says(
    number: int, sender: str, text: str, *, minutes: float = 0, edit: bool = False
) -> Incoming:
    """Somebody writes, or edits, message `number`, as the messenger would deliver it."""
    body = {
        "external": str(number),
        "sender": sender,
        "text": text,
        "sent": at(minutes).isoformat(),
        "edit": edit,
    }
    return Incoming(
        body=json.dumps(body),
        received_at=at(minutes),
        update_key=f"{number}{'e' + text if edit else ''}",
        place_key=None if edit else f"line/{number}",
    )


def translate(body: str, turn: Turn, now: datetime) -> tuple[Heard | None, ...]:
    raw = json.loads(body)
    room = turn.ensure_room(messenger="paper", external_id="line", title="Tuesday line")
    member = turn.ensure_member(
        key=raw["sender"],
        name=raw["sender"].title(),
        room=room.chat,
        messenger="paper",
        external_id=raw["sender"],
        can_dm=True,
    )
    sent_at = datetime.fromisoformat(raw["sent"])
    noted = turn.hear(
        room.chat, raw["external"], sender=member.key, text=raw["text"], sent_at=sent_at
    )
    if not noted.changed:
        return (None,)
    return (
        Heard(
            kind=Kind.EDIT if noted.edit else Kind.MESSAGE,
            chat=room.chat,
            private=False,
            sender=member.key,
            message=noted.number,
            sent_at=sent_at,
            now=now,
            text=raw["text"],
            edit=noted.edit,
        ),
    )


def parse(text: str, names: Collection[str]) -> tuple[Reading, ...]:
    return (Chatter(line=0, text=text),)


def answer(
    heard: Heard, said: tuple[Reading, ...], *, room: Room, records: Mapping[str, DiverRecord]
) -> Outcome:
    word, _, rest = heard.text.partition(" ")
    origin = Origin(chat=heard.chat, message=heard.message, edit=heard.edit)
    who = heard.sender
    common: dict[str, Any] = {
        "diver": who,
        "happened_at": heard.sent_at,
        "said_at": heard.now,
        "by": who,
        "origin": origin,
    }
    strikes: tuple[Strike, ...] = ()
    if heard.edit:
        struck = Origin(chat=heard.chat, message=heard.message, edit=heard.edit - 1)
        strikes = (Strike(**common, struck=struck),)
    match word:
        case "dive":
            count = len(records[who].dives) + 1
            dive = Dive(**common, exercise=Exercise.FRC, depth_m=float(rest), ending=Ending.CLEAN)
            key = Key(label="again", says=f"dive {rest}", diver=who, may_press=(who,))
            done = Key(label="done", says="done", diver=who, may_press=(who,))
            return Outcome(
                facts=(*strikes, dive),
                letters=(
                    Letter(
                        to=heard.chat, text=f"{who} {rest} m, dive {count}", keys=((key, done),)
                    ),
                    Letter(to=heard.chat, text=f"order after {who}", slot="order"),
                ),
            )
        case "done":
            return Outcome(facts=(Done(**common),), letters=(Letter(to=heard.chat, text="ok"),))
        case "blood":
            harm = Harm(**common, row="6", level="doctor-today", days=60, doctor=True)
            return Outcome(
                facts=(harm,),
                letters=(Letter(to=f"p:{who}", text="a doctor today", delivery=Delivery.HELP),),
            )
        case "add":
            member = Member(key=f"n-{rest}", name=rest, has_phone=False)
            return Outcome(changes=(AddMember(member=member),))
        case "forget":
            return Outcome(
                changes=(Forget(diver=who, scope=rest),),
                letters=(Letter(to=heard.chat, text="forgotten"),),
            )
        case "boom":
            raise ValueError("a bug, with the words of a diver in its text")
    return Outcome()


def agenda(record: DiverRecord, moment: datetime) -> tuple[Due, ...]:
    done, told = record.latest(Done), record.latest(Debriefed)
    if done is None:
        return ()
    begins = done.happened_at
    wanted = [
        Due(
            kind=DueKind.PING,
            diver=record.diver,
            about="session",
            at=begins + timedelta(minutes=6),
            stale_at=begins + timedelta(minutes=10),
        )
    ]
    if told is None or told.session_at < begins:
        wanted.append(
            Due(
                kind=DueKind.DEBRIEF,
                diver=record.diver,
                about="session",
                at=begins + timedelta(minutes=5),
                stale_at=begins + timedelta(hours=20),
            )
        )
    return tuple(wanted)


def fall_due(due: Due, *, room: Room, records: Mapping[str, DiverRecord], at: datetime) -> Outcome:
    late = " (late)" if at - due.at > timedelta(minutes=2) else ""
    to = f"p:{due.diver}"
    if due.kind is not DueKind.DEBRIEF:
        return Outcome(
            letters=(
                Letter(to=to, text="a ping", delivery=Delivery.REMINDER, stale_at=due.stale_at),
            )
        )
    told = Debriefed(
        diver=due.diver,
        happened_at=due.at,
        said_at=at,
        by=due.diver,
        origin=Origin(chat=to, message=0),
        session_at=due.at,
    )
    dives = len(records[due.diver].dives)
    return Outcome(
        facts=(told,),
        letters=(Letter(to=to, text=f"{dives} dives{late}", delivery=Delivery.DEBRIEF),),
    )


def sorry(heard: Heard) -> Letter:
    return Letter(to=heard.chat, text="I could not work that off.")


FUNCTIONS = Functions(parse=parse, answer=answer, fall_due=fall_due, agenda=agenda, sorry=sorry)


def small_bot(store: Store, functions: Functions = FUNCTIONS) -> Worker:
    return Worker(store, translate, functions)


def open_store(folder: Path) -> Store:
    return Store.open(folder / "bot.sqlite")
