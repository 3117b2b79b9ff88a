"""Second opinion on a whole measurement: tests/reference/scipy_filter.csv.

A filter of general-purpose make (scipy.signal: an elliptic high-pass at 60 Hz, a peaking section at 3 kHz, a Chebyshev low-pass at
16 kHz; 48 kHz) and its response by scipy.signal.sosfreqz at 1000*2^(k/48) Hz from 20 Hz to 20 kHz.

    python3 tests/reference/make_scipy_filter.py > tests/reference/scipy_filter.csv
"""
import numpy as np
import scipy
from scipy import signal

RATE = 48_000
w0, q, gain_db = 2 * np.pi * 3_000 / RATE, 2.0, 6.0
amplitude, alpha = 10 ** (gain_db / 40), np.sin(w0) / (2 * q)
peak = np.array([[1 + alpha * amplitude, -2 * np.cos(w0), 1 - alpha * amplitude,
                  1 + alpha / amplitude, -2 * np.cos(w0), 1 - alpha / amplitude]])
peak /= peak[0, 3]
sections = np.vstack([
    signal.ellip(3, 0.5, 40, 60, "high", fs=RATE, output="sos"),
    peak,
    signal.cheby1(4, 1, 16_000, "low", fs=RATE, output="sos"),
])
print(f"# made by make_scipy_filter.py, scipy {scipy.__version__}, numpy {np.__version__}")
print("# sections: b0 b1 b2 a1 a2")
for section in sections:
    print("# section " + " ".join(repr(float(value)) for value in np.delete(section, 3)))
print("frequency_hz,level_db,phase_deg")
k = np.arange(np.ceil(48 * np.log2(0.02)), np.floor(48 * np.log2(20)) + 1)
hz = 1000 * 2 ** (k / 48)
_, h = signal.sosfreqz(sections, hz, fs=RATE)
for f, value in zip(hz, h):
    print(f"{float(f)!r},{float(20 * np.log10(abs(value)))!r},{float(np.degrees(np.angle(value)))!r}")
