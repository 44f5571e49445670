"""A smooth function through what runs showed: a Gaussian process, with the error of each."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REACH, REACH_OF_TRAITS = 2.0, 5.0
"""Usual reach of true settings and of traits, in their SDs (assumption)."""
SPREAD_OF_TRAITS = 1.5  # SD of the logarithm of the squared reach of traits; 1 of all else
OWN = 0.5  # usual variance that is a machine's own, over that of the sampling
STEPS, HALVED = 12, 5  # most steps of the search for the smoothness, and halvings of one
LONGEST = 1.0  # step of a logarithm, as the expected curvature holds nearby only
ENOUGH = 0.05  # gain of the logarithm of the likelihood at which the search ends
BINS = 5  # of angles, each with its own error
LEAST_ERROR = 0.05  # least variance of an error, over the sampling variance of a run


@dataclass(frozen=True, eq=False)
class Curve:
    """A smooth function of true settings and machines, for one kind of cell in one way of looking.

    Attributes
    ----------
    places : ndarray, shape (runs, columns)
        Runs: scaled true settings and traits over their reach.
    nearness : ndarray, shape (columns,)
        Reciprocal of the distance over which the function changes; 0 where nothing varied.
    pull : ndarray, shape (runs,)
        Weight of each run. [rad]
    mean : float
        Mean angle. [rad]
    error : tuple of ndarray, shape (bins,)
        Angles, and SD of the error near each at a machine that was not run. [rad]
    """

    places: Floats
    nearness: Floats
    pull: Floats
    mean: float
    error: tuple[Floats, Floats]

    def __call__(self, places: Floats) -> Floats:
        """Angles of meters. [rad]"""
        there = places * self.nearness
        alike = there @ self.places.T
        alike -= np.einsum("ij,ij->i", there, there)[:, None] / 2
        alike -= np.einsum("ij,ij->i", self.places, self.places) / 2
        np.exp(np.minimum(alike, 0.0, out=alike), out=alike)
        return np.asarray(self.mean + alike @ self.pull).clip(0.0, math.pi / 2)


def usual_logs(
    places: Floats, settings: int, values: Floats, variances: Floats
) -> tuple[Floats, Floats]:
    """Usual logarithms of size, own, and squared nearness of each column, and their SDs."""
    noise = float(variances.mean())
    size = max(float(values.var()) - noise, 0.1 * noise)
    traits = places.shape[1] - settings
    near = np.repeat([-2 * math.log(REACH), -2 * math.log(REACH_OF_TRAITS)], [settings, traits])
    usual = np.concatenate([[math.log(size), math.log(OWN * noise)], near])
    return usual, np.repeat([1.0, 1.0, SPREAD_OF_TRAITS], [2, settings, traits])


def _alike(logs: Floats, squares: Floats) -> Floats:
    """Covariance of runs without sampling, from their squared distances by column."""
    return np.asarray(np.exp(logs[0] - np.tensordot(np.exp(logs[2:]), squares, 1) / 2))


def smoothest(
    places: Floats,
    values: Floats,
    variances: Floats,
    usual: tuple[Floats, Floats],
    start: Floats,
) -> Floats:
    """How smooth a Gaussian process through values of runs is: the likeliest logarithms.

    Parameters
    ----------
    places : ndarray, shape (runs, columns)
        Scaled true settings and traits.
    values, variances : ndarray, shape (runs,)
        Angles [rad] and their sampling variances.
    usual : tuple of ndarray
        Usual logarithms and their SDs (assumption); others are unlikely.
    start : ndarray
        Where the search begins.

    Returns
    -------
    ndarray, shape (2 + columns,)
        Logarithms of size, of what is a machine's own, and of the squared nearness by column.

    Notes
    -----
    Source: rasmussen2006.  Likeness is ``exp(-d^2/2)`` of the distance d over the reach of each
    true setting and of each trait.  The search is that of Fisher: steps by the gradient over the
    expected curvature, halved until the likelihood rises.
    """
    live = np.ptp(places, axis=0) > 0
    mine = np.concatenate([[True, True], live])
    squares = (places.T[live, :, None] - places.T[live, None, :]) ** 2
    middle, spread = usual[0][mine], usual[1][mine]
    y, eye = values - values.mean(), np.eye(len(values))

    def unlikely(logs: Floats) -> tuple[float, Floats, Floats]:
        alike = _alike(logs, squares)
        inverse = np.linalg.inv(alike + np.diag(variances + np.exp(logs[1])))
        sign, size = np.linalg.slogdet(inverse)
        fit = float(y @ inverse @ y) if sign > 0 else math.inf
        unusual = float((((logs - middle) / spread) ** 2).sum())
        return (fit - float(size) + unusual) / 2, alike, np.asarray(inverse)

    logs = start[mine]
    now, alike, inverse = unlikely(logs)
    for _ in range(STEPS):
        own = math.exp(logs[1])
        slopes = -alike * squares * (np.exp(logs[2:]) / 2)[:, None, None]
        slopes = np.concatenate([alike[None], own * eye[None], slopes])
        pull = inverse @ y
        turned = inverse @ slopes
        gradient = (np.trace(turned, axis1=1, axis2=2) - (slopes @ pull) @ pull) / 2
        gradient += (logs - middle) / spread**2
        flat = turned.reshape(len(logs), -1)
        curved = flat @ turned.swapaxes(1, 2).reshape(len(logs), -1).T / 2 + np.diag(spread**-2)
        step = np.linalg.solve(curved, gradient)
        step /= max(float(np.abs(step).max()) / LONGEST, 1.0)
        for _ in range(HALVED):
            there = unlikely(logs - step)
            if there[0] < now:
                break
            step = step / 2
        else:
            break
        gained, logs = now - there[0], logs - step
        now, alike, inverse = there
        if gained < ENOUGH:
            break
    found = usual[0].copy()
    found[mine] = logs
    found[~mine] = -np.inf
    return found


def curve_of(places: Floats, values: Floats, variances: Floats, logs: Floats) -> Curve:
    """A Gaussian process through values of runs.

    Notes
    -----
    The error of each run left out follows in closed form, ``(K^-1 y)_i / (K^-1)_ii``.  Its mean
    square less the sampling variance is the error at other machines.
    """
    mean, near = float(values.mean()), np.exp(logs[2:] / 2)
    there = places * near
    apart = (there**2).sum(axis=1)
    apart = apart[:, None] + apart - 2 * there @ there.T
    alike = np.exp(logs[0] - apart.clip(min=0.0) / 2)
    inverse = np.linalg.inv(alike + np.diag(variances + np.exp(logs[1])))
    pull = inverse @ (values - mean)
    out = pull / np.diag(inverse)
    size = math.exp(logs[0])
    return Curve(there, near, size * pull, mean, _errors(values - out, out, variances))


def _errors(angles: Floats, apart: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Predicted angles of runs left out, in bins, and the SD of the error in each bin."""
    order = np.array_split(np.argsort(angles), BINS)
    middle = np.array([angles[some].mean() for some in order])
    square = np.array([np.mean(apart[some] ** 2) - variances[some].mean() for some in order])
    least = np.array([LEAST_ERROR * variances[some].mean() for some in order])
    return middle, np.sqrt(np.maximum(square, least))
