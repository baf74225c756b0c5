"""Every word that a person reads, by key. `say` finds it, `render` writes figures and times."""

from bot.texts.render import TextError, clock, day, down, has, joined, metres, say, up

__all__ = ["TextError", "clock", "day", "down", "has", "joined", "metres", "say", "up"]
