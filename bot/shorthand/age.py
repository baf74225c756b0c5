"""An age that somebody tells in plain words of themselves. English, as the words it is told in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

from bot.shorthand.harm_text import QUOTES

_TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen")
_YEARS = {word: number for number, word in enumerate(_TEENS, 10)} | {"eighteen": 18}
_NUMBER = rf"(?P<years>\d{{1,2}}|{'|'.join(_YEARS)})"
_I_AM = r"\b(?:i\s*am|i'?m|my\s+age(?:\s+is|:)?)\s+"
_ONLY = r"(?:(?:only|just|still|actually|really|barely|already|now|even)\s+)*"
_NOT_YET = r"(?P<not_yet>(?:almost|nearly|not\s+yet|not\s+even|not|under|below|turning)\s+)?"
_AGE = rf"{_ONLY}{_NOT_YET}{_NUMBER}"
_OLD = r"[\s-]*(?:(?:years?|yrs?)[\s-]+old|yo|y/o|y\.o\.)"
_ENDS = r"(?=\s*(?:$|[.,;!)](?!\d)|(?:btw|tho|though|lol|haha|so|but|and|if|now|too|yet)\b))"
_SOON = (
    r"\s+(?:next\s+(?:week|month|year)|tomorrow|soon|in\s+\S+\s+(?:days?|weeks?|months?)"
    r"|in\s+(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)\w*)"
)

_Y = r"\s*(?:y|yrs?|years?)\b(?:\s+old)?"
_SEX = r"(?:f|female|woman|w|m|male|man)\b"
_HEIGHT = r"\d{1,3}(?:[.,]\d{1,2})?\s*(?:cm|m)\b"
_ME = rf"^\W*me(?:[\s,]+(?:{_SEX}|{_HEIGHT}))*"
_BODY_ENDS = rf"(?:[\s,]+(?:{_SEX}|{_HEIGHT}))*\W*$"

_BY_YEARS = (
    rf"{_I_AM}{_AGE}{_OLD}",
    rf"{_I_AM}{_AGE}\s*years?{_ENDS}",
    rf"^\W*{_AGE}(?:{_OLD}|{_Y})\W*$",
    rf"^\W*(?:my\s+)?age(?:\s+is|:)?\s+{_AGE}(?:{_OLD}|{_Y})?\W*$",
    rf"{_ME}[\s,]+{_AGE}(?:{_OLD}|{_Y}){_BODY_ENDS}",
    rf"^\W*me\s+{_SEX}\s+{_AGE}\W*$",
)
"""`I am 17 years old`; and `16 yo`, `age 17`, `me f 17y` as the whole line: nothing else is counted so."""
_BARE = (rf"{_I_AM}{_AGE}{_ENDS}", rf"^\W*me\s+{_AGE}\W*$")
"""`im 16`, `me 17`, which may be a depth as well."""
_YEAR = r"(?:\S+\s+){0,3}?(?:\S*[-./])?(?P<year>(?:19|20)\d\d)\b"
_BORN = (
    rf"\b(?:i\s+was|i\s*am|i'?m)\s+born\s+{_YEAR}",
    rf"^\W*(?:born|dob|yob|(?:date|year)\s+of\s+birth)\W+{_YEAR}\S*\W*$",
)
"""`born 2010`. Whoever turns an age only in this year may not have turned it yet."""
_TURNS = (rf"\bi(?:'ll)?\s+turn\s+{_NUMBER}{_SOON}",)
_MINOR = rf"{_I_AM}{_ONLY}(?:a\s+minor|under\s*-?age)\b"


def tells_under_age(
    text: str, *, least_age_y: float, today: date | None = None, is_known: bool = False
) -> bool:
    """Whether words say of who writes them that they are under age.

    `today` is what a year of birth is counted to. `is_known`: an age that is served was told before.
    Then a bare number is a depth.

    >>> told = ("i'm only 15 btw", "im 34", "im 16 m deep")
    >>> [tells_under_age(t, least_age_y=18) for t in told]
    [True, False, False]
    """
    said = text.translate(QUOTES)
    forms = _BY_YEARS if is_known else (*_BY_YEARS, *_BARE)
    ages = [_age_y(one["years"], less=bool(one["not_yet"])) for one in _found(forms, said)]
    ages += [_age_y(one["years"], less=True) for one in _found(_TURNS, said)]
    if today is not None:
        ages += [today.year - int(one["year"]) - 1 for one in _found(_BORN, said)]
    is_minor = re.search(_MINOR, said, re.IGNORECASE) is not None
    return is_minor or any(age_y < least_age_y for age_y in ages)


def _found(forms: tuple[str, ...], said: str) -> Iterator[re.Match[str]]:
    for form in forms:
        yield from re.finditer(form, said, re.IGNORECASE)


def _age_y(years: str, *, less: bool) -> int:
    """The age that a number tells; one less where it is still to come."""
    return (int(years) if years.isdigit() else _YEARS[years.casefold()]) - less
