"""Development rate against temperature: the published forms, as pure functions named by their authors.

Interface: `degree_day_rate`, `campbell`, `threshold_and_degree_days`, `briere1`, `briere2`, `briere_optimum_c`,
`lactin1`, `lactin2`, `logan6`, `logan10`, `schoolfield`, `sharpe_demichele`, `taylor_gaussian`.

All take temperature in degC, shape (...), broadcast with their parameters, and return a rate [1/day] of that shape
(NaN in, NaN out). Symbols are those of the publications. The Lactin and Logan forms are returned as they stand: they
can be negative outside the range of their fit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chirr.engine.biology import Floats

KELVIN = 273.15
"""0 degC in kelvin."""
KELVIN_ROUNDED = 273.16
"""The offset that the devRate package uses (the triple point of water)."""
REFERENCE_K = 298.15
"""25 degC in kelvin."""
REFERENCE_K_ROUNDED = 298.0
"""The reference temperature of Sharpe & DeMichele 1977 and Schoolfield et al. 1981, which the devRate package keeps."""
GAS_CONSTANT_CAL = 1.987
"""Gas constant [cal/(mol K)], as in Sharpe & DeMichele 1977 and Schoolfield et al. 1981."""


def _float(value: ArrayLike) -> Floats:
    return np.asarray(value, dtype=np.float64)


def degree_day_rate(temp_c: ArrayLike, threshold_c: ArrayLike, degree_days: ArrayLike) -> Floats:
    """Linear degree-day rule: (T - T0) / K, and 0 below the threshold T0 [degC]; K in degree-days.

    Examples
    --------
    Nymphs of Gryllus bimaculatus at 32 degC, T0 16.2 and K 555.6 (Magara et al. 2024), in days:

    >>> float((1 / degree_day_rate(32.0, 16.2, 555.6)).round(1))
    35.2
    """
    return np.asarray(np.maximum(_float(temp_c) - _float(threshold_c), 0.0) / _float(degree_days))


def campbell(temp_c: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Straight line a + b T (Campbell et al. 1974, J. Appl. Ecol. 11:431), 0 where it would be negative."""
    return np.asarray(np.maximum(_float(a) + _float(b) * _float(temp_c), 0.0))


def threshold_and_degree_days(a: float, b: float) -> tuple[float, float]:
    """Threshold [degC] and degree-days of the straight line a + b T: (-a/b, 1/b).

    Examples
    --------
    Melanoplus sanguinipes (Hilbert & Logan 1983):

    >>> [round(x, 1) for x in threshold_and_degree_days(-0.05368, 0.00244)]
    [22.0, 409.8]
    """
    return -a / b, 1 / b


def briere1(temp_c: ArrayLike, a: ArrayLike, Tmin: ArrayLike, Tmax: ArrayLike) -> Floats:
    """Briere-1: a T (T - Tmin) sqrt(Tmax - T), 0 outside (Tmin, Tmax) (Briere et al. 1999, Environ. Entomol. 28:22).

    Examples
    --------
    Cydia pomonella eggs at 25 degC (Aghdam 2009):

    >>> float(briere1(25.0, 0.0001453, 9.645, 37.6185).round(6))
    0.198134
    """
    temp = _float(temp_c)
    above = np.maximum(temp - _float(Tmin), 0.0)
    below = np.sqrt(np.maximum(_float(Tmax) - temp, 0.0))
    return np.asarray(_float(a) * temp * above * below)


def briere2(temp_c: ArrayLike, a: ArrayLike, Tmin: ArrayLike, Tmax: ArrayLike, m: ArrayLike) -> Floats:
    """Briere-2: a T (T - Tmin) (Tmax - T)^(1/m), and 0 outside (Tmin, Tmax) (Briere et al. 1999)."""
    temp = _float(temp_c)
    above = np.maximum(temp - _float(Tmin), 0.0)
    below = np.maximum(_float(Tmax) - temp, 0.0) ** (1 / _float(m))
    return np.asarray(_float(a) * temp * above * below)


def briere_optimum_c(Tmin: ArrayLike, Tmax: ArrayLike, m: ArrayLike = 2.0) -> Floats:
    """Temperature [degC] at which a Briere curve is fastest; m = 2 for Briere-1. Root of the curve's derivative.

    Examples
    --------
    >>> float(briere_optimum_c(9.645, 37.6185).round(5))
    31.2354
    """
    low, high, m = _float(Tmin), _float(Tmax), _float(m)
    root = np.sqrt(4 * m**2 * high**2 + (m + 1) ** 2 * low**2 - 4 * m**2 * low * high)
    return np.asarray((2 * m * high + (m + 1) * low + root) / (4 * m + 2))


def lactin1(temp_c: ArrayLike, rho: ArrayLike, Tmax: ArrayLike, delta: ArrayLike) -> Floats:
    """Lactin-1: exp(rho T) - exp(rho Tmax - (Tmax - T)/delta) (Lactin et al. 1995, Environ. Entomol. 24:68).

    Examples
    --------
    Melanoplus at 30 degC (Lactin et al. 1995):

    >>> float(lactin1(30.0, 0.121649, 49.732275, 8.217372).round(5))
    0.03368
    """
    temp, rho, high = _float(temp_c), _float(rho), _float(Tmax)
    return np.asarray(np.exp(rho * temp) - np.exp(rho * high - (high - temp) / _float(delta)))


