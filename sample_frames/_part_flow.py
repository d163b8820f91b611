"""How a flat part fills: linear finite elements and an obstacle problem at each driving impulse.

Nothing here comes from the project's own part flow: triangles carry the whole permeability
tensor, an edge gap is a line element in the continuous pressure, and a feed is a line integral.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse

from sample_frames._flow import obstacle, smooth_noise
from sample_frames._part_mesh import Mesh, inside, mesh_part
from sample_frames._part_world import Array, Filled, Inlet, World

SETTLED = 0.6  # sides of a triangle that the front must be past a node before it is read there
LEVEL = 0.35  # the same, that it goes between two levels
CROSS = 0.955  # sides of a triangle: radius of a disc that feeds as five nodes in a cross do
BARE = 1e-4  # share of an element's side that a feed without resistance still counts as


@dataclass(frozen=True)
class _System:
    mesh: Mesh
    stiffness: Any  # of cloth and slots, in m3
    load: Array  # pore volume of each node, m3
    depth: Array  # metres behind the front, times the root of u
    tensors_m3: Array  # of each triangle, cloth alone


def _cloth(world: World, mesh: Mesh, seed: int) -> tuple[Array, Array]:
    """Tensor (T, 2, 2) and pores times thickness (T,) of each triangle, by share of its samples."""
    points = mesh.samples_mm.reshape(-1, 2)
    on = inside(points, world.outline_mm)
    for hole in world.holes_mm:
        on &= ~inside(points, hole)
    which = np.zeros(len(points), int)
    for number, patch in enumerate(world.patches, start=1):
        which[inside(points, patch.points_mm)] = number
    layups = (world.layup, *(patch.layup for patch in world.patches))
    tensors = np.stack([layup.tensor_m3() for layup in layups])[which]
    pores = np.array([layup.porosity * layup.thickness_mm * 1e-3 for layup in layups])[which]
    if world.log_sd:
        rng = np.random.default_rng([seed, 11])
        shape = (mesh.rows + 1, mesh.cols + 1)
        noise = smooth_noise(shape, world.patch_mm / mesh.step_mm.mean(), rng)
        at = (points - mesh.origin_mm) / mesh.step_mm
        log = ndimage.map_coordinates(noise, at[:, ::-1].T, order=1, mode="nearest")
        for number in range(len(layups)):
            here = on & (which == number)
            log[here] -= log[here].mean() if here.any() else 0.0
        tensors = tensors * np.exp(world.log_sd * log)[:, None, None]
    for inlet in world.inlets:
        if inlet.radius_mm and not inlet.opens_at_s and not inlet.opens_when_wet:
            pores[np.hypot(*(points - inlet.points_mm[0]).T) < inlet.radius_mm] = 0.0
    many = mesh.samples_mm.shape[1]
    weight = on.reshape(-1, many) / many
    tensor = np.einsum("ts,tsij->tij", weight, tensors.reshape(-1, many, 2, 2))
    return tensor, (weight * pores.reshape(-1, many)).sum(axis=1)


def _assemble(world: World, step_mm: float, seed: int) -> _System:
    mesh = mesh_part(world.outline_mm, step_mm, rising=world.layup.tensor_m3()[0, 1] >= 0)
    tensor, pores = _cloth(world, mesh, seed)
    mesh = mesh.with_active(np.trace(tensor, axis1=1, axis2=2) > 0)
    g, corner = mesh.gradient, mesh.triangle
    block = np.einsum("tai,tij,tbj->tab", g, tensor, g) * mesh.area_m2
    count = len(mesh.node_mm)
    rows, cols = np.repeat(corner, 3, axis=1).ravel(), np.tile(corner, (1, 3)).ravel()
    stiffness = sparse.coo_matrix((block.ravel(), (rows, cols)), shape=(count, count)).tocsr()
    load = np.bincount(corner.ravel(), np.repeat(pores * mesh.area_m2 / 3, 3), count)
    ease = np.sqrt(np.maximum(np.linalg.det(tensor), 0.0))
    ease = np.bincount(corner.ravel(), np.repeat(ease * mesh.area_m2 / 3, 3), count)
    for slot in world.slots:
        spot, long_m, along = mesh.along(slot.line_mm)
        thick = world.layup.thickness_mm * 1e-3
        wide = slot.width_mm * 1e-3
        slope = np.einsum("pai,pi->pa", g[spot.triangle], along)
        carried = wide**2 / 12 * wide * thick * long_m
        stiffness = stiffness + spot.matrix(slope, carried, count)
        load = load + np.bincount(
            spot.nodes.ravel(), (spot.weight * (wide * thick * long_m)[:, None]).ravel(), count
        )
    depth = np.sqrt(2 * ease / np.maximum(load, 1e-6 * load.max()))
    return _System(mesh, stiffness, load, depth, tensor)


def _feed(world: World, system: _System, inlet: Inlet) -> tuple[Any, Array]:
    """Pull of a feed: its matrix, and its row sums (for a pressure of 1)."""
    mesh, count = system.mesh, len(system.mesh.node_mm)
    if inlet.radius_mm:
        nodes, pull = _point_feed(world, mesh, inlet)
        matrix = sparse.coo_matrix((np.full(5, pull), (nodes, nodes)), shape=(count, count)).tocsr()
        return matrix, np.asarray(matrix.sum(axis=1)).ravel()
    line = np.asarray(inlet.points_mm, float)
    spot, long_m, along = mesh.along(line)
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    off = 0.6 * mesh.step_mm.mean() * normal
    sides = sum(
        inside(spot.point_mm + sign * off, world.outline_mm).astype(float) for sign in (1, -1)
    )
    layup = _layups(world, spot.point_mm)
    k_m3 = np.einsum("pi,pij,pj->p", normal, layup, normal)
    bare_m = BARE * mesh.step_mm.mean() * 1e-3
    pull = np.maximum(sides, 1.0) * k_m3 / max(inlet.resistance_mm * 1e-3, bare_m) * long_m
    matrix = spot.matrix(spot.weight, pull, count)
    matrix.eliminate_zeros()
    return matrix, np.asarray(matrix.sum(axis=1)).ravel()


def _point_feed(world: World, mesh: Mesh, inlet: Inlet) -> tuple[NDArray[np.integer], float]:
    """Five nodes in a cross that stand for a round feed, and the pull of each.

    Held at one pressure they feed the cloth around as a disc of 0.955 sides would: the potential
    kernel of the square lattice is 4/pi at (1, 1) and 4 - 8/pi at (2, 0), and grows as
    2/pi (ln r + gamma + 3/2 ln 2) (Spitzer, Principles of Random Walk, 1976, section 15; from
    memory). A smaller disc is that with the resistance of the ring between, as for a well.
    """
    side = float(mesh.step_mm.mean())
    cross = inlet.points_mm[0] + side * np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)])
    away = np.hypot(*(mesh.node_mm[None] - cross[:, None]).transpose(2, 0, 1))
    nodes = away.argmin(axis=1)
    if away.min(axis=1).max() > 0.05 * side or not 0.2 < inlet.radius_mm / side <= CROSS:
        raise ValueError(
            f"{inlet.name}: a point feed lies on a node, with a radius of 0.2 to {CROSS} sides"
        )
    k_m3 = np.sqrt(np.linalg.det(_layups(world, inlet.points_mm[:1])[0]))
    ring = max(float(np.log(CROSS * side / inlet.radius_mm)), 1e-4)
    return nodes, float(2 * np.pi * k_m3 / ring / 4)


def _layups(world: World, points_mm: Array) -> Array:
    """Tensor of the cloth at points, without its unevenness."""
    out = np.tile(world.layup.tensor_m3(), (len(points_mm), 1, 1))
    for patch in world.patches:
        out[inside(points_mm, patch.points_mm)] = patch.layup.tensor_m3()
    return out


class _Sweep:
    """Goes up the impulse, level by level; feeds join on the way."""

    def __init__(self, world: World, step_mm: float, seed: int):
        self.world = world
        self.system = _assemble(world, step_mm, seed)
        self.matrix = self.system.stiffness
        self.offset = np.zeros(len(self.system.load))  # what feeds give at impulse 0
        self.pull = np.zeros(len(self.system.load))
        self.open: dict[str, float] = {}
        self.u = np.zeros(len(self.system.load))
        self.rows: list[tuple[float, float, Array]] = []
        self.start = 0.0
        for inlet in world.inlets:
            if not inlet.opens_when_wet and inlet.opens_at_s <= 0:
                self.join(inlet, 0.0)
        full = sparse.linalg.spsolve(self.matrix.tocsc(), self.system.load)
        far_mm = 1e3 * float(np.sqrt(full.max()) * np.median(self.system.depth))
        self.step = float(np.sqrt(full.max()) * LEVEL * step_mm / far_mm)

    def join(self, inlet: Inlet, impulse: float) -> None:
        """Open a feed at the impulse reached."""
        matrix, pull = _feed(self.world, self.system, inlet)
        self.matrix = self.matrix + matrix
        self.offset = self.offset + matrix @ self.u - pull * impulse
        self.pull = self.pull + pull
        self.open[inlet.name] = impulse
        self.start = impulse

    def solve(self, impulse: float) -> Array:
        """State at an impulse, from the one before."""
        guess = (self.u > 0) | (self.pull > 0)  # a level goes less than a side: few passes mend it
        load = self.offset + self.pull * impulse - self.system.load
        return obstacle(self.matrix, load, guess)

    def climb(self, impulse: float) -> None:
        """Take one level."""
        self.u = self.solve(impulse)
        depth = self.system.depth * np.sqrt(np.maximum(self.u, 0.0))
        self.rows.append((impulse, self.start, depth))

    def run(self) -> None:
        """Fill the part."""
        later = [i for i in self.world.inlets if i.name not in self.open]
        side = 1e-3 * self.system.mesh.step_mm.max()
        k = 0
        for _ in range(3000):
            k += 1
            impulse = self.start + (k * self.step) ** 2
            due = [
                i
                for i in later
                if not i.opens_when_wet and self.world.clock.impulse(i.opens_at_s) <= impulse
            ]
            before = self.u
            if due:
                impulse = float(self.world.clock.impulse(due[0].opens_at_s))
            self.climb(impulse)
            due = due[:1] or self._passed(later, before, side)
            if due:
                self.join(due[0], self.rows[-1][0])
                later, k = [i for i in later if i is not due[0]], 0
            if (self.rows[-1][2] > 1.6 * side).all() and len(self.rows) > 2:
                return
        raise RuntimeError("the part did not fill")

    def _passed(self, later: list[Inlet], before: Array, side: float) -> list[Inlet]:
        """Find a feed that the front has just passed, and step back to when it did."""
        for inlet in later:
            if not inlet.opens_when_wet:
                continue
            _, pull = _feed(self.world, self.system, inlet)
            nodes = np.flatnonzero(pull > 1e-3 * pull.max())
            if not (self.rows[-1][2][nodes] > side).all():
                continue
            when = float(self.arrival()[nodes].max())
            while len(self.rows) > 1 and self.rows[-1][0] >= when > self.start:
                del self.rows[-1]
            self.u = before
            self.climb(when)
            return [inlet]
        return []

    def arrival(self) -> Array:
        """Impulse at which the front came to each node.

        Notes
        -----
        Near the front the root of u grows linearly with the root of the impulse since the feed
        opened: the line through the first two levels that lie well behind it is drawn back to 0.
        """
        impulse = np.array([row[0] for row in self.rows])
        start = np.array([row[1] for row in self.rows])
        depth = np.stack([row[2] for row in self.rows])
        least = SETTLED * 1e-3 * self.system.mesh.step_mm.max()
        node = np.arange(depth.shape[1])
        first, one = (np.argmax(depth > v, axis=0) for v in (0.0, least))
        one = np.minimum(one, len(impulse) - 2)
        two = one + 1
        a, b = (np.sqrt(np.maximum(impulse[i] - start[one], 0.0)) for i in (one, two))
        back = depth[one, node] / np.maximum(depth[two, node] - depth[one, node], 1e-15)
        root = a - back * (b - a)
        straight = impulse[one] - back * (impulse[two] - impulse[one])
        found = np.where(
            (root < 0) & (start[one] > 0), straight, start[one] + np.maximum(root, 0.0) ** 2
        )
        return np.clip(found, 0.0, impulse[first])


def fill(world: World, *, step_mm: float = 10.0, px_mm: float = 4.0, seed: int = 0) -> Filled:
    """Fill a part, and give the arrival on square pixels of `px_mm`.

    Raises
    ------
    ValueError
        Where a point feed is smaller than the mesh can hold.
    """
    sweep = _Sweep(world, step_mm, seed)
    sweep.run()
    mesh = sweep.system.mesh
    root = np.full((mesh.rows + 1) * (mesh.cols + 1), np.nan)
    root[mesh.number] = np.sqrt(sweep.arrival())
    root = root.reshape(mesh.rows + 1, mesh.cols + 1)
    near = ndimage.distance_transform_edt(
        np.isnan(root), return_distances=False, return_indices=True
    )
    root = root[tuple(near)]
    low, high = world.outline_mm.min(axis=0), world.outline_mm.max(axis=0)
    cols, rows = np.ceil((high - low) / px_mm - 1e-9).astype(int)
    x, y = low[0] + (np.arange(cols) + 0.5) * px_mm, low[1] + (np.arange(rows) + 0.5) * px_mm
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    at = (grid - mesh.origin_mm) / mesh.step_mm
    impulse = ndimage.map_coordinates(root, [at[..., 1], at[..., 0]], order=1, mode="nearest") ** 2
    on = inside(grid.reshape(-1, 2), world.outline_mm)
    for hole in world.holes_mm:
        on &= ~inside(grid.reshape(-1, 2), hole)
    time_s = np.where(on.reshape(rows, cols), world.clock.time_s(impulse), np.nan)
    opened = {name: float(world.clock.time_s(value)) for name, value in sweep.open.items()}
    return Filled(x, y, time_s, opened)
