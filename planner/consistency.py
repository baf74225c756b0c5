"""Consistency: the chance that the next dive is clean, from how many were; never safety."""

from __future__ import annotations

from planner.figure import Figure, Mark, OutOfRange


def consistency(*, clean: int, dives: int) -> Figure:
    """The chance that the next dive is clean, with its 95 % interval (P `brown-2001`).

    Jeffreys posterior Beta(x + 1/2, n - x + 1/2): its mean (x + 1/2) / (n + 1), its 2.5 and 97.5 %
    quantiles, the ends set to 0 at x = 0 and to 1 at x = n. Raises `OutOfRange` unless
    0 <= clean <= dives and there is a dive.

    >>> f = consistency(clean=9, dives=10)
    >>> round(f.value, 3), round(f.low, 4), round(f.high, 4)
    (0.864, 0.6187, 0.989)
    """
    if dives < 1 or not 0 <= clean <= dives:
        raise OutOfRange("clean dives", value=clean, low=0, high=dives)
    # 15 MB that the first answer to a diver does not need
    from scipy.special import betaincinv

    a, b = clean + 0.5, dives - clean + 0.5
    return Figure(
        value=a / (dives + 1),
        unit="",
        mark=Mark.PUBLISHED,
        source="brown-2001",
        low=0.0 if clean == 0 else float(betaincinv(a, b, 0.025)),
        high=1.0 if clean == dives else float(betaincinv(a, b, 0.975)),
        name="chance_clean",
    )