def lactin2(temp_c: ArrayLike, rho: ArrayLike, Tmax: ArrayLike, delta: ArrayLike, lam: ArrayLike) -> Floats:
    """Lactin-2: Lactin-1 + lambda, which lets the curve cross zero in the cold (Lactin et al. 1995)."""
    return np.asarray(lactin1(temp_c, rho, Tmax, delta) + _float(lam))


def logan6(temp_c: ArrayLike, phi: ArrayLike, rho: ArrayLike, Tmax: ArrayLike, delta: ArrayLike) -> Floats:
    """Logan-6: phi (exp(rho T) - exp(rho Tmax - (Tmax - T)/delta)) (Logan et al. 1976, Environ. Entomol. 5:1133).

    Examples
    --------
    Leptinotarsa eggs at 30 degC (Lactin et al. 1995):

    >>> float(logan6(30.0, 0.220825, 0.154863, 38.050106, 6.399328).round(5))
    0.25838
    """
    return np.asarray(_float(phi) * lactin1(temp_c, rho, Tmax, delta))


def logan10(
    temp_c: ArrayLike, *, alpha: ArrayLike, b: ArrayLike, c: ArrayLike, Tmax: ArrayLike, delta: ArrayLike
) -> Floats:
    """Logan-10: alpha (1/(1 + c exp(-b T)) - exp(-(Tmax - T)/delta)) (Logan et al. 1976)."""
    temp = _float(temp_c)
    rise = 1 / (1 + _float(c) * np.exp(-_float(b) * temp))
    return np.asarray(_float(alpha) * (rise - np.exp(-(_float(Tmax) - temp) / _float(delta))))


def schoolfield(
    temp_c: ArrayLike,
    *,
    p25: ArrayLike,
    HA: ArrayLike,
    HL: ArrayLike,
    TL: ArrayLike,
    HH: ArrayLike,
    TH: ArrayLike,
    kelvin: float = KELVIN,
    reference_k: float = REFERENCE_K,
    gas_constant: float = GAS_CONSTANT_CAL,
) -> Floats:
    """Schoolfield form of the biophysical model (Schoolfield et al. 1981, J. Theor. Biol. 88:719).

    Parameters
    ----------
    p25 : rate at 25 degC without inactivation [1/day].
    HA, HL, HH : enthalpies of activation, of inactivation by cold (negative) and by heat [cal/mol].
    TL, TH : temperatures of half inactivation by cold and by heat [K].
    kelvin, reference_k, gas_constant : the convention of the fit. Parameters were fitted under one convention; another
        moves the second to third digit of the rate. The devRate package uses 273.16, 298 and 1.987.

    Examples
    --------
    Melanoplus at 25 degC (Hilbert & Logan 1983), devRate's convention:

    >>> fit = {"p25": 0.0455, "HA": 8814.36, "HL": -14877.95, "TL": 298.81, "HH": 47258.52, "TH": 316.695}
    >>> float(schoolfield(25.0, **fit, kelvin=KELVIN_ROUNDED, reference_k=REFERENCE_K_ROUNDED).round(7))
    0.0222168
    """
    temp_k = _float(temp_c) + kelvin
    rise = temp_k / reference_k * np.exp(_float(HA) / gas_constant * (1 / reference_k - 1 / temp_k))
    cold = np.exp(_float(HL) / gas_constant * (1 / _float(TL) - 1 / temp_k))
    heat = np.exp(_float(HH) / gas_constant * (1 / _float(TH) - 1 / temp_k))
    return np.asarray(_float(p25) * rise / (1 + cold + heat))


def sharpe_demichele(
    temp_c: ArrayLike,
    *,
    aa: ArrayLike,
    bb: ArrayLike,
    cc: ArrayLike,
    dd: ArrayLike,
    ff: ArrayLike,
    gg: ArrayLike,
    kelvin: float = KELVIN,
    gas_constant: float = GAS_CONSTANT_CAL,
) -> Floats:
    """Biophysical model of poikilotherm development (Sharpe & DeMichele 1977, J. Theor. Biol. 64:649).

    T exp((aa - bb/T)/R) / (1 + exp((cc - dd/T)/R) + exp((ff - gg/T)/R)), T in kelvin; aa, cc, ff are entropies
    [cal/(mol K)], bb, dd, gg enthalpies [cal/mol]. See `schoolfield` for the convention of kelvin and R.
    """
    temp_k = _float(temp_c) + kelvin
    rise = temp_k * np.exp((_float(aa) - _float(bb) / temp_k) / gas_constant)
    cold = np.exp((_float(cc) - _float(dd) / temp_k) / gas_constant)
    heat = np.exp((_float(ff) - _float(gg) / temp_k) / gas_constant)
    return np.asarray(rise / (1 + cold + heat))


def taylor_gaussian(temp_c: ArrayLike, Rm: ArrayLike, Tm: ArrayLike, To: ArrayLike) -> Floats:
    """Bell curve Rm exp(-((T - Tm)/To)^2 / 2): fastest rate Rm at Tm, width To (Taylor 1981, Am. Nat. 117:1)."""
    return np.asarray(_float(Rm) * np.exp(-0.5 * ((_float(temp_c) - _float(Tm)) / _float(To)) ** 2))
