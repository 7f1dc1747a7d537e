"""Development-rate models against published parameter sets, and fits against published data."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq, curve_fit, minimize_scalar

from chirr.engine.biology.rate_models import (
    KELVIN_ROUNDED,
    REFERENCE_K_ROUNDED,
    briere1,
    briere2,
    briere_optimum_c,
    campbell,
    lactin1,
    lactin2,
    logan6,
    logan10,
    schoolfield,
    sharpe_demichele,
    taylor_gaussian,
    threshold_and_degree_days,
)

# Convention of the devRate package, under which the values of the biophysical models below were computed:
# K = T + 273.16, R = 1.987 cal/(mol K), reference 298 K.
devrate_schoolfield = partial(schoolfield, kelvin=KELVIN_ROUNDED, reference_k=REFERENCE_K_ROUNDED)
devrate_sharpe = partial(sharpe_demichele, kelvin=KELVIN_ROUNDED)

SCHOOLFIELD = ("p25", "HA", "HL", "TL", "HH", "TH")
SHARPE = ("aa", "bb", "cc", "dd", "ff", "gg")
LOGAN10 = ("alpha", "b", "c", "Tmax", "delta")

# Parameters published in the paper named; values computed (numpy 2.4.6), relative tolerance 1e-5.
# name, curve, rates at 15, 20, 25, 30, 35 degC, temperature and rate of the optimum
CASES = [
    (
        "Briere-1, Cydia pomonella eggs (Aghdam 2009)",
        partial(briere1, a=0.0001453, Tmin=9.645, Tmax=37.6185),
        [0.0555071, 0.126308, 0.198134, 0.244902, 0.208652],
        (31.235, 0.247565),
    ),
    (
        "Briere-1, Cydia pomonella larvae (Aghdam 2009)",
        partial(briere1, a=0.00004022, Tmin=8.8676, Tmax=36.3525),
        [0.0170958, 0.036212, 0.0546546, 0.0642665, 0.0427817],
        (30.122, 0.0642741),
    ),
    (
        "Briere-2, Cydia pomonella eggs (Aghdam 2009)",
        partial(briere2, a=0.0002634, Tmin=7.9722, Tmax=34.444, m=4.0547),
        [0.0577266, 0.122417, 0.195081, 0.251459, 0.0],
        (31.165, 0.255171),
    ),
    (
        "Lactin-1, Melanoplus (Lactin et al. 1995)",
        partial(lactin1, rho=0.121649, Tmax=49.732275, delta=8.217372),
        [0.00955714, 0.0150324, 0.0229758, 0.0336813, 0.0462048],
        (41.513, 0.0569384),
    ),
    (
        "Lactin-2, Melanoplus (Lactin et al. 1995)",
        partial(lactin2, rho=0.002245, Tmax=54.872728, delta=2.426034, lam=-1.035138),
        [-0.000889661, 0.0107846, 0.0225868, 0.0344919, 0.0462932],
        (42.157, 0.0581408),
    ),
    (
        "Lactin-2, Phenacoccus eggs (devRate package data)",
        partial(lactin2, rho=0.034, Tmax=41.378, delta=2.733, lam=-1.609),
        [0.0560286, 0.363241, 0.720452, 1.10067, 1.28228],
        (34.219, 1.29453),
    ),
    (
        "Logan-6, Cydia pomonella eggs (Aghdam 2009)",
        partial(logan6, phi=0.0613, rho=0.1689, Tmax=36.6712, delta=5.7836),
        [0.0641624, 0.115989, 0.190823, 0.256331, 0.150911],
        (30.820, 0.258643),
    ),
    (
        "Logan-6, Leptinotarsa eggs (Lactin et al. 1995)",
        partial(logan6, phi=0.220825, rho=0.154863, Tmax=38.050106, delta=6.399328),
        [0.0717368, 0.122277, 0.192433, 0.258385, 0.2131],
        (31.622, 0.265541),
    ),
    (
        "Logan-6, Melanoplus (Lactin et al. 1995)",
        partial(logan6, phi=0.051115, rho=0.123126, Tmax=49.595394, delta=8.066803),
        [0.00926952, 0.0147073, 0.0226692, 0.0334972, 0.0462747],
        (41.501, 0.0572958),
    ),
    (
        "Logan-10, Cydia pomonella eggs (Aghdam 2009)",
        partial(logan10, **dict(zip(LOGAN10, (0.4792, 0.1866, 105.4232, 40.0964, 6.2452), strict=True))),
        [0.0559907, 0.116782, 0.197713, 0.249444, 0.203484],
        (30.690, 0.250434),
    ),
    (
        "Schoolfield, Melanoplus (Hilbert & Logan 1983)",
        partial(
            devrate_schoolfield,
            **dict(zip(SCHOOLFIELD, (0.0455, 8814.36, -14877.95, 298.81, 47258.52, 316.695), strict=True)),
        ),
        [0.00750714, 0.0133453, 0.0222168, 0.0344123, 0.0482671],
        (40.206, 0.0563264),
    ),
    (
        "Schoolfield, Choristoneura occidentalis eggs (Regniere et al. 2012)",
        partial(
            devrate_schoolfield,
            **dict(zip(SCHOOLFIELD, (0.158, 11443, -59715, 283.9, 99958, 308.22), strict=True)),
        ),
        [0.0653146, 0.109098, 0.158091, 0.209355, 0.156925],
        (31.361, 0.214513),
    ),
    (
        "Sharpe-DeMichele, Drosophila prepupae (Sharpe & DeMichele 1977)",
        partial(devrate_sharpe, **dict(zip(SHARPE, (19.43, 10490, -156.9, -44373, 226.6, 69113), strict=True))),
        [0.0456172, 0.072938, 0.0986154, 0.0972393, 0.0467574],
        (27.591, 0.104513),
    ),
]
names = [case[0] for case in CASES]


@pytest.mark.parametrize(("name", "curve", "rates", "optimum"), CASES, ids=names)
def test_a_published_parameter_set_gives_its_rates(name, curve, rates, optimum):
    np.testing.assert_allclose(curve(np.array([15.0, 20.0, 25.0, 30.0, 35.0])), rates, rtol=1e-5, atol=1e-12)


@pytest.mark.parametrize(("name", "curve", "rates", "optimum"), CASES, ids=names)
def test_a_published_parameter_set_has_its_optimum(name, curve, rates, optimum):
    best = minimize_scalar(lambda t: -float(curve(t)), bounds=(20, 48), method="bounded", options={"xatol": 1e-7})
    assert best.x == pytest.approx(optimum[0], abs=6e-4)
    assert -best.fun == pytest.approx(optimum[1], rel=1e-5)


@pytest.mark.parametrize(
    ("curve", "zeros"),
    [(CASES[4][1], (15.3830, 48.4384)), (CASES[5][1], (13.9919, 39.7553))],
    ids=["Melanoplus", "Phenacoccus"],
)
def test_lactin2_crosses_zero_where_the_parameters_say(curve, zeros):
    """Same parameters (Lactin et al. 1995; devRate package data); zeros computed (numpy 2.4.6)."""
    found = [brentq(lambda t: float(curve(t)), *bracket) for bracket in ((5, 25), (35, 50))]
    assert found == pytest.approx(zeros, abs=6e-5)


def test_the_briere_optimum_has_a_closed_form():
    """Formula from memory; agrees with the numerical optimum of the parameters of Aghdam 2009."""
    assert briere_optimum_c(9.645, 37.6185) == pytest.approx(31.23540, abs=1e-5)
    assert briere_optimum_c(7.9722, 34.444, 4.0547) == pytest.approx(31.16461, abs=1e-5)


def test_five_published_fits_of_melanoplus_agree_at_30_degrees():
    """Five published fits of one data set lie within 3 % of 0.0343 per day; Briere's row gives a in units of 1e-4."""
    briere = float(briere1(30.0, 0.19e-4, 15.74, 48.90))
    assert briere == pytest.approx(0.0353366, rel=1e-5)
    by_name = dict(zip(names, (case[1] for case in CASES), strict=True))
    others = [float(curve(30.0)) for name, curve in by_name.items() if "Melanoplus" in name]
    assert sorted(others) == pytest.approx([0.0334972, 0.0336813, 0.0344123, 0.0344919], rel=1e-5)
    assert [briere, *others] == pytest.approx([0.0343] * 5, rel=0.0303)


