"""Iron loss of sheet: separated into its three parts or by Steinmetz's law, under a sine or any waveform.

Under a sine of peak B and frequency f (G. Bertotti, IEEE Trans. Magn. 24 (1988) 621-630, from memory):

    P = k_h f B^n  +  k_c f^2 B^2  +  k_e (f B)^1.5          W/kg

hysteresis, classical eddy currents and excess. Under a waveform the classical part goes with the mean square of
dB/dt, the excess with the mean of |dB/dt|^1.5, and hysteresis with the swing of every loop. The improved generalised
Steinmetz method (Venkatachalam et al., 2002, see `loops`) gives for P = k f^alpha B^beta

    P = k_i / T * integral |dB/dt|^alpha swing^(beta - alpha) dt,
    k_i = k / ((2 pi)^(alpha - 1) 2^(beta - alpha) * integral over a turn of |cos|^alpha).

Vector waveforms are turned into the principal axes of their own locus and the losses of the two components added
(common practice): exact where flux alternates along a line, and too much where it rotates in saturated iron. Losses of
a loop do not depend on its bias here; cutting, welding and pressing add to what a sheet loses (usual factors 1.2 to
2, common practice) and are not in it.
"""

from dataclasses import dataclass
from math import gamma, log, pi, sqrt

import numpy as np
import scipy

from polefem.errors import InvalidValue, refusal
from polefem.materials.eddy import classical_coefficient
from polefem.materials.grade import Grade
from polefem.materials.law import FloatArray
from polefem.materials.loops import loop_integral

__all__ = ["LossSeparation", "Steinmetz", "fitted_separation", "loss_separation"]


def _cosine_mean(power: float) -> float:
    """Mean of |cos|^power over a turn."""
    return gamma(0.5 * (power + 1.0)) / (sqrt(pi) * gamma(0.5 * power + 1.0))


