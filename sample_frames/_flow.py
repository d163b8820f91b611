"""The flow under the bag: Darcy's law on an uneven stack, solved as an obstacle problem."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.ndimage import binary_dilation, gaussian_filter, map_coordinates
from scipy.sparse.linalg import splu

Array = NDArray[np.floating]

OVERRUN_MM = 60.0  # stack that goes on past the panel, under the vacuum line
LEVELS = 36
MAX_PASSES = 80


@dataclass(frozen=True)
class Flow:
    """Physics of one run: SI units, panel size in mm.

    `log_sd` and `patch_mm` describe how uneven the stack is (log-normal permeability, patches of
    that size), `mottle_mm` how ragged the edge of the front is.
    """

    length_mm: int
    width_mm: int
    k_m2: float
    dp_pa: float
    phi: float
    mu_pa_s: float
    log_sd: float = 0.22
    patch_mm: float = 26.0
    mottle_mm: float = 0.8
    cell_mm: float = 2.0

    @property
    def mm_per_root_s(self) -> float:
        """Front distance over the square root of time, if the stack were even: Darcy's law."""
        return 1e3 * float(np.sqrt(2 * self.k_m2 * self.dp_pa / (self.phi * self.mu_pa_s)))

    @property
    def fill_s(self) -> float:
        """Fill time if the stack were even."""
        return (self.length_mm / self.mm_per_root_s) ** 2


def smooth_noise(
    shape: tuple[int, int], sigma_px: float | tuple[float, float], rng: np.random.Generator
) -> Array:
    """Gaussian noise blurred to patches of `sigma_px`, mean 0 and standard deviation 1."""
    noise = gaussian_filter(rng.standard_normal(shape), sigma_px, mode="reflect")
    return (noise - noise.mean()) / noise.std()


def permeability_field(flow: Flow, rng: np.random.Generator) -> Array:
    """Log-normal permeability on the cells, in patches drawn out along the flow.

    Its geometric mean is `flow.k_m2` across every width of the panel, as the geometric mean is
    the effective value of a two-dimensional log-normal field: Matheron 1967 (from memory).
    """
    rows = round(flow.width_mm / flow.cell_mm)
    cols = round((flow.length_mm + OVERRUN_MM) / flow.cell_mm)
    patch = flow.patch_mm / flow.cell_mm
    wide = smooth_noise((rows, cols), (patch, 2 * patch), rng)
    fine = smooth_noise((rows, cols), patch / 3, rng)
    log = 0.8 * wide + 0.6 * fine
    log = log - log.mean(axis=0)
    return flow.k_m2 * np.exp(flow.log_sd * log / log.std())


def _stiffness(k_m2: Array, cell_m: float) -> tuple[Any, Array]:
    """Build -div(K grad) on cells, no flux through walls; and the pull of the feed at column 0."""
    index = np.arange(k_m2.size).reshape(k_m2.shape)
    pairs = [
        (index[:, :-1].ravel(), index[:, 1:].ravel(), k_m2[:, :-1].ravel(), k_m2[:, 1:].ravel()),
        (index[:-1].ravel(), index[1:].ravel(), k_m2[:-1].ravel(), k_m2[1:].ravel()),
    ]
    one = np.concatenate([p[0] for p in pairs])
    two = np.concatenate([p[1] for p in pairs])
    k_one, k_two = (np.concatenate([p[i] for p in pairs]) for i in (2, 3))
    face = 2 * k_one * k_two / (k_one + k_two) / cell_m**2
    feed = np.zeros(k_m2.shape)
    feed[:, 0] = 2 * k_m2[:, 0] / cell_m**2
    off = sparse.coo_matrix((face, (one, two)), shape=(k_m2.size,) * 2)
    off = off + off.T
    diagonal = np.asarray(off.sum(axis=1)).ravel() + feed.ravel()
    return (sparse.diags(diagonal) - off).tocsr(), feed.ravel()


def obstacle(stiffness: Any, load: Array, wet: NDArray[np.bool_]) -> Array:
    """Solve u >= 0, A u >= b, u (A u - b) = 0 by the active set, from a first guess of wet cells.

    Method: Hintermüller, Ito, Kunisch 2002, SIAM J. Optim. 13:865 (from memory).
    """
    for _ in range(MAX_PASSES):
        u = np.zeros(load.size)
        inside = np.flatnonzero(wet)
        block = stiffness[inside][:, inside].tocsc()
        u[inside] = splu(
            block,
            permc_spec="MMD_AT_PLUS_A",
            options={"SymmetricMode": True},
            diag_pivot_thresh=0.0,
        ).solve(load[inside])
        new = np.where(wet, u > 0, stiffness @ u - load < 0)
        if np.array_equal(new, wet):
            return u
        wet = new
    raise RuntimeError("the obstacle problem did not settle")


