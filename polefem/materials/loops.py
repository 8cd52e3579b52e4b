"""A waveform of flux density taken apart into its major loop and the minor loops that ride on it.

Material follows its largest swing once a period; wherever the waveform turns back on the way, it closes a loop of its
own before going on. (K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, Accurate prediction of ferrite core
loss with nonsinusoidal waveforms using only Steinmetz parameters, IEEE COMPEL 2002, which splits loops likewise.)
"""

import numpy as np
from numpy.typing import NDArray

from polefem.materials.law import FloatArray

__all__ = ["loop_integral"]

SMALLEST_LOOP = 1e-3  # T of swing: a smaller one loses a millionth of what 1 T does, and rounding makes many


def loop_integral(b: FloatArray, period: float, alpha: float, beta: float) -> FloatArray:
    """Mean over a period of |dB/dt|^alpha swing^(beta - alpha), each instant with the swing of its own loop.

    With alpha = 1 it is twice the frequency times the sum over loops of swing^beta.

    Parameters
    ----------
    b : ndarray, shape (n_times, ...), T
        One period at even steps, straight between them; the first sample is not repeated at the end.
    period : float, s
    alpha : float, 1 or more
    beta : float

    Returns
    -------
    ndarray, shape (...)
    """
    series = b.reshape(b.shape[0], -1)
    steps = np.full(series.shape, period / b.shape[0])
    return (_integral(series, steps, alpha, beta) / period).reshape(b.shape[1:])


def _integral(b: FloatArray, steps: FloatArray, alpha: float, beta: float) -> FloatArray:
    """The same before division by the period, for columns of closed waveforms; steps[i] leads from b[i] onwards."""
    b, steps = _from_the_top(b, steps)
    swing = b[0] - b.min(axis=0)
    envelope = _envelope(b)
    rate = np.abs(np.diff(b, axis=0)) / steps
    own = np.sum(rate ** (alpha - 1.0) * np.abs(np.diff(envelope, axis=0)), axis=0)
    total: FloatArray = own * np.where(swing > 0.0, swing, 1.0) ** (beta - alpha)
    astray = np.flatnonzero(np.abs(b - envelope).max(axis=0) > SMALLEST_LOOP)
    if astray.size:
        series, minor, minor_steps = _minor_loops(b[:, astray], steps[:, astray], envelope[:, astray])
        np.add.at(total, astray[series], _integral(minor, minor_steps, alpha, beta))
    return total


def _from_the_top(b: FloatArray, steps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The closed waveforms from their highest sample round to it again: shapes (n + 1, m) and (n, m)."""
    n = b.shape[0]
    order = (np.arange(n + 1)[:, None] + b.argmax(axis=0)) % n
    return np.take_along_axis(b, order, axis=0), np.take_along_axis(steps, order[:-1], axis=0)


def _envelope(b: FloatArray) -> FloatArray:
    """The major loop: the least so far on the way down, the most since the bottom on the way up."""
    rows = np.arange(b.shape[0])[:, None]
    bottom = b.argmin(axis=0)
    up = np.maximum.accumulate(np.where(rows < bottom, b.min(axis=0), b), axis=0)
    return np.where(rows <= bottom, np.minimum.accumulate(b, axis=0), up)


def _minor_loops(
    b: FloatArray, steps: FloatArray, envelope: FloatArray
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Each stretch off the envelope, closed where the waveform comes back to the level that it left.

    Returns the series that each belongs to, shape (n_loops,), and the loops with their steps, shape (longest,
    n_loops), the shorter ones filled up with stillness at their level.
    """
    # A series is on its envelope at both ends, so that no stretch runs from one series into the next.
    edges = np.diff((b != envelope).T.ravel().astype(np.int8))
    series, leaves = np.divmod(np.flatnonzero(edges == 1), b.shape[0])
    last = np.flatnonzero(edges == -1) % b.shape[0]
    rows = leaves + np.arange((last - leaves).max(initial=0) + 1)[:, None]
    inside, rows = rows <= last, np.minimum(rows, last)
    level, far, back = b[leaves, series], b[last, series], b[last + 1, series]
    loops = np.where(inside, b[rows, series], level)
    loop_steps = np.where(inside, steps[rows, series], 1.0)
    loop_steps[last - leaves, np.arange(series.size)] *= (far - level) / (far - back)
    kept = np.ptp(loops, axis=0) > SMALLEST_LOOP
    return series[kept], loops[:, kept], loop_steps[:, kept]
