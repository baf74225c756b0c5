"""From a text to what it may mean. Pure."""

from bot.shorthand.lexicon import LexiconError, Words, load_words
from bot.shorthand.parser import parse, says_not_fit
from bot.shorthand.reading import Chatter, Clock, Command, Doubt, Reading, Report, Unclear

words = load_words
"""The words of a language; the short name that reads well where they are asked for."""

__all__ = [
    "Chatter",
    "Clock",
    "Command",
    "Doubt",
    "LexiconError",
    "Reading",
    "Report",
    "Unclear",
    "Words",
    "load_words",
    "parse",
    "says_not_fit",
    "words",
]
