"""Under age nobody is served, however it was said: what words of age come to."""

from __future__ import annotations

import re
from datetime import date

from bot.shorthand.age import tells_under_age
from bot.shorthand.reading import Chatter, Command, Reading
from bot.talk.aside import privately, whose
from bot.talk.turn import Scene
from bot.talk.who import meant
from bot.texts.render import say
from planner.record import Body, UnderAge
from planner.rules import Rules
from storage.outcome import Outcome


def is_under_age(age_y: float, *, rules: Rules) -> bool:
    """Whether somebody of an age in years is not served (H `people.least_age_y`).

    >>> from planner.rules import RULES
    >>> is_under_age(17, rules=RULES), is_under_age(18, rules=RULES)
    (True, False)
    """
    return age_y < rules["people.least_age_y"]


def is_told_under_age(
    text: str, *, rules: Rules, today: date | None = None, is_known: bool = False
) -> bool:
    """Whether words say of who writes them that they are under the age from which we serve."""
    least_age_y = rules["people.least_age_y"]
    return tells_under_age(text, least_age_y=least_age_y, today=today, is_known=is_known)


def told_of_age(scene: Scene, reading: Reading) -> Outcome | None:
    """What words of age in a line come to: kept as that and no figure, and told in private.

    Of the sender, or of the diver whose log they keep: `for noor me f 17y`. `me` in full tells an
    age by itself.
    """
    diver, text = scene.sender, reading.text
    if not isinstance(reading, Chatter) and reading.who:
        found = meant(scene, reading).diver
        if found is None or scene.sender not in scene.own(found):
            return None
        diver, text = found, _FOR.sub("", text, count=1)
    if isinstance(reading, Command) and reading.name == "me":
        return None
    record = scene.record(diver)
    is_known = record.latest(Body) is not None
    today = record.local_day(scene.at)
    if not is_told_under_age(text, rules=scene.rules, today=today, is_known=is_known):
        return None
    fact = UnderAge(**scene.carried(diver, reading.line))
    words = whose(scene, diver) + answered(scene, diver)
    return Outcome(facts=(fact,), letters=privately(scene, words, about=diver))


_FOR = re.compile(r"^\s*(?:for\s+)?\S+\s+", re.IGNORECASE)


def answered(scene: Scene, diver: str) -> str:
    """What is said to whoever tells an age that is not served, or to who keeps their log."""
    key = "profile.under-age" if diver == scene.sender else "profile.under-age-kept"
    return say(key, age=int(scene.rules["people.least_age_y"]))
