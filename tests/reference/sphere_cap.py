#!/usr/bin/env python3
"""Near and far field of a cap vibrating in a rigid sphere, by its series.

Writes sphere_cap.csv. The cap theta < alpha of a sphere of radius R moves
with the same radial velocity u all over; the rest stands still. With
exp(+j w t), Hankel functions of the second kind and x = kR,

    p(r, theta) = -j rho c sum_n u_n h_n(kr) / h_n'(x) P_n(cos theta)
    u_n = (P_{n-1}(cos alpha) - P_{n+1}(cos alpha)) u / 2,   P_{-1} = 1

(P. M. Morse, K. U. Ingard, "Theoretical Acoustics", and L. L. Beranek,
T. J. Mellow, "Acoustics: Sound Fields and Transducers", 2012, ch. 12: both
from memory; derived anew here from the boundary condition). The cap's
volume velocity is q = 2 pi R^2 (1 - cos alpha) u, its rim's radius
b = R sin alpha.

At the cap's centre the terms fall only with n^(-3/2). Their static part,
h_n(x) / h_n'(x) -> -x / (n + 1), has a closed sum; with s = sin(alpha / 2)

    sum_n u_n / (n + 1) = u (s - s^2 ln(1 + 1/s) + ln(1 + s)),

by integrating sum_n (2n + 1) P_n(cos g) / (n + 1) = 1/t - ln(1 + 1/t),
t = sin(g / 2), over the cap. What is left falls with n^(-7/2).

The Hankel functions come from the upward recurrence, in which they are the
growing solution: a rounding error stays at its relative size.
"""
import csv
from pathlib import Path

from mpmath import mp, mpc, mpf

mp.dps = 40
SPEED = mpf("343.2")  # m/s
GAP = mpf("0.005")  # m, near point in front of the cap's centre
CAPS = [("0.100", "0.035"), ("0.100", "0.020"), ("0.080", "0.035"), ("0.080", "0.020")]  # R, b in m
KR = "0.02 0.05 0.1 0.15 0.2 0.3 0.4 0.5 0.6 0.8 1 1.2 1.5 2 2.5 3 4 5 6 8".split()
TERMS = 2400


def hankel(x, count):
    """Spherical Hankel functions of the second kind, orders 0 to count."""
    wave = mp.expj(-x)
    h = [1j * wave / x, wave * (mpc(-1) / x + 1j / x**2)]
    for n in range(1, count):
        h.append((2 * n + 1) / x * h[n] - h[n - 1])
    return h


def slopes(h, x):
    """h_n'(x)."""
    return [-h[1]] + [h[n - 1] - (n + 1) / x * h[n] for n in range(1, len(h))]


def velocities(cos_alpha, count):
    """u_n / u."""
    p = [mpf(1), cos_alpha]
    for n in range(1, count + 1):
        p.append(((2 * n + 1) * cos_alpha * p[n] - n * p[n - 1]) / (n + 1))
    return [(1 - cos_alpha) / 2] + [(p[n - 1] - p[n + 1]) / 2 for n in range(1, count + 1)]


def piston(k, b, z):
    """p / (rho c u) on the axis of a flat piston in an endless wall."""
    return mp.expj(-k * z) - mp.expj(-k * mp.sqrt(z**2 + b**2))


def ratios(radius, b, kr, terms=TERMS):
    """(centre, near, far) over the flat piston, twice, and the point source."""
    k = kr / radius
    cos_alpha = mp.sqrt(1 - (b / radius) ** 2)
    u = velocities(cos_alpha, terms)
    h = hankel(kr, terms)
    d = slopes(h, kr)
    outer = hankel(kr * (1 + GAP / radius), terms)
    s = mp.sqrt((1 - cos_alpha) / 2)
    static = s - s**2 * mp.log(1 + 1 / s) + mp.log(1 + s)
    rest = mp.fsum(u[n] * (h[n] / d[n] + kr / (n + 1)) for n in range(terms))
    centre = -1j * (rest - kr * static)
    near = -1j * mp.fsum(u[n] * outer[n] / d[n] for n in range(terms))
    # h_n(kr') -> j^(n+1) exp(-jkr') / (kr'), r' = r + R from the sphere's centre
    few = int(kr) + 60
    far = -1j * mp.fsum(u[n] * mpc(1j) ** (n + 1) / d[n] for n in range(few)) / k * mp.expj(-kr)
    area = 2 * mp.pi * radius**2 * (1 - cos_alpha)  # q / u
    flat = area / (mp.pi * b**2)
    return (centre / (flat * piston(k, b, 0)), near / (flat * piston(k, b, GAP)),
            far / (1j * k * area / (2 * mp.pi)))


