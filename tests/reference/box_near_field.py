#!/usr/bin/env python3
"""Near and far field of a flat piston in the front of a rigid box, by boundary elements.

Writes box_near_field.csv: the pressure a few millimetres in front of the
piston's centre, and that on its axis far away, both relative to the same
piston in an endless rigid wall.

Method. By reciprocity the pressure at a point is j w rho u times the integral,
over the piston, of the pressure that a unit point source at that point makes
on the rigid body.

Near point. A source close to the front makes a steep pressure there. Take out
the field of the source and of its image in the front's plane: the image lies
inside the body, so outside it this field p0 is a proper one, rigid at the
front, and over the piston it gives exactly the endless wall's answer, in
closed form. What is left, w, is smooth on the front. It radiates outward
with the slope dw/dn = g = -dp0/dn, nought on the front, and solves

    c(x) w(x) = sum_j w_j int_j dG/dn_y dS - sum_j int_j g G dS.

The static part of the second integral is closed too, for rectangles with g
constant; the rest is smooth and takes 2 x 2 Gauss points. Wanted is
1 + (int w dS) / (int p0 dS), both over the piston.

Far points. The total field of a plane wave, or of a source 1 m away, over the
piston, by box_diffraction.py, from which the meshes and the kernels are taken.

All fields are even in x (the pistons stand on the middle line); even and odd
in y are solved apart. Two meshes are run and extrapolated, a third checks.
"""
import csv
import itertools
from pathlib import Path

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from box_diffraction import (COARSER, MIRRORS, SPEED, decibels, dynamic, error, gauss_points,
                             mesh, static)

GAP = 0.005  # m, near point in front of the piston's centre
FAR = 1.0  # m
BODIES = [  # width, height, depth; pistons: x, y from the lower left corner, radius; element side
    ((0.140, 0.210, 0.130), [(0.070, 0.080, 0.040), (0.070, 0.160, 0.030)], 0.0062),
    ((0.200, 0.350, 0.250), [(0.100, 0.110, 0.065)], 0.0098),
]
FREQS = np.round(np.geomspace(50, 3000, 24), 1)
CHECKED = slice(2, None, 7)  # frequencies also run on the third mesh
FINER = 0.75  # of the third mesh
FLIP = np.array((1, -1, 1))


def disc(radius, rings=6, spokes=16):
    """Points (x, y) on a disc and weights whose sum is one."""
    t, w = np.polynomial.legendre.leggauss(rings)
    r = radius * np.sqrt((1 + t) / 2)
    phi = 2 * np.pi * (np.arange(spokes) + 0.5) / spokes
    points = [(a * np.cos(p), a * np.sin(p)) for a in r for p in phi]
    return np.array(points), np.repeat(w / 2, spokes) / spokes


def point_source(x, y, k):
    r = np.linalg.norm(x - y, axis=-1)
    return np.exp(-1j * k * r) / (4 * np.pi * r)


def slope(x, n, y, k):
    """dG/dn at x of a source at y."""
    r = np.linalg.norm(x - y, axis=-1)
    return -((x - y) * n).sum(-1) * (1 + 1j * k * r) * np.exp(-1j * k * r) / (4 * np.pi * r**3)


def static_layer(x, quads):
    """int 1/(4 pi r) dS over upright rectangles, for each point and element."""
    low, high = quads.min(1), quads.max(1)
    axes = np.argmin(high - low, axis=1)
    total = np.zeros((len(x), len(quads)))
    for axis in range(3):
        pick = axes == axis
        u, v = (axis + 1) % 3, (axis + 2) % 3
        h = np.abs(x[:, None, axis] - low[None, pick, axis])
        for (bu, su), (bv, sv) in itertools.product(((low, -1), (high, 1)), repeat=2):
            du = bu[None, pick, u] - x[:, None, u]
            dv = bv[None, pick, v] - x[:, None, v]
            r = np.sqrt(du**2 + dv**2 + h**2)
            along = lambda p, q: p * np.arcsinh(q / np.maximum(np.hypot(p, h), 1e-12))
            corner = np.arctan2(du * dv, np.maximum(h * r, 1e-30))
            total[:, pick] += su * sv * (along(du, dv) + along(dv, du) - h * corner)
    return total / (4 * np.pi)


