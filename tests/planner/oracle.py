"""A second reading of the training policy, for comparing the planner with.

Written from the rules alone (house rules, H, unless marked in rules.toml), without the planner's
code and in the plainest Python: depths are whole tenths of a metre,
days are whole numbers, one class walks the dives once. It shares no constant with the planner
on purpose, so that a figure changed in one place only is seen. One exhale exercise; buddy,
fitness and the health check are answered; no coach, no full-lung dives.
"""

from __future__ import annotations

from dataclasses import dataclass, field

PRESSURE = ("sternum", "chest", "throat", "unstated")
TASK_FOR = {
    "ears": "frenzel",
    "empty": "count",
    "leak": "lock",
    "swallow": "hold",
    "stuck": "palate",
}


@dataclass(frozen=True)
class Dived:
    """One exhale dive; `how` is clean, hard, early or the reason of a stop; tenths of a metre."""

    on: int
    depth: int | None
    how: str
    fill: int | None = None


@dataclass(frozen=True)
class Diver:
    """What the policy asks of the profile; `reported` is (depth in tenths, day)."""

    rv: bool
    pb: int
    goal: int
    first: int
    reported: tuple[int, int] | None = None


def down(tenths: float) -> int:
    """Down to the half metre."""
    return int((tenths + 1e-6) // 5) * 5


def up(tenths: float) -> int:
    """Up to the half metre."""
    return -int((-tenths + 1e-6) // 5) * 5


@dataclass
class Credit:
    """Two clean dives at `at` or deeper, on a day after `after`, give `gives` back."""

    at: int
    gives: int
    after: int
    seen: int = 0


@dataclass
class Day:
    """What one day remembers."""

    on: int
    began: int | None
    opening: int
    nothing_new: bool
    count: int = 0
    deepest: int = 0
    troubled: int = 0
    opened: bool = False
    at_held: bool = False
    over: bool = False
    unclean: bool = False
    most: int | None = None
    retry: bool = False
    stepped_off: bool = False
    new: list[int] = field(default_factory=list)
    repeats: int = 0  # clean dives at the new depth
    faults: list[str] = field(default_factory=list)


class Oracle:
    """Told dives in order; says held, the next target and the next day that rest allows."""

    def __init__(self, diver: Diver) -> None:
        self.diver = diver
        stage = min([diver.goal, diver.pb + 100] + ([500] if diver.pb < 500 else []))
        self.base = up(stage * (0.2 if diver.rv else 0.5))
        self.clean: list[tuple[int, int]] = []
        self.low = False  # whether something less than the first depth may be held
        self.owed = 0
        self.left = 0
        self.pressure: Credit | None = None
        self.cut: list[tuple[int, int]] = []
        self.short: Credit | None = None
        self.last: int | None = None
        self.dived = False
        self.frozen: int | None = None
        self.nights: dict[int, int] = {}
        self.unknown = False
        self.must_start_over = False
        self.shallow: set[int] = set()
        self.urged_on: int | None = None
        self.faults: list[str] = []
        self.tasks: dict[str, set[int]] = {}
        self.shallows: dict[str, int] = {}
        self.today: Day | None = None
        if diver.reported is not None:
            depth, on = diver.reported
            share = min(down(depth * 0.6), 50) if diver.rv else down(depth * 0.8)
            share = max(20, share)  # "held never falls under 2 m"
            self.last = on
            self.clean = [(on, share)] * 2
            self.frozen, self.low = share, share < diver.first

    # -- figures ------------------------------------------------------------------------

    def step(self, depth: int) -> int:
        """One step deeper: RV +1 m to 5 m (ending there), then +0.5 m."""
        if not self.diver.rv:
            return 10
        return max(5, min(10, 50 - depth)) if depth < 50 else 5

    def off(self, depth: int) -> int:
        """One step shallower: the same sizes, the larger where they meet."""
        return 10 if not self.diver.rv or depth <= 50 else 5

    def floor(self, held: int) -> int:
        """The lesser of the first depth and held."""
        return min(self.diver.first, held)

    def held(self, on: int) -> int | None:
        """The second-deepest clean dive in the window, a step less while clean dives are owed."""
        depths = sorted((d for day, d in self.clean if on - day <= 42), reverse=True)
        if len(depths) < 2:
            return None
        raw = down(depths[1])
        if raw < self.diver.first and not self.low:
            return None  # "the first depth, until it is held"
        if self.owed:
            raw = max(raw - self.off(raw), self.floor(raw))
        return max(20, raw)

    def opening(self, held: int | None) -> int:
        """FRC: 80 % of held; RV: held; with nothing held the first depth."""
        if held is None:
            return self.diver.first
        return held if self.diver.rv else max(down(0.8 * held), self.floor(held), 20)

    # -- a day begins -------------------------------------------------------------------

    def begin(self, on: int) -> None:
        """What the time since the last exhale dive takes, once a day."""
        if self.today is not None and self.today.on == on:
            return
        gap = 0 if self.last is None else on - self.last
        back = False
        if gap >= 84:
            self.clean, self.owed, self.pressure, self.short = [], 0, None, None
            self.must_start_over, self.low, self.frozen = True, False, None
            self.shallow = {d for d in self.shallow if d > (self.last or d)}
            back = True  # said of 15-83 days only; the careful reading has it from 84 days as well
        elif gap >= 29 or (gap >= 15 and self.dived):
            back = True
            h = self.frozen
            if h is None:
                self.clean = []  # a single dive before a lay-off makes no pair with one after
            else:
                less = max(20, down(h * (0.8 if gap < 29 else 0.6)), self.floor(h))
                self.clean, self.owed = [(on, less)] * 2, 0
                if gap < 29:
                    self.short = Credit(at=less, gives=h, after=on - 1)
                else:
                    self.short = None
                # Open give-backs: H is what stands before it, so the older one closes (careful).
                self.pressure = None
        if self.must_start_over and len(self.shallow) >= 2:
            self.must_start_over = False
        held = self.held(on)
        self.today = Day(
            on=on,
            began=held,
            opening=self.opening(held),
            nothing_new=back or self.urged_on is not None,
        )
        if self.must_start_over or (self.nights and on < self.free()):
            self.today.over = True

    # -- questions ----------------------------------------------------------------------

    def free(self) -> int:
        """The first day after the last exhale day that rest allows."""
        days = sorted(self.nights)
        day = max(d + n for d, n in self.nights.items())
        while sum(day - 6 <= d < day for d in days) > 1:
            day += 1
        return day

    def may_be_new(self) -> bool:
        """Nothing of today or of the tasks bars a new depth."""
        assert self.today is not None
        return not self.today.nothing_new and not self.tasks

    def target(self) -> int | None:
        """The next target of today, tenths; None where there is none."""
        day = self.today
        assert day is not None
        if day.over or self.unknown or day.troubled >= 2:
            return None
        wanted = self.wanted(day)
        wanted = down(min(wanted, self.base))
        if wanted < 20:
            return None
        if day.count + 1 > self.cap(max(day.deepest, wanted)):
            return None
        return wanted

    def wanted(self, day: Day) -> int:
        """The order of targets."""
        now = self.held(day.on)
        if day.most is not None:
            return day.most
        if day.retry:
            return min(day.opening, now or day.opening)
        work = day.began if now is None or day.began is None else min(day.began, now)
        if work is None and now is not None:
            work = min(now, self.diver.first)  # deeper would be a new depth
        if work is None:
            return self.diver.first
        if not day.opened:
            return min(day.opening, work)
        if not day.at_held:
            return work
        new = self.new(day)
        return work if new is None else new

    def new(self, day: Day) -> int | None:
        """Today's new depth, or None."""
        if not self.may_be_new():
            return None
        start = day.began if day.began is not None else self.diver.first
        depth = start + self.step(start)
        if day.new:
            depth = day.new[-1]
            further = depth + self.step(depth)
            two = self.diver.rv and len(day.new) == 1 and further < 50 and not day.unclean
            if two and day.repeats >= 2:
                depth = further
        if self.diver.rv:
            depth = min(depth, 150)
        depth = min(depth, self.base)
        return depth if depth > start else None

    def cap(self, deepest: int) -> int:
        """Exhale dives a session by the deepest of them."""
        if deepest >= 200:
            return 2 if self.diver.rv else 3
        if deepest >= 150:
            return 3 if self.diver.rv else 4
        return 5

    # -- a dive -------------------------------------------------------------------------

    def dive(self, d: Dived) -> None:
        """Tell one dive."""
        self.begin(d.on)
        day = self.today
        assert day is not None
        target, held = self.target(), self.held(d.on)
        stop = d.how not in ("clean", "hard", "early")
        pressure = d.how in PRESSURE
        technique = d.how in TASK_FOR
        depth = d.depth
        if depth is not None and target is not None and depth > target + 5:
            day.over, depth = True, target
        tiny = d.depth is not None and d.depth < 30 and (stop or d.how == "early") and not pressure
        if self.urged_on is not None and d.on > self.urged_on and not tiny:
            self.urged_on = None  # a session of nothing but turns above 3 m isn't the next one
        start = day.began if day.began is not None else self.diver.first
        is_new = target is not None and target > start
        if target is not None and is_new and target not in day.new:
            day.new.append(target)
            day.repeats = 0
        tried = is_new or (d.depth is not None and d.depth > start)
        self.nights[d.on] = max(self.nights.get(d.on, 2), 3 if tried or pressure else 2)
        if not tiny:
            day.count += 1
            day.deepest = max(day.deepest, d.depth or 0)
        if d.how == "hard" or (stop and d.how != "cold"):
            day.troubled += 1
        if d.how not in ("clean", "early"):
            day.unclean = True
        self.note_fault(d, day)
        fill = 0 if self.diver.rv else d.fill if d.fill is not None else 50
        if d.fill is None and not self.diver.rv and target is not None and target < 70:
            fill = target - 20
        below = depth is not None and depth > fill
        if d.how in ("clean", "early") and target is not None and depth is not None:
            self.count_clean(d, depth, target, day, tiny)
        takes = d.how == "hard" or (technique and below)
        in_reach = depth is not None and held is not None and day.opening <= depth <= held
        if takes and not tiny and in_reach:
            self.step_off(day, d.on)
        if pressure:
            day.nothing_new = True
            if depth is None:
                self.unknown = True
            else:
                self.pressure_stop(d.on, depth, held, day)
        now = self.held(d.on)
        if stop and depth is None:
            day.over = True  # nothing is said of other stops without a depth: none today
        if d.how in ("urge", "cold"):
            day.over = True
            if d.how == "urge":
                self.urged_on = d.on
        elif d.how == "other":
            if target is not None:
                self.rest_of_day(day, target, now)
            day.nothing_new = True
        elif d.how == "hard" and depth is not None:
            self.rest_of_day(day, depth - self.off(depth), now)
        elif technique and depth is not None:
            if below:
                self.rest_of_day(day, depth - self.off(depth), now)
            else:
                day.retry = True
        self.last, self.dived, self.frozen = d.on, True, self.held(d.on)

    def rest_of_day(self, day: Day, most: int, held: int | None) -> None:
        """A target for the rest of the day, at most held as it then stands; nothing new."""
        most = down(most)
        if held is not None:
            most = min(most, held)
        # Deeper than held as the session began is a new depth.
        most = min(most, day.began if day.began is not None else self.diver.first)
        day.most = most if day.most is None else min(day.most, most)
        day.nothing_new = True

    def count_clean(self, d: Dived, depth: int, target: int, day: Day, tiny: bool) -> None:
        """A clean dive moves held, what is owed, and the order of the day."""
        if depth >= target and d.how == "clean":  # early, even at the target: "same target again"
            day.retry = False
            at_held = day.began is None or depth >= min(day.began, self.held(d.on) or 0)
            if (day.opened or self.diver.rv) and at_held:
                day.at_held = True
            day.opened = True
            if day.new and target == day.new[-1]:
                day.repeats += 1
        if tiny:
            return
        self.clean.append((d.on, depth))
        if self.owed and depth >= self.left:
            self.owed -= 1
        for credit in (self.pressure, self.short):
            if credit is not None and depth >= credit.at and d.on > credit.after:
                credit.seen += 1
                if credit.seen >= 2:
                    # What a pressure stop cut comes back with its own days, so that the window
                    # goes on counting from when it was dived; a lay-off gives H itself back.
                    old = self.cut if credit is self.pressure else [(d.on, credit.gives)] * 2
                    self.clean += [(day_of, min(was, credit.gives)) for day_of, was in old]
                    if credit is self.pressure:
                        self.pressure = None
                    else:
                        self.short = None

    def step_off(self, day: Day, on: int) -> None:
        """Held counts one step less until two clean dives at or below what is left."""
        if not self.owed and day.stepped_off:
            # "once a session; a further one makes the two owed anew": once it has been given
            # back within the session, "once" wins here as in the planner; owing the two anew,
            # and the step with them, would be the careful reading.
            return
        day.stepped_off = True
        self.owed = 2
        self.left = self.held(on) or 0

    def pressure_stop(self, on: int, turn: int, held: int | None, day: Day) -> None:
        """Held becomes the lesser of itself and 80 % of the turn; a give-back opens."""
        share = max(20, down(0.8 * turn))
        if held is None and share >= self.diver.first:
            # "or 0.8 t where nothing was held": literally it makes 0.8 t held. The planner is on
            # the careful side: a stop only holds what is less than the first depth.
            self.rest_of_day(day, down(0.8 * turn), None)
            return
        less = share if held is None else min(held, share)
        self.cut = list(self.clean)
        self.clean, self.owed, self.short, self.low = [(on, less)] * 2, 0, None, True
        self.pressure = None
        if held is not None:
            gives = max(less, down(min(0.8 * held, turn)))
            self.pressure = Credit(at=less, gives=gives, after=on)
        self.rest_of_day(day, down(0.8 * turn), less)
        if self.diver.rv and turn >= 60:
            day.over = True

    def note_fault(self, d: Dived, day: Day) -> None:
        """The same technique fault three times in ten dives, or twice a day, sets its task."""
        fault = d.how if d.how in TASK_FOR else ""
        self.faults = [*self.faults[-9:], fault]
        day.faults.append(fault)
        if fault and (self.faults.count(fault) >= 3 or day.faults.count(fault) >= 2):
            self.tasks.setdefault(fault, set())
            self.shallows.setdefault(fault, 0)

    # -- a task or a shallow dive -------------------------------------------------------

    def drill(self, on: int, what: str) -> None:
        """A clean task on land, or a clean `shallow` dive."""
        if what == "shallow":
            self.shallow.add(on)
        for fault in list(self.tasks):
            if what == "shallow":
                self.shallows[fault] += 1
            elif TASK_FOR[fault] == what:
                self.tasks[fault].add(on)
            if len(self.tasks[fault]) >= 3 and self.shallows[fault] >= 2:
                del self.tasks[fault], self.shallows[fault]
                self.faults = ["" if f == fault else f for f in self.faults]
