"""An age that somebody tells in plain words of themselves. English, as the words it is told in."""

from __future__ import annotations

import re
from collections.abc import Iterator

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

_BY_YEARS = (rf"{_I_AM}{_AGE}{_OLD}", rf"{_I_AM}{_AGE}\s*years?{_ENDS}", rf"^\W*{_AGE}{_OLD}\W*$")
"""`I am 17 years old`, or `16 yo` as the whole line: nothing else is counted so."""
_BARE = (rf"{_I_AM}{_AGE}{_ENDS}",)
"""`im 16`, which may be a depth as well."""
_TURNS = (rf"\bi(?:'ll)?\s+turn\s+{_NUMBER}{_SOON}",)
_MINOR = rf"{_I_AM}{_ONLY}(?:a\s+minor|under\s*-?age)\b"


def tells_under_age(text: str, *, least_age_y: float, is_known: bool = False) -> bool:
    """Whether words say of who writes them that they are under age.

    `is_known`: an age that is served was told before. Then a bare number is a depth.

    >>> told = ("i'm only 15 btw", "im 34", "im 16 m deep")
    >>> [tells_under_age(t, least_age_y=18) for t in told]
    [True, False, False]
    """
    said = text.translate(QUOTES)
    forms = _BY_YEARS if is_known else (*_BY_YEARS, *_BARE)
    ages = [_age_y(one["years"], less=bool(one["not_yet"])) for one in _found(forms, said)]
    ages += [_age_y(one["years"], less=True) for one in _found(_TURNS, said)]
    is_minor = re.search(_MINOR, said, re.IGNORECASE) is not None
    return is_minor or any(age_y < least_age_y for age_y in ages)


def _found(forms: tuple[str, ...], said: str) -> Iterator[re.Match[str]]:
    for form in forms:
        yield from re.finditer(form, said, re.IGNORECASE)


def _age_y(years: str, *, less: bool) -> int:
    """The age that a number tells; one less where it is still to come."""
    return (int(years) if years.isdigit() else _YEARS[years.casefold()]) - less
