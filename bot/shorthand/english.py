"""The small words of English that the grammar of reading harm rests on: persons, times, denials.

The words of harm are data (harm.en.toml); these are not, since how `not`, `he` or `ago` work in a
sentence is a language's own. Another language is a file of words and a module like this one, with
its `harm_scope` and `harm_subject`.
"""

from __future__ import annotations

# persons

SINGULAR = frozenset({"he", "hes", "him", "his", "she", "shes", "her", "hers"})
PLURAL = frozenset({"they", "theyre", "them", "their"})
THIRD = frozenset({"he", "hes", "she", "shes", "him", "they", "theyre", "them"})
POSSESSIVES = frozenset({"his", "her", "hers", "their"})
DETERMINERS = frozenset({"my", "the", "our", "your", "his", "her", "their", "a", "this", "that"})
ME = frozenset({"me"})
OF_ME = frozenset({"me", "my", "myself", "mine"})
ME_OR_THEM = frozenset({"me", "her", "him", "them"})
OTHERS = frozenset({"we", "us", "our", "nobody", "noone", "everyone", "safety", "both"})
TOGETHER = frozenset({"and", "n", "plus"})
ALL_OF_THEM = frozenset({"both", "all", "neither"})
NO_NAME_ENDINGS = ("ing", "tion", "ness", "ment", "ache", "ly")
"""How no name ends that is not known."""

# what is said of whom

IT_IS = ("its", "is", "was")
TOWARDS = frozenset({"through", "at", "past", "to"})
"""`she looked through me` is about her."""
TELLS = frozenset({"says", "said", "told", "tells", "reckons", "thinks", "did", "had"})
ANSWERS = frozenset({
    "response", "answer", "reply", "sign", "reaction", "movement", "sound", "breath", "cpr", "samba", "lmc",
})  # fmt: skip
"""`no response from ana`: what does not come from somebody."""
WRONG = frozenset({"wrong", "matter", "happened", "happening", "problem", "off", "odd"})
"""`something wrong with teo`."""
KEPT_UP = [["airway"], ["head"], ["face"], ["chin"], ["mouth"]]
"""What a rescuer holds up: `he held my airway up`."""

# feeling and denying

FEEL = frozenset({"feel", "feeling", "felt", "feels"})
BEFORE_FEEL = frozenset({"i", "im", "am", "still", "for", "today", "now", "not", "dont", "just"})
DENIES = frozenset({"no", "without", "zero", "wo"})

# times

UNIT_MIN = {
    "s": 1 / 60, "sec": 1 / 60, "secs": 1 / 60, "second": 1 / 60, "seconds": 1 / 60,
    "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0,
    "h": 60.0, "hr": 60.0, "hrs": 60.0, "hour": 60.0, "hours": 60.0,
    "day": 1440.0, "days": 1440.0, "week": 10080.0, "weeks": 10080.0,
    "month": 43200.0, "months": 43200.0, "year": 525600.0, "years": 525600.0, "yr": 525600.0, "yrs": 525600.0,
}  # fmt: skip
"""How many minutes a unit of time is."""
COUNTS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "ten": 10,
    "twenty": 20, "thirty": 30, "half": 0.5, "few": 3, "couple": 2, "couples": 2, "some": 3,
    "several": 4, "many": 10, "last": 1, "past": 1,
}  # fmt: skip
"""How many a word in front of a unit means, at least."""
LAST_DAYS = {
    "week": 7.0, "month": 30.0, "year": 365.0, "season": 180.0, "summer": 150.0, "winter": 150.0,
    "spring": 150.0, "autumn": 150.0, "night": 1.0, "weekend": 7.0,
}  # fmt: skip
"""How many days ago a `last …` is, in doubt the fewer."""
MONTHS = frozenset({
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
})  # fmt: skip
OF_TODAY = frozenset({"today", "just", "tonight", "session", "should"})
"""What makes a sentence one of now, whatever `before` it holds."""
