"""Track trials against certified and published answers.

Data are those of the sources; answers are the printed ones, or those of the named program on the same data.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.judge.trial import Times
from rollwright.judge.trial_effects import analyse
from rollwright.judge.trial_mixed import mixed_model
from rollwright.judge.trial_model import codes_of, dummies, least_squares, term_tests
from rollwright.judge.trial_peek import always_valid_half_width
from rollwright.judge.trial_robust import friedman
from rollwright.judge.trial_size import exact_runs

Array = NDArray[np.float64]

SLEEP_A = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SLEEP_B = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)
"""Hours of sleep gained by ten patients with two drugs; Student, Biometrika 6 (1908) 1."""

SILICON = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
"""Resistivity of silicon by five instruments; NIST StRD, SiRstv."""

SILVER = (
    (
        107.8681568,
        107.8681465,
        107.8681572,
        107.8681785,
        107.8681446,
        107.8681903,
        107.8681526,
        107.8681494,
        107.8681616,
        107.8681587,
        107.8681519,
        107.8681486,
        107.8681419,
        107.8681569,
        107.8681508,
        107.8681672,
        107.8681385,
        107.8681518,
        107.8681662,
        107.8681424,
        107.8681360,
        107.8681333,
        107.8681610,
        107.8681477,
    ),
    (
        107.8681079,
        107.8681344,
        107.8681513,
        107.8681197,
        107.8681604,
        107.8681385,
        107.8681642,
        107.8681365,
        107.8681151,
        107.8681082,
        107.8681517,
        107.8681448,
        107.8681198,
        107.8681482,
        107.8681334,
        107.8681609,
        107.8681101,
        107.8681512,
        107.8681469,
        107.8681360,
        107.8681254,
        107.8681261,
        107.8681450,
        107.8681368,
    ),
)
"""Atomic weight of silver by two instruments; NIST StRD, AtmWtAg. Seven leading digits never change."""

REACTION = (
    (249.56, 258.7047, 250.8006, 321.4398, 356.8519, 414.6901, 382.2038, 290.1486, 430.5853, 466.3535),
    (222.7339, 205.2658, 202.9778, 204.707, 207.7161, 215.9618, 213.6303, 217.7272, 224.2957, 237.3142),
    (199.0539, 194.3322, 234.32, 232.8416, 229.3074, 220.4579, 235.4208, 255.7511, 261.0125, 247.5153),
    (321.5426, 300.4002, 283.8565, 285.133, 285.7973, 297.5855, 280.2396, 318.2613, 305.3495, 354.0487),
    (287.6079, 285.0, 301.8206, 320.1153, 316.2773, 293.3187, 290.075, 334.8177, 293.7469, 371.5811),
    (234.8606, 242.8118, 272.9613, 309.7688, 317.4629, 309.9976, 454.1619, 346.8311, 330.3003, 253.8644),
    (283.8424, 289.555, 276.7693, 299.8097, 297.171, 338.1665, 332.0265, 348.8399, 333.36, 362.0428),
    (265.4731, 276.2012, 243.3647, 254.6723, 279.0244, 284.1912, 305.5248, 331.5229, 335.7469, 377.299),
    (241.6083, 273.9472, 254.4907, 270.8021, 251.4519, 254.6362, 245.4523, 235.311, 235.7541, 237.2466),
    (312.3666, 313.8058, 291.6112, 346.1222, 365.7324, 391.8385, 404.2601, 416.6923, 455.8643, 458.9167),
    (236.1032, 230.3167, 238.9256, 254.922, 250.7103, 269.7744, 281.5648, 308.102, 336.2806, 351.6451),
    (256.2968, 243.4543, 256.2046, 255.5271, 268.9165, 329.7247, 379.4445, 362.9184, 394.4872, 389.0527),
    (250.5265, 300.0576, 269.8939, 280.5891, 271.8274, 304.6336, 287.7466, 266.5955, 321.5418, 347.5655),
    (221.6771, 298.1939, 326.8785, 346.8555, 348.7402, 352.8287, 354.4266, 360.4326, 375.6406, 388.5417),
    (271.9235, 268.4369, 257.2424, 277.6566, 314.8222, 317.2135, 298.1353, 348.1229, 340.28, 366.5131),
    (225.264, 234.5235, 238.9008, 240.473, 267.5373, 344.1937, 281.1481, 347.5855, 365.163, 372.2288),
    (269.8804, 272.4428, 277.8989, 281.7895, 279.1705, 284.512, 259.2658, 304.6306, 350.7807, 369.4692),
    (269.4117, 273.474, 297.5968, 310.6316, 287.1726, 329.6076, 334.4818, 343.2199, 369.1417, 364.1236),
)
"""Reaction times of 18 people over ten days of little sleep [ms]; G. Belenky et al., J. Sleep Res. 12."""

ORCHARD = (
    (57.0, 95.0, 8.0, 69.0, 92.0, 90.0, 15.0, 2.0),
    (84.0, 6.0, 127.0, 36.0, 51.0, 2.0, 69.0, 71.0),
    (87.0, 72.0, 5.0, 39.0, 22.0, 16.0, 72.0, 4.0),
    (130.0, 4.0, 114.0, 9.0, 20.0, 24.0, 10.0, 51.0),
    (43.0, 28.0, 60.0, 5.0, 17.0, 7.0, 81.0, 71.0),
    (12.0, 29.0, 44.0, 77.0, 4.0, 27.0, 47.0, 76.0),
    (8.0, 72.0, 13.0, 57.0, 4.0, 81.0, 20.0, 61.0),
    (80.0, 114.0, 39.0, 14.0, 86.0, 55.0, 3.0, 19.0),
)
TREATMENTS = ("DEBHGFCA", "CBHDEAFG", "FHAEDCGB", "HAECFGBD", "EDGACBHF", "ACFGBDEH", "BGCFAHDE", "GFDBHEAC")
"""Sprays in an orchard, a Latin square of eight; D. J. Finney, Probit Analysis (1947), as R ships them."""

BASE = (
    (5.40, 5.50, 5.55),
    (5.85, 5.70, 5.75),
    (5.20, 5.60, 5.50),
    (5.55, 5.50, 5.40),
    (5.90, 5.85, 5.70),
    (5.45, 5.55, 5.60),
    (5.40, 5.40, 5.35),
    (5.45, 5.50, 5.35),
    (5.25, 5.15, 5.00),
    (5.85, 5.80, 5.70),
    (5.25, 5.20, 5.10),
    (5.65, 5.55, 5.45),
    (5.60, 5.35, 5.45),
    (5.05, 5.00, 4.95),
    (5.50, 5.50, 5.40),
    (5.45, 5.55, 5.50),
    (5.55, 5.55, 5.35),
    (5.45, 5.50, 5.55),
    (5.50, 5.45, 5.25),
    (5.65, 5.60, 5.40),
    (5.70, 5.65, 5.55),
    (6.30, 6.30, 6.25),
)
"""Times of 22 players round first base in three ways [s]; Hollander and Wolfe (1973), p. 140."""

SHIFT = 10.0
"""Finish times are positive, hours of sleep gained are not."""


def _groups(groups: tuple[tuple[float, ...], ...]) -> tuple[Array, Array]:
    codes = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    return np.concatenate([np.array(group) for group in groups]), dummies(codes, len(groups))


def _sleep(*, paired: bool) -> Times:
    return Times(
        configurations=("a",) * 10 + ("b",) * 10,
        times=tuple(SHIFT + hours for hours in SLEEP_A + SLEEP_B),
        heats=tuple("abcdefghij") * 2 if paired else (),
    )


def test_heats_of_two_are_a_paired_t_test() -> None:
    """Student's own data: t = -4.0621 on 9 degrees, p = 0.002833, 95 % from -2.4598858 to -0.7001142 (R)."""
    (effect,) = analyse(_sleep(paired=True), risk=0.05).effects
    assert effect.difference == pytest.approx(-1.58, abs=1e-12)
    assert effect.difference / effect.error == pytest.approx(-4.0621, abs=5e-5)
    assert effect.freedom == 9.0
    assert effect.chance == pytest.approx(0.002833, abs=5e-7)
    assert (effect.low, effect.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-8)
    assert effect.verdict == "slower"