def test_the_kelvin_convention_moves_only_the_later_digits():
    fit = dict(zip(SCHOOLFIELD, (0.0455, 8814.36, -14877.95, 298.81, 47258.52, 316.695), strict=True))
    exact, rounded = float(schoolfield(25.0, **fit)), float(devrate_schoolfield(25.0, **fit))
    assert exact != pytest.approx(rounded, rel=1e-4)
    assert exact == pytest.approx(rounded, rel=0.02)


# Published: Crespo-Perez et al. 2011, digitised in the devRate package's user guide: Tecia solanivora.
EGG = (
    [10, 10, 13, 15, 15, 15.5, 16, 16, 17, 20, 20, 25, 25, 30, 30, 35],
    [.031, .039, .072, .047, .059, .066, .083, .1, .1, .1, .143, .171, .2, .2, .18, .001],
)  # fmt: skip
LARVA = (
    [10, 10, 10, 13, 15, 15.5, 15.5, 15.5, 17, 20, 25, 25, 30, 35],
    [.01, .014, .019, .034, .024, .029, .034, .039, .067, .05, .076, .056, .0003, .0002],
)  # fmt: skip
PUPA = (
    [10, 10, 10, 13, 15, 15, 15.5, 15.5, 16, 16, 17, 20, 20, 25, 25, 30, 35],
    [.001, .008, .012, .044, .017, .044, .039, .037, .034, .051, .051, .08, .092, .102, .073, .005, .0002],
)  # fmt: skip