def dynamic_layer(x, points, weights, k):
    """The rest of int G dS, apart by Gauss point: (gauss, point, element)."""
    rest = []
    for y, w in zip(points, weights):
        r2 = (x**2).sum(1)[:, None] + (y**2).sum(1) - 2 * x @ y.T
        r = np.sqrt(np.maximum(r2, 1e-12))
        rest.append((np.exp(-1j * k * r) - 1) / (4 * np.pi * r) * w)
    return np.array(rest)


class Box:
    def __init__(self, dims, pistons, size):
        self.quads = mesh("box", dims, size)
        self.points, normals = gauss_points(self.quads)
        self.normals = normals
        self.weights = np.linalg.norm(normals, axis=2)
        self.n = normals / self.weights[..., None]
        half = np.array(dims) / 2
        inner = np.random.default_rng(1).uniform(0.03, 0.9, (90, 3)) * half
        inner[:, 2] = inner[:, 2] * 2 - half[2]
        self.centres = [np.array((x - half[0], y - half[1], half[2])) for x, y, _ in pistons]
        self.radii = [a for _, _, a in pistons]
        spots = []
        for c, a in zip(self.centres, self.radii):
            xy, self.share = disc(a)
            spots.append(c + np.column_stack([xy, np.zeros(len(xy))]))
        self.spots = np.array(spots)
        spots = np.concatenate(spots)
        self.x = np.vstack([self.quads.mean(1), inner, spots])
        self.count = len(spots)
        self.static = [static(self.x * m, self.quads) for m in MIRRORS]
        self.layer = [static_layer(self.x * m, self.quads) for m in MIRRORS]
        self.c = 1 + sum(s.sum(1) for s in self.static)

    def solve(self, k, load):
        """Pressure at the spots for sources' terms load[parity] (point, column)."""
        n, spots = len(self.quads), self.count
        kernels = [s + dynamic(self.x * m, self.points, self.normals, k)
                   for s, m in zip(self.static, MIRRORS)]
        answer = 0
        for parity, right in load.items():
            kernel = sum(g * (1 if m[1] > 0 else parity) for g, m in zip(kernels, MIRRORS))
            system = -kernel[:-spots]
            system[:n] += np.diag(self.c[:n])
            adjoint = system.conj().T
            p = cho_solve(cho_factor(adjoint @ system), adjoint @ right[:-spots])
            answer = answer + (right[-spots:] + kernel[-spots:] @ p) / self.c[-spots:, None]
        return answer

    def ears(self, gap):
        return [c + (0, 0, gap) for c in self.centres]

    def near_load(self, k, gap):
        """-int g G dS for the near point of each piston, even and odd in y."""
        slopes = {1: [], -1: []}
        for ear in self.ears(gap):
            image = ear - (0, 0, 2 * gap)
            g = [-sum(slope(self.points * f, self.n * f, s, k) for s in (ear, image))
                 for f in (1, FLIP)]
            for parity in slopes:
                slopes[parity].append((g[0] + parity * g[1]) / 2)
        load = {}
        area = self.weights.sum(0)
        rest = [dynamic_layer(self.x * m, self.points, self.weights, k) for m in MIRRORS]
        for parity, g in slopes.items():
            g = np.array(g)  # (piston, gauss, element)
            mean = (g * self.weights).sum(1) / area
            sign = [1 if m[1] > 0 else parity for m in MIRRORS]
            still = sum(s * layer for s, layer in zip(sign, self.layer)) @ mean.T
            moving = np.einsum("gxe,pge->xp", sum(s * r for s, r in zip(sign, rest)), g)
            load[parity] = -(still + moving)
        return load

    def far_load(self, k, waves):
        """Incident waves, even and odd in y."""
        one, other = waves(self.x), waves(self.x * FLIP)
        return {1: (one + other) / 2, -1: (one - other) / 2}

    def ratios(self, f, gap=GAP):
        """Complex ratios to the endless wall: (piston, (near, 1 m, far))."""
        k = 2 * np.pi * f / SPEED
        distant = [c + (0, 0, FAR) for c in self.centres]
        waves = lambda x: np.column_stack(
            [*(point_source(x, s, k) for s in distant), np.exp(1j * k * x[:, 2])])
        near, far = self.near_load(k, gap), self.far_load(k, waves)
        count = len(self.radii)
        field = self.solve(k, {p: np.hstack([near[p], far[p]]) for p in near})
        field = field.reshape(count, -1, field.shape[1])
        out = []
        for i, a in enumerate(self.radii):
            mean = self.share @ field[i]
            wall = (np.exp(-1j * k * gap) - np.exp(-1j * k * np.hypot(a, gap))) / (1j * k)
            out.append((1 + mean[i] * np.pi * a**2 / wall,
                        mean[count + i] / (2 * point_source(distant[i], self.centres[i], k)),
                        mean[-1] / (2 * np.exp(1j * k * self.centres[i][2]))))
        return np.array(out)

    def near_directly(self, f, gap):
        """The near ratio with the source's own field as the incident one."""
        k = 2 * np.pi * f / SPEED
        waves = lambda x: np.column_stack([point_source(x, s, k) for s in self.ears(gap)])
        field = self.solve(k, self.far_load(k, waves)).reshape(len(self.radii), -1, len(self.radii))
        out = []
        for i, a in enumerate(self.radii):
            wall = (np.exp(-1j * k * gap) - np.exp(-1j * k * np.hypot(a, gap))) / (1j * k)
            out.append(self.share @ field[i, :, i] * np.pi * a**2 / wall)
        return np.array(out)


