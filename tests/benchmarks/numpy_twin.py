"""The radial engine's rates in NumPy, vectorised over nodes, rings, offsets and cases as a good engineer would.

It reads the same node tables as the kernels, so that the two compute the same thing and only the speed differs.
"""

from __future__ import annotations

from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]


class Rates:
    """Rates of wear and creep for one spell.

    Every sum over the nodes of one offset becomes a sum over equal slices of one array (``np.add.reduceat``), and
    the Newton iterations of all offsets and cases go on together, each with its own line search.
    """

    def __init__(self, setting: Any, nodes: Any, rings: tuple[int, int]) -> None:
        self.s, self.n = setting, nodes
        n_e, self.cases = setting.path.shape
        self.starts = nodes.area_start[:-1]
        sizes = np.diff(nodes.area_start)
        self.of_area = np.repeat(np.arange(n_e), sizes)
        self.of_glass = np.repeat(np.arange(n_e), np.diff(nodes.glass_start[:: rings[0]]))
        self.of_pitch = np.repeat(np.arange(n_e), np.diff(nodes.pitch_start[:: rings[1]]))
        self.rings = rings
        self.tilt = np.array([0.0, 1.0, 2.0])
        fx = setting.centre[:, None] + setting.cases[None, :, 0]
        self.load = np.stack([np.ones_like(fx), fx, np.broadcast_to(setting.cases[None, :, 1], fx.shape)], -1)
        self.pose: Array | None = None

    def sums(self, values: Array) -> Array:
        """Sums over each offset's nodes; values (N, k) -> (n_e, k)."""
        return np.add.reduceat(values, self.starts, axis=0)

    def newton_terms(self, pose: Array, height: Array) -> tuple[Array, Array, Array]:
        """Energy, gradient and Hessian of every offset for one case; pose (n_e, 3)."""
        n, kappa = self.n, self.s.stiffness
        x, y, area = n.area_x, n.area_y, n.area_weight
        d, bx, by = pose[self.of_area].T
        base, side = d + bx * x + height, by * y
        columns = []
        for sign in (1.0, -1.0):
            g = base + sign * side
            on = np.where(g > 0.0, area, 0.0)
            q = on * g
            z = sign * y
            columns.append([q * g, q, q * x, q * z, on, on * x, on * z, on * x * x, on * x * z, on * y * y])
        c = kappa * self.sums(np.add(*np.array(columns)).T)
        hessian = c[:, [4, 5, 6, 5, 7, 8, 6, 8, 9]].reshape(-1, 3, 3)
        return 0.5 * c[:, 0], c[:, 1:4], hessian

    def balance(self, height: Array, case: int, pose: Array) -> Array:
        """Newton's method for all offsets at once, with a line search for those that need it."""
        load = self.s.force * self.load[:, case]
        scale = np.array([1.0, self.s.scale, self.s.scale])
        energy, slope, hessian = self.newton_terms(pose, height)
        for _ in range(100):
            left = slope - load
            worst = np.abs(left / scale).max(axis=1) / self.s.force
            if worst.max() < 1e-11:
                return pose
            step = -np.linalg.solve(hessian + 1e-12 * hessian[:, :1, :1] * np.diag(scale**2), left[:, :, None])[..., 0]
            step[worst < 1e-11] = 0.0
            before = energy - (load * pose).sum(axis=1)
            length = np.ones(len(pose))
            for _ in range(60):
                trial = pose + length[:, None] * step
                energy, slope, hessian = self.newton_terms(trial, height)
                after = energy - (load * trial).sum(axis=1)
                bad = after > before + 1e-12 * np.abs(before)
                if not bad.any():
                    break
                length[bad] *= 0.5
            pose = trial
        raise ArithmeticError("no balance")

    def __call__(self, w: Array, u: Array) -> tuple[Array, Array]:
        """dw/dt and du/dt [m/s]."""
        s, n = self.s, self.n
        glass = (s.glass_weight * w[s.glass_source]).sum(axis=1)
        pitch = (s.pitch_weight * u[s.pitch_source]).sum(axis=1)

        def look(table: Array, cell: Array, part: Array) -> Array:
            return table[cell] + part * (table[cell + 1] - table[cell])

        height = look(glass, n.area_glass, n.area_glass_part) + look(pitch, n.area_pitch, n.area_pitch_part)
        own = np.repeat(np.tile(w, len(self.starts)), np.diff(n.glass_start))
        on_glass = look(pitch, n.glass_cell, n.glass_part) + own
        own = np.repeat(np.tile(u, len(self.starts)), np.diff(n.pitch_start))
        on_pitch = look(glass, n.pitch_cell, n.pitch_part) + own
        if self.pose is None:
            self.pose = np.zeros((len(self.starts), self.cases, 3))
            self.pose[..., 0] = (s.force / (s.stiffness * np.pi * s.scale**2)) - height.min()
        dw, du = np.zeros_like(w), np.zeros_like(u)
        for case in range(self.cases):
            pose = self.balance(height, case, self.pose[:, case])
            self.pose[:, case] = pose
            for out, own_height, of, x, y, share, start, weight, rings in (
                (dw, on_glass, self.of_glass, n.glass_x, n.glass_y, n.glass_share, n.glass_start, s.path, w.size),
                (du, on_pitch, self.of_pitch, n.pitch_x, n.pitch_y, n.pitch_share, n.pitch_start, s.time, u.size),
            ):
                d, bx, by = pose[of].T
                base, side = d + bx * x + own_height, by * y
                p = 0.5 * share * (np.maximum(0.0, base + side) + np.maximum(0.0, base - side))
                running = np.concatenate([[0.0], np.cumsum(p)])
                means = np.diff(running[start]).reshape(-1, rings)
                out += s.stiffness * weight[:, case] @ means
        return -s.wear * dw, -s.creep * du
