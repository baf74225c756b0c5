"""`python -m bot`: the demo, or one of these.

`play FILE [--rewrite]`, `telegram`, `backup FILE [--expire DAYS]`, `restore FILE`.
"""

from __future__ import annotations

import sys
from pathlib import Path

USAGE = "usage: [play FILE [--rewrite] | telegram | backup FILE [--expire DAYS] | restore FILE]"


def main(words: list[str]) -> int:
    """Do what the words say; the exit code. What is not needed is not imported."""
    match words:
        case []:
            from bot.transport import terminal

            return terminal.main()
        case ["play", file] | ["play", file, "--rewrite"] | ["play", "--rewrite", file]:
            from bot.transport import play

            return play.main(file, rewrite="--rewrite" in words)
        case ["telegram"]:
            from bot.settings import Settings
            from bot.transport import telegram

            return telegram.main(Settings())
        case [("backup" | "restore") as word, file]:
            return _copy(word, Path(file))
        case ["backup", file, "--expire", days] if days.isdecimal() and int(days) > 0:
            return _copy("backup", Path(file), kept_days=int(days))
    print(USAGE, file=sys.stderr)
    return 2


def _copy(word: str, file: Path, *, kept_days: int | None = None) -> int:
    from datetime import timedelta

    from bot.app import SystemClock
    from bot.settings import Settings
    from storage.backup import backup, expire, restore
    from storage.schema import StorageError

    database = Settings().database
    try:
        if word == "backup":
            backup(database, file)
            if kept_days is not None:
                kept = timedelta(days=kept_days)
                for old in expire(file, kept=kept, at=SystemClock().now()):
                    print(f"expired: {old}")
        else:
            restore(file, database, at=SystemClock().now())
    except StorageError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    # sqlite-utils loads what it finds of these two (48 and 12 MB, a second at start) for uses that
    # nobody here has; numpy comes with the first reach, forecast or picture.
    for heavy in ("pandas", "numpy"):
        sys.modules.setdefault(heavy, None)  # type: ignore[arg-type]
    import sqlite_utils  # noqa: F401

    for heavy in ("pandas", "numpy"):
        if sys.modules[heavy] is None:
            del sys.modules[heavy]
    sys.exit(main(sys.argv[1:]))
