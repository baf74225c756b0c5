"""The planner's physics and statistics against independent libraries (test extras only)."""

from __future__ import annotations

import fluids
import gsw
import numpy as np
import pytest
from lifelines import LogNormalFitter
from pyspiro import GLI_2021
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from planner.consistency import consistency
from planner.lungs import predict
from planner.pressure import ROPE_AT_SEA, Site, absolute_bar, atmosphere_bar
from planner.reach import SPREADS, Reach, Trial, asked, reach
from planner.record import Sex


@pytest.mark.parametrize("depth_m", [5, 10, 25, 40, 60, 100])
def test_rope_depth_agrees_with_the_seawater_equation(depth_m: float) -> None:
    """A rope's gauge pressure is within 0.5 % of TEOS-10 at latitude 30, 0.6 % at a pole."""
    ours = absolute_bar(depth_m=depth_m, site=ROPE_AT_SEA) - ROPE_AT_SEA.surface_bar
    assert ours == pytest.approx(float(gsw.p_from_z(-depth_m, 30)) / 10, rel=0.005)
    assert ours == pytest.approx(float(gsw.p_from_z(-depth_m, 90)) / 10, rel=0.006)


def test_densities_agree_with_the_seawater_equation() -> None:
    """Sea and fresh water are within 0.2 % of TEOS-10 at the surface."""
    assert Site().water_kg_per_m3 == pytest.approx(gsw.rho(35.16504, 15, 0), rel=0.002)
    assert Site(salt=False).water_kg_per_m3 == pytest.approx(gsw.rho(0, 4, 0), rel=0.002)


@pytest.mark.parametrize("altitude_m", [0, 500, 1000, 2000, 3000])
def test_the_atmosphere_agrees_with_the_1976_standard(altitude_m: float) -> None:
    """The surface pressure at an altitude is that of the standard atmosphere, within 0.1 %."""
    outside = fluids.ATMOSPHERE_1976(altitude_m).P / 1e5
    assert atmosphere_bar(altitude_m=altitude_m) == pytest.approx(outside, rel=0.001)


def outside_gli(sex: Sex) -> tuple[int, list[tuple[str, int, int]]]:
    """Every year and centimetre of a sex's valid grid: how many, and which lie outside a band."""
    standard, number = GLI_2021(), 1 if sex is Sex.MALE else 0
    low_cm, high_cm = (155, 195) if sex is Sex.MALE else (145, 180)
    grid = [(age_y, cm) for age_y in range(18, 71) for cm in range(low_cm, high_cm + 1)]
    outside = []
    for age_y, cm in grid:
        lungs = predict(sex=sex, age_y=age_y, height_m=cm / 100)
        for name, own in (("TLC", lungs.tlc_l), ("RV", lungs.rv_l), ("FRC", lungs.frc_l)):
            about = (number, float(age_y), float(cm), GLI_2021.Parameters[name].value, own.value)
            if not standard.lln(*about) <= own.value <= standard.uln(*about):
                outside.append((name, age_y, cm))
    return len(grid), outside


@pytest.mark.parametrize(("sex", "points"), [(Sex.MALE, 2173), (Sex.FEMALE, 1908)])
def test_predicted_volumes_lie_inside_the_gli_band_on_the_whole_grid(sex: Sex, points: int) -> None:
    """TLC, RV and FRC are inside GLI-2021's 5-95 % band at all 4,081 points of age and height."""
    count, outside = outside_gli(sex)
    assert count == points
    assert outside == []


@pytest.mark.parametrize(
    ("sex", "slope_h", "slope_a", "constant"),
    [(Sex.MALE, 6.10, -0.028, -4.65), (Sex.FEMALE, 4.66, -0.026, -3.28)],
)
def test_vc_is_near_the_same_sources_own_ivc(
    sex: Sex, slope_h: float, slope_a: float, constant: float
) -> None:
    """TLC - RV is within 0.45 l of the IVC equation of the same source (P?, transcribed)."""
    low_cm, high_cm = (155, 195) if sex is Sex.MALE else (145, 180)
    for age_y in range(25, 71):
        for cm in range(low_cm, high_cm + 1):
            ivc_l = slope_h * cm / 100 + slope_a * age_y + constant
            vc_l = predict(sex=sex, age_y=age_y, height_m=cm / 100).vc_l.value
            assert vc_l == pytest.approx(ivc_l, abs=0.45), (age_y, cm)


