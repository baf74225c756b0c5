"""A report and its answer: echo, next target, caution."""

from __future__ import annotations

import pytest

from tests.bot.talk.buoy import Buoy, mara, ready, said_to


def test_echo_and_next():
    """A clean dive is echoed with its count, and the next target follows on a line of its own."""
    buoy = ready()
    assert buoy.says("mara", "exh 7 ok").splitlines() == [
        "group: mara · FRC 7 m · clean · dive 1 of 5",
        "group: Next: 7 m, fill 5 m, not before 08:34.",
        "group: [7 ok] [7 hard] [stop…] [done]",
    ]
    buoy.later(minutes=6)
    assert "Next: 8 m, fill 5–6 m, not before 08:40." in buoy.says("mara", "exh 7 ok")


def test_a_button_logs_the_next_dive():
    """One touch on `[7 ok]` is a clean dive to 7 m."""
    buoy = ready()
    answer = buoy.presses("mara", "7 ok")
    assert "mara · FRC 7 m · clean · dive 1 of 5" in answer
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_every_target_that_is_told_is_a_fact():
    """The depth of the last Brief is the depth that the last letter names."""
    buoy = ready()
    assert buoy.brief("mara").depth_m == 7
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "exh 7 ok")
    brief = buoy.brief("mara")
    assert (brief.depth_m, brief.fill_low_m, brief.fill_high_m) == (8, 5, 6)


def test_after_a_pressure_stop_the_target_is_on_condition():
    """At most 80 % of the turn, in the fixed words, two minutes later than after a clean dive."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "exh 7 ok")
    answer = buoy.later(minutes=6).says("mara", "exh 8 stop sternum")
    assert answer.splitlines()[:2] == [
        "group: mara · FRC 8 m · stop, sternum · dive 3 of 5",
        "group: At most 6 m, not before 08:48, only with normal voice, easy breath, no cough. "
        "Otherwise: done. A second one ends today.",
    ]


def test_a_second_trouble_ends_the_day():
    """Two troubled dives are named in the group, and no target follows."""
    buoy = ready()
    buoy.says("mara", "exh 7 hard")
    answer = buoy.later(minutes=8).says("mara", "exh 6 stop throat")
    assert "mara: exhale practice is over for today: two troubled dives." in answer
    assert "Next" not in answer


def test_the_cap_is_named_and_a_sixth_dive_is_recorded():
    """After five dives no target follows; a further one is recorded all the same."""
    buoy = ready()
    for _ in range(5):
        answer = buoy.later(minutes=6).says("mara", "exh 7 ok")
    assert "mara: no more exhale dives today: five made." in answer
    answer = buoy.later(minutes=6).says("mara", "exh 7 ok")
    assert "dive 6 of 5" in answer
    assert "six made" in answer


def test_too_deep_is_recorded_with_its_caution():
    """Deeper than the target by more than half a metre: recorded, and no further target today."""
    answer = ready().says("mara", "exh 9 ok")
    assert "mara · FRC 9 m · clean · dive 1 of 5" in answer
    assert "deeper than the target" in answer
    assert "Next" not in answer


def test_an_interval_cut_short_brings_a_caution_only():
    """Two minutes instead of four: said, and the next target stands."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    answer = buoy.later(minutes=2).says("mara", "exh 7 ok")
    assert "Only 2 min after the last dive; 4 were due." in answer
    assert "Next: 8 m" in answer


def test_a_dive_before_the_brief_is_recorded_and_asks_for_buddy_and_fitness():
    """No target stood for it, which is said; buddy and fitness are asked."""
    answer = mara().says("mara", "exh 7 ok")
    assert "mara · FRC 7 m · clean · dive 1 of 5" in answer
    assert "who is your buddy" in answer
    assert "No target stood" in answer
    assert "[fit] [not fit]" in answer