@dataclass(frozen=True)
class LossSeparation:
    """Specific loss as hysteresis f B^exponent + classical f^2 B^2 + excess (f B)^1.5, W/kg with B in T, f in Hz."""

    hysteresis: float
    exponent: float
    classical: float
    excess: float

    def parts(self, peak: float, frequency: float) -> tuple[float, float, float]:
        """Hysteresis, classical and excess loss in W/kg under a sine."""
        return (
            float(self.hysteresis * frequency * peak**self.exponent),
            self.classical * (frequency * peak) ** 2,
            self.excess * (frequency * peak) ** 1.5,
        )

    def sine(self, peak: float, frequency: float) -> float:
        """Loss in W/kg under a sine."""
        return sum(self.parts(peak, frequency))

    def waveform_parts(self, b: FloatArray, period: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Hysteresis, classical and excess loss under a waveform.

        Parameters
        ----------
        b : ndarray, shape (n_times, n_components, ...), T
            One period at even steps, the first sample not repeated at the end.
        period : float, s

        Returns
        -------
        three ndarrays, shape (...), W/kg
        """
        rate = np.sqrt(np.sum(_rate(b, period) ** 2, axis=1))
        swings = loop_integral(_principal(b), period, 1.0, self.exponent).sum(axis=0)
        excess = np.mean(rate**1.5, axis=0) / ((2.0 * pi) ** 1.5 * _cosine_mean(1.5))
        return (
            self.hysteresis * 0.5 ** (self.exponent + 1.0) * swings,
            self.classical / (2.0 * pi**2) * np.mean(rate**2, axis=0),
            self.excess * excess,
        )

    def waveform(self, b: FloatArray, period: float) -> FloatArray:
        """Loss in W/kg, shape (...), under a waveform of shape (n_times, n_components, ...), see `waveform_parts`."""
        hysteresis, classical, excess = self.waveform_parts(b, period)
        return hysteresis + classical + excess

    def steinmetz(self, peak: float, frequency: float) -> "Steinmetz":
        """Steinmetz's law that touches this one in value and both slopes at a peak in T and a frequency in Hz."""
        hysteresis, classical, excess = self.parts(peak, frequency)
        total = hysteresis + classical + excess
        alpha = (hysteresis + 2.0 * classical + 1.5 * excess) / total
        beta = (self.exponent * hysteresis + 2.0 * classical + 1.5 * excess) / total
        return Steinmetz(total / (frequency**alpha * peak**beta), alpha, beta)


@dataclass(frozen=True)
class Steinmetz:
    """Specific loss k f^alpha B^beta, W/kg with B in T, f in Hz."""

    k: float
    alpha: float
    beta: float

    def sine(self, peak: float, frequency: float) -> float:
        """Loss in W/kg under a sine."""
        return float(self.k * frequency**self.alpha * peak**self.beta)

    def waveform(self, b: FloatArray, period: float) -> FloatArray:
        """Loss by the improved generalised method.

        Parameters
        ----------
        b : ndarray, shape (n_times, n_components, ...), T
            One period at even steps, the first sample not repeated at the end.
        period : float, s

        Returns
        -------
        ndarray, shape (...), W/kg
        """
        k_i = self.k / ((2.0 * pi) ** self.alpha * 2.0 ** (self.beta - self.alpha) * _cosine_mean(self.alpha))
        loss: FloatArray = k_i * loop_integral(_principal(b), period, self.alpha, self.beta).sum(axis=0)
        return loss


def loss_separation(grade: Grade, excess_over_classical: float = 1.0) -> LossSeparation:
    """The coefficients that meet the loss figures of a grade.

    The classical part follows from thickness, resistivity and density. Figures at one frequency cannot tell hysteresis
    from excess: the excess is assumed to equal the classical loss at 1 T and 50 Hz, times `excess_over_classical`
    (about so in sheet of 0.5 mm, from memory). What is left is hysteresis, its coefficient and exponent by least
    squares in the logarithm: exact for two figures, the exponent 2 (assumed) for one. Figures at several frequencies
    tell the two apart: see `fitted_separation`.

    Raises
    ------
    InvalidValue
        A grade without thickness or loss figures, or whose figures leave nothing for hysteresis.

    Examples
    --------
    >>> from polefem.materials import Steel
    >>> law = loss_separation(Steel.named("M330-50A").grade)
    >>> round(law.sine(1.5, 50.0), 9), round(law.sine(1.0, 50.0), 9), round(law.exponent, 2)
    (3.3, 1.35, 2.47)
    """
    if grade.thickness is None or not grade.losses:
        raise InvalidValue(
            refusal("iron loss is known of sheet", "grade", grade.name, "one with thickness and losses")
        )
    classical = classical_coefficient(grade.thickness.value, grade.resistivity.value, grade.density.value)
    if len({loss.frequency for loss in grade.losses}) > 1:
        rows = [(loss.peak, loss.frequency, loss.figure.value) for loss in grade.losses]
        return fitted_separation(np.array(rows), classical)
    excess = excess_over_classical * classical * sqrt(50.0)
    rest = []
    for loss in grade.losses:
        eddy = classical * (loss.frequency * loss.peak) ** 2 + excess * (loss.frequency * loss.peak) ** 1.5
        left = (loss.figure.value - eddy) / loss.frequency
        if left <= 0.0:
            found = f"{loss.figure.value:g} W/kg at {loss.peak:g} T and {loss.frequency:g} Hz"
            raise InvalidValue(
                refusal("hysteresis takes a share", grade.name, found, f"above {eddy:.3g} W/kg")
            )
        rest.append((log(loss.peak), log(left)))
    exponent, intercept = 2.0, rest[0][1] - 2.0 * rest[0][0]
    if len({peak for peak, _ in rest}) > 1:
        log_peak, log_left = np.array(rest).T
        exponent, intercept = np.polyfit(log_peak, log_left, 1).tolist()
    return LossSeparation(float(np.exp(intercept)), exponent, classical, excess)


def fitted_separation(rows: FloatArray, classical: float) -> LossSeparation:
    """The separation that meets losses at several peaks and frequencies best, by their relative differences.

    rows: shape (n, 3): peak in T, frequency in Hz, loss in W/kg. classical: the coefficient that thickness and
    resistivity give; hysteresis and excess are what is looked for, neither below 0.

    Raises
    ------
    InvalidValue
        Fewer than three rows, or rows at one peak or one frequency alone.
    """
    peak, frequency, loss = rows.T
    if min(len(rows) - 2, len(set(peak)) - 1, len(set(frequency)) - 1) < 1:
        rule, allowed = "a loss is separated over peaks and frequencies", "three rows at two of each, or more"
        raise InvalidValue(refusal(rule, "rows", f"{len(rows)} of them", allowed))

    def off(p: FloatArray) -> FloatArray:
        found = (
            p[0] * frequency * peak ** p[1]
            + classical * (frequency * peak) ** 2
            + p[2] * (frequency * peak) ** 1.5
        )
        difference: FloatArray = found / loss - 1.0
        return difference

    start = np.array([float(np.median(loss / (frequency * peak**2))), 2.0, classical])
    scale = np.array([start[0], 1.0, classical * sqrt(50.0)])
    found = scipy.optimize.least_squares(
        off, start, bounds=([0.0, 1.0, 0.0], [np.inf, 4.0, np.inf]), x_scale=scale
    )
    return LossSeparation(float(found.x[0]), float(found.x[1]), classical, float(found.x[2]))


def _rate(b: FloatArray, period: float) -> FloatArray:
    """dB/dt in T/s between samples, the last back to the first."""
    rate: FloatArray = (np.roll(b, -1, axis=0) - b) * (b.shape[0] / period)
    return rate


def _principal(b: FloatArray) -> FloatArray:
    """Vector waveforms in the principal axes of their locus: same shape."""
    if b.shape[1] == 1:
        return b
    flat = b.reshape(*b.shape[:2], -1)
    about = flat - flat.mean(axis=0)
    axes = np.linalg.eigh(np.einsum("tim,tjm->mij", about, about))[1]
    turned: FloatArray = np.einsum("tim,mij->tjm", flat, axes).reshape(b.shape)
    return turned