@pytest.mark.parametrize(
    ("data", "parameters", "residual_se"),
    [
        (EGG, (0.193395, 25.34183, 6.89386), 0.0316553),
        (LARVA, (0.0683826, 21.40872, 5.54498), 0.0133027),
        (PUPA, (0.0977955, 22.01138, 4.75149), 0.0130764),
    ],
    ids=["eggs", "larvae", "pupae"],
)
def test_a_bell_curve_fitted_to_tecia_solanivora_matches_least_squares(data, parameters, residual_se):
    """Data: Crespo-Perez et al. 2011; fits computed (scipy 1.17.1 curve_fit), relative tolerance 1e-4."""
    temps, rates = (np.array(column) for column in data)
    fitted, _ = curve_fit(taylor_gaussian, temps, rates, p0=(rates.max(), 23.0, 6.0))
    fitted[2] = abs(fitted[2])
    assert fitted == pytest.approx(parameters, rel=1e-4)
    left = rates - taylor_gaussian(temps, *fitted)
    assert np.sqrt((left**2).sum() / (len(temps) - 3)) == pytest.approx(residual_se, rel=1e-4)


def test_the_bell_curve_of_eggs_has_the_known_standard_errors():
    """Computed (scipy 1.17.1 curve_fit) on Crespo-Perez et al. 2011; 13 degrees of freedom."""
    _, covariance = curve_fit(taylor_gaussian, *map(np.array, EGG), p0=(0.2, 23.0, 6.0))
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.01781, 0.76014, 0.76853], rel=5e-4)


def test_a_straight_line_fitted_to_tecia_eggs_gives_threshold_and_degree_days():
    """The same egg data without the 35 degC point; computed (scipy 1.17.1)."""
    temps, rates = (np.array(column)[:-1] for column in EGG)
    (a, b), _ = curve_fit(campbell, temps, rates, p0=(-0.05, 0.01))
    assert (a, b) == pytest.approx((-0.0536944, 0.00863573), rel=1e-4)
    assert threshold_and_degree_days(a, b) == pytest.approx((6.218, 115.80), rel=1e-4)


@pytest.mark.parametrize(("name", "curve", "rates", "optimum"), CASES, ids=names)
def test_models_take_arrays_of_any_shape_and_keep_what_is_missing(name, curve, rates, optimum):
    grid = np.array([[15.0, np.nan], [25.0, 30.0]])
    found = curve(grid)
    assert found.shape == (2, 2)
    assert np.isnan(found[0, 1])
    assert found[1, 0] == pytest.approx(rates[2], rel=1e-5)