def test_without_heats_it_is_students_t_test_of_two_samples() -> None:
    """The same data unpaired: t = -1.8608 (R; with equal numbers Welch's t is Student's; from memory)."""
    (effect,) = analyse(_sleep(paired=False), risk=0.05).effects
    assert effect.difference / effect.error == pytest.approx(-1.8608, abs=5e-5)
    assert effect.freedom == 18.0
    assert effect.verdict == "unclear"


def test_one_way_analysis_of_variance_is_the_certified_one() -> None:
    """NIST StRD, SiRstv: sums of squares, F and residual deviation as certified."""
    values, design = _groups(SILICON)
    (term,) = term_tests(values, {"instrument": design})
    fit = least_squares(values, {"instrument": design})
    assert term.squares == pytest.approx(5.11462616e-2, rel=1e-9)
    assert fit.squares == pytest.approx(2.16636560e-1, rel=1e-9)
    assert (term.freedom, fit.freedom) == (4, 20)
    assert term.ratio == pytest.approx(1.18046237440255, rel=1e-9)
    assert fit.noise == pytest.approx(1.04076068334656e-1, rel=1e-9)


def test_stiff_data_keep_their_figures() -> None:
    """NIST StRD, AtmWtAg: certified, where one pass over the squares loses everything."""
    values, design = _groups(SILVER)
    (term,) = term_tests(values, {"instrument": design})
    fit = least_squares(values, {"instrument": design})
    assert term.squares == pytest.approx(3.638341875e-9, rel=1e-8)
    assert fit.squares == pytest.approx(1.04951729166667e-8, rel=1e-8)
    assert term.ratio == pytest.approx(15.946733567793, rel=1e-8)
    assert fit.noise == pytest.approx(1.5104831444641e-5, rel=1e-8)


