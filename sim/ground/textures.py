"""How soils hold and conduct water: textures with published parameters, or an owner's own figures.

One set, van Genuchten's curve with Mualem's conductivity and the parameters of Carsel & Parrish; no
other set is mixed in. Suction in cm of water (1 cm = 1 hPa nearly).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from evenclay.sim.types import Floats

CM_PER_KPA = 10.19716
POND_MM = 3.0  # surface storage: common practice, no source
FITTED_N = (1.03, 5.0)  # where a fit looks: beyond lie no soils that are known


@dataclass(frozen=True)
class Texture:
    """van Genuchten-Mualem parameters: water contents [m3/m3], alpha [1/cm], n, Ks [mm/h].

    cracks: whether it shrinks so much that dry cracks take water past the surface. measured:
    whether these are an owner's own water contents, and no published texture's.
    """

    theta_r: float
    theta_s: float
    alpha_per_cm: float
    n: float
    ks_mm_h: float
    cracks: bool = False
    measured: bool = False

    @property
    def varies(self) -> bool:
        """Whether how much water it holds a pF differs from ground to ground, and is not known."""
        return self.cracks and not self.measured

    def conducting(self, ks_mm_h: float | None) -> "Texture":
        """The same with another saturated conductivity; None: with its own."""
        return self if ks_mm_h is None else replace(self, ks_mm_h=ks_mm_h)

    @property
    def m(self) -> float:
        """The exponent m = 1 - 1/n."""
        return 1.0 - 1.0 / self.n

    def saturation(self, suction_cm: ArrayLike) -> Floats:
        """Effective saturation [0..1] at a suction [cm, >= 0]. Source: van Genuchten 1980."""
        suction = np.asarray(suction_cm, dtype=np.float64)
        return np.asarray((1.0 + (self.alpha_per_cm * suction) ** self.n) ** -self.m)

    def water_content(self, suction_cm: ArrayLike) -> Floats:
        """Volumetric water content [m3/m3] at a suction [cm, >= 0]."""
        range_ = self.theta_s - self.theta_r
        return np.asarray(self.theta_r + range_ * self.saturation(suction_cm))

    def suction_cm(self, water_content: ArrayLike) -> Floats:
        """Suction [cm] at a volumetric water content [m3/m3]; 0 at saturation."""
        content = np.asarray(water_content, dtype=np.float64)
        relative = (content - self.theta_r) / (self.theta_s - self.theta_r)
        relative = np.clip(relative, 1e-12, 1.0)
        return np.asarray((relative ** (-1.0 / self.m) - 1.0) ** (1.0 / self.n) / self.alpha_per_cm)

    def relative_conductivity(self, suction_cm: ArrayLike) -> Floats:
        """Conductivity over Ks [0..1] at a suction [cm]. Source: Mualem 1976, l = 0.5."""
        relative = self.saturation(suction_cm)
        part = (self.alpha_per_cm * np.asarray(suction_cm, dtype=np.float64)) ** self.n
        # 1 - S^(1/m) as a quotient: the difference of near-equal numbers would lose digits.
        closed = (part / (1.0 + part)) ** self.m
        return np.asarray(np.sqrt(relative) * (1.0 - closed) ** 2)


def _texture(
    theta_r: float,
    theta_s: float,
    alpha_per_cm: float,
    n: float,
    ks_cm_d: float,
    cracks: bool = False,
) -> Texture:
    return Texture(theta_r, theta_s, alpha_per_cm, n, ks_cm_d * 10.0 / 24.0, cracks)


# Source: Carsel & Parrish 1988, Water Resour. Res. 24(5):755-769. Which of them crack is by name
# only: how much a soil shrinks is not in its texture.
TEXTURES = {
    "sand": _texture(0.045, 0.43, 0.145, 2.68, 712.8),
    "loamy sand": _texture(0.057, 0.41, 0.124, 2.28, 350.2),
    "sandy loam": _texture(0.065, 0.41, 0.075, 1.89, 106.1),
    "loam": _texture(0.078, 0.43, 0.036, 1.56, 24.96),
    "silt": _texture(0.034, 0.46, 0.016, 1.37, 6.0),
    "silt loam": _texture(0.067, 0.45, 0.020, 1.41, 10.8),
    "sandy clay loam": _texture(0.100, 0.39, 0.059, 1.48, 31.44),
    "clay loam": _texture(0.095, 0.41, 0.019, 1.31, 6.24),
    "silty clay loam": _texture(0.089, 0.43, 0.010, 1.23, 1.68),
    "sandy clay": _texture(0.100, 0.38, 0.027, 1.23, 2.88),
    "silty clay": _texture(0.070, 0.36, 0.005, 1.09, 0.48, cracks=True),
    "clay": _texture(0.068, 0.38, 0.008, 1.09, 4.80, cracks=True),
}


def fitted(
    saturated: float, at_33_kpa: float, at_1500_kpa: float, ks_mm_h: float, *, cracks: bool = False
) -> Texture:
    """The curve through an owner's own water contents [m3/m3], with theta_r 0.

    saturated: with every pore full. at_33_kpa, at_1500_kpa: field capacity and wilting point.
    Raises: ValueError unless they fall one after another, and neither hardly nor steeply.
    Source: van Genuchten 1980, its two unknowns solved for two points.
    """
    if not 1.0 > saturated > at_33_kpa > at_1500_kpa > 0.0:
        raise ValueError("water contents must fall from saturation to wilting point")

    def log_suction(content: float, n: float) -> float:
        """Log of (alpha h)^n at a content, written so that no power overflows."""
        exponent = np.log(saturated / content) / (1.0 - 1.0 / n)
        return float(exponent + np.log1p(-np.exp(-exponent)))

    def beyond(n: float) -> float:
        """How much further apart than 33 and 1500 kPa the two suctions lie, as logs."""
        reached = (log_suction(at_1500_kpa, n) - log_suction(at_33_kpa, n)) / n
        return float(reached - np.log(1500.0 / 33.0))

    from scipy.optimize import brentq  # half a second, for the few who have such figures

    if beyond(FITTED_N[0]) * beyond(FITTED_N[1]) >= 0.0:
        raise ValueError("no curve of this form goes through these water contents")
    n = brentq(beyond, *FITTED_N, xtol=1e-12)
    alpha_per_cm = float(np.exp(log_suction(at_33_kpa, n) / n)) / (33.0 * CM_PER_KPA)
    return Texture(0.0, saturated, alpha_per_cm, n, ks_mm_h, cracks, measured=True)


def pf_of_kpa(kpa: float) -> float:
    """pF of a suction [kPa, above 0]."""
    return float(np.log10(kpa * CM_PER_KPA))


def kpa_of_pf(pf: float) -> float:
    """Suction [kPa] of a pF."""
    return float(10**pf / CM_PER_KPA)


def pf(suction_cm: ArrayLike) -> Floats:
    """log10 of suction [cm]; 0 for anything wetter than 1 cm."""
    return np.asarray(np.log10(np.maximum(np.asarray(suction_cm, dtype=np.float64), 1.0)))
