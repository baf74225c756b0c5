"""Lines that are a table leave as a block in letters of one width; all other words as they are."""

from __future__ import annotations

from bot.transport.carry import tables, units


def shown(text: str) -> list[str]:
    """What each entity covers, counted as the messenger counts: in UTF-16 units."""
    wide = text.encode("utf-16-le")
    found = []
    for entity in tables(text):
        begin, end = 2 * entity.offset, 2 * (entity.offset + entity.length)
        found.append(wide[begin:end].decode("utf-16-le"))
    return found


def test_a_run_of_lines_with_columns_is_one_block() -> None:
    """The three bounds are one block, between the words before and after, emoji counted as two."""
    table = "rule  │ 16 m │ binds\nchest │ 24 m │ 14–58"
    text = f"Speaks for 👍:\n{table}\nThe rule binds."
    assert units("👍") == 2
    assert shown(text) == [table]
    assert {str(entity.type) for entity in tables(text)} == {"pre"}


def test_words_alone_have_no_block() -> None:
    """A letter without columns has none, and two tables are two blocks."""
    assert tables("mara · FRC 12 m · clean\nNext: 13 m") == []
    assert shown("a │ b\nand\nc │ d") == ["a │ b", "c │ d"]
