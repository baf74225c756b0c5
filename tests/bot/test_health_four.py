"""The four questions in every combination, by button, against a reading of the table by itself."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from itertools import product

import pytest

from planner.harm import LEVELS, lock_of, recent_harm, restart_share, unwell_open
from planner.record import Harm
from tests.bot.talk.buoy import Buoy, mara

NO, LITTLE, MUCH, UNSURE = "nlmu"
LABELS = {
    "blood": {NO: "no", LITTLE: "spots or streaks", MUCH: "coughed up, or more", UNSURE: "not sure"},
    "breath": {
        NO: "no", LITTLE: "cough, rattle, can't breathe in fully", MUCH: "short of breath at rest", UNSURE: "not sure",
    },
    "chest": {
        NO: "no", LITTLE: "tight, sore, mild", MUCH: "strong, spreading, over 15 min", UNSURE: "not sure",
    },
    "head": {
        NO: "no", LITTLE: "dizzy, sick, joints, rash, very tired",
        MUCH: "weak, numb, confused, speech, sight, unsteady", UNSURE: "not sure",
    },
}  # fmt: skip

# What is asked and which row it is. Unsure counts as yes, the lesser one.
# level, days and a clinician's word as the table has them: house rules (H).
LEVEL = {
    "4": "call-now", "5": "call-now", "6": "doctor-today", "7": "call-now", "8": "doctor-today",
    "9": "doctor-today", "9a": "day-over", "12": "call-now", "13": "doctor-today", "23": "doctor-today",
}  # fmt: skip
DAYS = {
    "4": 60, "5": 60, "6": 60, "7": 60, "8": 28, "9": 28, "9a": 2, "12": 60, "13": 28, "23": 14
}  # fmt: skip
GRAVE = {"4", "5", "6", "7", "8", "9"}
"""Of the rows that the questions can bring, those after which full lungs come first."""
ALIKE = GRAVE | {"12", "13"}
"""Without a yes no row is kept, and what looks like one of those by its days is taken for one (H)."""


def rows_by_the_page(answers: str, base: str) -> set[str]:
    """Row by row of the table, for the answers given to blood, breath, chest, head and limbs."""
    blood, breath, chest, head = (*answers, *(NO,) * (4 - len(answers)))
    rows: set[str] = set()
    if blood == MUCH:
        rows.add("5")  # coughing blood, more than streaks
    if blood in (LITTLE, UNSURE):
        rows.add("6")  # spots, streaks, unsure
        if breath == MUCH or chest != NO:
            rows.add("5")  # or any blood with breathlessness, chest pain
    if breath == MUCH:
        rows.add("4")
    if breath in (LITTLE, UNSURE):
        rows.add("9")
    if chest == MUCH:
        rows.add("7")
    if chest in (LITTLE, UNSURE):
        rows.add("8")
    if head == MUCH:
        rows.add("12")
    if head in (LITTLE, UNSURE):
        rows.add("13")
    return rows or {base}


def is_grave(rows: Iterable[str]) -> bool:
    return any(LEVEL[row] == "call-now" for row in rows)


def asked_until(answers: str) -> str:
    """The answers that are given: once the emergency line has to come, nothing more is asked."""
    for n in range(1, 5):
        if is_grave(rows_by_the_page(answers[:n], "23")):
            return answers[:n]
    return answers


ALL = ["".join(four) for four in product("nlmu", repeat=4)]
GIVEN = sorted({asked_until(four) for four in ALL})


def answered(buoy: Buoy, answers: str) -> str:
    """Each answer pressed under its own question; everything that was said since the first."""
    told = len(buoy.told)
    for kind, answer in zip(LABELS, answers, strict=False):
        buoy.later(minutes=0.2).presses("mara", LABELS[kind][answer], private=True)
    return "\n\n".join(x.text for x in buoy.told[told:])


BASES = {"23": "feel gloopy", "9a": "coughed for a minute after it, gone now"}


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("consent", [True, False])
def test_every_combination_brings_the_row_that_the_page_names(base: str, consent: bool) -> None:
    """All 4^4 combinations of no, a little, much and not sure: level, lock, word and what follows."""
    assert len(ALL) == 256
    wrong = []
    for answers in GIVEN:
        buoy = mara()
        buoy.says("mara", "share on" if consent else "share off", private=True)
        buoy.says("mara", BASES[base], private=True)
        shown = answered(buoy, answers)
        if base == "23" and answers == NO * 4:
            told = len(buoy.told)
            buoy.presses("mara", "something else", private=True)
            shown += "\n\n".join(x.text for x in buoy.told[told:])
        rows = rows_by_the_page(answers, base)
        is_way = bool(rows & (GRAVE if consent else ALIKE))
        at = buoy.at + timedelta(minutes=1)
        record = buoy.record("mara")
        kept = [f for f in record.facts if isinstance(f, Harm)]
        got = min((f.level for f in kept), key=LEVELS.index)
        level = min((LEVEL[row] for row in rows), key=LEVELS.index)
        lock = lock_of(record, at=at)
        assert lock is not None
        days = max(DAYS[row] for row in (*rows, *({base} - {"23"})))
        until = (
            lock.ends_at == buoy.at - timedelta(minutes=0.2 * len(answers)) + timedelta(days=2)
            if rows == {"9a"}
            else (
                lock.until_on is not None
                and (lock.until_on - record.local_day(buoy.at)).days == days
            )
        )
        met = {
            "level": got == level,
            "text": (is_grave(rows) == ("Call your local emergency number now" in shown))
            and (level != "doctor-today" or "See a doctor today" in shown),
            "lock": until,
            "doctor": lock.doctor == (level != "day-over"),
            "way back": (restart_share(record, at=at) < 1) == is_way
            and (recent_harm(record, at=at) is not None) == is_way,
            "rows": not consent or rows <= {f.row for f in kept} | covered(rows),
            "no row without a yes": consent or {f.row for f in kept} == {None},
            "answered": not unwell_open(record, at=at),
            "no target": "Next:" not in shown,
        }
        wrong += [(answers, what) for what, is_so in met.items() if not is_so]
    assert wrong == []


def covered(rows: set[str]) -> set[str]:
    """Rows that need none of their own beside a grave one that asks at least as much in all."""
    grave = [row for row in ("4", "5", "7") if row in rows]
    return rows - {grave[0]} if grave else set()


def test_the_page_is_read_to_its_gravest_and_its_mildest_end() -> None:
    """The reading above is no constant: four times no is row 23, blood with a sore chest is row 5."""
    assert rows_by_the_page("nnnn", "23") == {"23"}
    assert rows_by_the_page("lnl", "23") == {"5", "6", "8"}
    assert asked_until("mnnn") == "m"
    assert asked_until("llnm") == "llnm"
    assert len(GIVEN) == 85


TOLD_APART = [
    (("pink spit", "chest is sore"), "5"),
    (("chest is sore", "pink spit"), "5"),
    (("hoarse since the dive", "chest is sore"), "10"),
    (("pink spit", "hoarse since the dive"), None),
]


@pytest.mark.parametrize(("said", "row"), TOLD_APART)
def test_what_is_told_in_two_messages_of_one_hour_is_one_event(
    said: tuple[str, str], row: str | None
) -> None:
    """Blood at nine and a sore chest at a quarter past are blood with chest pain: call now."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    buoy.says("mara", said[0], private=True)
    answer = buoy.later(minutes=15).says("mara", said[1], private=True)
    assert ("Call your local emergency number now" in answer) == (row is not None)
    if row is not None:
        assert row in {f.row for f in buoy.facts if isinstance(f, Harm)}
    # a day later the second is a report of its own
    apart = mara()
    apart.says("mara", "share on", private=True)
    apart.says("mara", said[0], private=True)
    later = apart.later(hours=24).says("mara", said[1], private=True)
    assert "number now" not in later
