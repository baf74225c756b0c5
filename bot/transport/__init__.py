"""The only code that knows python-telegram-bot and asyncio."""

from os import environ

# The library hands out `retry_after` as a timedelta only when this is set; otherwise it warns.
environ.setdefault("PTB_TIMEDELTA", "true")
