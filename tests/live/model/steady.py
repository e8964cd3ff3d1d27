"""Steady flow of a water network: a sparse Newton on the flows, with the heads as multipliers. Vectorised.

Every passage, every panel's holes and every admitting vent is an edge with a strictly rising law `loss(q)`. At the
solution the drop of head `H = p + rho g z` along an edge equals its loss and the flows balance at every free node.
One linear step eliminates the flows: a weighted graph Laplacian in the heads.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from . import friction
from .reader import opened

SHUT = 1e16  # Pa s/m3 against the direction of a one-way edge
DENSE = 120  # below this number of free nodes a dense solve is quicker than a sparse one


class NotSolved(RuntimeError):
    pass


@dataclass
class Result:
    flow: np.ndarray  # passages, m3/s
    pressure: np.ndarray  # nodes, Pa; nan where nothing ties the node to a pressure
    holes: np.ndarray  # panels, m3/s
    vent: np.ndarray  # weir pipes: 0 full, +1 / -1 admits air with flow from / to its start
    apex: np.ndarray  # weir pipes: static pressure at the apex, Pa
    iterations: int
    all_flows: np.ndarray


class Steady:
    """The network of a case, prepared for repeated solves."""

    def __init__(self, case):
        self.case = case
        e, weirs = case.edges, case.weirs
        self.E, self.W, self.P = len(e.name), len(weirs), len(case.panel_name)
        nodes = len(case.node_name)
        column = lambda values: np.array(values, dtype=float)
        legs = [weir.rise for weir in weirs] + [weir.fall for weir in weirs]
        w = np.array([weir.edge for weir in weirs], dtype=int)
        ww = np.concatenate((w, w))
        apex_node = nodes + np.arange(self.W)
        plume_node = nodes + self.W + np.arange(self.P)
        # edges: passages | rise to the vented apex | fall to the vented apex | holes
        self.start = np.concatenate((e.start, e.start[w], e.end[w], case.panel_node)).astype(int)
        self.end = np.concatenate((e.end, apex_node, apex_node, plume_node)).astype(int)
        self.nodes = nodes + self.W + self.P
        self.weir = w
        area = np.pi / 4 * e.bore**2 * e.ports
        self.area = area
        holes = np.where(case.hole_area > 0, case.hole_area, 1.0)
        self.quadratic = case.density / 2 * np.concatenate((
            (e.loss + np.where(np.isnan(e.friction), 0.0, e.friction * e.length / e.bore)) / area**2,
            (column([leg[1] + 1.0 for leg in legs]) + np.where(np.isnan(e.friction[ww]), 0.0, e.friction[ww] * column([leg[0] for leg in legs]) / e.bore[ww])) / area[ww] ** 2,
            holes**-2.0))
        length = np.concatenate((np.where(np.isnan(e.friction), e.length, 0.0), np.where(np.isnan(e.friction[ww]), column([leg[0] for leg in legs]), 0.0)))
        bore = np.concatenate((e.bore, e.bore[ww]))
        self.rough = np.flatnonzero(length > 0)
        # the end of the pipe's law: loss = scale * L(Re), Re = reynolds * |q|
        r = self.rough
        self.scale = (length / bore)[r] * case.viscosity**2 / (2 * case.density * bore[r] ** 2)
        self.reynolds = case.density * bore[r] / (np.concatenate((area, area[ww]))[r] * case.viscosity)
        self.relative = np.concatenate((e.roughness, e.roughness[ww]))[r] / bore[r]
        # a bound from below on a in loss ~ a q^2, for the step where the slope at a small flow says nothing
        self.floor = self.quadratic.copy()
        self.floor[r] += 0.008 * self.scale * self.reynolds**2
        self.guess = np.concatenate((area, area[ww], 5.0 * holes))
        self.reference = 0.1 * np.max(area, initial=1e-9)  # a small flow: 0.1 m/s in the widest passage
        self.one_way = np.concatenate((e.one_way, np.ones(2 * self.W + self.P, dtype=bool))).astype(bool)
        self.tank_node = np.array([tank.node for tank in case.tanks], dtype=int)
        self.elevation = np.concatenate((case.elevation, [weir.apex for weir in weirs], case.elevation[case.panel_node]))
        self.is_fixed = np.zeros(self.nodes, dtype=bool)
        self.is_fixed[list(case.fixed)] = True
        self.is_fixed[self.tank_node] = True
        self.is_fixed[nodes:] = True
        self.free = np.flatnonzero(~self.is_fixed)
        self._pattern()

    def _pattern(self):
        """Positions of every edge's four entries in the compressed Laplacian of the free nodes."""
        n = len(self.free)
        index = np.full(self.nodes, -1)
        index[self.free] = np.arange(n)
        i, j = index[self.start], index[self.end]
        self.i, self.j = i, j
        k = np.arange(len(i))
        both = (i >= 0) & (j >= 0)
        row = np.concatenate((i[i >= 0], j[j >= 0], i[both], j[both], np.arange(n)))
        col = np.concatenate((i[i >= 0], j[j >= 0], j[both], i[both], np.arange(n)))
        self.entry_edge = np.concatenate((k[i >= 0], k[j >= 0], k[both], k[both]))
        self.entry_edge_own = np.concatenate((k[i >= 0], k[j >= 0]))
        self.entry_edge_node = np.concatenate((i[i >= 0], j[j >= 0]))
        self.entry_sign = np.concatenate((np.ones((i >= 0).sum() + (j >= 0).sum()), -np.ones(2 * both.sum())))
        key, self.slot = np.unique(col * n + row, return_inverse=True)
        self.indices = (key % n).astype(np.int32) if n else np.zeros(0, np.int32)
        self.indptr = np.searchsorted(key, np.arange(n + 1) * n).astype(np.int32)
        self.n = n

    def _solve(self, weight, rhs, loose):
        """Change of the heads of the free nodes; a part that hangs on shut one-way edges alone is held where it is."""
        own = np.bincount(self.entry_edge_node, weight[self.entry_edge_own], self.n)
        hold = 1e-12 * own + loose
        data = np.bincount(self.slot, np.concatenate((self.entry_sign * weight[self.entry_edge], hold)), len(self.indices))
        if self.n <= DENSE:
            matrix = np.zeros((self.n, self.n))
            matrix[self.indices, np.repeat(np.arange(self.n), np.diff(self.indptr))] = data
            return np.linalg.solve(matrix, rhs)
        matrix = csc_matrix((data, self.indices, self.indptr), shape=(self.n, self.n))
        return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}).solve(rhs)

    def loss(self, q, quadratic):
        """Loss along every edge and its slope."""
        size = np.abs(q)
        value, slope = quadratic * size, 2.0 * quadratic * size
        value = value * q
        r = self.rough
        f, df = friction.loss(self.reynolds * size[r], self.relative)
        value[r] += self.scale * f * np.sign(q[r])
        slope[r] += self.scale * self.reynolds * df
        back = self.one_way & (q < 0)
        value[back], slope[back] = SHUT * q[back], SHUT
        return value, slope

    def outflow(self, q):
        """Net flow out of every free node into its edges."""
        out = np.zeros(self.n)
        a, b = self.i >= 0, self.j >= 0
        out += np.bincount(self.i[a], q[a], self.n)
        out -= np.bincount(self.j[b], q[b], self.n)
        return out

    def solve(self, tank_pressure, time=None, empty=None, warm=None, tolerance=1e-11):
        """Flows with the given pressures at the tanks' outlets; valves fully open unless `time` is given."""
        case, E, W = self.case, self.E, self.W
        e = case.edges
        head = np.zeros(self.nodes)
        for k, pressure in case.fixed.items():
            head[k] = pressure
        head[self.tank_node] = tank_pressure
        head[self.nodes - self.P - W: self.nodes - self.P] = case.ambient_pressure
        for table, position in case.plume:
            head[self.nodes - self.P + position] = table.at(case.duty.get("start", 0.0) if time is None else time)
        head += case.density * case.gravity * np.where(self.is_fixed, self.elevation, 0.0)
        share = np.ones(E) if time is None else opened(e.opens_at, e.closes_at, e.stroke, time)
        passes = np.concatenate((share > 0, np.repeat(False, 2 * W), case.hole_area > 0))
        if empty is not None and np.any(empty):
            dry = np.zeros(self.nodes, dtype=bool)
            dry[self.tank_node[empty]] = True
            passes &= ~(dry[self.start] | dry[self.end])
        quadratic = self.quadratic.copy()
        quadratic[:E] /= np.where(share > 0, share, 1.0) ** 2

        vent = warm.vent.copy() if warm is not None else np.zeros(W, dtype=int)
        q = warm.all_flows.copy() if warm is not None else self.guess.copy()
        injection = np.zeros(W)
        injection[vent > 0] = q[E: E + W][vent > 0]
        injection[vent < 0] = q[E + W: E + 2 * W][vent < 0]
        total, lowest = 0, None
        for attempt in range(200):
            weir_open = passes[self.weir]
            active = passes.copy()
            active[self.weir] &= vent == 0
            active[E: E + W] = weir_open & (vent > 0)
            active[E + W: E + 2 * W] = weir_open & (vent < 0)
            received = np.zeros(self.nodes)
            np.add.at(received, e.end[self.weir][vent > 0].astype(int), injection[vent > 0])
            np.add.at(received, e.start[self.weir][vent < 0].astype(int), injection[vent < 0])
            q, iterations = self._newton(q, head, active, quadratic, received[self.free], tolerance)
            total += iterations
            before_apex = np.where(vent > 0, q[E: E + W], q[E + W: E + 2 * W])
            moved = np.where(vent != 0, np.abs(before_apex - injection), 0.0)
            new = self._vents(q, head, vent, weir_open, quadratic)
            if np.array_equal(new, vent) and np.max(moved, initial=0.0) <= 1e-8 * np.max(np.abs(q), initial=self.reference):
                break
            for k in np.flatnonzero(new != vent):  # start what is switched on from what it replaces
                old = q[self.weir[k]] if vent[k] == 0 else before_apex[k] * vent[k]
                q[[self.weir[k], E + k, E + W + k]] = 0.0
                slot = self.weir[k] if new[k] == 0 else E + k if new[k] > 0 else E + W + k
                q[slot] = old if new[k] == 0 else max(old * new[k], 0.0)
            before_apex = np.where(new > 0, q[E: E + W], q[E + W: E + 2 * W])
            vent, injection = new, np.where(new != 0, before_apex, 0.0)
        else:
            raise NotSolved("the vents do not settle")
        flow = q[:E].copy()
        flow[self.weir[vent > 0]] = q[E: E + W][vent > 0]
        flow[self.weir[vent < 0]] = -q[E + W: E + 2 * W][vent < 0]
        pressure = head - case.density * case.gravity * self.elevation
        return Result(flow, pressure[: len(case.node_name)], q[E + 2 * W:], vent, self._apex(flow, head, vent), total, q)

    def _newton(self, q, head, active, quadratic, received, tolerance):
        active, loose = self._carrying(active, received)
        q = np.where(active, q, 0.0)
        one_way = self.one_way & active
        q[one_way] = np.maximum(q[one_way], 0.0)
        drop = np.zeros(len(q))
        span = 1.0
        head[self.free] = np.min(head[self.is_fixed])
        highest = np.max(np.abs(head))
        along = lambda: np.where(active, head[self.start] - head[self.end], 0.0)
        for iteration in range(1, 200):
            value, slope = self.loss(q, quadratic)
            slope = np.maximum(slope, np.sqrt(self.floor * np.abs(drop)))
            largest = np.max(np.abs(q), initial=self.reference)
            # below this slope the rounding of the heads would move the flows more than the tolerance
            slope = np.maximum(slope, 1e-6 * highest / largest)
            weight = np.where(active, 1.0 / slope, 0.0)
            # solved for the change of the heads: near the solution its rounding vanishes with it
            change = self._solve(weight, received - self.outflow(np.where(active, q + weight * (along() - value), 0.0)), loose)
            head[self.free] += change
            drop = along()
            step = np.where(active, weight * (drop - value), 0.0)
            span = max(np.max(np.abs(drop), initial=0.0), 1e-3 * highest)
            shut = one_way & (q <= 0)
            missing = np.where(shut, np.maximum(drop, 0.0), np.where(active, np.abs(drop - value), 0.0))
            closing = one_way & (q + step < 0) & (q > 0)
            unbalanced = np.max(np.abs(self.outflow(q) - received), initial=0.0)
            # where hardly anything flows, rounding of the heads may be all that is left: then less is asked for
            loosen = 1.0 if iteration < 40 else 300.0
            if np.max(missing, initial=0.0) <= loosen * tolerance * span and unbalanced <= loosen * 3e-9 * largest:
                if np.max(np.abs(step)) < 1e-3 * largest:
                    q = q + step
                q[one_way] = np.maximum(q[one_way], 0.0)
                head[self.free[loose]] = np.nan
                return q, iteration
            share = self._line_search(q, step, drop, quadratic, active & ~closing & ~shut, 1e-13 * span * largest)
            q = np.where(closing, -1e-30, q + share * step)
        raise NotSolved(f"no convergence: largest difference {np.max(missing)} Pa, {unbalanced} m3/s")

    def _carrying(self, active, received):
        """Edges that can carry water, and the free nodes of parts at rest.

        A part of the free nodes rests when nothing ties it to a fixed head, or only edges that lead out one way (the
        holes of panels behind a shut valve).
        """
        inner = active & (self.i >= 0) & (self.j >= 0)
        graph = csc_matrix((np.ones(inner.sum()), (self.i[inner], self.j[inner])), shape=(self.n, self.n))
        parts, part = connected_components(graph, directed=False)
        fed = np.zeros(parts, dtype=bool)
        into, out = active & (self.i < 0) & (self.j >= 0), active & (self.j < 0) & (self.i >= 0)
        fed[part[self.j[into]]] = True
        fed[part[self.i[out & ~self.one_way]]] = True
        drained = np.zeros(parts, dtype=bool)
        drained[part[self.i[out]]] = True
        fed[part[received > 0]] = True
        tied = drained.copy()
        tied[part[self.j[into]]] = True
        if np.any(received[~tied[part]] > 0):
            raise NotSolved("water is led into a part that it cannot leave")
        rests = np.append(~fed[part], False)  # the last one stands for the fixed nodes
        return active & ~rests[self.i] & ~rests[self.j], rests[:-1]

    def _line_search(self, q, step, drop, quadratic, of, noise):
        """Share of the step at which the power `step . (loss - drop)` no longer falls steeply."""
        power = lambda share: np.dot(step[of], (self.loss(q + share * step, quadratic)[0] - drop)[of])
        share, slope = 1.0, power(0.0)
        if slope >= -noise:
            return 1.0
        for _ in range(12):
            now = power(share)
            if now <= -0.9 * slope:
                break
            share *= max(0.1, min(0.7, slope / (slope - now)))
        return share

    def _vents(self, q, head, vent, weir_open, quadratic):
        """The state that each vent should have, given a solution with the states `vent`."""
        case, E, W = self.case, self.E, self.W
        new = vent.copy()
        for k in range(W):
            if not (case.weirs[k].vented and weir_open[k]):
                new[k] = 0
                continue
            edge = self.weir[k]
            ends = head[self.start[edge]], head[self.end[edge]]
            crest = head[self.end[E + k]]
            if vent[k] == 0:
                direction = 1 if q[edge] >= 0 else -1
                leg = E + k if direction > 0 else E + W + k
                trial = np.zeros_like(q)
                trial[leg] = abs(q[edge])
                above = (ends[0] if direction > 0 else ends[1]) - crest - self.loss(trial, quadratic)[0][leg]
                if above < -3e-8 * abs(crest):
                    new[k] = direction
            else:
                trial = np.zeros_like(q)
                trial[edge] = vent[k] * q[E + k if vent[k] > 0 else E + W + k]
                full = self.loss(trial, quadratic)[0][edge]
                if np.isfinite(ends[0] - ends[1]) and vent[k] * (ends[0] - ends[1] - full) < -3e-8 * abs(crest):
                    new[k] = 0
        return new

    def _apex(self, flow, head, vent):
        case = self.case
        if not self.W:
            return np.zeros(0)
        trial = np.zeros(len(self.start))
        fall = -np.minimum(flow[self.weir], 0.0)
        trial[self.E: self.E + self.W] = np.maximum(flow[self.weir], 0.0)
        trial[self.E + self.W: self.E + 2 * self.W] = fall
        lost = self.loss(trial, self.quadratic)[0]
        from_rise = head[self.start[self.weir]] - lost[self.E: self.E + self.W]
        from_fall = head[self.end[self.weir]] - lost[self.E + self.W: self.E + 2 * self.W]
        static = np.where(flow[self.weir] >= 0, from_rise, from_fall) - case.density * case.gravity * np.array([weir.apex for weir in case.weirs])
        return np.where(vent != 0, case.ambient_pressure, static)

    def outlet(self, ullage_pressure, water):
        """Pressure at the tanks' outlets, Pa."""
        return ullage_pressure + self.case.density * self.case.gravity * water / np.array([tank.area for tank in self.case.tanks])

    def tank_outflow(self, result):
        """Net flow out of every tank, m3/s."""
        out = np.bincount(self.start[: self.E], result.flow, self.nodes) - np.bincount(self.end[: self.E], result.flow, self.nodes)
        return out[self.tank_node]


def flow(case, time=None):
    """Steady flow with the tanks as filled in the file."""
    steady = Steady(case)
    pressure = np.array([vessel.pressure for vessel in case.vessels if vessel.kind == "ullage"])
    water = np.array([tank.water for tank in case.tanks])
    return steady.solve(steady.outlet(pressure, water), time)