def root_impulse_at_arrival(k_m2: Array, phi: float, cell_mm: float, length_mm: float) -> Array:
    """Square root of the driving impulse at which each cell wets.

    With u the time integral of p/mu, div(K grad u) <= phi and u >= 0, u = impulse on the feed,
    the wet region is where u > 0: Elliott and Janovsky 1981, Proc. R. Soc. Edinburgh A 88:93.
    Near the front sqrt(u) grows linearly with the root of the impulse, which places the arrival
    within a step of the ladder.
    """
    k_mid = float(np.exp(np.log(k_m2).mean()))
    stiffness, feed = _stiffness(k_m2, cell_mm * 1e-3)
    behind_mm = np.sqrt(2 * k_m2 / phi) * 1e3  # times sqrt(u): distance behind the front
    step = length_mm / LEVELS / (1e3 * np.sqrt(2 * k_mid / phi))
    panel_cols = round(length_mm / cell_mm)
    ahead = int(np.ceil(1.6 * length_mm / LEVELS / cell_mm)) + 3
    depth_before = np.zeros(k_m2.shape)
    found = np.full(k_m2.shape, np.nan)
    wet = np.zeros(k_m2.shape, bool)
    for level in range(1, 2 * LEVELS):
        root = level * step
        guess = binary_dilation(wet, iterations=ahead) if wet.any() else wet.copy()
        guess[:, :ahead] = True
        u = obstacle(stiffness, feed * root**2 - phi, guess.ravel()).reshape(k_m2.shape)
        depth = behind_mm * np.sqrt(np.maximum(u, 0.0))
        ready = np.isnan(found) & (depth_before > 1.5 * cell_mm)
        rise = np.where(ready, depth - depth_before, 1.0)
        found[ready] = (root - step - depth_before * step / rise)[ready]
        depth_before, wet = depth, u > 0
        if not np.isnan(found[:, :panel_cols]).any():
            return np.maximum(found, 0.0)
    raise RuntimeError("the panel did not fill")


def _to_millimetres(root: Array, flow: Flow) -> Array:
    """Interpolate from cells to pixel centres at 1 px/mm; the feed edge itself is at 0."""
    ghost = np.concatenate([-root[:, :1], root], axis=1)
    rows = (np.arange(flow.width_mm) + 0.5) / flow.cell_mm - 0.5
    cols = (np.arange(flow.length_mm) + 0.5) / flow.cell_mm + 0.5
    grid = np.meshgrid(rows, cols, indexing="ij")
    return map_coordinates(
        np.nan_to_num(ghost, nan=np.nanmax(ghost)), grid, order=1, mode="nearest"
    )


def arrival_map(flow: Flow, seed: int) -> NDArray[np.float32]:
    """Seconds since resin start at 1 px/mm, shape (width, length), row = y, col = x."""
    rng = np.random.default_rng([seed, 1])
    k_m2 = permeability_field(flow, rng)
    root = root_impulse_at_arrival(k_m2, flow.phi, flow.cell_mm, flow.length_mm)
    root_s = _to_millimetres(root, flow) * np.sqrt(flow.mu_pa_s / flow.dp_pa)
    if flow.mottle_mm:
        coarse = smooth_noise(root_s.shape, 3.0, rng)
        fine = smooth_noise(root_s.shape, 1.1, rng)
        ragged_mm = flow.mottle_mm * (0.8 * coarse + 0.6 * fine)
        x_mm = np.arange(flow.length_mm) + 0.5
        root_s = root_s + ragged_mm * np.minimum(1.0, x_mm / 15) / flow.mm_per_root_s
    return (np.maximum(root_s, 0.0) ** 2).astype(np.float32)


def leading_front_mm(arrival_s: Array, time_s: float) -> Array:
    """Furthest wet x in each 1 mm lane, placed between pixel centres by sqrt(time)."""
    rows, cols = arrival_s.shape
    if time_s <= 0:
        return np.zeros(rows)
    root = np.sqrt(np.asarray(arrival_s, float))
    wet = arrival_s <= time_s
    last = np.where(wet.any(axis=1), cols - 1 - np.argmax(wet[:, ::-1], axis=1), -1)
    lanes = np.arange(rows)
    here = np.where(last >= 0, root[lanes, np.maximum(last, 0)], -root[:, 0])
    full = last == cols - 1
    beyond = root[lanes, np.minimum(last + 1, cols - 1)]
    share = np.where(full, 0.5, (np.sqrt(time_s) - here) / np.where(full, 1.0, beyond - here))
    return np.clip(last + 0.5 + share, 0.0, cols)
