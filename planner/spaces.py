"""Air spaces: what a mouthful holds, and the rigid spaces that it must feed. Millilitres, as bands.

Published figures are few and of people who do not dive, so a run-out depth computed from them is
never told as a diver's own; what is measured (`mouth 90ml`, `mask 120ml`) replaces them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from planner.figure import Figure, Mark, within
from planner.record import Body, DiverRecord, Sex, Volume, VolumeKind

EARS_ML = Figure(
    value=17.1, unit="ml", mark=Mark.PUBLISHED, source="ears-2000-2003", low=9.3, high=29.3,
    name="ears",
)  # fmt: skip
NOSE_ML = Figure(value=31.0, unit="ml", mark=Mark.QUOTED, source="nose-casts", name="nose")
SINUSES_ML = {
    Sex.MALE: Figure(
        value=90.1, unit="ml", mark=Mark.PUBLISHED, source="kawarai-1999", name="sinuses"
    ),
    Sex.FEMALE: Figure(
        value=72.5, unit="ml", mark=Mark.PUBLISHED, source="kawarai-1999", name="sinuses"
    ),
}
HELD_WATER_ML = {
    Sex.MALE: Figure(
        value=71.2, unit="ml", mark=Mark.PUBLISHED, source="held-water-2012", low=40, high=100,
        name="charge",
    ),
    Sex.FEMALE: Figure(
        value=55.4, unit="ml", mark=Mark.PUBLISHED, source="held-water-2012", low=40, high=100,
        name="charge",
    ),
}  # fmt: skip
"""A charge's prior: only held water has been published; the band 40-100 ml is ours (H)."""


@dataclass(frozen=True, kw_only=True)
class Spaces:
    """The charge of a mouthful and the rigid spaces that it feeds, millilitres, as bands.

    The likely rigid spaces are both ears; the upper end adds nose and sinuses; a mask comes on
    top of all. `residue_ml` is what the mouth can't give up.
    """

    charge_ml: Figure
    rigid_ml: Figure
    residue_ml: float = 0.0


@lru_cache(maxsize=256)
def spaces(
    *, sex: Sex | None = None, charge_ml: float | None = None, mask_ml: float = 0.0
) -> Spaces:
    """The spaces of a diver: measured charge and mask where known, else published priors.

    Without a sex the smaller charge and the larger sinuses stand. `mask_ml` 0 is a nose clip.
    Valid: charge 1 to 500 ml, mask 0 to 400 ml; outside raises `OutOfRange`.

    >>> own = spaces(sex=Sex.MALE, mask_ml=100)
    >>> own.charge_ml.value, own.rigid_ml.value
    (71.2, 117.1)
    """
    within("mask", mask_ml, low=0, high=400, unit="ml")
    if charge_ml is None:
        charge = HELD_WATER_ML[sex or Sex.FEMALE]
    else:
        within("charge", charge_ml, low=1, high=500, unit="ml")
        charge = Figure(
            value=charge_ml, unit="ml", mark=Mark.MEASURED, low=charge_ml, high=charge_ml,
            name="charge",
        )  # fmt: skip
    sinuses = SINUSES_ML[sex or Sex.MALE].value
    rigid = Figure(
        value=EARS_ML.value + mask_ml,
        unit="ml",
        mark=EARS_ML.mark,
        source=EARS_ML.source,
        low=EARS_ML.low_or_value + mask_ml,
        high=EARS_ML.value + NOSE_ML.value + sinuses + mask_ml,
        name="rigid",
    )
    return Spaces(charge_ml=charge, rigid_ml=rigid)


def spaces_of(record: DiverRecord, at: datetime | None = None) -> Spaces:
    """The spaces that a diver's facts tell, by the latest of each that had happened at `at`.

    A figure outside the valid range is left out, as if it had not been said.
    """
    sex: Sex | None = None
    charge_ml: float | None = None
    mask_ml = 0.0
    for fact in record.facts:
        if at is not None and fact.happened_at > at:
            break
        if type(fact) is Body:
            sex = fact.sex
        elif type(fact) is Volume:
            if fact.volume is VolumeKind.MOUTH and 1 <= fact.value <= 500:
                charge_ml = fact.value
            elif fact.volume is VolumeKind.MASK and 0 <= fact.value <= 400:
                mask_ml = fact.value
    return spaces(sex=sex, charge_ml=charge_ml, mask_ml=mask_ml)
