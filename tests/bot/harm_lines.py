"""The lines by which the reading of harm is tested and learned, and learning from them again.

`python -m tests.bot.harm_lines` writes the weights of the second reader; deploy/learn calls it.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from bot.shorthand.likeness_learn import Example, as_file, learn
from planner.harm import LEVELS, harm_table

HERE = Path(__file__).parent
CORPUS, EXAMPLES = HERE / "harm_corpus.tsv", HERE / "harm_examples.tsv"
_NAMES = "# names: "


def names_in(file: Path) -> tuple[str, ...]:
    """Who is called by name in a file of lines, in lower case, as its head says."""
    head = next(x for x in file.read_text("utf-8").splitlines() if x.startswith(_NAMES))
    return tuple(head.removeprefix(_NAMES).split())


def examples_in(*files: Path) -> list[Example]:
    """The lines of files whose first column is the row of harm.toml, `-` or the like for none.

    The last column is the text; each text counts once.
    """
    table = harm_table().rows
    lines = (line for file in files for line in file.read_text("utf-8").splitlines())
    rows = [line.split("\t") for line in lines if line and not line.startswith("#")]
    meant = {row[-1]: row[0] for row in rows}
    return [
        Example(
            text=text,
            is_call=key in table and table[key].level == LEVELS[0],
            is_harm=key in table,
        )
        for text, key in meant.items()
    ]


def learned_again() -> str:
    """The file of weights that these lines give. Takes half a minute."""
    return as_file(learn(examples_in(CORPUS, EXAMPLES), names=names_in(EXAMPLES)))


if __name__ == "__main__":
    weights = resources.files("bot.shorthand") / "likeness.en.tsv"
    Path(str(weights)).write_text(learned_again(), "utf-8")
