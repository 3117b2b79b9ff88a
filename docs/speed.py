"""The work of the benchmarks in a general-purpose numerical library, and both in one table: ratios of one machine in one run.

    pip install numpy scipy && python3 docs/speed.py

Runs `cargo bench`, then does the same with numpy and scipy, vectorised and without what is not asked for; each first on one core and then on two.
The time that the library takes to be imported is left out. What is read is what the benchmarks wrote to `target/`.
"""
import os
import re
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import scipy
import scipy.ndimage
from scipy import fft, signal
from scipy.interpolate import CubicSpline
from scipy.io import wavfile
from scipy.optimize import least_squares

ROOT = Path(__file__).parent.parent
SPEED = ROOT / "target" / "speed"
CORES = sorted(os.sched_getaffinity(0))[:2]


# -- what was recorded --------------------------------------------------------------------------------------------------

def read(name):
    rate, samples = wavfile.read(SPEED / name)
    return rate, samples.astype(np.float64) / 2.0**31


SWEEPS = {"usual": 5.0, "long": 50.0}
LOWEST_HZ = 20 / 2**0.5  # the sweep rises in the octave below its band; near enough for a time


class Played:
    """The sweep between its marks, found by its silences."""

    def __init__(self, name):
        self.rate, samples = read(f"{name}_played.wav")
        loud = np.flatnonzero(np.abs(samples) > 1e-5)
        gaps = np.flatnonzero(np.diff(loud) > 0.2 * self.rate)
        ends = np.concatenate([loud[gaps], loud[-1:]]) + 1
        starts = np.concatenate([loud[:1], loud[gaps + 1]])
        self.pieces = list(zip(starts, ends))
        longest = int(np.argmax(ends - starts))
        self.start, self.end = self.pieces[longest]
        self.marks = [piece for at, piece in enumerate(self.pieces) if at != longest]
        self.samples = samples
        self.sweep = samples[self.start:self.end]
        self.constant_s = (self.end - self.start) / self.rate / np.log(22e3 / LOWEST_HZ)


def limiter(hz):
    pole = 1j * hz / (1j * hz + LOWEST_HZ)
    upper = np.clip(np.log(22e3 / np.maximum(hz, 1e-9)) / np.log((22e3 / 20e3) ** 0.5), 0, 1)
    return pole**12 * (0.5 - 0.5 * np.cos(np.pi * upper))


def deconvolved(recorded, sweep, rate):
    length = fft.next_fast_len(len(recorded) + len(sweep), real=True)
    played = fft.rfft(sweep, length)
    limit = limiter(np.fft.rfftfreq(length, 1 / rate))
    bins = fft.rfft(recorded, length) * played.conj() * limit / np.maximum(np.abs(played) ** 2, 1e-30)
    return fft.irfft(bins, length), bins, played


# -- a response from file to curves -------------------------------------------------------------------------------------

class At:
    """The spectrum of a short record at any frequency: padded fourfold, turned to its middle, interpolated."""

    def __init__(self, samples, rate, zero):
        length = fft.next_fast_len(4 * len(samples), real=True)
        self.middle = len(samples) // 2
        turned = np.zeros(length)
        turned[:len(samples) - self.middle] = samples[self.middle:]
        turned[length - self.middle:] = samples[:self.middle]
        self.spline = CubicSpline(np.fft.rfftfreq(length, 1 / rate), fft.rfft(turned))
        self.shift = (self.middle - zero) / rate

    def __call__(self, hz):
        return self.spline(hz) * np.exp(-2j * np.pi * hz * self.shift)


def gate(after, before, length):
    """Open from `before` frames before the arrival, falling over the last quarter of `after`."""
    n = np.arange(-before, after)
    rising = 0.5 - 0.5 * np.cos(np.pi * np.clip(2 * (n + before) / before, 0, 1))
    falling = 0.5 + 0.5 * np.cos(np.pi * np.clip((n / after - 0.75) / 0.25, 0, 1))
    return np.where(n < 0, rising, falling)[:length]


def around(impulse, first, frames):
    return np.take(impulse, np.arange(first, first + frames), mode="wrap")


