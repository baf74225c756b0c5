"""Who is meant, and who may log for whom."""

from __future__ import annotations

from tests.bot.talk.buoy import Buoy, said_to


def noor() -> Buoy:
    """Noor has no phone; Mara keeps her log; Ilse is somebody else."""
    return Buoy().join("mara").join("ilse").keep("noor", keeper="mara", pb=36, goal=42)


def test_a_keeper_logs_for_a_diver_without_a_phone():
    """Her word counts as the diver's own."""
    buoy = noor()
    buoy.says("mara", "for noor fit buddy ilse")
    assert "noor · FRC 7 m · clean · dive 1 of 5" in buoy.says("mara", "for noor exh 7 ok")


def test_a_leading_name_is_the_diver():
    """`noor 7 ok` is Noor's dive."""
    buoy = noor()
    buoy.says("mara", "noor exh 7 ok")
    assert buoy.dives("noor") == ["frc 7 clean"]
    assert buoy.dives("mara") == []


def test_without_a_grant_a_report_waits_for_a_yes():
    """It is kept, the keeper is asked in private, and on her yes it is recorded as said."""
    buoy = noor()
    answer = buoy.says("ilse", "for noor exh 7 ok")
    assert said_to(answer, "group") == "noor · FRC 7 m · clean\nKept; it waits for mara's yes."
    assert "ilse reports: noor · FRC 7 m · clean. Is that right?" in said_to(answer, "mara")
    assert buoy.dives("noor") == ["frc 7 clean waits"]
    buoy.presses("mara", "yes", private=True)
    assert buoy.dives("noor") == ["frc 7 clean"]


def test_a_no_leaves_it_out():
    """Struck, and said so."""
    buoy = noor()
    buoy.says("ilse", "for noor exh 7 ok")
    assert "Left out: noor · FRC 7 m · clean." in buoy.says("mara", "no", private=True)
    assert buoy.dives("noor") == []


def test_a_grant_lets_somebody_log():
    """What a grantee reports is recorded at once."""
    buoy = noor().grants("noor", "ilse")
    assert "noor · FRC 7 m · hard" in buoy.says("ilse", "for noor frc 7 hard")
    assert buoy.dives("noor") == ["frc 7 hard"]


def test_a_grant_is_not_for_fitness():
    """Only the diver or who keeps their log answers the fitness question."""
    buoy = noor().grants("noor", "ilse")
    assert "Only noor" in buoy.says("ilse", "for noor fit")


def test_somebody_unknown_is_asked_about():
    """Nothing is recorded for a name that nobody has; a close one is offered."""
    buoy = noor()
    answer = buoy.says("mara", "for nooor exh 7 ok")
    assert "nooor" in answer
    assert "noor?" in answer
    assert buoy.dives("noor") == []
    assert buoy.dives("mara") == []


def test_unreachable_is_asked_in_the_group():
    """Where nobody can be reached in private, the dive is asked about in the group."""
    buoy = noor().reachable("mara", dm=False)
    answer = buoy.says("ilse", "for noor exh 7 ok")
    assert "Is that right?" in said_to(answer, "group")


def test_private_reasons_never_reach_a_grantee():
    """Somebody with a grant, in private, reads the neutral line alone."""
    buoy = noor().grants("noor", "ilse")
    buoy.says("mara", "for noor not fit", private=True)
    answer = buoy.says("ilse", "for noor next", private=True)
    assert said_to(answer, "ilse") == "noor: no target today."