@pytest.mark.parametrize(("clean", "dives"), [(1, 2), (3, 7), (9, 10), (19, 20), (40, 44)])
def test_consistency_agrees_with_statsmodels(clean: int, dives: int) -> None:
    """The Jeffreys interval is that of statsmodels to 1e-6, apart from the ends."""
    low, high = proportion_confint(clean, dives, alpha=0.05, method="jeffreys")
    ours = consistency(clean=clean, dives=dives)
    assert (ours.low, ours.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


MIXED = (
    Trial(fill_m=7.5, clean_m=15.0),
    Trial(fill_m=7.5, clean_m=18.0),
    Trial(fill_m=7.5, clean_m=20.0, out_m=21.0),
    Trial(fill_m=5.0, clean_m=18.0, out_m=19.0),
)


def asks(depth_m: float, fill_m: float) -> float:
    return asked(depth_m=depth_m, fill_m=fill_m, site=ROPE_AT_SEA)


def test_the_likelihoods_mode_is_that_of_scipys_censored_fit() -> None:
    """Without its prior the posterior peaks where scipy fits the same censored lognormal."""
    right = [np.exp(asks(15, 7.5)), np.exp(asks(18, 7.5))]
    interval = [
        [np.exp(asks(20, 7.5)), np.exp(asks(21, 7.5))],
        [np.exp(asks(18, 5)), np.exp(asks(19, 5))],
    ]
    _, _, scale = stats.lognorm.fit(
        stats.CensoredData(interval=interval, right=right), floc=0, fs=0.25
    )
    assert np.log(scale) == pytest.approx(-0.18271, abs=2e-5)
    own = reach(MIXED, site=ROPE_AT_SEA, spreads=(0.25,))
    grid = np.linspace(-4, 4, 1601)
    likelihood = np.log(own.weights[:, 0]) + 0.5 * (grid / 0.8) ** 2
    near = int(np.argmax(likelihood[700:900])) + 700
    # the peak between grid points, by the parabola through its three highest
    left, top, after = likelihood[near - 1 : near + 2]
    peak = grid[near] + 0.005 * 0.5 * (left - after) / (left - 2 * top + after)
    assert peak == pytest.approx(np.log(scale), abs=1e-4)


def test_the_likelihood_peaks_where_lifelines_fits_both_mean_and_spread() -> None:
    """At the spread that lifelines fits to censored dives, the likelihood peaks at its mean."""
    told = [
        Trial(7.5, 15), Trial(7.5, 18), Trial(7.5, 20, 21), Trial(5, 18, 19), Trial(6, 13, 14),
        Trial(7, 16, 17), Trial(7, 14),
    ]  # fmt: skip
    lower = [np.exp(asks(t.clean_m, t.fill_m)) for t in told]  # type: ignore[arg-type]
    upper = [np.inf if t.out_m is None else np.exp(asks(t.out_m, t.fill_m)) for t in told]
    fitted = LogNormalFitter().fit_interval_censoring(lower, upper)
    own = reach(told, site=ROPE_AT_SEA, spreads=(fitted.sigma_,))
    grid = np.linspace(-4, 4, 1601)
    likelihood = np.log(own.weights[600:1000, 0]) + 0.5 * (grid[600:1000] / 0.8) ** 2
    assert grid[600 + int(np.argmax(likelihood))] == pytest.approx(fitted.mu_, abs=0.005)


def plain_posterior(trials: tuple[Trial, ...], spreads: tuple[float, ...]) -> np.ndarray:
    """The posterior written out plainly with scipy.stats, dive by dive."""
    grid = np.linspace(-4, 4, 1601)[:, None]
    s = np.array(spreads)[None, :]
    weights = stats.norm.pdf(grid / 0.8) * np.ones_like(s)
    for trial in trials:
        x_a = None if trial.clean_m is None else asks(trial.clean_m, trial.fill_m)
        if trial.out_m is None:
            assert x_a is not None
            weights = weights * stats.norm.cdf((grid - x_a) / s)
        else:
            reached = 0.0 if x_a is None else stats.norm.cdf((x_a - grid) / s)
            weights = weights * (
                stats.norm.cdf((asks(trial.out_m, trial.fill_m) - grid) / s) - reached
            )
    return weights / weights.sum()


@pytest.mark.parametrize(
    "trials",
    [
        MIXED,
        (Trial(fill_m=6.0, out_m=9.0),),
        tuple(Trial(fill_m=6.0, clean_m=10.0 + k) for k in range(9)) + MIXED,
        MIXED * 10,
    ],
    ids=["mixed", "out-anywhere", "many-clean", "forty"],
)
def test_the_tables_give_what_the_plain_formula_gives(trials: tuple[Trial, ...]) -> None:
    """The fast posterior equals the plain one within 0.05 % of its highest weight."""
    own: Reach = reach(trials, site=ROPE_AT_SEA)
    plain = plain_posterior(trials, SPREADS)
    np.testing.assert_allclose(own.weights, plain, rtol=0, atol=5e-4 * plain.max())


def test_the_band_covers_simulated_divers_as_often_as_it_says() -> None:
    """Of 600 simulated divers with ten dives, the 90 % band holds the true reach of 87-95 %."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(600):
        m, s = rng.normal(0, 0.8), rng.choice([0.15, 0.25, 0.40, 0.50])
        trials, depth = [], 10.0
        for _ in range(10):
            own = ROPE_AT_SEA.surface_bar + ROPE_AT_SEA.bar_per_m * 6
            gives = own * (1 + np.exp(rng.normal(m, s)))
            empty_m = (gives - ROPE_AT_SEA.surface_bar) / ROPE_AT_SEA.bar_per_m
            if empty_m >= depth:
                trials.append(Trial(fill_m=6.0, clean_m=depth))
                depth = min(depth + 1, 60)
            else:
                turn = max(np.ceil(empty_m), 7)
                trials.append(Trial(fill_m=6.0, clean_m=float(turn) - 1, out_m=float(turn)))
                depth = max(depth - 1, 8)
        ratio = reach(trials, site=ROPE_AT_SEA).ratio
        held += ratio.low_or_value <= 1 + np.exp(m) <= ratio.high_or_value
    assert 0.87 <= held / 600 <= 0.95