def test_a_full_lung_dive_ends_exhale_practice_for_the_day():
    """It is named in the group, since the group saw it."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    answer = buoy.later(minutes=9).says("mara", "full 25 ok mf18")
    assert "mara · full 25 m · clean · fill 18 m" in answer
    assert "no more exhale dives today" in answer


@pytest.mark.parametrize(
    "text", ["see you at 8 ok", "anyone got spare neck weights? 12 kg here", "ok", "12", "hard"]
)
def test_chatter_and_bare_words_are_left_alone_in_a_group(text: str):
    """What is no report, or answers nothing, gets no answer in a group."""
    buoy = mara()
    assert buoy.says("mara", text) == ""
    assert buoy.dives("mara") == []


def test_chatter_in_private_is_told_how_to_report():
    """In private the same gets help."""
    assert "frc 12 ok" in mara().says("mara", "hello there friend", private=True)


def test_several_dives_in_one_message():
    """Each line is a dive with its own echo; one target follows."""
    answer = ready().says("mara", "exh 7 ok\nexh 7 hard")
    lines = said_to(answer, "group").splitlines()
    assert lines[0].startswith("mara · FRC 7 m · clean · dive 1 of 5")
    assert "mara · FRC 7 m · hard · dive 2 of 5" in answer
    assert len([x for x in lines if not x.startswith("[")]) <= 4
    assert answer.count("Next: 6 m") == 1


def test_fill_and_time_are_echoed():
    """A stated fill and dive time stand in the echo."""
    assert "mara · FRC 7 m · clean · fill 5 m · 48 s · dive 1 of 5" in ready().says(
        "mara", "exh 7 ok mf5 48s"
    )


def test_without_a_profile_the_exercise_is_asked():
    """`exh` of somebody without a PB can be either; nothing is recorded before it is known."""
    buoy = Buoy().join("teo")
    answer = buoy.says("teo", "exh 7 ok")
    assert "[frc 7 ok] [rv 7 ok] [no dive]" in answer
    assert buoy.dives("teo") == []
    buoy.presses("teo", "frc 7 ok")
    assert buoy.dives("teo") == ["frc 7 clean"]


def test_no_exercise_is_the_one_last_briefed():
    """`7 ok` is the dive that was briefed."""
    buoy = ready()
    buoy.says("mara", "7 ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_hard_asks_at_most_one_question_and_pressure_makes_it_a_stop():
    """`air ran out` keeps it hard with its reason; `throat` makes it a pressure stop."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7 hard")
    assert "[air ran out] [throat] [ears] [nerves]" in answer
    buoy.presses("mara", "air ran out")
    assert buoy.dives("mara") == ["frc 7 hard empty"]
    buoy = ready()
    buoy.says("mara", "exh 7 hard")
    assert "At most 5.5 m" in buoy.presses("mara", "throat")
    assert buoy.dives("mara") == ["frc 7 stop throat"]
    buoy = ready()
    buoy.says("mara", "exh 7 hard")
    buoy.presses("mara", "nerves")
    assert buoy.dives("mara") == ["frc 7 hard"]


def test_late_reports_count_when_they_happened():
    """A stated clock time is when it was; one in the future before noon was yesterday."""
    buoy = ready().later(minutes=20)
    buoy.says("mara", "exh 7 ok 08:35")
    dive = buoy.record("mara").dives[0]
    assert f"{dive.happened_at:%H:%M}" == "07:35"  # UTC; Lisbon is an hour ahead in May
    buoy.says("mara", "exh 7 ok 23:50")
    assert [f"{d.happened_at:%d %H:%M}" for d in buoy.record("mara").dives] == [
        "04 22:50",
        "05 07:35",
    ]


def test_a_future_time_in_the_afternoon_is_asked():
    """After noon a time still to come can't be meant."""
    buoy = ready().later(hours=6)
    answer = buoy.says("mara", "exh 7 ok 23:50")
    assert "when was that" in answer
    assert buoy.dives("mara") == []


def test_a_late_report_that_takes_the_target_away_says_so():
    """A hard dive told late makes the one after it too deep: the 8 m told before are named."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "exh 7 ok")
    answer = buoy.later(minutes=3).says("mara", "exh 7 hard 08:32")
    assert "mara · FRC 7 m · hard · 08:32 · dive 2 of 5, 3 so far" in answer
    assert "deeper than the target" in answer
    assert "The target of 8 m told before no longer stands." in answer


def test_the_same_report_twice_within_a_minute_is_asked():
    """A second one is recorded only when it was a second dive."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    answer = buoy.later(minutes=0.5).says("mara", "exh 7 ok")
    assert "A second dive?" in answer
    assert buoy.dives("mara") == ["frc 7 clean"]
    buoy.presses("mara", "the same dive")
    assert buoy.dives("mara") == ["frc 7 clean"]
    buoy.later(minutes=6).says("mara", "exh 7 ok")
    assert len(buoy.dives("mara")) == 2


def test_feet_are_echoed_in_metres_and_as_typed():
    """Both are seen, so that a slip is."""
    assert "mara · FRC 7 m (23ft) · clean" in ready().says("mara", "exh 23ft ok")


def test_a_task_on_land_is_echoed_without_a_target():
    """Nobody asked for one: the echo is all."""
    assert ready().says("mara", "dry 10 lock") == "group: mara · dry lock · 10 min · clean"


def test_a_question_is_answered_by_whoever_may():
    """A keeper's answer to a question about somebody else's line needs no second yes."""
    buoy = Buoy().join("mara").join("ilse").keep("noor", keeper="mara", pb=36, goal=42)
    buoy.says("ilse", "for noor exh 7")
    buoy.says("mara", "ok")
    assert buoy.dives("noor") == ["frc 7 clean"]


def test_two_divers_in_one_message_are_told_apart():
    """Each target carries the name of its diver."""
    buoy = ready().keep("noor", keeper="mara", pb=36, goal=42)
    buoy.says("mara", "for noor fit buddy ana")
    answer = buoy.says("mara", "exh 7 ok\nfor noor exh 7 hard")
    assert "mara · Next: 7 m" in answer
    assert "noor · Next: 6 m" in answer
    assert "[mara 7 ok] [mara 7 hard]" in answer
    assert "[noor 6 ok] [noor 6 hard]" in answer
