"""What is written when somebody says how they are: help first, questions, and nothing to the group."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from bot.heard import Heard, Kind
from bot.texts.help import help_key, help_line, help_text, level_of, of_another
from bot.texts.render import day
from planner.harm import (
    HarmRow,
    Lock,
    Unanswered,
    alarm_until,
    called_for_help,
    harm_table,
    lock_of,
    recent_harm,
    restart_share,
    unanswered,
)
from planner.record import DiverRecord, Harm
from storage.outcome import Delivery, Key, Letter, Room

NEUTRAL = "✍"
"""The reaction to every word of health in a group: it says written down, and nothing else."""

QUESTIONS = ("blood", "breath", "chest", "head")
"""The four questions, in this order."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Addressee:
    """Whom it is about and who answers for them: the diver, or the keeper of one without a phone."""

    diver: str
    name: str
    speaker: str
    speaker_name: str
    can_dm: bool

    @property
    def chat(self) -> str:
        """The private chat that letters about the diver go to."""
        return f"p:{self.speaker}"

    @property
    def is_kept(self) -> bool:
        """Whether somebody else answers for the diver."""
        return self.speaker != self.diver

    @property
    def begins(self) -> str:
        """What the addressee's lines about the diver begin with: `for noor ` from a keeper."""
        return help_line("for_prefix", name=self.name) if self.is_kept and self.name else ""

    def told(self, text: str) -> str:
        """A text as the addressee reads it: a keeper with the name, and where the diver is meant, so."""
        if not self.is_kept:
            return text
        return help_line("for_name", name=self.name, text=of_another(text))


def help_letter(to: str, key: str, room: Room, *, about: str | None) -> Letter:
    """A fixed text of help; it goes first and until it has arrived."""
    return Letter(to=to, text=help_text(key, room.site), delivery=Delivery.HELP, about=about)


def own_help(whom: Addressee, key: str, room: Room) -> Letter:
    """The help about a diver, to the private chat; a keeper reads whom it is about.

    The emergency line stays the first: the name stands in the second. Who tells of an own blackout
    is awake, and reads what to do awake.
    """
    if key == "unconscious" and not whom.is_kept:
        key = "unconscious-self"
    letter = help_letter(whom.chat, key, room, about=whom.diver)
    if not whom.is_kept:
        return _for_oneself(letter) if level_of(key) == "call-now" else letter
    if level_of(key) != "call-now":
        return replace(letter, text=whom.told(letter.text))
    first, _, rest = letter.text.partition("\n")
    about = help_line("about_name", name=whom.name)
    return replace(letter, text=f"{first}\n{about}\n{rest}")


def _for_oneself(letter: Letter) -> Letter:
    """A text for whoever is there, as the hurt diver alone reads it: first get somebody beside you."""
    first, second, *rest = letter.text.split("\n")
    if help_line("show_them") in second:
        return letter
    return replace(letter, text="\n".join((first, help_line("show_them"), *rest)))


def private_letter(whom: Addressee, text: str, keys: tuple[tuple[Key, ...], ...] = ()) -> Letter:
    """A letter about a diver's health: to the private chat only."""
    return Letter(to=whom.chat, text=whom.told(text), keys=keys, about=whom.diver)


def quiet(heard: Heard, whom: Addressee) -> list[Letter]:
    """What the group sees of a word of health: a reaction, or `write to me in private`."""
    if heard.private:
        return []
    if not whom.can_dm:
        return [Letter(to=heard.chat, text=help_line("write_private", name=whom.speaker_name))]
    if heard.kind is Kind.PRESS:
        return []
    return [Letter(to=heard.chat, text="", reaction=NEUTRAL, reply_to=heard.message)]


def reachable(heard: Heard, whom: Addressee) -> bool:
    """Whether a private letter can arrive: a chat that is open, or the one this was said in."""
    return whom.can_dm or (heard.private and heard.sender == whom.speaker)


def after_harm(
    heard: Heard,
    room: Room,
    record: DiverRecord,
    whom: Addressee,
    rows: list[HarmRow],
    *,
    at: datetime,
) -> list[Letter]:
    """Help for the worst row, then the bare date, then the questions a row asks."""
    worst = rows[0]
    letters: list[Letter] = []
    key = _still_to_call(record, at=at) if worst.level != "call-now" else None
    if not heard.private:
        if worst.level == "call-now":
            letters.append(help_letter(heard.chat, f"{worst.text}-short", room, about=whom.diver))
            if not reachable(heard, whom):
                letters += quiet(heard, whom)
        else:
            letters += quiet(heard, whom)
    if not reachable(heard, whom):
        return letters
    help_first = own_help(whom, key or worst.text, room)
    if worst.key == "3" and key is None:
        # what decides stands in the same message as the milder text
        asked, keys = two_questions(whom)
        help_first = replace(help_first, text=f"{help_first.text}\n{asked}", keys=keys)
    letters.append(help_first)
    is_grave = worst.level == "call-now" or key is not None
    bar = bar_text(record, whom, at=at, rows=rows, brief=is_grave)
    letters.append(private_letter(whom, bar))
    letters += questions_of(whom, rows, record=record, at=at)
    return [*letters, *still_called(record, whom, at=at)]


