"""A plate as a solid, by finite elements in the section: what the closed forms of plate theory are checked against.

Quadrilaterals of eight nodes in (r, z), nine Gauss points; displacements ``u_r cos m phi, u_z cos m phi, u_phi sin m phi``.
The strains and the weak form are those of any textbook of finite elements for solids of revolution (from memory: O. C.
Zienkiewicz, *The Finite Element Method*, 1977). Nothing of wearsim is used.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

_GAUSS = np.sqrt(0.6) * np.array([-1.0, 0.0, 1.0])
_WEIGHT = np.array([5.0, 8.0, 5.0]) / 9.0
_CORNERS = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], dtype=float)


def _shape(x, y):
    """Eight shape functions and their derivatives, (8,), (2, 8)."""
    n, d = np.zeros(8), np.zeros((2, 8))
    for i, (a, b) in enumerate(_CORNERS):
        n[i] = 0.25 * (1 + a * x) * (1 + b * y) * (a * x + b * y - 1)
        d[0, i] = 0.25 * a * (1 + b * y) * (2 * a * x + b * y)
        d[1, i] = 0.25 * b * (1 + a * x) * (a * x + 2 * b * y)
    for i, b in ((4, -1.0), (6, 1.0)):
        n[i], d[0, i], d[1, i] = 0.5 * (1 - x * x) * (1 + b * y), -x * (1 + b * y), 0.5 * b * (1 - x * x)
    for i, a in ((5, 1.0), (7, -1.0)):
        n[i], d[0, i], d[1, i] = 0.5 * (1 + a * x) * (1 - y * y), 0.5 * a * (1 - y * y), -y * (1 + a * x)
    return n, d


class SolidPlate:
    """A disc of radius and thickness [m], the edges of its elements at these radii; z from 0 (front) to thickness."""

    def __init__(self, edges, thickness, layers, young, poisson):
        self.thickness, self.young, self.poisson = thickness, young, poisson
        r = np.repeat(np.asarray(edges, dtype=float), 2)[:-1]
        r[1::2] = 0.5 * (r[0:-1:2] + r[2::2])
        z = np.linspace(0.0, thickness, 2 * layers + 1)
        number, self.nodes = {}, []
        for i in range(r.size):
            for j in range(z.size):
                if i % 2 == 0 or j % 2 == 0:
                    number[i, j] = len(self.nodes)
                    self.nodes.append((r[i], z[j]))
        self.nodes = np.array(self.nodes)
        places = ((0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1))
        self.elements = np.array(
            [
                [number[i + a, j + b] for a, b in places]
                for i in range(0, r.size - 2, 2)
                for j in range(0, z.size - 2, 2)
            ]
        )
        self.front = np.array([number[i, 0] for i in range(r.size)])
        self.back = np.array([number[i, z.size - 1] for i in range(r.size)])

    def points(self):
        """Every Gauss point: element's nodes, shape functions, gradients (2, 8), radius, weight r dr dz."""
        for nodes in self.elements:
            where = self.nodes[nodes]
            for a, x in enumerate(_GAUSS):
                for b, y in enumerate(_GAUSS):
                    n, d = _shape(x, y)
                    jacobian = d @ where
                    radius = n @ where[:, 0]
                    size = np.linalg.det(jacobian) * _WEIGHT[a] * _WEIGHT[b]
                    yield nodes, n, np.linalg.solve(jacobian, d), radius, size * radius

    def assemble(self, blocks, size):
        """Sum of element matrices (indices, matrix) as one sparse matrix."""
        rows = np.concatenate([np.repeat(i, i.size) for i, _ in blocks])
        columns = np.concatenate([np.tile(i, i.size) for i, _ in blocks])
        return csc_matrix(coo_matrix((np.concatenate([m.ravel() for _, m in blocks]), (rows, columns)), (size, size)))

    def even_load(self, nodes, density):
        """Nodal shares of a density (callable of r) over one face, by Gauss points along it, per radian."""
        load = np.zeros(len(self.nodes))
        for first in range(0, len(nodes) - 2, 2):
            three = nodes[first : first + 3]
            r = self.nodes[three, 0]
            half = 0.5 * (r[2] - r[0])
            for x, w in zip(_GAUSS, _WEIGHT, strict=True):
                n = np.array([0.5 * x * (x - 1), 1 - x * x, 0.5 * x * (x + 1)])
                load[three] += n * density(n @ r) * (n @ r) * half * w
        return load

    def _strain(self, n, g, radius, m):
        """Strains rr, zz, phiphi, rz, rphi, zphi of displacements (r, z, phi) per node, (6, 24)."""
        b = np.zeros((6, 24))
        b[0, 0::3], b[1, 1::3] = g[0], g[1]
        b[2, 0::3], b[2, 2::3] = n / radius, m * n / radius
        b[3, 0::3], b[3, 1::3] = g[1], g[0]
        b[4, 0::3], b[4, 2::3] = -m * n / radius, g[0] - n / radius
        b[5, 1::3], b[5, 2::3] = -m * n / radius, g[1]
        return b

    def deflect(self, waves, load=None, temperature=None, expansion=0.0):
        """Displacement z of the front nodes [m] under nodal loads in z or a warmth [K], amplitudes of cos m phi."""
        e, nu = self.young, self.poisson
        lame, shear = e * nu / ((1 + nu) * (1 - 2 * nu)), e / (2 * (1 + nu))
        stiff = np.diag([2 * shear] * 3 + [shear] * 3)
        stiff[:3, :3] += lame
        size = 3 * len(self.nodes)
        force, blocks = np.zeros(size), []
        round_ = np.pi * (2.0 if waves == 0 else 1.0)
        for nodes, n, g, radius, weight in self.points():
            at = (3 * nodes[:, None] + np.arange(3)).ravel()
            b = self._strain(n, g, radius, waves)
            blocks.append((at, round_ * weight * b.T @ stiff @ b))
            if temperature is not None:
                free = expansion * (n @ temperature[nodes]) * np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
                force[at] += round_ * weight * b.T @ stiff @ free
        if load is not None:
            force[1::3] += round_ * load
        axis = np.flatnonzero(self.nodes[:, 0] == 0.0)
        held = {3 * i + k for i in axis for k in ((0, 2) if waves == 0 else (0, 1, 2))}
        held |= {1 + 3 * int(self.front[0])} | ({2 + 3 * i for i in range(len(self.nodes))} if waves == 0 else set())
        free = np.array(sorted(set(range(size)) - held))
        whole = self.assemble(blocks, size)[free][:, free]
        moved = np.zeros(size)
        moved[free] = splu(whole).solve(force[free])
        return moved[1::3][self.front]

    def warm(self, waves, flux, seconds, steps, conductivity, capacity):
        """Temperature of the nodes [K], amplitude of cos m phi, after heat (callable of r, W/m^2) has gone into the back."""
        size, mass, flow = len(self.nodes), [], []
        for nodes, n, g, radius, weight in self.points():
            mass.append((nodes, capacity * weight * np.outer(n, n)))
            flow.append((nodes, conductivity * weight * (g.T @ g + (waves / radius) ** 2 * np.outer(n, n))))
        step = seconds / steps
        store, lead = self.assemble(mass, size), self.assemble(flow, size)
        into, solver = self.even_load(self.back, flux), splu(csc_matrix(store + step * lead))
        warmth = np.zeros(size)
        for _ in range(steps):
            warmth = solver.solve(store @ warmth + step * into)
        return warmth