def octaves(low, high, per_octave):
    return low * 2 ** (np.arange(int(np.log2(high / low) * per_octave) + 1) / per_octave)


def lag(one, two, rate, noise):
    length = fft.next_fast_len(2 * len(one), real=True)
    a, b = fft.rfft(one, length), fft.rfft(two, length)
    cross = b * a.conj()
    whole = int(np.argmax(fft.irfft(cross, length)))
    whole -= length if whole > length // 2 else 0
    turn = 2 * np.pi * np.arange(len(a)) / length
    inside = (turn > 2 * np.pi * 20 / rate) & (turn < 2 * np.pi * 20e3 / rate)
    phase = np.angle(cross[inside] * np.exp(1j * turn[inside] * whole))
    weight = 1 / (noise * (1 / np.abs(a[inside]) ** 2 + 1 / np.abs(b[inside]) ** 2))
    return whole + np.polyfit(-turn[inside], phase, 1, w=np.sqrt(weight))[0]


def minimum_phase(magnitude):
    cepstrum = fft.irfft(np.log(np.maximum(magnitude, 1e-30)))
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2
    cepstrum[half + 1:] = 0
    return fft.rfft(cepstrum).imag


def response(name, played):
    rate, samples = read(f"{name}_capture.wav")
    reply = samples[:, 0]
    reply = reply - np.median(reply) if abs(np.median(reply)) > 0.02 * reply.std() else reply
    sweep = played.sweep
    # Where it lies: deconvolved by one sweep, energies over 2 ms, octaves alike.
    impulse, bins, _ = deconvolved(reply, sweep, rate)
    gathered = signal.oaconvolve(impulse**2, np.ones(96), mode="same")
    arrival = int(np.argmax(gathered))
    pink = fft.irfft(bins / np.sqrt(np.maximum(np.arange(len(bins)), 1)), len(impulse))
    np.sort(np.add.reduceat(pink**2, np.arange(0, len(pink), int(0.3 * rate))))
    offset = arrival - played.start
    # Silence, noise, clock.
    quiet = [reply[:max(offset + played.pieces[0][0] - int(0.02 * rate), 0)],
             reply[offset + played.pieces[-1][1] + int(0.8 * rate):]]
    welch = [signal.welch(part, rate, nperseg=rate // 2, return_onesided=False) for part in quiet if len(part) > rate // 2]
    noise_hz, noise = np.fft.rfftfreq(rate // 2, 1 / rate), welch[-1][1][:rate // 4 + 1] * rate
    noise = signal.savgol_filter(noise, 11, 1)
    cut = [reply[offset + a - int(0.05 * rate):offset + b + int(0.2 * rate)] for a, b in played.marks]
    if len(cut) == 2:
        lag(cut[0], cut[1], rate, noise.mean())
    # The piece with the sweep, and what sweep and marks tell one by one.
    before = int(0.05 * rate)
    end = min(offset + played.marks[-1][0] - before, len(reply)) if played.marks else len(reply)
    piece = reply[offset + played.start - before:end]
    impulse, bins, spectrum = deconvolved(piece, sweep, rate)
    length = len(impulse)
    for (a, b), part in zip(played.marks, cut):
        deconvolved(part, played.samples[a:b], rate)
    # What no response explains.
    peak = before + int(np.argmax(np.abs(around(impulse, before - 480, 960)))) - 480
    kept = np.zeros(length)
    reach = np.arange(peak - int(0.03 * rate), peak + int(0.5 * rate))
    kept[reach % length] = impulse[reach % length]
    left = fft.irfft((bins - fft.rfft(kept)) * spectrum, length)
    window = int(0.005 * rate)
    energies = (left[:len(left) // window * window].reshape(-1, window) ** 2).sum(1)
    scipy.ndimage.percentile_filter(energies, 25, 121)
    # Arrival by the excess phase, energy-time curve.
    first = np.zeros(32768)
    near = around(impulse, peak - 1200, 1200 + int(0.004 * rate)) * gate(int(0.004 * rate), 1200, 10**9)
    first[np.arange(-1200, len(near) - 1200)] = near
    for slope in [0.0, -1.0]:
        some = fft.rfft(first)
        some[1:] /= limiter(np.fft.rfftfreq(32768, 1 / rate)[1:]) + 1e-12
        excess = np.unwrap(np.angle(some * np.exp(-1j * minimum_phase(np.abs(some)))))
        np.polyfit(np.arange(14, 13653), excess[14:13653], 1, w=np.abs(some[14:13653]))
    np.abs(signal.hilbert(around(impulse, peak - 4800, 4800 + int(0.1 * rate))))
    # Gate and curve, what limits it, what the noise leaves.
    after = int(0.5 * rate)
    shape = gate(after, 1200, 10**9)
    gated = At(around(impulse, peak - 1200, after + 1200) * shape, rate, 1200)
    limit = fft.irfft(limiter(np.fft.rfftfreq(length, 1 / rate)), length)
    limited = At(around(limit, -1200, after + 1200) * shape, rate, 1200)
    hz = octaves(20.0, 20e3, 48)
    curve = gated(hz) / limited(hz)
    weakness = np.concatenate([[0], np.cumsum(1 / np.maximum(np.abs(spectrum) ** 2, 1e-30))])
    edges = np.clip(np.stack([hz - 1, hz + 1]) * length / rate, 1, length // 2 - 1).astype(int)
    power = (weakness[edges[1] + 1] - weakness[edges[0]]) / (edges[1] - edges[0] + 1) * np.interp(hz, noise_hz, noise)
    u_db = 8.686 * np.sqrt(0.5 * (shape**2).sum() * power) / np.abs(curve)
    # The same with a shorter gate, for its end.
    shorter = At(around(impulse, peak - 1200, after // 2 + 1200) * gate(after // 2, 1200, 10**9), rate, 1200)
    u_db = np.hypot(u_db, 8.686 * np.abs(shorter(hz) / limited(hz) - curve) / np.abs(curve))
    # Harmonics 2 to 7, in windows that halve by octaves.
    base = octaves(40.0, 10e3, 48)
    for halving in range(5):
        some = base[(np.clip(np.floor(np.log2(0.4 * base / 40)), 0, 4)) == halving]
        longest = 0.4 * 2.0**-halving * rate
        for order in range(1, 8):
            far = played.constant_s * rate
            tail = int(min(0.45 * far * np.log(order / (order - 1)) if order > 1 else 1e9, longest))
            lead = int(min(0.3 * far * np.log((order + 1) / order), 0.25 * longest))
            at = peak - int(round(far * np.log(order)))
            heard = At(around(impulse, at - lead, lead + tail) * gate(tail, lead, 10**9), rate, lead)
            np.abs(heard(np.minimum(order * some, 0.49 * rate)))
    # What sounds above the twentieth harmonic, in step with the sweep.
    t = np.arange(len(piece)) / rate
    for f in octaves(20.0, 500.0, 6):
        middle = peak + played.constant_s * rate * np.log(f / LOWEST_HZ)
        half = int(max(played.constant_s * np.log(2) / 12, 3 / f) * rate)
        a, b = int(middle) - half, int(middle) + half
        if a < 0 or b > len(piece):
            continue
        stretch = piece[a:b] * np.blackman(b - a)
        n = fft.next_fast_len(b - a, real=True)
        spectrum_of = fft.rfft(stretch, n)
        spectrum_of[:int(20 * f * n / rate)] = 0
        squares = fft.irfft(spectrum_of, n)[:b - a] ** 2
        phase = 2 * np.pi * LOWEST_HZ * played.constant_s * np.exp((t[a:b] - peak / rate) / played.constant_s)
        turned = np.exp(1j * phase)
        abs((squares * turned).sum()), abs((squares * turned * turned).sum())
    # How it dies away: slices in time, bursts in periods.
    for start in [0.0, 0.01, 0.015, 0.02, 0.03, 0.05, 0.1, 0.15, 0.2, 0.3]:
        later = np.clip((np.arange(-1200, after) - start * rate) / (0.005 * rate) + 1, 0, 1)
        part = At(around(impulse, peak - 1200, after + 1200) * shape * (0.5 - 0.5 * np.cos(np.pi * later)), rate, 1200)
        np.abs(part(hz))
    for octave in range(9):
        low = 28.0 * 2**octave
        frames = int(min(after, 57 / low * rate))
        part = around(impulse, peak - 1200, frames + 1200) * gate(frames, 1200, 10**9)
        n = fft.next_fast_len(len(part) + int(6 * rate / low), real=True)
        all_bins, freqs = fft.rfft(part, n), np.fft.rfftfreq(n, 1 / rate)
        for f in low * 2 ** (np.arange(24) / 24):
            width = f / (2 * np.pi)
            inside = slice(*np.searchsorted(freqs, [f - 5 * width, f + 5 * width]))
            bell = all_bins[inside] * np.exp(-0.5 * ((freqs[inside] - f) / width) ** 2)
            times = (np.arange(81) * 0.5 / f) + 1200 / rate
            np.abs(np.exp(2j * np.pi * np.outer(times, freqs[inside])) @ bell)
    # Group delay; minimum phase with five ways to go on beyond the band.
    delay = -np.angle(gated(hz * (1 + 1e-6)) * gated(hz * (1 - 1e-6)).conj()) / (4e-6 * np.pi * hz)
    fine = octaves(20.0, 20e3, 192)
    level = np.log(np.abs(gated(fine) / limited(fine)))
    for below, above in [(0, 0), (1, 0), (2, 0), (0, 1), (0, 2)]:
        padded = np.concatenate([level[0] + below * np.arange(-1920, 0) / 277, level, level[-1] - above * np.arange(1920) / 277])
        signal.fftconvolve(np.gradient(padded), np.log(1 / np.tanh(np.abs(np.arange(-2880, 2880) + 0.5) / 554)), mode="same")
    # Lines of hum in the silence.
    last = quiet[-1][-2 * rate:]
    scipy.ndimage.median_filter(np.abs(fft.rfft(last * np.hanning(len(last)))) ** 2, 49)
    return hz, curve, u_db, delay


# -- simulation, explanation --------------------------------------------------------------------------------------------

RHO, C = 1.20455734, 343.2
PARTS = np.array([0.39e-3, 15e-6, 6.8e-6, 0.22e-3, 22e-6, 2.7, 8.2])
DRIVERS = np.array([[3.4, 88, 4.1, 0.62, 2.6e-3], [3.6, 950, 2.3, 1.4, 0.012e-3]])
ANGLES = 2 * np.pi * (np.arange(240) + 0.5) / 240


def diffraction(k, place=(0.07, 0.105), ear_m=1.0):
    x, y = place
    cos, sin = np.cos(ANGLES), np.sin(ANGLES)
    way = np.minimum(np.where(cos > 0, 0.14 - x, x) / np.abs(cos), np.where(sin > 0, 0.21 - y, y) / np.abs(sin))
    pieces = np.concatenate([way - 6e-3 * (1 - part) for part in [0.25, 0.75]])
    detour = pieces + np.hypot(pieces, ear_m) - ear_m
    turned = np.exp(-1j * np.outer(k, detour)) * (0.6 - 0.1 * np.exp(-1.2j * np.outer(k, pieces)))
    return 1 - (1 - 0.65 * pieces.mean() / ear_m) * turned.mean(1)


def simulation(hz, parts, drivers, volume, reach):
    jw = 2j * np.pi * hz
    admittance, flow = [], []
    for which, (re, fs, qms, qes, vas) in enumerate(drivers):
        jx = 1j * hz / fs
        stiff = 1 + (vas / volume if which == 0 else 0)
        moving = 1 / qms + jx + stiff / jx
        coil = jw * 0.16e-3 + 1 / (1 / (jw * 0.22e-3) + 1 / 2.2) if which == 0 else jw * 0.03e-3
        admittance.append(1 / (re + coil + re / qes / moving))
        force = np.sqrt(re / qes * RHO * C * C / (2 * np.pi * fs * vas))
        flow.append(admittance[-1] * force / moving / (RHO * C * C / (2 * np.pi * fs * vas)))
    l1, c1, c2, l2, c3, r1, r2 = parts
    y_l1, y_c1 = 1 / (jw * l1 + 0.25), 1 / (1 / (jw * c1) + 0.08)
    y_c2, y_l2, y_c3 = 1 / (1 / (jw * c2) + 0.05), 1 / (jw * l2 + 0.18), 1 / (1 / (jw * c3) + 0.04)
    matrix = np.zeros((len(hz), 4, 4), complex)
    matrix[:, 0, 0] = y_l1 + y_c1 + admittance[0]
    matrix[:, 1, 1], matrix[:, 1, 2] = y_c2 + y_l2 + y_c3, -y_c3
    matrix[:, 2, 1], matrix[:, 2, 2], matrix[:, 2, 3] = -y_c3, y_c3 + 1 / r1, -1 / r1
    matrix[:, 3, 2], matrix[:, 3, 3] = -1 / r1, 1 / r1 + 1 / r2 + admittance[1]
    right = np.stack([y_l1, y_c2, 0 * jw, 0 * jw], 1)[:, :, None]
    volts = np.linalg.solve(matrix, right)[:, :, 0] * 2.83
    current = (2.83 - volts[:, 0]) * y_l1 + (2.83 - volts[:, 1]) * y_c2
    pressure = jw * RHO / (2 * np.pi) * (flow[0] * volts[:, 0] * reach[0] - flow[1] * volts[:, 3] * reach[1])
    return pressure, 2.83 / current


def whole_simulation(hz):
    reach = [diffraction(2 * np.pi * hz / C) for _ in range(2)]
    return simulation(hz, PARTS, DRIVERS, 2.4e-3, reach)


def explanation():
    """Every cause by itself, blamed with all other numbers let go as far as is usual; slopes by differences."""
    hz = octaves(20.0, 20e3, 12)
    reach = [diffraction(2 * np.pi * hz / C) for _ in range(2)]
    spread = np.concatenate([np.full(7, 0.03), np.full(10, 0.05), [0.025]])

    def column(logs):
        ratio = np.exp(logs)
        p, z = simulation(hz, PARTS * ratio[:7], DRIVERS * ratio[7:17].reshape(2, 5), 2.4e-3 * ratio[17], reach)
        return np.concatenate([20 * np.log10(np.abs(p)), 8.7 * np.log(np.abs(z)), 8.7 * np.angle(z)])

    truth = np.zeros(18)
    truth[2] = np.log(0.6)
    measured = column(truth)
    best = (np.inf, None)
    for cause in range(18):
        sigma = spread.copy()
        sigma[cause] = 0.6
        found = least_squares(lambda x: np.concatenate([(column(x * sigma) - measured) / 0.5, x]), np.zeros(18), max_nfev=5)
        best = min(best, (2 * found.cost, cause))
    assert best[1] == 2, best
    return best


# -- blend --------------------------------------------------------------------------------------------------------------

def blend():
    """Every 0.1 ms and 0.2 dB of ±10 ms and 18 dB, 34 combinations of filters, both polarities, three seats."""
    points = np.loadtxt(ROOT / "target" / "blend_points.csv", delimiter=",", skiprows=1)
    hz = points[:, 0]
    seats = [(points[:, 1 + 4 * n] + 1j * points[:, 2 + 4 * n], points[:, 3 + 4 * n] + 1j * points[:, 4 + 4 * n]) for n in range(3)]
    delays, gains = np.arange(-100, 101) * 1e-4, 10 ** (np.arange(-60, 31) * 0.2 / 20)
    best = np.inf
    for crossover in range(40, 201, 10):
        s = 1j * hz / crossover
        second = s * s + np.sqrt(2) * s + 1
        low = 1 / second**2
        inside = (hz >= crossover / 2) & (hz <= crossover * 2)
        turn = np.exp(-2j * np.pi * np.outer(delays, hz[inside]))
        for high in [s * s / second, (s * s / second) ** 2]:
            ripple = np.zeros((2, len(delays), len(gains)))
            for sat, sub in seats:
                a, b = (high * sat)[inside], (low * sub)[inside]
                cross = 2 * (a.conj() * b * turn.conj()).real
                for polarity, sign in enumerate([1, -1]):
                    power = np.abs(a)[None, None] ** 2 + gains[None, :, None] * (
                        gains[None, :, None] * np.abs(b)[None, None] ** 2 + sign * cross[:, None, :])
                    ratio = power.max(2) / np.maximum(power.min(2), 1e-20)
                    ripple[polarity] = np.maximum(ripple[polarity], ratio)
            best = min(best, ripple.min())
    return 10 * np.log10(best)


# -- the table ----------------------------------------------------------------------------------------------------------

def fastest_ms(work, times):
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - began))
    return min(taken)


UNITS = {"ns": 1e-6, "µs": 1e-3, "ms": 1.0, "s": 1e3}


def benchmarks(*filters):
    """Fastest times in ms, by name and case, as `cargo bench` prints them; how they grow is left out."""
    command = ["cargo", "bench", *sum((["--bench", name] for name in ["response", "loudspeaker", "blend", "driver_fit", "pictures"]), []), "--", *filters, "--skip", "growth"]
    text = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    found, group = {}, ""
    for line in text.splitlines():
        if head := re.match(r"^[├╰]─ (\S+)", line):
            group = head[1]
        if row := re.match(r"^[│ ]*[├╰]─ (.+?)  +([\d.]+) (ns|µs|ms|s) ", line):
            name = row[1].strip()
            found[group if name == group else f"{group}, {name}"] = float(row[2]) * UNITS[row[3]]
    return found


def library():
    usual, long = Played("usual"), Played("long")
    threads = len(os.sched_getaffinity(0))
    with fft.set_workers(threads):
        fit = subprocess.run([sys.executable, "docs/driver_fit_time.py"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        fit_ms = min(float(value) for value in re.findall(r"differences\s+fastest\s+([\d.]+)", fit))
        capture = {name: read(f"{name}_capture.wav")[1][:, 0] for name in ["usual", "long"]}
        return {
            "reading, 10.9 s at 48 kHz": fastest_ms(lambda: read("usual_capture.wav"), 20),
            "reading, 60.0 s at 96 kHz": fastest_ms(lambda: read("long_capture.wav"), 5),
            "deconvolution, 10.9 s at 48 kHz": fastest_ms(lambda: deconvolved(capture["usual"], usual.sweep, usual.rate), 20),
            "deconvolution, 60.0 s at 96 kHz": fastest_ms(lambda: deconvolved(capture["long"], long.sweep, long.rate), 3),
            "response_by_the_file, 10.9 s at 48 kHz": fastest_ms(lambda: response("usual", usual), 10),
            "response_by_the_file, 60.0 s at 96 kHz": fastest_ms(lambda: response("long", long), 2),
            "one_model": fit_ms,
            "simulation_of_1000_points": fastest_ms(lambda: whole_simulation(np.geomspace(20, 20e3, 1000)), 10),
            "explanation_of_a_wrong_capacitor": fastest_ms(explanation, 2),
            "blend_search": fastest_ms(blend, 1),
        }


def main():
    benchmarks("none")  # builds, and writes what is read
    columns = []
    for cores in [CORES[:1], CORES]:
        os.sched_setaffinity(0, cores)
        columns += [benchmarks(), library()]
    print(f"numpy {np.__version__}, scipy {scipy.__version__}; fastest times in ms, on one core and on {len(CORES)}\n")
    print("| work | boxwright, 1 | library, 1 | ratio | boxwright, 2 | library, 2 | ratio |\n|---|---|---|---|---|---|---|")
    for name in columns[0]:
        cells = []
        for own, other in [columns[:2], columns[2:]]:
            theirs = other.get(name)
            cells += [f"{own[name]:.2f}", f"{theirs:.1f}" if theirs else "", f"{theirs / own[name]:.1f}" if theirs else ""]
        print(f"| {name} | " + " | ".join(cells) + " |")
    for cores, own in zip("12", columns[::2]):
        for case in ["10.9 s at 48 kHz", "60.0 s at 96 kHz"]:
            ratio = own[f"response_by_the_file, {case}"] / own[f"three_bare_transforms, {case}"]
            print(f"\n{cores}: response over three bare transforms, {case}: {ratio:.2f}")


if __name__ == "__main__":
    main()