def still_called(record: DiverRecord, whom: Addressee, *, at: datetime) -> list[Letter]:
    """The question of a call for help once more, where something else was said and it is open."""
    waits = unanswered(record, at=at)
    return [worried(whom, by=waits.by, grave=True)] if waits is not None and waits.grave else []


def still_to_call(
    record: DiverRecord, whom: Addressee, room: Room, *, at: datetime
) -> list[Letter]:
    """The help of a report of call now again, before anything milder of the next hours."""
    key = _still_to_call(record, at=at)
    return [] if key is None else [own_help(whom, key, room)]


def _still_to_call(record: DiverRecord, *, at: datetime) -> str | None:
    """The text of what was told some hours ago, where that was to call: a milder word changes nothing."""
    grave = called_for_help(record, at=at)
    if grave is None:
        return None
    row = harm_table().rows.get(grave.row or "")
    return "call-now" if row is None else row.text


def questions_of(
    whom: Addressee, rows: list[HarmRow], *, record: DiverRecord, at: datetime
) -> list[Letter]:
    """What the rows of a report ask: the four questions, or those of a loss of motor control."""
    letters: list[Letter] = []
    worst = rows[0]
    if worst.again_within_days is not None and _is_second(record, at=at):
        letters.append(private_letter(whom, help_line("second_time")))
    if any(r.four_questions for r in rows) and worst.level != "call-now":
        base = next(r.key for r in rows if r.four_questions)
        letters.append(question(whom, 0, base=base, answers=""))
    return letters


def _is_second(record: DiverRecord, *, at: datetime) -> bool:
    """Whether a milder report asks for a doctor because it was not the first of its kind."""
    last = record.latest(Harm)
    lock = lock_of(record, at=at)
    return last is not None and not last.doctor and lock is not None and lock.doctor


def lock_words(record: DiverRecord, *, at: datetime, is_kept: bool = False) -> str:
    """What stands of a diver's health as the diver types it, all of it; `is_kept`: as a keeper reads it."""
    whom = Addressee(
        diver=record.diver, name="", speaker=record.diver, speaker_name="", can_dm=True
    )
    text = bar_text(record, whom, at=at)
    return of_another(text) if is_kept else text


def bar_text(
    record: DiverRecord,
    whom: Addressee,
    *,
    at: datetime,
    rows: list[HarmRow] | None = None,
    brief: bool = False,
) -> str:
    """Until when there is no target and what is owed for it; without category or praise.

    `brief`: under a text that says to call, one line; the rest is told when it is asked for.
    """
    lock = lock_of(record, at=at)
    said: list[str] = []
    if lock is None:
        waits = unanswered(record, at=at)
        if waits is not None:
            said.append(help_line(_still_open(waits), begins=whom.begins))
        elif (until := alarm_until(record, at=at)) is not None:
            on, time = _day_and_time(until, record.timezone)
            said.append(help_line("alarmed", date=on, time=time))
        back = recent_harm(record, at=at)
        if back is not None:
            said.append(help_line("way_back_from", date=day(back)))
        return "\n".join(said)
    if lock.open:
        said.append(help_line("until_well", begins=whom.begins))
    elif lock.until_on is not None and not _is_past(lock, at=at):
        said.append(_until(day(lock.until_on), lock.ends_at, record.timezone))
    if brief and said:
        return "\n".join((*said, help_line("the_rest", begins=whom.begins)))
    if lock.doctor:
        # a date that has passed is said no more: what stands then is the word alone
        kind = "owes_doctor" if said else "owes_doctor_only"
        said.append(help_line(kind, begins=whom.begins))
    keys = [r.key for r in rows] if rows else [h.row for h in record.of(Harm)]
    if "2" in keys or "3-now" in keys:
        said.append(help_line("instructor"))
    if restart_share(record, at=at) < 1.0:
        said.append(help_line("way_back"))
    waits = unanswered(record, at=at)
    if waits is not None and waits.grave:
        said.append(help_line("still_open_grave"))
    return "\n".join(said)


def _is_past(lock: Lock, *, at: datetime) -> bool:
    """Whether the days of a lock are over, and it stands for a clinician's word alone."""
    return lock.ends_at is not None and lock.ends_at <= at


def _still_open(waits: Unanswered) -> str:
    if waits.grave:
        return "still_open_grave"
    return "still_open" if waits.by_other else "still_open_four"


def _day_and_time(at: datetime, zone: ZoneInfo) -> tuple[str, str]:
    local = at.astimezone(zone)
    return day(local.date()), f"{local:%H:%M}"


