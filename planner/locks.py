"""The locks of one record, worked out from its health facts: how far each reaches, what each owes.

Read through `planner.harm`.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from planner.harm_table import LEVELS, harm_table
from planner.harmed import Harmed, counts_as_exhale_harm, is_after, is_told_since, may_be
from planner.record import Cleared, DiverRecord, Harm, Origin, ReportedBase, Unwell, Well
from planner.rules import RULES

_HOURS_UP_TO_DAYS = 2.0
_DAY = timedelta(days=1)
_SESSION_GAP = RULES.session_gap
_SAME_EVENT = timedelta(hours=1)
"""Two reports closer than this are one event told twice (H)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Lock:
    """No target: until which local day (None: until the diver feels well; then days are counted).

    `until_on` is the first free day as far as days count. `doctor` says that the diver's own date
    of a clinician's word is owed as well and not yet given; `ends_at` is the instant at which the
    days are over, where they count; `open` that they have not begun to count.
    """

    until_on: date | None
    doctor: bool
    open: bool
    ends_at: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class _End:
    """How far one harm's lock is known to reach: the end of its days, and the word that it owes."""

    harm: Harmed
    days_end_at: datetime | None
    days_end_on: date | None
    owes_word: bool
    cleared_on: date | None

    def stands(self, at: datetime) -> bool:
        """Whether it locks at an instant."""
        return self.days_end_at is None or self.owes_word or at < self.days_end_at


@dataclass(frozen=True, kw_only=True, slots=True)
class Unanswered:
    """A question about the diver's state that waits until an evening.

    `by_other`: one that a worry raised, and `by` whose message it was (the diver's own where that
    only read like harm); `grave`: a call for help; `unread`: what may be nothing.
    """

    asked: Origin
    evening_at: datetime
    by_other: bool
    by: str
    grave: bool = False
    unread: bool = False


