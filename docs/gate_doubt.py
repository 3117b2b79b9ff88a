"""How much of what the last quarter of a gate changes is left as error: the constant in src/response/truncation.rs.

For 100 closed boxes (second-order high-passes of 40 to 200 Hz, Q 0.5 to 1.4, gates of 3 to 20 ms) the gated level is
compared with the closed form from 1/T to 4/T, against u = 8.686 dB * sqrt(SHARE * D^2) / |H|.
Prints the rms of error/u over all cases and the share of points within 2u. Needs numpy and scipy.
"""
import numpy as np
from scipy.signal import lfilter

RATE, SHARE = 48_000, 0.25


def gate(length_s):
    place = np.arange(int(length_s * RATE) + 1) / (length_s * RATE)
    fall = np.clip((place - 0.75) / 0.25, 0, 1)
    return 0.5 + 0.5 * np.cos(np.pi * fall)


ratios, within = [], []
for corner_hz in (40, 60, 90, 130, 200):
    for q in (0.5, 0.7, 1.0, 1.4):
        k = 1 / np.tan(np.pi * corner_hz / RATE)
        b = np.array([k * k, -2 * k * k, k * k])
        a = np.array([k * k + k / q + 1, 2 - 2 * k * k, k * k - k / q + 1])
        impulse = lfilter(b, a, np.eye(1, RATE)[0])
        for length_s in (0.003, 0.0045, 0.007, 0.012, 0.02):
            hz = 1000 * 2 ** (np.arange(-300, 200) / 48)
            hz = hz[(hz >= 1 / length_s) & (hz <= 4 / length_s)]

            def gated(weights):
                turns = np.exp(-2j * np.pi * np.outer(hz, np.arange(len(weights))) / RATE)
                return turns @ (impulse[: len(weights)] * weights)

            z = np.exp(-2j * np.pi * hz / RATE)
            truth = (b[0] + b[1] * z + b[2] * z * z) / (a[0] + a[1] * z + a[2] * z * z)
            found, shorter = gated(gate(length_s)), gated(gate(0.75 * length_s))
            change = np.abs(found - shorter) ** 2
            mean = np.array([change[np.abs(hz - f) <= 0.5 / length_s].mean() for f in hz])
            error_db = 20 * np.log10(np.abs(found) / np.abs(truth))
            u_db = 20 / np.log(10) * np.sqrt(SHARE * mean) / np.abs(found)
            ratios.append(np.mean((error_db / u_db) ** 2))
            within.append(np.mean(np.abs(error_db) <= 2 * u_db))
print(f"rms of error/u {np.sqrt(np.mean(ratios)):.2f}, within 2u {100 * np.mean(within):.1f} %")
