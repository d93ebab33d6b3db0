r"""The engine of a section: two dimensions, compiled, linearly implicit, with error control.

Finite volumes on the product of two meshes of one dimension, whose faces may each grow as a
power of the distance: radius and length of a short cylinder, thickness and width of a bar.
Water pressed out runs along the flow lines of a source that is even over the section; the
rest is the statement, face by face.

In time the Rosenbrock-W method of :mod:`coreward.physics.engines.fast`. A W-method keeps its
order whatever stands for the Jacobian, so the matrix is factored along the lines of the two
directions (Peaceman and Rachford's idea; van der Houwen and Sommeijer 2001 for such methods,
from memory):

.. math::
   (D - J_x)\, D^{-1}\, (D - J_y)\, v = r, \qquad D = M / \gamma h - J_{own}

and a stage costs two sweeps of block-tridiagonal lines. What is local and stiff (surface,
film, boiling) is in `D` and so in both directions: in one of them only, the residual of a
node that begins to boil was spread over its neighbours, and steps fell to 0.1 s at each. The
flow along the lines sums to zero, so the ledger closes to rounding error here too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from coreward.errors import SolverError
from coreward.physics.body import Mesh, Shape, Slab, make_mesh
from coreward.physics.chamber import OPEN, ChamberConstants, chamber_rates, pascal_per_kilogram
from coreward.physics.compiled import compiled
from coreward.physics.engines.fast import (
    _A,
    _ALPHA,
    _C,
    _DEW_SLOPE,
    _E,
    _G,
    _GAMMA,
    _LEAST_SLOPE,
    _M,
    _WORST_BOILING,
    _primitive,
    _surroundings,
)
from coreward.physics.meat import meat
from coreward.physics.problem import LEDGER, Forcing
from coreward.physics.statement import (
    BOILING_MARGIN,
    OUTLET_REACH,
    MaterialConstants,
    SurfaceConditions,
    boiling,
    carried_water,
    conductivity,
    enthalpy,
    expulsion,
    heat_capacity,
    mobility,
    moisture_diffusivity,
    outlet,
    surface_exchange,
    swelling_modulus,
    swelling_pressure_slope,
    vapour_enthalpy,
    water_enthalpy,
    water_heat_capacity,
    water_held,
    water_held_slope,
)

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_STAGES = 4
_BOOKS = len(LEDGER)
_ORDER_EXPONENT = -1.0 / 3.0
_OK, _REACHED, _STUCK, _FULL = 0, 1, 2, 3
MOST_STEPS = 20_000


class Grid(NamedTuple):
    """A section as the compiled code takes it. Nodes run along the second axis first.

    Attributes
    ----------
    step : ndarray, shape (2,)
        From a node to the next along each axis.
    face : ndarray, shape (2, nodes)
        Area over distance to the next node along each axis; 0 at the end of a line.
    volume : ndarray, shape (nodes,)
    depth : ndarray, shape (nodes,)
        Lesser extent of a volume. [m]
    node, side : ndarray, shape (films,)
        Of each film its node, and the face of the piece.
    area, share : ndarray, shape (films,)
        Of each film its area, and its part of all the film area of that node.
    order : ndarray, shape (nodes,)
        From where pressed-out water comes to where it goes.
    run : ndarray, shape (nodes, 4)
        Shares of what runs on along the first axis, back along it, and so the second.
    """

    step: Whole
    face: Floats
    volume: Floats
    depth: Floats
    node: Whole
    side: Whole
    area: Floats
    share: Floats
    order: Whole
    run: Floats


@dataclass(frozen=True, eq=False)
class SectionMesh:
    """The product of two meshes of one dimension, from core to surface.

    Volumes and areas are per unit of what the symmetry of the two leaves out.

    Attributes
    ----------
    across, along : Mesh
        The two axes.
    both : bool
        Whether the first axis has a surface at its beginning too.
    grid : Grid
    """

    across: Mesh
    along: Mesh
    both: bool
    grid: Grid

    @property
    def shape(self) -> tuple[int, int]:
        """Number of nodes along the two axes."""
        return len(self.across.position), len(self.along.position)

    @property
    def volume(self) -> Floats:
        """Of each node."""
        return self.grid.volume

    @property
    def surface_area(self) -> float:
        """Of all faces."""
        return float(self.grid.area.sum())

    def whole(self) -> Mesh:
        """What a mesh of one dimension tells of all of it: volumes and surface."""
        return replace(self.across, volume=self.volume, surface_area=self.surface_area)


def section_mesh(
    across: Shape, along: Shape, cells: tuple[int, int], grading: float, both: bool = False
) -> SectionMesh:
    """Cut the product of two bodies of one dimension into finite volumes.

    Parameters
    ----------
    across, along : Shape
    cells : tuple of int
        Nodes from core to surface along each.
    grading : float
        As in `make_mesh`.
    both : bool
        Whether both faces of the first are computed, which must then be a slab: its nodes
        run from face to face, twice as many less one.
    """
    one, two = make_mesh(across, cells[0], grading), make_mesh(along, cells[1], grading)
    if both:
        one = Mesh(
            np.concatenate((-one.position[:0:-1], one.position)),
            np.concatenate((one.face_area[::-1], one.face_area)),
            np.concatenate((one.spacing[::-1], one.spacing)),
            np.concatenate((one.volume[:0:-1], [2.0 * one.volume[0]], one.volume[1:])),
            one.surface_area,
        )
    return SectionMesh(one, two, both, _grid(one, two, both))


def _extent(mesh: Mesh) -> Floats:
    """Extent of each volume from face to face. [m]."""
    gaps = np.concatenate(([0.0], mesh.spacing, [0.0]))
    return 0.5 * (gaps[1:] + gaps[:-1])


def _grid(one: Mesh, two: Mesh, both: bool) -> Grid:
    nx, ny = len(one.position), len(two.position)
    number = np.arange(nx * ny).reshape(nx, ny)
    face = np.zeros((2, nx, ny))
    face[0, :-1] = np.outer(one.face_area / one.spacing, two.volume)
    face[1, :, :-1] = np.outer(one.volume, two.face_area / two.spacing)
    extents = np.stack(np.meshgrid(_extent(one), _extent(two), indexing="ij"))
    volume = np.outer(one.volume, two.volume)
    # each face: nodes, areas
    faces = [(number[-1], one.surface_area * two.volume)]
    faces.append((number[:, -1], two.surface_area * one.volume))
    if both:
        faces.append((number[0], one.surface_area * two.volume))
    node = np.concatenate([nodes for nodes, _ in faces])
    side = np.concatenate([np.full(len(f[0]), i) for i, f in enumerate(faces)])
    area = np.concatenate([areas for _, areas in faces])
    total = np.bincount(node, area, nx * ny)
    order, run = _runs(face, volume, total > 0.0)
    return Grid(
        step=np.array([ny, 1]),
        face=face.reshape(2, -1),
        volume=volume.ravel(),
        depth=extents.min(axis=0).ravel(),
        node=node,
        side=side,
        area=area,
        share=area / total[node],
        order=order,
        run=run,
    )


def _runs(face: Floats, volume: Floats, outer: NDArray[np.bool_]) -> tuple[Whole, Floats]:
    """Where pressed-out water runs: along the flow of an even source to the surface."""
    nodes = volume.size
    ny = volume.shape[1]
    flat = face.reshape(2, -1)
    rows, values = [], []
    for axis, step in enumerate((ny, 1)):
        p = np.flatnonzero(flat[axis])
        rows += [(p, p), (p + step, p + step), (p, p + step), (p + step, p)]
        values += [flat[axis, p], flat[axis, p], -flat[axis, p], -flat[axis, p]]
    at = np.array([np.concatenate([r[i] for r in rows]) for i in (0, 1)])
    inside = ~outer
    flow = coo_array((np.concatenate(values), (at[0], at[1])), shape=(nodes, nodes)).tocsr()
    height = np.zeros(nodes)
    flow = flow[inside][:, inside].tocsc()
    height[inside] = spsolve(flow, volume.ravel()[inside])
    run = np.zeros((nodes, 4))
    for axis, step in enumerate((ny, 1)):
        p = np.flatnonzero(flat[axis])
        down = flat[axis, p] * (height[p] - height[p + step])
        run[p, 2 * axis] = np.maximum(down, 0.0)
        run[p + step, 2 * axis + 1] = np.maximum(-down, 0.0)
    run[outer] = 0.0
    total = run.sum(axis=1, keepdims=True)
    run = np.divide(run, total, out=run, where=total > 0.0)
    return np.argsort(-height, kind="stable"), run


@compiled
def _invert(u_e, u_w, s, t_max, g, m, guess, t, w):  # type: ignore[no-untyped-def]
    """Temperature and water from the conserved quantities."""
    n = u_e.shape[0]
    all_w = u_w.copy()
    if m.moist:
        # A film has the temperature of its volume: to the inversion it is more water there.
        for k in range(s.shape[0]):
            all_w[g.node[k]] += g.area[k] * s[k]
    _primitive(u_e, all_w, 0.0, t_max, guess, g.volume, 1.0, m, t, w)
    for p in range(n):
        w[p] = u_w[p] / g.volume[p]


@compiled
def _exchange(k, t, w, s, t_max, env, around, c, g, m):  # type: ignore[no-untyped-def]
    """What crosses the surface at a film; each face has its own surroundings."""
    p, f = g.node[k], g.side[k]
    return surface_exchange(
        t[p],
        w[p],
        s[k],
        t_max[p],
        env[0],
        env[1] + around[f, 1],
        env[2],
        env[3] * around[f, 0],
        c[f],
        m,
    )


@compiled
def _chamber(vapour, given_off, env, m, r):  # type: ignore[no-untyped-def]
    """Vapour balance of the chamber in surroundings from `_surroundings`."""
    return chamber_rates(
        vapour, given_off, env[0], env[7], env[1], env[4], env[5], env[6], m.lewis_power, r
    )


@compiled
def _properties(t, w, t_max, m, of):  # type: ignore[no-untyped-def]
    """Conductivity, diffusivity, mobility, pressure and its slope at every node."""
    for p in range(t.shape[0]):
        of[0, p] = conductivity(t[p], w[p], t_max[p], m)
        if m.moist and m.diffusivity > 0.0:
            of[1, p] = moisture_diffusivity(t[p], m)
        if m.moist and m.permeability > 0.0:
            of[2, p] = mobility(t[p], m)
            of[3, p], of[4, p] = swelling_pressure_slope(t[p], w[p], t_max[p], m)


@compiled
def _rates(  # type: ignore[no-untyped-def]
    t, w, s, vapour, t_max, env, around, c, g, m, r, of, stream, f_e, f_w, f_s, ledger
):
    """Right-hand side; returns the rate of the vapour in a chamber's air.

    `ledger` receives what crosses the surface, computed there and not from the volumes.
    """
    n = t.shape[0]
    _properties(t, w, t_max, m, of)
    for p in range(n):
        f_e[p] = f_w[p] = stream[p] = 0.0
    for q in range(_BOOKS):
        ledger[q] = 0.0
    flow = m.moist and (m.diffusivity > 0.0 or m.permeability > 0.0)
    for axis in range(2):
        step = g.step[axis]
        for p in range(n - step):
            geo = g.face[axis, p]
            q = p + step
            flux_e = geo * 0.5 * (of[0, p] + of[0, q]) * (t[p] - t[q])
            if flow:
                flux_w = 0.5 * (of[1, p] + of[1, q]) * (w[p] - w[q])
                if m.permeability > 0.0:
                    push = of[3, p] - of[3, q]
                    lead = 0.5 * (of[2, p] + of[2, q])
                    flux_w += carried_water(w[p], w[q], push) * lead * push
                flux_w *= geo
                flux_e += flux_w * water_enthalpy(t[p] if flux_w > 0.0 else t[q], m)
                f_w[p] -= flux_w
                f_w[q] += flux_w
            f_e[p] -= flux_e
            f_e[q] += flux_e
    if m.moist and m.expulsion_rate > 0.0:
        for at in range(n):
            p = g.order[at]
            out = g.volume[p] * expulsion(w[p], max(t[p], t_max[p]), m)
            f_w[p] -= out
            out += stream[p]
            stream[p] = out
            if out > 0.0:
                for way in range(4):
                    if g.run[p, way] > 0.0:
                        step = g.step[way // 2]
                        q = p + step if way % 2 == 0 else p - step
                        part = g.run[p, way] * out
                        stream[q] += part
                        heat = part * water_enthalpy(t[p], m)
                        f_e[p] -= heat
                        f_e[q] += heat
    for k in range(s.shape[0]):
        p, area = g.node[k], g.area[k]
        x = _exchange(k, t, w, s, t_max, env, around, c, g, m)
        heat = area * (x.convection + x.radiation)
        f_e[p] += heat
        ledger[0] += heat
        f_s[k] = 0.0
        if m.moist:
            out = area * outlet(t[p], w[p], t_max[p], m)[0]
            f_w[p] -= out
            out += g.share[k] * stream[p]
            film_loss = area * (x.film_evaporation + x.film_boiling)
            solid_loss = area * x.solid_evaporation
            soaked = x.rewetting * g.volume[p] * g.share[k]
            dripping = area * x.drip
            bypass = (1.0 - m.surface_share) * out
            f_s[k] = out - bypass - film_loss - soaked - dripping
            f_w[p] += soaked - solid_loss
            evaporated = film_loss + solid_loss
            dripped = dripping + bypass
            hv = vapour_enthalpy(t[p], m)
            ew = water_enthalpy(t[p], m)
            f_e[p] -= evaporated * hv + dripped * ew
            ledger[1] += evaporated
            ledger[2] += evaporated * hv
            ledger[5] += dripped
            ledger[6] += dripped * ew
    if m.moist:
        onset = c[0].boiling_c - BOILING_MARGIN
        for p in range(n):
            if t[p] > onset:
                b = boiling(t[p], w[p], c[0].pressure, c[0].boiling_c, m, g.depth[p])[0]
                hv = vapour_enthalpy(t[p], m)
                b *= g.volume[p]
                f_w[p] -= b
                f_e[p] -= b * hv
                ledger[3] += b
                ledger[4] += b * hv
    f_v = 0.0
    if r.closed:
        pit = _chamber(vapour, ledger[1] + ledger[3], env, m, r)
        f_v = pit.rate
        ledger[7] = pit.carried_in
        ledger[8] = pit.carried_out
        ledger[9] = pit.condensed
    return f_v


@compiled
def _matrix(  # type: ignore[no-untyped-def]
    h, t, w, s, vapour, t_max, env, around, c, g, m, r, of, mass, own, lo, di, up, edge, boil,
    room,
):  # fmt: skip
    """M / (gamma h) less what is local, `own`, and the same less the flow of each direction.

    For increments of temperature and water: blocks [eT, eW, wT, wW], own : (n, 4); lo, di,
    up : (2, n, 4). edge : (films, 16) what couples a film and the chamber's air; room : the
    air's own slopes. Returns whether anything boils.
    """
    n = t.shape[0]
    inv = 1.0 / (_G * h)
    for p in range(n):
        mass[p, 0] = g.volume[p] * heat_capacity(t[p], w[p], t_max[p], m)
        mass[p, 1] = g.volume[p] * water_enthalpy(t[p], m) if m.moist else 0.0
    if m.moist:
        for k in range(s.shape[0]):
            p = g.node[k]
            mass[p, 0] += g.area[k] * s[k] * water_heat_capacity(t[p], m)
    for p in range(n):
        own[p, 0] = mass[p, 0] * inv
        own[p, 1] = mass[p, 1] * inv
        own[p, 2] = 0.0
        own[p, 3] = g.volume[p] * inv
    any_boiling = False
    if m.moist:
        for p in range(n):
            boil[p, 2] = 0.0
            if t[p] > c[0].boiling_c - BOILING_MARGIN:
                b = boiling(t[p], w[p], c[0].pressure, c[0].boiling_c, m, g.depth[p])
                if b[0] > 0.0:
                    any_boiling = True
                    hv = vapour_enthalpy(t[p], m)
                    boil[p, 0] = g.volume[p] * b[1]
                    boil[p, 1] = g.volume[p] * b[2]
                    boil[p, 2] = hv
                    own[p, 0] += hv * boil[p, 0]
                    own[p, 1] += hv * boil[p, 1]
                    own[p, 2] += boil[p, 0]
                    own[p, 3] += boil[p, 1]
    evaporated = _edges(inv, t, w, s, t_max, env, around, c, g, m, r, own, edge)
    if r.closed:
        pit = _chamber(vapour, evaporated, env, m, r)
        room[0] = pit.rate_de
        room[1] = pit.rate_dv
        room[2] = pit.condensed_dv
    flow = m.moist and (m.diffusivity > 0.0 or m.permeability > 0.0)
    lo[:] = 0.0
    up[:] = 0.0
    for a in range(2):
        di[a] = own
        step = g.step[a]
        for p in range(n - step):
            geo = g.face[a, p]
            if geo == 0.0:
                continue
            q = p + step
            lead = geo * 0.5 * (of[0, p] + of[0, q])
            di[a, p, 0] += lead
            di[a, q, 0] += lead
            up[a, p, 0] = -lead
            lo[a, q, 0] = -lead
            if flow:
                d = geo * 0.5 * (of[1, p] + of[1, q])
                n_wl, n_wr, n_tl, n_tr = d, -d, 0.0, 0.0
                flux = d * (w[p] - w[q])
                if m.permeability > 0.0:
                    push = of[3, p] - of[3, q]
                    lead = geo * 0.5 * (of[2, p] + of[2, q])
                    carried = lead * carried_water(w[p], w[q], push)
                    flux += carried * push
                    n_wl += carried * of[4, p] + 0.5 * lead * push
                    n_wr += 0.5 * lead * push - carried * of[4, q]
                    if t[p] >= t_max[p]:
                        n_tl = -carried * of[4, p] * water_held_slope(t[p], m)
                    if t[q] >= t_max[q]:
                        n_tr = carried * of[4, q] * water_held_slope(t[q], m)
                e_up = water_enthalpy(t[p] if flux > 0.0 else t[q], m)
                di[a, p, 0] += e_up * n_tl
                di[a, p, 1] += e_up * n_wl
                di[a, p, 2] += n_tl
                di[a, p, 3] += n_wl
                up[a, p, 0] += e_up * n_tr
                up[a, p, 1] += e_up * n_wr
                up[a, p, 2] += n_tr
                up[a, p, 3] += n_wr
                lo[a, q, 0] -= e_up * n_tl
                lo[a, q, 1] -= e_up * n_wl
                lo[a, q, 2] -= n_tl
                lo[a, q, 3] -= n_wl
                di[a, q, 0] -= e_up * n_tr
                di[a, q, 1] -= e_up * n_wr
                di[a, q, 2] -= n_tr
                di[a, q, 3] -= n_wr
    return any_boiling


@compiled
def _edges(  # type: ignore[no-untyped-def]
    inv, t, w, s, t_max, env, around, c, g, m, r, own, edge
):
    """Slopes at the surface, each film folded into the block of its node.

    Columns of `edge`: heat by T; evaporated by T, W, S; dripped by T, W, S; enthalpies of
    vapour and water; film's diagonal; its row by T, W; its column in the rows of energy and
    water; evaporated by the air's vapour, from the film and from the solid.
    """
    evaporated = 0.0
    past = 1.0 - m.surface_share
    for k in range(s.shape[0]):
        p, area = g.node[k], g.area[k]
        x = _exchange(k, t, w, s, t_max, env, around, c, g, m)
        edge[k, 0] = area * x.heat_slope
        edge[k, 9] = area * inv
        own[p, 0] -= edge[k, 0]
        if not m.moist:
            continue
        hv, ew = vapour_enthalpy(t[p], m), water_enthalpy(t[p], m)
        top = max(t[p], t_max[p])
        ex_w = 0.0
        if w[p] > water_held(top, m):
            ex_w = g.volume[p] * g.share[k] * m.expulsion_rate
        came, steep = outlet(t[p], w[p], t_max[p], m)
        if r.closed and came > 0.0:
            # As in the fast engine: as steep as it gets once the onset is passed.
            whole = mobility(t[p], m) * swelling_modulus(top, m) / OUTLET_REACH * w[p]
            steep = max(steep, whole)
        ex_w += area * steep
        ex_t = -ex_w * water_held_slope(t[p], m) if t[p] >= t_max[p] else 0.0
        film_t = area * (x.film_evaporation_dt + x.film_boiling_dt)
        film_w = area * x.film_evaporation_dw
        film_s = area * (x.film_evaporation_ds + x.film_boiling_ds)
        solid_t = area * x.solid_evaporation_dt
        solid_w = area * x.solid_evaporation_dw
        solid_s = area * x.solid_evaporation_ds
        soak = g.volume[p] * g.share[k]
        drip_s = area * x.drip_ds
        edge[k, 1] = film_t + solid_t
        edge[k, 2] = film_w + solid_w
        edge[k, 3] = film_s + solid_s
        edge[k, 4] = past * ex_t
        edge[k, 5] = past * ex_w
        edge[k, 6] = drip_s
        edge[k, 7] = hv
        edge[k, 8] = ew
        edge[k, 9] += film_s + soak * x.rewetting_ds + drip_s
        edge[k, 10] = (1.0 - past) * ex_t - film_t
        edge[k, 11] = (1.0 - past) * ex_w - film_w - soak * x.rewetting_dw
        edge[k, 12] = area * ew * inv + hv * edge[k, 3] + ew * drip_s
        edge[k, 13] = solid_s - soak * x.rewetting_ds
        own[p, 0] += hv * edge[k, 1] + ew * edge[k, 4]
        own[p, 1] += hv * edge[k, 2] + ew * edge[k, 5]
        own[p, 2] += ex_t + solid_t
        own[p, 3] += ex_w + solid_w - soak * x.rewetting_dw
        for e in range(2):
            own[p, e] += edge[k, 12] * edge[k, 10 + e] / edge[k, 9]
            own[p, 2 + e] += edge[k, 13] * edge[k, 10 + e] / edge[k, 9]
        if r.closed:
            per = area * pascal_per_kilogram(env[0], r)
            edge[k, 14] = per * x.film_evaporation_dp
            edge[k, 15] = per * x.solid_evaporation_dp
            evaporated += area * (x.film_evaporation + x.film_boiling + x.solid_evaporation)
    return evaporated


@compiled
def _factor(lo, di, up, step):  # type: ignore[no-untyped-def]
    """Block elimination along lines; leaves inverse diagonal blocks in `di`."""
    for p in range(di.shape[0]):
        if p >= step:
            q = p - step
            l0 = lo[p, 0] * di[q, 0] + lo[p, 1] * di[q, 2]
            l1 = lo[p, 0] * di[q, 1] + lo[p, 1] * di[q, 3]
            l2 = lo[p, 2] * di[q, 0] + lo[p, 3] * di[q, 2]
            l3 = lo[p, 2] * di[q, 1] + lo[p, 3] * di[q, 3]
            lo[p, 0], lo[p, 1], lo[p, 2], lo[p, 3] = l0, l1, l2, l3
            di[p, 0] -= l0 * up[q, 0] + l1 * up[q, 2]
            di[p, 1] -= l0 * up[q, 1] + l1 * up[q, 3]
            di[p, 2] -= l2 * up[q, 0] + l3 * up[q, 2]
            di[p, 3] -= l2 * up[q, 1] + l3 * up[q, 3]
        det = 1.0 / (di[p, 0] * di[p, 3] - di[p, 1] * di[p, 2])
        first = di[p, 0]
        di[p, 0] = di[p, 3] * det
        di[p, 3] = first * det
        di[p, 1] = -di[p, 1] * det
        di[p, 2] = -di[p, 2] * det


@compiled
def _sweep(lo, di, up, step, r_e, r_w):  # type: ignore[no-untyped-def]
    """Solve the lines of one direction in place."""
    n = di.shape[0]
    for p in range(step, n):
        q = p - step
        r_e[p] -= lo[p, 0] * r_e[q] + lo[p, 1] * r_w[q]
        r_w[p] -= lo[p, 2] * r_e[q] + lo[p, 3] * r_w[q]
    for p in range(n - 1, -1, -1):
        e, v = r_e[p], r_w[p]
        if p < n - step:
            q = p + step
            e -= up[p, 0] * r_e[q] + up[p, 1] * r_w[q]
            v -= up[p, 2] * r_e[q] + up[p, 3] * r_w[q]
        r_e[p] = di[p, 0] * e + di[p, 1] * v
        r_w[p] = di[p, 2] * e + di[p, 3] * v


@compiled
def _lines(own, lo, di, up, g, edge, r_e, r_w, r_s):  # type: ignore[no-untyped-def]
    """Solve in place by the two directions, with the films folded into their nodes."""
    for k in range(r_s.shape[0]):
        r_e[g.node[k]] -= edge[k, 12] * r_s[k] / edge[k, 9]
        r_w[g.node[k]] -= edge[k, 13] * r_s[k] / edge[k, 9]
    _sweep(lo[0], di[0], up[0], g.step[0], r_e, r_w)
    for p in range(r_e.shape[0]):
        e = own[p, 0] * r_e[p] + own[p, 1] * r_w[p]
        r_w[p] = own[p, 2] * r_e[p] + own[p, 3] * r_w[p]
        r_e[p] = e
    _sweep(lo[1], di[1], up[1], g.step[1], r_e, r_w)
    for k in range(r_s.shape[0]):
        p = g.node[k]
        r_s[k] = (r_s[k] + edge[k, 10] * r_e[p] + edge[k, 11] * r_w[p]) / edge[k, 9]


@compiled
def _taken(g, edge, d_t, d_w, d_s):  # type: ignore[no-untyped-def]
    """Change of what evaporates, the air left as it is. [kg/s]."""
    more = 0.0
    for k in range(d_s.shape[0]):
        p = g.node[k]
        more += edge[k, 1] * d_t[p] + edge[k, 2] * d_w[p] + edge[k, 3] * d_s[k]
    return more


@compiled
def _air_column(inv, own, lo, di, up, g, edge, room, z):  # type: ignore[no-untyped-def]
    """What a kilogram of vapour in the chamber's air does; the air's own diagonal."""
    z_e, z_w, z_s = z
    z_e[:] = 0.0
    z_w[:] = 0.0
    slope = 0.0
    for k in range(z_s.shape[0]):
        p = g.node[k]
        slope += edge[k, 14] + edge[k, 15]
        z_e[p] -= edge[k, 7] * (edge[k, 14] + edge[k, 15])
        z_w[p] -= edge[k, 15]
        z_s[k] = -edge[k, 14]
    _lines(own, lo, di, up, g, edge, z_e, z_w, z_s)
    back = _taken(g, edge, z_e, z_w, z_s)
    return inv - room[1] - room[0] * (slope + back)


@compiled
def _stage(  # type: ignore[no-untyped-def]
    own, lo, di, up, g, edge, boil, any_boiling, room, air, z, r_e, r_w, r_s, r_v, led
):
    """Solve one stage in place; the ledger takes the same terms.

    `air` is the diagonal of the chamber's air, 0 where there is none. Returns the increment
    of its vapour.
    """
    _lines(own, lo, di, up, g, edge, r_e, r_w, r_s)
    if air != 0.0:
        r_v = (r_v + room[0] * _taken(g, edge, r_e, r_w, r_s)) / air
        r_e += z[0] * r_v
        r_w += z[1] * r_v
        r_s += z[2] * r_v
    ev = 0.0
    for k in range(r_s.shape[0]):
        p = g.node[k]
        d_t, d_w, d_s = r_e[p], r_w[p], r_s[k]
        led[0] += edge[k, 0] * d_t
        one = edge[k, 1] * d_t + edge[k, 2] * d_w + edge[k, 3] * d_s
        if air != 0.0:
            one += (edge[k, 14] + edge[k, 15]) * r_v
        ev += one
        led[2] += edge[k, 7] * one
        dr = edge[k, 4] * d_t + edge[k, 5] * d_w + edge[k, 6] * d_s
        led[5] += dr
        led[6] += edge[k, 8] * dr
    led[1] += ev
    boiled = 0.0
    if any_boiling:
        for p in range(r_e.shape[0]):
            if boil[p, 2] > 0.0:
                b = boil[p, 0] * r_e[p] + boil[p, 1] * r_w[p]
                led[4] += boil[p, 2] * b
                boiled += b
    led[3] += boiled
    if air != 0.0:
        condensed = room[2] * r_v
        led[8] += ev + boiled - condensed - room[0] * ev - room[1] * r_v
        led[9] += condensed
    return r_v


@compiled
def _drift(  # type: ignore[no-untyped-def]
    now, h, segment, times, table, t, w, s, vapour, t_max, env, later, around, c, g, m, r, drift
):
    """How surface exchange changes with time alone, for each film: heat, film, solid."""
    drift[:] = 0.0
    if times.shape[0] == 1:
        return
    nudge = 0.25 * h
    _surroundings(now + nudge, segment, times, table, vapour, r, later)
    for k in range(s.shape[0]):
        x = _exchange(k, t, w, s, t_max, env, around, c, g, m)
        y = _exchange(k, t, w, s, t_max, later, around, c, g, m)
        per = g.area[k] / nudge
        drift[k, 0] = per * (y.convection + y.radiation - x.convection - x.radiation)
        drift[k, 1] = per * (y.film_evaporation - x.film_evaporation)
        drift[k, 2] = per * (y.solid_evaporation - x.solid_evaporation)


@compiled
def _add_drift(by, drift, g, t, m, f_e, f_w, f_s, led):  # type: ignore[no-untyped-def]
    """Add the drift of the surroundings to the right-hand side of a stage."""
    for k in range(f_s.shape[0]):
        p = g.node[k]
        hv = vapour_enthalpy(t[p], m) if m.moist else 0.0
        gone = drift[k, 1] + drift[k, 2]
        f_e[p] += by * (drift[k, 0] - hv * gone)
        f_w[p] -= by * drift[k, 2]
        f_s[k] -= by * drift[k, 1]
        led[0] += by * drift[k, 0]
        led[1] += by * gone
        led[2] += by * hv * gone


@compiled
def _combine(  # type: ignore[no-untyped-def]
    stages, by, u, u_k, s, s_k, v_t, guess, out_e, out_w, out_s
):
    """Start of the step plus the stages so far, each `by` so much."""
    out_e[:] = u[0]
    out_w[:] = u[1]
    out_s[:] = s
    guess[:] = 0.0
    for j in range(stages):
        a = by[j]
        if a != 0.0:
            for p in range(out_e.shape[0]):
                out_e[p] += a * u_k[j, 0, p]
                out_w[p] += a * u_k[j, 1, p]
                guess[p] += a * v_t[j, p]
            for k in range(s.shape[0]):
                out_s[k] += a * s_k[j, k]


@compiled
def _misfit(e, v_t, v_w, s_k, boil, any_boiling, tolerance, m):  # type: ignore[no-untyped-def]
    """Estimated error of a step over what is allowed, squared mean and worst of boiling."""
    n, films = v_t.shape[1], s_k.shape[1]
    tol_w = 0.05 * tolerance * m.raw_water if m.moist else 1.0
    tol_s = 0.05 * tolerance * m.film_scale if m.moist else 1.0
    total = 0.0
    worst = 0.0
    for p in range(n):
        e_t = 0.0
        e_w = 0.0
        for j in range(_STAGES):
            e_t += e[j] * v_t[j, p]
            e_w += e[j] * v_w[j, p]
        total += (e_t / tolerance) ** 2 + (e_w / tol_w) ** 2
        if any_boiling and boil[p, 2] > 0.0:
            worst = max(worst, abs(e_t))
    wet = 0.0
    for k in range(films):
        e_s = 0.0
        for j in range(_STAGES):
            e_s += e[j] * s_k[j, k]
        wet += (e_s / tol_s) ** 2
    # A film counts as in one dimension, where it is one number beside a line of nodes.
    return total / n + wet / films / math.sqrt(n), worst / (_WORST_BOILING * tolerance)


@compiled
def _integrate(  # type: ignore[no-untyped-def]
    t0, w0, s0, vapour0, t_max0, g, times, table, around, c, m, r, duration, core, target,
    direction, tolerance, coef, most_steps,
):  # fmt: skip
    coef_a, coef_c, coef_m, coef_e, coef_alpha, coef_gamma = coef
    n, films = t0.shape[0], s0.shape[0]
    t, w, s, t_max, vapour = t0.copy(), w0.copy(), s0.copy(), t_max0.copy(), vapour0
    u = np.empty((2, n))
    for p in range(n):
        u[0, p] = g.volume[p] * enthalpy(t[p], w[p], t_max[p], m)
        u[1, p] = g.volume[p] * w[p]
    if m.moist:
        for k in range(films):
            u[0, g.node[k]] += g.area[k] * s[k] * water_enthalpy(t[g.node[k]], m)
    o_time, o_v, o_total, o_book = [0.0], [vapour], [np.zeros(2)], [np.zeros(_BOOKS)]
    o_t, o_w, o_m, o_s = [t.copy()], [w.copy()], [t_max.copy()], [s.copy()]
    o_time.pop(), o_v.pop(), o_total.pop(), o_book.pop()
    o_t.pop(), o_w.pop(), o_m.pop(), o_s.pop()
    book = np.zeros(_BOOKS)
    env, later = np.empty(table.shape[1] + 2), np.empty(table.shape[1] + 2)
    lo, di, up = np.zeros((2, n, 4)), np.zeros((2, n, 4)), np.zeros((2, n, 4))
    mass, own, boil = np.zeros((n, 2)), np.zeros((n, 4)), np.zeros((n, 3))
    edge, room, drift = np.zeros((films, 16)), np.zeros(3), np.zeros((films, 3))
    z = (np.zeros(n), np.zeros(n), np.zeros(films))
    of, of_y, stream = np.zeros((5, n)), np.zeros((5, n)), np.empty(n)
    v_t, v_w, v_s, v_v = (
        np.zeros((_STAGES, n)),
        np.zeros((_STAGES, n)),
        np.zeros((_STAGES, films)),
        np.zeros(_STAGES),
    )
    u_k, book_k = np.zeros((_STAGES, 2, n)), np.zeros((_STAGES, _BOOKS))
    f_e, f_w, f_s, led = np.empty(n), np.empty(n), np.empty(films), np.zeros(_BOOKS)
    g_e, g_w, g_s, g_led = np.empty(n), np.empty(n), np.empty(films), np.zeros(_BOOKS)
    t_y, w_y, s_y, e_y, q_y, guess = (
        t.copy(), w.copy(), s.copy(), np.empty(n), np.empty(n), np.empty(n),
    )  # fmt: skip
    now, segment, rejected, attempts = 0.0, 0, 0, 0
    h = min(1.0, duration)
    status, finishing = _OK, False
    while True:
        while segment < times.shape[0] - 2 and now >= times[segment + 1] * (1.0 - 1e-14):
            segment += 1
        _surroundings(now, segment, times, table, vapour, r, env)
        g_v = _rates(
            t, w, s, vapour, t_max, env, around, c, g, m, r, of, stream, g_e, g_w, g_s, g_led
        )
        o_time.append(now)
        o_v.append(vapour)
        o_t.append(t.copy())
        o_w.append(w.copy())
        o_m.append(t_max.copy())
        o_s.append(s.copy())
        o_book.append(book.copy())
        wet = 0.0
        for k in range(films):
            wet += g.area[k] * s[k]
        o_total.append(np.array([u[0].sum(), u[1].sum() + wet]))
        if now >= duration * (1.0 - 1e-14) or finishing:
            break
        if direction * (t[core] - target) >= 0.0 and direction != 0.0:
            status = _REACHED
            break
        if len(o_time) > most_steps:
            status = _FULL
            break
        limit = duration - now
        if segment < times.shape[0] - 1 and times[segment + 1] > now:
            limit = min(limit, times[segment + 1] - now)
        planned = h
        while True:
            attempts += 1
            h = planned
            if h >= limit * 0.999:
                h = limit
            elif h > 0.5 * limit:
                h = 0.5 * limit
            inv = 1.0 / (_G * h)
            _drift(
                now, h, segment, times, table, t, w, s, vapour, t_max, env, later, around, c, g,
                m, r, drift,
            )  # fmt: skip
            any_boiling = _matrix(
                h, t, w, s, vapour, t_max, env, around, c, g, m, r, of, mass, own, lo, di, up,
                edge, boil, room,
            )  # fmt: skip
            for a in range(2):
                _factor(lo[a], di[a], up[a], g.step[a])
            air = 0.0
            if r.closed:
                air = _air_column(inv, own, lo, di, up, g, edge, room, z)
            for stage in range(_STAGES):
                if stage == 0:
                    f_e[:], f_w[:], f_s[:], led[:], f_v = g_e, g_w, g_s, g_led, g_v
                else:
                    by = coef_a[stage]
                    _combine(stage, by, u, u_k, s, v_s, v_t, guess, e_y, q_y, s_y)
                    vapour_y = vapour
                    for j in range(stage):
                        vapour_y += by[j] * v_v[j]
                    guess += t
                    _invert(e_y, q_y, s_y, t_max, g, m, guess, t_y, w_y)
                    then = now + coef_alpha[stage] * h
                    _surroundings(then, segment, times, table, vapour_y, r, later)
                    f_v = _rates(
                        t_y, w_y, s_y, vapour_y, t_max, later, around, c, g, m, r, of_y, stream,
                        f_e, f_w, f_s, led,
                    )  # fmt: skip
                if times.shape[0] > 1:
                    _add_drift(coef_gamma[stage] * h, drift, g, t, m, f_e, f_w, f_s, led)
                for j in range(stage):
                    cc = coef_c[stage, j] / h
                    if cc != 0.0:
                        f_v += cc * v_v[j]
                        for p in range(n):
                            f_e[p] += cc * u_k[j, 0, p]
                            f_w[p] += cc * u_k[j, 1, p]
                        for k in range(films):
                            f_s[k] += cc * g.area[k] * v_s[j, k]
                        for q in range(_BOOKS):
                            led[q] += cc * book_k[j, q]
                v_v[stage] = _stage(
                    own, lo, di, up, g, edge, boil, any_boiling, room, air, z, f_e, f_w, f_s,
                    f_v, led,
                )  # fmt: skip
                for p in range(n):
                    v_t[stage, p] = f_e[p]
                    v_w[stage, p] = f_w[p]
                    u_k[stage, 0, p] = mass[p, 0] * f_e[p] + mass[p, 1] * f_w[p]
                    u_k[stage, 1, p] = g.volume[p] * f_w[p]
                for k in range(films):
                    v_s[stage, k] = f_s[k]
                    u_k[stage, 0, g.node[k]] += g.area[k] * edge[k, 8] * f_s[k]
                for q in range(_BOOKS):
                    book_k[stage, q] = led[q] / inv
            error, worst = _misfit(coef_e, v_t, v_w, v_s, boil, any_boiling, tolerance, m)
            vapour_new = vapour
            if r.closed:
                e_v = 0.0
                for j in range(_STAGES):
                    e_v += coef_e[j] * v_v[j]
                    vapour_new += coef_m[j] * v_v[j]
                per = pascal_per_kilogram(env[0], r)
                # in kelvin of dew point, as in the fast engine
                allowed = tolerance * (_LEAST_SLOPE + _DEW_SLOPE * vapour * per)
                error += (e_v * per / allowed) ** 2 / math.sqrt(n)
            error = max(math.sqrt(error), worst)
            ok = math.isfinite(error) and error <= 1.0
            if ok:
                _combine(_STAGES, coef_m, u, u_k, s, v_s, v_t, guess, e_y, q_y, s_y)
                guess += t
                _invert(e_y, q_y, s_y, t_max, g, m, guess, t_y, w_y)
                least = -0.1 * 0.05 * tolerance * m.film_scale
                for p in range(n):
                    if not math.isfinite(t_y[p]) or (m.moist and w_y[p] < 0.0):
                        ok = False
                for k in range(films):
                    if m.moist and s_y[k] < least:
                        ok = False
                if vapour_new < 0.0:
                    ok = False
                if not ok:
                    error = 8.0
            if not math.isfinite(error):
                error = 100.0
            factor = 0.9 * max(error, 1e-8) ** _ORDER_EXPONENT
            if ok:
                past = direction * (t_y[core] - target)
                if direction != 0.0 and past > 1e-6 and attempts < 60:
                    # land on the target: secant through the start of the step
                    planned = max(h * (target - t[core]) / (t_y[core] - t[core]), 1e-6)
                    limit = planned
                    continue
                break
            rejected += 1
            planned = h * min(0.5, max(0.1, factor))
            if planned < 1e-7 or attempts > 100000:
                status = _STUCK
                break
        if status == _STUCK:
            break
        attempts = 0
        if direction != 0.0 and direction * (t_y[core] - target) >= -1e-9:
            finishing = True
            status = _REACHED
        now += h
        corner = times[segment + 1] if segment < times.shape[0] - 1 else np.inf
        if limit == h and not finishing and abs(now - corner) < 1e-6 * max(1.0, h):
            now = corner
        vapour = vapour_new
        s[:] = s_y
        u[0] = e_y
        u[1] = q_y
        for q in range(_BOOKS):
            for j in range(_STAGES):
                book[q] += coef_m[j] * book_k[j, q]
        for p in range(n):
            t[p] = t_y[p]
            w[p] = w_y[p]
            t_max[p] = max(t_max[p], t[p])
        grown = h * min(5.0, max(0.2, factor))
        # A step cut short by a corner says nothing against the longer one planned.
        h = max(grown, planned) if h < planned else grown
    return o_time, o_t, o_w, o_m, o_s, o_book, o_v, o_total, status, rejected


@dataclass(frozen=True)
class Faces:
    """What differs from face to face of a section, in the order of `Grid.side`.

    Attributes
    ----------
    draught : tuple of float
        Factor on the convective coefficient. [-]
    wall_rise_k : tuple of float
        How much hotter than the walls is what the face looks at. [K]
    conditions : tuple of SurfaceConditions
        Wrap, board and emissivity; ambient pressure is that of the first.
    """

    draught: tuple[float, float, float]
    wall_rise_k: tuple[float, float, float]
    conditions: tuple[SurfaceConditions, SurfaceConditions, SurfaceConditions]


@dataclass(frozen=True)
class SectionState:
    """Fields of a section: nodes, films, and the vapour of a chamber. Units as in `Problem`."""

    temperature_c: Floats
    water: Floats
    film: Floats
    highest_c: Floats
    vapour: float = 0.0


@dataclass(frozen=True)
class SectionRaw:
    """One stage at the solver's own steps; rows are times.

    `held` is energy and water in the piece and on it, per unit of the mesh. [J, kg]
    """

    time_s: Floats
    temperature_c: Floats
    water: Floats
    film: Floats
    highest_c: Floats
    ledger: Floats
    vapour: Floats
    held: Floats
    reached: bool
    rejected: int


def solve(
    mesh: SectionMesh,
    material: MaterialConstants,
    around: Faces,
    forcing: Forcing,
    start: SectionState,
    duration_s: float,
    core: int,
    until_core_c: float | None,
    tolerance: float,
    chamber: ChamberConstants,
) -> SectionRaw:
    """Integrate one stage.

    Parameters
    ----------
    mesh : SectionMesh
    material : MaterialConstants
    around : Faces
    forcing : Forcing
    start : SectionState
    duration_s : float
    core : int
        Node that is taken for the core.
    until_core_c : float or None
    tolerance : float
        [K]
    chamber : ChamberConstants

    Returns
    -------
    SectionRaw

    Raises
    ------
    SolverError
        If the step size collapses or the number of steps explodes.
    """
    columns = [forcing.air_c, forcing.wall_c, forcing.vapour_pressure, forcing.heat_transfer]
    if chamber.closed:
        assert forcing.fresh_air is not None
        assert forcing.brought is not None
        columns += [forcing.fresh_air, forcing.brought]
    target, direction = 0.0, 0.0
    if until_core_c is not None:
        target = until_core_c
        direction = 1.0 if start.temperature_c[core] < target else -1.0
    time, t, w, highest, film, book, vapour, held, status, rejected = _integrate(
        np.ascontiguousarray(start.temperature_c),
        np.ascontiguousarray(start.water),
        np.ascontiguousarray(start.film),
        float(start.vapour),
        np.ascontiguousarray(start.highest_c),
        mesh.grid,
        np.ascontiguousarray(forcing.time_s),
        np.ascontiguousarray(np.column_stack(columns)),
        np.column_stack((around.draught, around.wall_rise_k)),
        around.conditions,
        material,
        chamber,
        float(duration_s),
        int(core),
        target,
        direction,
        float(tolerance),
        (_A, _C, _M, _E, _ALPHA, _GAMMA),
        MOST_STEPS,
    )
    if status == _STUCK:
        raise SolverError(
            f"The section could not be continued after {time[-1]:.0f} s of this stage (slowest "
            f"point {t[-1][core]:.1f} °C). Please check the surroundings at that time; a "
            "smaller tolerance or fewer cells may help."
        )
    if status == _FULL:
        raise SolverError(
            f"More than {MOST_STEPS} steps were needed; thin the surroundings' time series."
        )
    return SectionRaw(
        time_s=np.array(time),
        temperature_c=np.array(t),
        water=np.array(w),
        film=np.array(film),
        highest_c=np.array(highest),
        ledger=np.array(book),
        vapour=np.array(vapour),
        held=np.array(held),
        reached=status == _REACHED,
        rejected=int(rejected),
    )


def warm_up() -> None:
    """Compile everything that a section needs, or load it from the cache.

    Solves a second of a small moist piece; all else is the same code.
    """
    m = meat().constants
    mesh = section_mesh(Slab(0.05), Slab(0.08), (5, 5), 1.0)
    one = np.array([0.0])
    start = np.full(25, 20.0)
    conditions = SurfaceConditions(0.9, 101325.0, 100.0, 1.0, 0.0, m.film_capacity)
    solve(
        mesh,
        m,
        Faces((1.0,) * 3, (0.0,) * 3, (conditions,) * 3),
        Forcing(one, one + 100.0, one + 100.0, one + 2000.0, one + 10.0),
        SectionState(start, np.full(25, m.raw_water), np.zeros(10), start),
        1.0,
        0,
        None,
        0.1,
        OPEN,
    )
