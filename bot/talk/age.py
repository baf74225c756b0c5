"""Under age nobody is served, however it was said: what words of age come to."""

from __future__ import annotations

from bot.shorthand.age import tells_under_age
from bot.talk.aside import privately
from bot.talk.turn import Scene
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


def is_told_under_age(text: str, *, rules: Rules, is_known: bool = False) -> bool:
    """Whether words say of who writes them that they are under the age from which we serve."""
    least_age_y = rules["people.least_age_y"]
    return tells_under_age(text, least_age_y=least_age_y, is_known=is_known)


def told_of_age(scene: Scene, text: str, *, line: int) -> Outcome | None:
    """What words of age in a line come to: kept as that and no figure, and told in private."""
    me = scene.sender
    is_known = scene.record(me).latest(Body) is not None
    if not is_told_under_age(text, rules=scene.rules, is_known=is_known):
        return None
    fact = UnderAge(**scene.carried(me, line))
    return Outcome(facts=(fact,), letters=privately(scene, answered(scene.rules), about=me))


def answered(rules: Rules) -> str:
    """What is said to whoever tells an age that is not served."""
    return say("profile.under-age", age=int(rules["people.least_age_y"]))