class Locks:
    """The health facts of one record, sorted once, so that a fold may ask at every dive.

    Costs O(number of harm facts) a question, and nothing where there are none: what is known of
    each lock changes only at a health fact, and is kept from one to the next.
    """

    __slots__ = (
        "_again",
        "_answers",
        "_changes",
        "_cleared",
        "_exhale_at",
        "_harmed",
        "_known",
        "_record",
        "_unwell",
        "_well_times",
        "_wells",
        "any",
    )

    def __init__(self, record: DiverRecord) -> None:
        self._record = record
        self._exhale_at: list[datetime] | None = None
        self._again: dict[int, tuple[float, bool]] = {}
        harms: list[Harm] = []
        wells: list[Well] = []
        cleared: list[Cleared] = []
        unwell: list[Unwell] = []
        for fact in record.facts:
            kind = type(fact)
            if kind is Harm:
                harms.append(fact)  # type: ignore[arg-type]
            elif kind is Well:
                wells.append(fact)  # type: ignore[arg-type]
            elif kind is Cleared:
                cleared.append(fact)  # type: ignore[arg-type]
            elif kind is Unwell:
                unwell.append(fact)  # type: ignore[arg-type]
        # an answer to one of these is none to anything else, and says nothing of feeling well
        asked = {u.origin.place: u for u in unwell if _has_answers_of_its_own(u)}
        self._answers = [w for w in wells if _answers_it(w, asked.get(w.origin.place))]
        self._wells = wells = [w for w in wells if w not in self._answers]
        self._well_times = [w.happened_at for w in wells]
        self._cleared = cleared
        self._unwell = unwell
        self._harmed = [
            Harmed(
                at=h.happened_at,
                said_at=h.said_at,
                said_place=h.origin.place,
                row=h.row,
                level=h.level,
                days=h.days,
                doctor=h.doctor,
                since_well=h.since_well,
                exhale=h.exhale,
            )
            for h in harms
        ]
        if unwell:
            self._harmed += [self._unanswered(u) for u in unwell if not u.raised_by_other]
        self.any = bool(self._harmed or unwell)
        """Whether there is anything at all that could bar."""
        if len(self._harmed) > 1:
            self._harmed.sort(key=lambda h: h.at)
            self._count_again()
        self._known: dict[int, tuple[_End, ...]] = {}
        self._changes = sorted(
            {h.at for h in self._harmed}
            | {h.evening_at.astimezone(UTC) for h in self._harmed if h.evening_at is not None}
            | set(self._well_times)
            | {c.happened_at for c in cleared}
            | {self._midnight_after(c.on, 0) for c in cleared}
        )

    def _unanswered(self, u: Unwell) -> Harmed:
        """No or not sure to the check: row 23 from the evening on, if nothing answers it."""
        table = harm_table()
        row = table.rows[table.unanswered_row]
        return Harmed(
            at=u.happened_at,
            said_at=u.said_at,
            said_place=u.origin.place,
            row=row.key,
            level=row.level,
            days=row.days,
            doctor=row.doctor,
            since_well=row.since_well,
            evening_at=self.evening_of(u),
        )

    def evening_of(self, u: Unwell) -> datetime:
        """The evening by which a question about the diver's state is answered.

        One that is asked after it waits for the hour of the morning's question, not for a day.
        """
        zone = self._record.timezone
        local = u.happened_at.astimezone(zone)
        evening = datetime.combine(
            local.date(), time(hour=int(RULES["session.check_by_h"])), tzinfo=zone
        )
        if local < evening:
            return evening
        morning = time(hour=int(RULES["session.morning_h"]))
        return datetime.combine(local.date() + _DAY, morning, tzinfo=zone)

    def unanswered(self, at: datetime) -> Unanswered | None:
        """The question about the diver's state that is open, and the evening that ends its time."""
        waiting = [u for u in self._unwell if self.is_open(u, at)]
        if not waiting:
            return None
        # what the diver alone left open has an evening; then comes a call for help
        own = [u for u in waiting if not u.raised_by_other]
        u = next(iter(own or [u for u in waiting if u.grave] or waiting))
        return Unanswered(
            asked=u.origin,
            evening_at=self.evening_of(u),
            by_other=u.raised_by_other,
            by=u.by,
            grave=u.grave,
            unread=u.unread,
        )

    def _count_again(self) -> None:
        """Where a row asks more of a second one: what a pair of them brings the later one."""
        asking = [r for r in harm_table().rows.values() if r.again_within_days is not None]
        for i, later in enumerate(self._harmed):
            for row in asking:
                assert row.again_within_days is not None
                if not may_be(later, row):
                    continue
                within = timedelta(days=row.again_within_days)
                if any(
                    may_be(earlier, row)
                    and earlier.said_place != later.said_place
                    and _SAME_EVENT <= later.at - earlier.at <= within
                    for earlier in self._harmed[:i]
                ):
                    days, doctor = self._again.get(i, (0.0, False))
                    self._again[i] = (max(days, row.again_days), doctor or row.again_doctor)

    def _midnight_after(self, day: date, days: int) -> datetime:
        midnight = datetime.combine(day + timedelta(days=days), time(), self._record.timezone)
        return midnight.astimezone(UTC)

    def _ends(self, at: datetime) -> tuple[_End, ...]:
        """What is known at an instant of every lock begun by then."""
        k = bisect_right(self._changes, at)
        found = self._known.get(k)
        if found is None:
            begun = ((i, h) for i, h in enumerate(self._harmed) if h.at <= at)
            ends = (self._end(i, h, at) for i, h in begun)
            found = self._known[k] = tuple(end for end in ends if end is not None)
        return found

    def _end(self, i: int, h: Harmed, at: datetime) -> _End | None:
        """What is known at an instant of the lock of one harm; None where it is none by then."""
        if h.evening_at is not None and (at < h.evening_at or self._answered(h)):
            return None
        again_days, again_doctor = self._again.get(i, (0.0, False))
        day = self._record.local_day(h.at)
        start: datetime | None = h.at
        if h.since_well:
            well = self._well_after(h)
            start = well if well is not None and well <= at else None
        end: datetime | None = None
        if start is not None:
            end = max(self._midnight_after(day, 1), self._counted(start, h.days))
            if again_days:
                end = max(end, self._counted(h.at, again_days))
        owed = h.doctor or again_doctor
        cleared: date | None = None
        if owed:
            today = self._record.local_day(at)
            dates = sorted(
                c.on
                for c in self._cleared
                if day <= c.on <= today and c.happened_at <= at and is_after(c, h)
            )
            cleared = dates[0] if dates else None
            row = harm_table().rows.get(h.row) if h.row else None
            if end is not None and row is not None and row.shorten_days is not None:
                # A clinician's date late enough ends the days as well.
                early = day + timedelta(days=row.shorten_days)
                late = next((on for on in dates if on >= early), None)
                if late is not None:
                    end = min(end, self._midnight_after(late, 0))
        return _End(
            harm=h,
            days_end_at=end,
            days_end_on=None if end is None else self._record.local_day(end),
            owes_word=owed and cleared is None,
            cleared_on=cleared if owed else day,
        )

    def _counted(self, start: datetime, days: float) -> datetime:
        """The end of so many days: hours up to two, local days beyond; none is at once."""
        if days <= _HOURS_UP_TO_DAYS:
            return start + timedelta(days=days)
        return self._midnight_after(self._record.local_day(start), -int(-days // 1))

    def _answered(self, h: Harmed) -> bool:
        """Whether the check was answered before its evening: well, or a harm that answers it."""
        assert h.evening_at is not None
        if any(
            w.origin.place == h.said_place and w.happened_at < h.evening_at for w in self._answers
        ):
            return True
        return any(
            o.evening_at is None and o.said_place == h.said_place and h.at <= o.at < h.evening_at
            for o in self._harmed
        )

    def _well_after(self, what: Harmed | Unwell) -> datetime | None:
        """When the diver first felt well after what was said."""
        at = what.at if isinstance(what, Harmed) else what.happened_at
        for k in range(bisect_left(self._well_times, at), len(self._wells)):
            if is_after(self._wells[k], what):
                return self._wells[k].happened_at
        return None

    def _is_well_by(self, u: Unwell, at: datetime) -> bool:
        """Whether a question about the diver's state was answered by feeling well."""
        if _has_answers_of_its_own(u):
            # `feel ok` is no answer to whether there was a blackout, nor to what was not normal
            place = u.origin.place
            return any(w.origin.place == place and w.happened_at <= at for w in self._answers)
        well = self._well_after(u)
        return well is not None and well <= at

    def lock_at(self, at: datetime) -> Lock | None:
        """The lock that stands at an instant, or None: the longest of all."""
        if not self._harmed:
            return None
        ends = [end for end in self._ends(at) if end.stands(at)]
        if not ends:
            return None
        doctor = any(end.owes_word for end in ends)
        last: _End | None = None
        for end in ends:
            if end.days_end_at is None:
                return Lock(until_on=None, doctor=doctor, open=True)
            if last is None or last.days_end_at is None or end.days_end_at > last.days_end_at:
                last = end
        assert last is not None
        return Lock(until_on=last.days_end_on, doctor=doctor, open=False, ends_at=last.days_end_at)

    def exhale_from(self, at: datetime) -> date | None:
        """After rows 4-10: the first day of exhale dives again, as known at an instant.

        None where no such harm is known, or its end isn't. The latest of all that count.
        """
        latest: date | None = None
        for end in self._ends(at):
            if not counts_as_exhale_harm(end.harm):
                continue
            if end.days_end_on is None:
                return None
            over = max(end.days_end_on, end.cleared_on or self._record.local_day(at))
            day = over + timedelta(days=harm_table().exhale_days)
            latest = day if latest is None else max(latest, day)
        return latest

    def unwell_at(self, at: datetime) -> bool:
        """Whether a question about the diver's state is open: no well and no harm answered it."""
        return any(self.is_open(u, at) for u in self._unwell)

    def is_open(self, u: Unwell, at: datetime) -> bool:
        """Whether one question about the diver's state waits for an answer at an instant."""
        if u.happened_at > at or self._is_well_by(u, at) or self._is_told_by(u, at):
            return False
        return not any(
            h.evening_at is None
            and h.said_place == u.origin.place
            and u.happened_at <= h.at <= at
            # what asks for no doctor is no answer to a call for help
            and (h.doctor or not u.grave)
            for h in self._harmed
        )

    def _is_told_by(self, u: Unwell, at: datetime) -> bool:
        """Whether the diver told alone of something to call for, about then or since."""
        return u.grave and any(
            h.level == LEVELS[0] and u.happened_at - _SESSION_GAP <= h.at <= at
            for h in self._harmed
        )

    def alarm_until(self, at: datetime) -> datetime | None:
        """Until when somebody's call for help about the diver bars; None where none does.

        Whatever was answered: to the end of the local days on which it was and on which it was
        said, and for so many hours (H `after.call_h`) where that is longer.
        """
        ends = [self.alarm_ends_at(u) for u in self._unwell if u.grave and u.happened_at <= at]
        return max((end for end in ends if at < end), default=None)

    def alarm_ends_at(self, u: Unwell) -> datetime:
        """When the day of a call for help is over."""
        ends = [
            self._midnight_after(self._record.local_day(when), 1)
            for when in (u.happened_at, u.said_at)
        ]
        return max(*ends, u.happened_at + timedelta(hours=harm_table().call_h))

    def open_question(self, at: datetime) -> Origin | None:
        """Where the open question came from: an answer that is a Harm carries this origin."""
        waits = self.unanswered(at)
        return None if waits is None else waits.asked

    def new_depth_barred_at(self, at: datetime) -> bool:
        """Whether row 21 still bars a new depth: until the exhale session after it is over."""
        barred = False
        for h in self._harmed:
            if h.at > at:
                break
            barred = barred or (
                h.level == "practice-over"
                and not self._session_passed(h.at + timedelta(days=h.days), at)
            )
        return barred

    def _session_passed(self, since: datetime, at: datetime) -> bool:
        """Whether the first exhale session held from an instant on is over by another."""
        if self._exhale_at is None:
            self._exhale_at = [d.happened_at for d in self._record.dives if d.exercise.is_exhale]
        times = self._exhale_at
        i = bisect_left(times, since)
        if i == len(times) or times[i] >= at:
            return False
        last = times[i]
        while i < len(times) and times[i] < at and times[i] - last <= _SESSION_GAP:
            last = times[i]
            i += 1
        return at - last > _SESSION_GAP or (i < len(times) and times[i] < at)

    def restart_share_at(self, at: datetime) -> float:
        """The share of held to restart at: below 1.0 from rows 4-10 to a session after the wait."""
        if not any(h.at <= at and counts_as_exhale_harm(h) for h in self._harmed):
            return 1.0
        day = self.exhale_from(at)
        if day is not None and self._session_passed(self._midnight_after(day, 0), at):
            return 1.0
        return harm_table().restart_share

    def is_void(self, base: ReportedBase) -> bool:
        """Whether a base was told since rows 4-10, and is of before they were lived through.

        They are once the first exhale session after the wait is over.
        """
        of_at = base.happened_at
        return any(
            counts_as_exhale_harm(h)
            and is_told_since(base, h)
            and (of_at <= h.at or self.restart_share_at(of_at) < 1.0)
            for h in self._harmed
        )


def _has_answers_of_its_own(u: Unwell) -> bool:
    """Whether a question is answered by its own buttons alone, whatever else is said."""
    return u.grave or not u.raised_by_other


def _answers_it(w: Well, u: Unwell | None) -> bool:
    """Whether a word of being well answers the question of its place.

    `feel ok` in one message with what nobody can read comes with it, and is no answer.
    """
    return u is not None and (u.grave or w.happened_at > u.happened_at)
