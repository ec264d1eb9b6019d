"""The trials of heights one at a time, each with a least-squares fit of its own: what the engine's are held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import null_space

from framing.engine.members import heights
from framing.engine.shims import nearest_sum, shim_sums
from framing.reference.lumber import DRESSED
from tests.framing.staged import Staged


@dataclass(frozen=True)
class Case:
    """A terrace with one ridge along x = `middle`, or none, as plain arrays: readings, pads, places of the wood."""

    xy: np.ndarray
    z: np.ndarray
    sigma: float
    sill: np.ndarray  # threshold heights
    pads: np.ndarray
    stacked: np.ndarray  # deck to underside of the wood at the pads, less pad and base: what roof and shims make up
    wood: np.ndarray
    bottom: np.ndarray  # finished surface to underside of the wood at its kinks and corners
    reveal: float
    sums: np.ndarray
    made: np.ndarray
    middle: float | None = None

    @classmethod
    def of(cls, staged: Staged, frame, middle: float | None = None) -> Case:
        survey, build, adjusted, plane = staged.survey, staged.build, staged.adjusted, staged.plane
        assert build.surface.mode == "level"
        read = [r for r in adjusted.levels if r.on in ("roof", "ridge")]
        xy = np.array([[adjusted.points[r.point].x, adjusted.points[r.point].y] for r in read])
        at = np.array([s.at for s in frame.supports])
        roof_z = np.array([s.roof_z for s in frame.supports])
        shim = np.array([s.shim + s.residual for s in frame.supports])
        wood, bottom = [], []
        under = build.decking.thickness + build.joists.tape_thickness
        for m in frame.members:
            (s, _), = heights([m.line], build, plane, staged.roof)
            s = np.union1d(s, m.profile[:, 0])
            wood.append(m.line.at(s))
            bottom.append(under + m.depth(s))
        sums, made = shim_sums(tuple(build.supports.shim_sizes), build.supports.shim_most)
        assert all(m.size in DRESSED for m in frame.members)
        return cls(xy, np.array([r.z for r in read]), survey.level_sigma, np.array(plane.threshold)[:, 2], at,
                   plane.height(at) - roof_z - shim, np.concatenate(wood), np.concatenate(bottom),
                   build.surface.reveal, sums, made, middle)

    def _rows(self, xy: np.ndarray) -> np.ndarray:
        one = np.c_[np.ones(len(xy)), xy]
        if self.middle is None:
            return one
        left = (xy[:, 0] < self.middle)[:, None]
        return np.hstack([one * left, one * ~left])

    def basis(self) -> np.ndarray:
        """Planes that meet along the ridge."""
        if self.middle is None:
            return np.eye(3)
        y = self.xy[:, 1]
        ends = np.c_[np.ones(2), [self.middle] * 2, [y.min(), y.max()]]
        return null_space(np.hstack([ends, -ends]) / np.tile([1, 100, 100], 2)) / np.tile([1, 100, 100], 2)[:, None]

    def loop(self, errors: np.ndarray, sill_errors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Shims by size (trials, sizes) and the least clear gap (trials,) of readings off by these errors [in]."""
        basis = self.basis()
        read, pads, wood = (self._rows(v) @ basis for v in (self.xy, self.pads, self.wood))
        counts, least = np.zeros((len(errors), self.made.shape[1]), int), np.zeros(len(errors))
        for i, (e, s) in enumerate(zip(errors, sill_errors, strict=True)):
            fit = np.linalg.lstsq(read, self.z + e, rcond=None)[0]
            deck = 2 * self.sill.min() - (self.sill + s).min() - self.reveal  # the truth lies the other way
            wanted = deck - self.stacked - pads @ fit
            counts[i] = self.made[nearest_sum(self.sums, wanted)].sum(axis=0)
            least[i] = (deck - self.bottom - wood @ fit).min()
        return counts, least