def brute(radius, b, kr, z, terms):
    """The plain series, smoothed by averaging its partial sums, as a check."""
    cos_alpha = mp.sqrt(1 - (b / radius) ** 2)
    u = velocities(cos_alpha, terms)
    d = slopes(hankel(kr, terms), kr)
    h = hankel(kr * (1 + z / radius), terms)
    total, sums = mpc(0), []
    for n in range(terms):
        total += -1j * u[n] * h[n] / d[n]
        if n >= terms // 2:
            sums.append(total)
    return sum(sums) / len(sums)


def change(one, other):
    """Largest difference in dB and in degrees."""
    q = [a / b for a, b in zip(one, other)]
    return max(max(abs(20 * mp.log10(abs(v))) for v in q),
               max(abs(mp.degrees(mp.arg(v))) for v in q))


def main():
    rows, shorter, plain = [], mpf(0), mpf(0)
    for case, (radius, b) in enumerate(CAPS, 1):
        for text in KR:
            r, rim, kr = mpf(radius), mpf(b), mpf(text)
            found = ratios(r, rim, kr)
            shorter = max(shorter, change(found, ratios(r, rim, kr, 2 * TERMS // 3)))
            if text in ("0.1", "1", "8"):
                flat = 2 * r**2 * (1 - mp.sqrt(1 - (rim / r) ** 2)) / rim**2
                slow = [brute(r, rim, kr, z, 2 * TERMS) / (flat * piston(kr / r, rim, z))
                        for z in (mpf(0), GAP)]
                plain = max(plain, change(found, slow))
            f = kr * SPEED / (2 * mp.pi * r)
            row = [case, *(mp.nstr(1000 * v, 4).removesuffix(".0") for v in (r, rim)), text, mp.nstr(f, 8)]
            for v in found:
                row += [f"{float(20 * mp.log10(abs(v))):.6f}", f"{float(mp.degrees(mp.arg(v))):.5f}"]
            rows.append(row)
    with open(Path(__file__).with_suffix(".csv"), "w", newline="") as out:
        for line in (
            "Origin: series for a cap moving with even radial velocity u in a rigid sphere, 40-digit arithmetic.",
            "Command: python3 tests/reference/sphere_cap.py",
            "Units: mm, Hz, dB, degrees; kr = 2 pi f R / c, speed of sound 343.2 m/s. Phase for exp(+j w t).",
            "sphere_mm: R. rim_mm: b, radius of the cap's rim, R sin(alpha). q = 2 pi R^2 (1 - cos alpha) u.",
            "centre: at the cap's centre; near: 5 mm in front of it. Pressure over that of a flat piston of radius b",
            "in an endless wall with the same q, at its centre and 5 mm in front of it:",
            "rho c q / (pi b^2) (exp(-jkz) - exp(-jk sqrt(z^2 + b^2))), z = 0 and 5 mm; at z = 0 in the bass j w rho q / (pi b).",
            "far: on the axis, endlessly far; pressure over j w rho q exp(-jkr) / (2 pi r), r from the cap's centre.",
            "The near ratios hold the cap's own bulge as well as the sphere behind it.",
            "Accuracy: %d against %d terms %s (dB or degrees); against the plain series with %d terms,"
            % (TERMS, 2 * TERMS // 3, mp.nstr(shorter, 2), 2 * TERMS),
            "  partial sums averaged, at kr = 0.1, 1 and 8: %s." % mp.nstr(plain, 2),
        ):
            out.write(f"# {line}\n")
        table = csv.writer(out, lineterminator="\n")
        table.writerow("case,sphere_mm,rim_mm,kr,f_hz,centre_db,centre_deg,near_db,near_deg,"
                       "far_db,far_deg".split(","))
        table.writerows(rows)


if __name__ == "__main__":
    main()
