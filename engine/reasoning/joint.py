"""Readings that share their causes, weighed together.

Five readings of one soft battery are not five proofs. Under a hypothesis the readings ``y`` (each
on its own scale) are ``mu + J z + e``: ``z`` are the shared quantities in units of their standard
uncertainty (the battery, a cable, the charging volts, a winding, the severity, a meter's gain),
``J`` the readings' loadings on them, ``e`` independent with variance ``R``; so
``y ~ Normal(mu, J J' + diag R)``. A reading may also be simply wrong: then it lies flat over its
instrument's range. Which ones are, is chosen greedily for each hypothesis, the worst reading given
the others first; what the choice leaves out is added reading by reading, so that without loadings
the sum is the exact mixture.

The matrices are inverted in the space of the shared quantities (Woodbury), batched over hypotheses:
with ``A = I + J' R^-1 J`` over the readings that count, ``z`` given them has covariance ``A^-1``
and mean ``A^-1 J' R^-1 (y - mu)``. A reading given all the others then has residual
``e = r - J z`` taken without it (leave-one-out, from the same ``A``).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from engine.physics.circuit import Floats

Mask = NDArray[np.bool_]
ALL = slice(None)
LEAST_OWN = 1e-10  # rounding alone takes 1e-15 from what readings share
LOG_2_PI = math.log(2 * math.pi)


@dataclass(frozen=True)
class Readings:
    """Readings under every hypothesis; axes (hypothesis, reading) and a last one for loadings.

    ``residual`` is the reading less its prediction, on the reading's scale; ``own_variance`` what
    it shares with no other; ``level`` the flat density of a wrong reading; ``active`` where the
    hypothesis predicts a number at all. ``flat_share`` is the chance that a reading is wrong.
    """

    residual: Floats
    loadings: Floats
    own_variance: Floats
    level: Floats
    active: Mask
    flat_share: float

    @property
    def compact(self) -> "Readings":
        """The same readings on no more quantities than there are readings: as likely, and quicker.

        What two share they share through ``J J'`` alone. A root of that and half of what is each
        one's own (which keeps it regular) takes the place of ``J``; the other half stays its own.
        Of what it shares a reading's own is taken for a part in ``LEAST_OWN`` at least.
        """
        many, readings = self.loadings.shape[2], self.loadings.shape[1]
        if many <= readings:
            return self
        loadings = np.where(self.active[..., None], self.loadings, 0.0)
        own = np.maximum(self.own_variance, LEAST_OWN * (loadings**2).sum(axis=-1))
        half = np.where(self.active, 0.5 * own, 1.0)
        together = loadings @ np.swapaxes(loadings, 1, 2)
        together[:, range(readings), range(readings)] += half
        return replace(self, loadings=np.linalg.cholesky(together), own_variance=half)


@dataclass(frozen=True)
class Joint:
    """What readings say together. Axes (hypothesis, reading) unless said otherwise.

    ``log_likelihood`` (hypothesis,) of all of them; ``left_out`` the log density of each given the
    others, ``peak`` the highest that could have been; ``shared_mean`` (hypothesis, quantity) and
    ``shared_covariance`` (hypothesis, quantity, quantity) of the shared quantities, given them.
    """

    log_likelihood: Floats
    left_out: Floats
    peak: Floats
    wrong: Mask
    shared_mean: Floats
    shared_covariance: Floats

    def conditional(self, loadings: Floats) -> tuple[Floats, Floats]:
        """Return the shift of the mean and the variance of other readings, given these.

        ``loadings`` (hypothesis, reading, quantity) of the others; what one shares with none of
        these comes on top of its variance.
        """
        shift: Floats = (loadings @ self.shared_mean[..., None])[..., 0]
        variance = ((loadings @ self.shared_covariance) * loadings).sum(axis=-1)
        return shift, np.maximum(variance, 0.0)


@dataclass(frozen=True)
class Given:
    """Readings that count, for predicting others where they are fewer than what they share.

    The same as ``Joint.conditional`` by the covariance of the readings themselves, ``J J' + R``,
    which is then the smaller matrix. Axes (hypothesis, reading, quantity or reading).
    """

    loadings: Floats
    precision: Floats  # inverse of the readings' covariance
    pull: Floats  # that times what the readings are off by

    def conditional(self, loadings: Floats) -> tuple[Floats, Floats]:
        """Return the shift of the mean and the variance of other readings, as Joint has it."""
        cross = loadings @ np.swapaxes(self.loadings, 1, 2)
        shift: Floats = (cross @ self.pull[..., None])[..., 0]
        variance = (loadings**2).sum(axis=-1) - ((cross @ self.precision) * cross).sum(axis=-1)
        return shift, np.maximum(variance, 0.0)


def given(readings: Readings) -> Joint | Given:
    """Return what readings tell of others."""
    count, many = readings.loadings.shape[1:]
    if count > many:
        return weigh_together(readings)
    counts = readings.active & ~weigh_together(readings.compact).wrong if count else readings.active
    loadings = np.where(counts[..., None], readings.loadings, 0.0)
    covariance = loadings @ np.swapaxes(loadings, 1, 2)
    covariance[:, range(count), range(count)] += np.where(counts, readings.own_variance, 1.0)
    precision = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    residual = np.where(counts, readings.residual, 0.0)
    return Given(loadings, precision, (precision @ residual[..., None])[..., 0])


def weigh_together(readings: Readings) -> Joint:
    """Return what readings say together under every hypothesis."""
    shared = _Shared(readings)
    normal = shared.log_normal()
    log_density, variance = shared.left_out()
    rows = np.arange(len(normal) if log_density.size else 0)
    while len(rows):
        right = shared.log_right + log_density[rows]
        gain = np.where(shared.counts[rows], shared.log_wrong[rows] - right, -np.inf)
        worst, wrong = gain.argmax(axis=1), gain.max(axis=1) > 0
        rows, worst = rows[wrong], worst[wrong]
        normal[rows] -= log_density[rows, worst]
        shared.drop(rows, worst)
        log_density[rows], variance[rows] = shared.left_out(rows)
    return shared.result(normal, log_density, variance)


class _Shared:
    """The shared quantities given the readings that count, hypothesis by hypothesis."""

    def __init__(self, readings: Readings) -> None:
        self.readings = readings
        self.counts = readings.active.copy()
        self.loadings = np.where(readings.active[..., None], readings.loadings, 0.0)
        self.own = np.where(readings.active, readings.own_variance, 1.0)
        self.residual = np.where(readings.active, readings.residual, 0.0)
        self.log_right = math.log1p(-readings.flat_share)
        self.log_wrong = np.log(readings.flat_share * readings.level)
        scaled = np.swapaxes(self.loadings / self.own[..., None], 1, 2)
        self.precision = scaled @ self.loadings + np.eye(self.loadings.shape[-1])
        self.covariance = np.asarray(np.linalg.inv(self.precision), dtype=np.float64)
        self.pull: Floats = (scaled @ self.residual[..., None])[..., 0]

    def log_normal(self) -> Floats:
        """Return the log density of all readings that count, none of them wrong."""
        weighted = np.where(self.counts, self.residual**2 / self.own, 0.0).sum(1)
        fitted = np.einsum("hq,hqp,hp->h", self.pull, self.covariance, self.pull)
        log_det = np.linalg.slogdet(self.precision)[1]
        log_det += np.where(self.counts, np.log(self.own), 0.0).sum(1)
        normal: Floats = -0.5 * (self.counts.sum(1) * LOG_2_PI + log_det + weighted - fitted)
        return normal

    def left_out(self, rows: NDArray[np.intp] | slice = ALL) -> tuple[Floats, Floats]:
        """Return log density and variance of each reading, given the others that count.

        ``rows`` are the hypotheses, all where left out.
        """
        loadings, own, counts = self.loadings[rows], self.own[rows], self.counts[rows]
        covariance = self.covariance[rows]
        mean = (covariance @ self.pull[rows][..., None])[..., 0]
        residual = self.residual[rows] - (loadings @ mean[..., None])[..., 0]
        known = ((loadings @ covariance) * loadings).sum(axis=-1)
        # a reading that counts is in the mean: taken out of it, its residual and variance grow
        kept = np.maximum(1.0 - known / own, 1e-12)
        variance = np.where(counts, own / kept, own + known)
        residual = np.where(counts, residual / kept, residual)
        log_density: Floats = -0.5 * (LOG_2_PI + np.log(variance) + residual**2 / variance)
        return log_density, variance

    def drop(self, rows: NDArray[np.intp], places: NDArray[np.intp]) -> None:
        """Take one reading out under some hypotheses (Sherman and Morrison)."""
        loading = self.loadings[rows, places]
        own = self.own[rows, places]
        turned = np.einsum("hqp,hp->hq", self.covariance[rows], loading)
        rest = own - np.einsum("hq,hq->h", loading, turned)
        step = np.einsum("hq,hp->hqp", turned, turned)
        self.covariance[rows] += step / np.maximum(rest, 1e-12 * own)[:, None, None]
        self.pull[rows] -= loading * (self.residual[rows, places] / own)[:, None]
        self.counts[rows, places] = False

    def result(self, normal: Floats, log_density: Floats, variance: Floats) -> Joint:
        """Return the sums once it is settled which readings are wrong."""
        active, wrong = self.readings.active, self.readings.active & ~self.counts
        right = self.log_right + log_density
        chosen = np.where(self.counts, self.log_right, self.log_wrong)
        other = -np.abs(right - self.log_wrong)  # the way that was not chosen, beside the chosen
        total = normal + np.where(active, chosen + np.log1p(np.exp(other)), 0.0).sum(1)
        peak = np.logaddexp(self.log_right - 0.5 * (LOG_2_PI + np.log(variance)), self.log_wrong)
        return Joint(
            log_likelihood=total,
            left_out=np.where(active, np.logaddexp(right, self.log_wrong), 0.0),
            peak=np.where(active, peak, 0.0),
            wrong=wrong,
            shared_mean=np.einsum("hqp,hp->hq", self.covariance, self.pull),
            shared_covariance=self.covariance,
        )
