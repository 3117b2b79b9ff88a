"""Time of a general-purpose least-squares routine on the points of benches/driver_fit.rs.

    cargo bench --bench driver_fit && python3 docs/driver_fit_time.py

scipy.optimize.least_squares fits the model that made the points (resistance, resonance, two coils and a resistor, seven
numbers, logarithms searched) from starting values 20 % off: by MINPACK and by its trust-region method, slopes by differences and given.
"""
import statistics
import time
from pathlib import Path

import numpy as np
import scipy
from scipy.optimize import least_squares

points = np.loadtxt(Path(__file__).parent.parent / "target" / "driver_fit_points.csv", delimiter=",", skiprows=1)
hz, z, u = points[:, 0], points[:, 1] + 1j * points[:, 2], points[:, 3]
jw = 2j * np.pi * hz


def parts(logs):
    re, fs, qms, qes, le, l2, r2 = np.exp(logs)
    jx = 1j * hz / fs
    over = 1 / (1 / qms + jx + 1 / jx)
    return re, qms, jx, over, re / qes * over, jw * le, jw * l2, r2


def residuals(logs):
    re, _, _, _, moving, coil, second, r2 = parts(logs)
    off = (re + moving + coil + second * r2 / (second + r2) - z) / u
    return np.concatenate([off.real, off.imag])


def slopes(logs):
    re, qms, jx, over, moving, coil, second, r2 = parts(logs)
    beside = second * r2 / (second + r2)
    columns = [re + moving, moving * over * (jx - 1 / jx), moving * over / qms, -moving, coil,
               beside * r2 / (second + r2), beside * second / (second + r2)]
    return np.array([np.concatenate([(c / u).real, (c / u).imag]) for c in columns]).T


truth = np.array([5.6, 38.0, 4.2, 0.42, 0.3e-3, 0.5e-3, 4.0])
start = np.log(truth * np.array([1.2, 0.8, 1.2, 0.8, 1.2, 0.8, 1.2]))
print(f"scipy {scipy.__version__}, numpy {np.__version__}, {len(hz)} complex points, {len(start)} numbers")
for method in ["lm", "trf"]:
    for name, jacobian in [("differences", "2-point"), ("given slopes", slopes)]:
        times = []
        for _ in range(30):
            began = time.perf_counter()
            found = least_squares(residuals, start, jac=jacobian, method=method, ftol=1e-14, xtol=1e-14, gtol=1e-14)
            times.append(1e3 * (time.perf_counter() - began))
        numbers = " ".join(f"{value:.7g}" for value in np.exp(found.x))
        print(f"{method:4} {name:13} fastest {min(times):6.2f} ms, median {statistics.median(times):6.2f} ms  2*cost {2 * found.cost:.6f}  {numbers}")
