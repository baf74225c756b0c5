"""The only code that knows python-telegram-bot and asyncio."""