def _reaction() -> tuple[Array, Array, NDArray[np.intp]]:
    times = np.concatenate([np.array(person) for person in REACTION])
    days = np.tile(np.arange(10.0), len(REACTION))
    return times, np.column_stack([np.ones_like(days), days]), np.repeat(np.arange(len(REACTION)), 10)


def test_the_mixed_model_is_the_published_one() -> None:
    """D. Bates et al., J. Stat. Softw. 67 (2015) 1: intercept and days differ between people, REML."""
    times, design, people = _reaction()
    found = mixed_model(times, design, people, random=design)
    assert found.beta == pytest.approx([251.405, 10.467], abs=5e-4)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([6.825, 1.546], abs=6e-4)
    assert np.diag(found.random) == pytest.approx([612.10, 35.07], rel=1e-4)
    correlation = found.random[0, 1] / math.sqrt(found.random[0, 0] * found.random[1, 1])
    assert correlation == pytest.approx(0.066, abs=5e-4)
    assert found.noise**2 == pytest.approx(654.94, abs=5e-3)
    assert found.criterion == pytest.approx(1743.6, abs=0.05)


def test_so_is_the_one_with_full_likelihood() -> None:
    """The same model by maximum likelihood; the deviance 1752 is printed, the rest from memory."""
    times, design, people = _reaction()
    found = mixed_model(times, design, people, random=design, restricted=False)
    assert found.criterion == pytest.approx(1751.94, abs=0.02)
    assert np.diag(found.random) == pytest.approx([565.52, 32.68], abs=0.02)


def test_so_is_the_one_that_trials_use() -> None:
    """Only the intercept differs between people, as heats do here; lme4's figures (from memory).

    The 161 degrees of freedom of the slope and 22.8 of the intercept are Satterthwaite's as lmerTest gives
    them (A. Kuznetsova et al., J. Stat. Softw. 82 (2017) 13; from memory).
    """
    times, design, people = _reaction()
    found = mixed_model(times, design, people)
    assert found.random[0, 0] == pytest.approx(1378.18, abs=0.01)
    assert found.noise**2 == pytest.approx(960.46, abs=0.01)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([9.7467, 0.8042], abs=1e-4)
    assert found.criterion == pytest.approx(1786.465, abs=1e-3)
    slope, start = found.contrast(np.array([0.0, 1.0])), found.contrast(np.array([1.0, 0.0]))
    assert slope is not None
    assert start is not None
    assert slope.freedom == pytest.approx(161.0, rel=1e-3)
    assert start.freedom == pytest.approx(22.81, rel=1e-3)


def test_another_library_finds_the_same_mixed_model() -> None:
    """An unbalanced trial: cars change between heats of unequal size."""
    library = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    noise = np.random.default_rng(3)
    sizes = [2, 4, 3, 4, 1, 4, 3, 2, 4, 4, 3, 4]
    heats = np.repeat(np.arange(len(sizes)), sizes)
    design = np.column_stack([np.ones(len(heats)), heats % 2, noise.normal(size=len(heats))])
    times = (
        2600.0
        - 3.0 * design[:, 1]
        + noise.normal(0.0, 2.0, len(sizes))[heats]
        + noise.normal(0.0, 1.5, len(heats))
    )
    ours = mixed_model(times, design, heats)
    theirs = library.MixedLM(times, design, groups=heats).fit(reml=True)
    assert ours.beta == pytest.approx(theirs.fe_params, rel=1e-6)
    # Its errors are of the whole information; ours leave out what the variances take, as lme4's do.
    spread = theirs.scale * np.eye(len(heats)) + theirs.cov_re[0, 0] * (heats[:, None] == heats)
    covariance = np.linalg.inv(design.T @ np.linalg.solve(spread, design))
    assert ours.covariance == pytest.approx(covariance, rel=1e-3, abs=1e-6)
    assert ours.criterion == pytest.approx(-2.0 * theirs.llf, abs=1e-4)
    assert ours.noise**2 == pytest.approx(theirs.scale, rel=1e-4)
    assert ours.random[0, 0] == pytest.approx(theirs.cov_re[0, 0], rel=1e-3)