def _until(on: str, ends_at: datetime | None, zone: ZoneInfo) -> str:
    local = ends_at.astimezone(zone) if ends_at is not None else None
    if local is None or (local.hour, local.minute) == (0, 0):
        return help_line("until_day", date=on)
    shown = local + timedelta(minutes=1) if local.second else local
    return help_line("until_time", date=on, time=f"{shown:%H:%M}")


UNREAD = "unread"
"""What the four questions are asked about where no row was told."""


def first_question(whom: Addressee, *, unread: bool, after: str = "") -> Letter:
    """The first of the four questions: about what is not normal, or about what may be nothing.

    `after`: the line that stands in front of it.
    """
    base = UNREAD if unread else harm_table().unanswered_row
    asked = question(whom, 0, base=base, answers="")
    return replace(asked, text=f"{help_line(after)}\n{asked.text}") if after else asked


def question(whom: Addressee, n: int, *, base: str, answers: str) -> Letter:
    """One of the four questions; the answers given so far travel in the lines of its buttons."""
    kind = QUESTIONS[n]
    labels = (
        (help_key("no"), "n"),
        (help_key(f"{kind}_little"), "l"),
        (help_key(f"{kind}_much"), "m"),
        (help_key("not_sure"), "u"),
    )
    keys = tuple(
        (_key(whom, label, f"check {whom.name} four {base} {answers}{letter}", passing=True),)
        for label, letter in labels
    )
    text = help_line(f"question_{n + 1}")
    if n == 0:
        text = f"{text}\n{help_line('bars')}"
    return private_letter(whom, text, keys)


def rest_question(whom: Addressee) -> Letter:
    """Behind four times no, where nothing was told that anybody could read: whether that is all."""
    rows = tuple(
        (_key(whom, help_key(label), f"check {whom.name} rest {said}", sticky=True),)
        for label, said in (("rest_none", "yes"), ("rest_other", "no"), ("not_sure", "not-sure"))
    )
    return private_letter(whom, help_line("question_rest"), rows)


def two_questions(whom: Addressee) -> tuple[str, tuple[tuple[Key, ...], ...]]:
    """What a bare loss of motor control asks: over within a minute, no water breathed in."""
    rows = tuple(
        (_key(whom, help_key(label), f"check {whom.name} samba {said}", sticky=True),)
        for label, said in (("samba_over", "yes"), ("samba_long", "no"), ("not_sure", "not-sure"))
    )
    return help_line("two_questions"), rows


def check_keys(whom: Addressee) -> tuple[tuple[Key, ...], ...]:
    """The buttons under the check after a session and next morning.

    They stay: a slip may be mended, and the worse answer counts whenever it comes.
    """
    name = f"check {whom.name}"
    return (
        (
            _key(whom, help_key("yes"), f"{name} yes", sticky=True),
            _key(whom, help_key("no"), f"{name} no", sticky=True),
            _key(whom, help_key("not_sure"), f"{name} not-sure", sticky=True),
        ),
    )


def worried(whom: Addressee, *, by: str, grave: bool = False) -> Letter:
    """The private question that a worry raises; a graver one after a call for help.

    `by`: whose message it was; the addressee's own where that read like harm.
    """
    is_own = by == whom.speaker
    own = "reads_like_harm" if grave else "about_words"
    begins = help_line(
        (own if is_own else "worry") + ("_for" if whom.is_kept else ""), name=whom.name
    )
    if grave:
        key = "called_for" if whom.is_kept else "called"
        text = f"{begins} {help_line(key, name=whom.name)}"
        rows = tuple(
            (
                _key(
                    whom,
                    help_key(f"called_{label}"),
                    f"check {whom.name} called {said}",
                    sticky=True,
                ),
            )
            for label, said in (
                ("out", "out"),
                ("other", "no"),
                ("not_sure", "not-sure"),
                ("none", "yes"),
            )
        )
        return Letter(to=whom.chat, text=text, keys=rows, about=whom.diver)
    text = f"{begins} {help_line('check')}"
    return Letter(to=whom.chat, text=text, keys=check_keys(whom), about=whom.diver)


def cold_question(whom: Addressee) -> Letter:
    """Numb fingers: whether it is the cold."""
    rows = tuple(
        (_key(whom, help_key(label), f"check {whom.name} cold {said}", sticky=True),)
        for label, said in (("cold_only", "yes"), ("cold_more", "no"), ("not_sure", "not-sure"))
    )
    return private_letter(whom, help_line("cold_hands"), rows)


def _key(
    whom: Addressee, label: str, says: str, *, sticky: bool = False, passing: bool = False
) -> Key:
    return Key(
        label=label,
        says=says,
        diver=whom.diver,
        may_press=(whom.speaker,),
        sticky=sticky,
        passing=passing,
    )