def main():
    rows, notes, case = [], [], 0
    for dims, pistons, size in BODIES:
        fine, coarse, finer, middle = (
            Box(dims, pistons, size * z) for z in (1, COARSER, FINER, FINER * COARSER))
        better = lambda a, b: a + (a - b) / (COARSER**2 - 1)
        close, rough = (np.array([b.ratios(f) for f in FREQS]) for b in (fine, coarse))
        found = better(close, rough)
        check = better(*(np.array([b.ratios(f) for f in FREQS[CHECKED]]) for b in (finer, middle)))
        notes.append("box %s: %d and %d elements;" % (
            " x ".join(f"{1000 * d:.0f}" for d in dims), *(4 * len(b.quads) for b in (fine, coarse))))
        for name, part in (("near", slice(0, 1)), ("far", slice(1, 3))):
            notes.append(
                "  %s: fine against coarse %.3f dB, %.2f deg; result against fine %.3f dB, %.2f deg;"
                " against a finer pair (%d and %d elements, %d frequencies) %.3f dB, %.2f deg"
                % (name, *error(close[..., part], rough[..., part]),
                   *error(found[..., part], close[..., part]),
                   *(4 * len(b.quads) for b in (finer, middle)), len(check),
                   *error(found[CHECKED][..., part], check[..., part])))
        gap = 0.06
        ways = (lambda box, f: box.ratios(f, gap)[:, 0], lambda box, f: box.near_directly(f, gap))
        ours, direct = ([better(way(fine, f), way(coarse, f)) for f in (100, 500, 1500)] for way in ways)
        notes.append("  near, at 60 mm instead (three frequencies), against the source's own field"
                     " taken as incident: %.3f dB, %.2f deg" % error(ours, direct))
        for i, piston in enumerate(pistons):
            case += 1
            for f, h in zip(FREQS, found[:, i]):
                row = [case, *(f"{1000 * v:.0f}" for v in (*dims, *piston)), f]
                for v in h:
                    row += [f"{decibels(v):.3f}", f"{np.degrees(np.angle(v)):.2f}"]
                rows.append(row)
    with open(Path(__file__).with_suffix(".csv"), "w", newline="") as out:
        for line in (
            "Origin: boundary-element solution of a sharp-edged rigid box with a flat round piston in its front.",
            "Command: OMP_NUM_THREADS=1 python3 tests/reference/box_near_field.py",
            "Units: mm, Hz, dB, degrees. x from the left edge, y from the bottom edge, as seen from the front.",
            "All points lie on the piston's axis; its velocity is even over its area. Speed of sound 343.2 m/s.",
            "near: 5 mm in front of the piston; pressure over that of the same piston at the same point",
            "in an endless rigid wall, rho c u (exp(-jkz) - exp(-jk sqrt(z^2 + a^2))), z = 5 mm, a its radius.",
            "far_1m, far: 1 m in front of the piston, and endlessly far; pressure over j w rho q exp(-jkr) / (2 pi r),",
            "q = pi a^2 u, r from the piston's centre: the endless wall's far field, at 1 m too.",
            "Phase for exp(+j w t).",
            "Accuracy (largest difference over all frequencies and pistons of a box):",
            *notes,
        ):
            out.write(f"# {line}\n")
        table = csv.writer(out, lineterminator="\n")
        table.writerow("case,width_mm,height_mm,depth_mm,x_mm,y_mm,radius_mm,f_hz,near_db,near_deg,"
                       "far_1m_db,far_1m_deg,far_db,far_deg".split(","))
        table.writerows(rows)


if __name__ == "__main__":
    main()