def test_a_latin_square_is_taken_apart() -> None:
    """Analysis of variance of the sprays (by statsmodels on R's data; no print was seen)."""
    values = np.concatenate([np.array(column) for column in ORCHARD])
    rows, columns = np.tile(np.arange(8), 8), np.repeat(np.arange(8), 8)
    sprays, names = codes_of(tuple("".join(TREATMENTS)))
    terms = {
        "row": dummies(rows, 8),
        "column": dummies(columns, 8),
        "spray": dummies(sprays, len(names)),
    }
    found = {term.name: term for term in term_tests(values, terms)}
    assert found["row"].squares == pytest.approx(4767.484375, rel=1e-9)
    assert found["column"].squares == pytest.approx(2807.234375, rel=1e-9)
    assert found["spray"].squares == pytest.approx(56159.984375, rel=1e-9)
    assert found["spray"].ratio == pytest.approx(21.066701, rel=1e-6)
    assert least_squares(values, terms).freedom == 42


def test_blocks_taken_out_are_blocks_fitted() -> None:
    """The same square with its columns as blocks: nothing else may change (Frisch and Waugh)."""
    values = np.concatenate([np.array(column) for column in ORCHARD])
    sprays, names = codes_of(tuple("".join(TREATMENTS)))
    terms = {"row": dummies(np.tile(np.arange(8), 8), 8), "spray": dummies(sprays, len(names))}
    found = {term.name: term for term in term_tests(values, terms, blocks=np.repeat(np.arange(8), 8))}
    assert found["spray"].ratio == pytest.approx(21.066701, rel=1e-6)
    assert found["heat"].squares == pytest.approx(2807.234375, rel=1e-9)


def test_three_ways_round_first_base() -> None:
    """M. Hollander, D. Wolfe, Nonparametric Statistical Methods (1973), p. 140: 11.143, p 0.0038 (R)."""
    table = np.array(BASE)
    ways, players = np.tile(np.arange(3), len(table)), np.repeat(np.arange(len(table)), 3)
    found = friedman(table.ravel(), players, ways)
    assert found == pytest.approx((11.143, 0.003805), abs=5e-4)
    times = Times(
        configurations=tuple("xyz"[way] for way in ways),
        times=tuple(table.ravel()),
        heats=tuple(str(player) for player in players),
    )
    assert analyse(times).friedman == pytest.approx((11.143, 0.003805), abs=5e-4)


def test_sample_sizes() -> None:
    """J. Cohen (1988), Table 2.4.1 prints 64; NIST/SEMATECH e-Handbook 7.2.2.2 comes to 11 (from memory)."""
    two = exact_runs(difference=0.5, noise=1.0, false_alarm=0.05, missed=0.2)
    assert two == pytest.approx(63.76561058891169, rel=1e-8)
    assert math.ceil(two) == 64
    one = exact_runs(difference=1.0, noise=1.0, false_alarm=0.05, missed=0.1, sides=1, groups=1)
    assert one == pytest.approx(10.081, abs=5e-4)
    assert math.ceil(one) == 11


def test_many_runs_need_what_the_normal_distribution_says() -> None:
    """2 ((1.6449 + 1.2816) / d)^2 runs for d = 0.01 and risks of 10 %; quantiles as in any table."""
    found = exact_runs(difference=0.01, noise=1.0, false_alarm=0.1, missed=0.1)
    assert found == pytest.approx(2.0 * ((1.644854 + 1.281552) / 0.01) ** 2, rel=1e-4)


def test_the_stop_rule_is_robbins_line_when_the_noise_is_known() -> None:
    """H. Robbins, Ann. Math. Statist. 41 (1970) 1397, the normal mixture.

    With known noise a sum of n is cut off at sqrt((n + m) (log((n + m) / m) + 2 log(1 / risk))), m the
    prior's weight. Here the degrees of freedom are so many that the noise is as good as known.
    """
    runs, prior, risk = 400.0, 4.0, 0.1
    ours = always_valid_half_width(error=1.0 / math.sqrt(runs), freedom=1e9, unscaled=1.0 / runs, risk=risk)
    line = math.sqrt((runs + prior) * (math.log((runs + prior) / prior) + 2.0 * math.log(1.0 / risk))) / runs
    assert ours == pytest.approx(line, rel=1e-6)
