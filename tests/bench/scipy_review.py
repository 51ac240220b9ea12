"""The same work as a review, as a plain script with NumPy and SciPy: what an engineer would write in a day.

usage: scipy_review.py TABLE.csv     prints JSON: the seconds of processor time of the analysis alone, the table being in memory,
the best of three runs, each part's share of them, and what was found

Done as whole-array operations throughout, the fast way in Python; only the strokes of a pass, a few hundred an hour, are walked
through one by one. Every figure that a review gives of the work is in it, each in its plainest form that finds it: orbit rate ten
times a second from spectra with a harmonic sum and parabolic refinement; pad spin from the beat of the demodulated orbit; attitude
from the gyro, the accelerometer's gravity taken off in the frame that it keeps; turns, strokes between them, passes along one axis,
speeds from the velocity steps at turns with one length for a pass and an interval from their scatter; vibration weighted by Wh of
ISO 5349-1 on three axes; temperature, rise, hot side and where the rise leads in ten seconds. What it lacks, so that it does
less: harmonics that outshine the orbit, lifts, pauses, holes in the data, told lengths, doubts, a figure while the work goes on
(everything here is in hindsight), and warnings.
"""

import json
import sys
import time

import numpy as np
from scipy import fft, ndimage, signal

MOTION_HZ = 52.0
LIMIT_K = 20 * 5 / 9


def read(path):
    """The table as arrays; gyro and temperature rows are sparse."""
    chunks = []
    with open(path) as file:
        next(file)
        while lines := file.readlines(1 << 26):
            # Empty cells become NaN by hand: the fast reader knows none.
            text = "".join(lines).replace(",,", ",nan,").replace(",,", ",nan,").replace(",\n", ",nan\n")
            chunks.append(np.loadtxt(text.splitlines(), delimiter=","))
    table = np.concatenate(chunks)
    has_gyro, has_spot = np.isfinite(table[:, 4]), np.isfinite(table[:, 7])
    return (table[:, 0], table[:, 1:4]), (table[has_gyro, 0], table[has_gyro, 4:7]), (table[has_spot, 0], table[has_spot, 7])


def rate_of(t):
    return (len(t) - 1) / (t[-1] - t[0])


def orbit(accel, rate_hz):
    """Rate, Hz, ten times a second, and its times; NaN where no machine runs."""
    hop, n = int(rate_hz / 10), 1024
    f, t, z = signal.spectrogram(accel, rate_hz, "hann", n, n - hop, axis=0, mode="psd")
    power = z.sum(axis=1)
    amplitude = np.sqrt(power)
    band = (f > 8) & (f < 128)
    at = np.nonzero(band)[0]
    score = sum(amplitude[np.minimum(at * h, len(f) - 1)] for h in (1, 2, 3, 4))
    best = at[score.argmax(axis=0)]
    k = np.arange(power.shape[1])
    a, b, c = (np.log(power[best + d, k] + 1e-12) for d in (-1, 0, 1))
    fine = best + 0.5 * (a - c) / (a - 2 * b + c)
    running = power[best, k] > 25 * np.median(power[band], axis=0)
    return t, np.where(running, fine * rate_hz / n, np.nan)


def spin(accel, rate_hz, t, hz):
    """Pad spin, Hz, twice a second, and its times: the line in the spectrum of the orbit's amplitude; NaN where none stands out."""
    known = np.isfinite(hz)
    at = np.arange(len(accel)) / rate_hz
    turned = np.cumsum(np.interp(at, t[known], hz[known])) / rate_hz
    every = int(rate_hz / 40)
    whole = len(accel) // every * every
    beat = (accel[:whole] * np.exp(-2j * np.pi * turned[:whole, None])).reshape(-1, every, 3).mean(axis=1)
    amplitude = np.sqrt((np.abs(beat) ** 2).sum(axis=1))
    f, times, power = signal.spectrogram(amplitude, rate_hz / every, "hann", 128, 128 - 20, detrend="linear")
    band = (f > 1.2) & (f < 14)
    line = power[band].argmax(axis=0)
    clear = power[band].max(axis=0) > 12 * np.median(power[band], axis=0) / np.log(2)
    clear &= np.interp(times, t, known) > 0.99
    return times, np.where(clear, f[band][line], np.nan)


def times_quaternion(p, q):
    (a, b, c, d), (e, f, g, h) = p.T, q.T
    return np.column_stack([a * e - b * f - c * g - d * h, a * f + b * e + c * h - d * g, a * g - b * h + c * e + d * f, a * h + b * g - c * f + d * e])


def attitude(gyro, rate_hz):
    """Quaternions from the first attitude on: the running product of the steps, in log2 n whole-array rounds."""
    half = (gyro - np.median(gyro, axis=0)) / rate_hz / 2
    size = np.linalg.norm(half, axis=1, keepdims=True)
    q = np.column_stack([np.cos(size), half * np.sinc(size / np.pi)])
    step = 1
    while step < len(q):
        q[step:] = times_quaternion(q[:-step], q[step:])
        step *= 2
    return q / np.linalg.norm(q, axis=1, keepdims=True)


def turned_by(q, v):
    w, r = q[:, :1], q[:, 1:]
    return v + 2 * np.cross(r, np.cross(r, v) + w * v)


def motion(accel, accel_hz, gyro, gyro_hz):
    """The arm's level acceleration, m/s², MOTION_HZ times a second, in a frame that does not turn with the hand."""
    low = lambda x, hz: signal.sosfiltfilt(signal.butter(4, 8, fs=hz, output="sos"), x, axis=0)
    slow, turning = low(accel, accel_hz), low(gyro, gyro_hz)
    n = int(len(accel) / accel_hz * MOTION_HZ)
    on = lambda x, hz: x[np.minimum((np.arange(n) / MOTION_HZ * hz).round().astype(int), len(x) - 1)]
    push = turned_by(attitude(on(turning, gyro_hz), MOTION_HZ), on(slow, accel_hz))
    # The frame drifts with the gyro: gravity is what is slow in it, and says where up is.
    gravity = signal.sosfiltfilt(signal.butter(2, 0.05, fs=MOTION_HZ, output="sos"), push, axis=0)
    up = gravity / np.linalg.norm(gravity, axis=1, keepdims=True)
    level = np.column_stack([1 + up[:, 2], up[:, 1], -up[:, 0], np.zeros(n)])
    level /= np.linalg.norm(level, axis=1, keepdims=True)
    return turned_by(level, push - gravity)[:, :2]


def strokes(push, running):
    """Strokes, named as in a review's table: s, m/s."""
    bursts = ndimage.gaussian_filter1d(push, 0.2 * MOTION_HZ, axis=0) - ndimage.gaussian_filter1d(push, 1.2 * MOTION_HZ, axis=0)
    size = np.hypot(*bursts.T)
    turns, _ = signal.find_peaks(np.where(running, size, 0), height=4 * np.median(size[running]), distance=int(2 * MOTION_HZ))
    # The step of velocity at each turn, over a straight line through what lies before and after it.
    reach, beside = int(1.25 * MOTION_HZ), int(2.5 * MOTION_HZ)
    steps = np.full((len(turns), 2), np.nan)
    around = np.arange(-beside, beside + 1)
    outside = np.abs(around) > reach
    for i, at in enumerate(turns):
        if at < beside or at + beside >= len(push):
            continue
        piece = push[at + around]
        line = np.polyfit(around[outside], piece[outside], 1)
        steps[i] = (piece - np.outer(around, line[0]) - line[1])[~outside].sum(axis=0) / MOTION_HZ
    # Passes: strokes one after the other along one axis.
    passes, axis_before = [], None
    for i in range(len(turns) - 1):
        if turns[i + 1] - turns[i] > 60 * MOTION_HZ or not running[turns[i] : turns[i + 1]].all():
            axis_before = None
            continue
        way = steps[i] - steps[i + 1]
        axis = np.arctan2(way[1], way[0])
        if axis_before is None or abs(np.sin(axis - axis_before)) > np.sin(np.pi / 4):
            passes.append([])
        axis_before = axis
        passes[-1].append(i)
    # Between two strokes of one length the velocity changes by that length over the one's time and over the other's.
    found = []
    for number, of_it in enumerate(passes, 1):
        times = np.array([turns[i + 1] - turns[i] for i in of_it]) / MOTION_HZ
        lengths = [np.hypot(*steps[i]) / (1 / before + 1 / after) for i, before, after in zip(of_it[1:], times, times[1:])]
        length = np.nanmedian(lengths) if lengths else np.nan
        sd = np.hypot(0.1, 0.3 / np.sqrt(max(len(lengths), 1))) * length
        for i, seconds in zip(of_it, times):
            bounds = (length + np.array([0, -1.645, 1.645]) * sd) / seconds
            found.append((number, turns[i] / MOTION_HZ, turns[i + 1] / MOTION_HZ, *bounds))
    return [dict(zip(("pass", "start_s", "end_s", "traverse_mps", "traverse_lo_mps", "traverse_hi_mps"), map(float, f))) for f in found]


def wh(hz):
    """Frequency weighting Wh of ISO 5349-1, by its analogue form."""
    s = 2j * np.pi * hz
    w1, w2, w3 = 2 * np.pi * 10**0.8, 2 * np.pi * 10**3.1, 100.0
    band = s**2 * w2**2 / ((s**2 + s * w1 * np.sqrt(2) + w1**2) * (s**2 + s * w2 * np.sqrt(2) + w2**2))
    return np.abs(band * (s + w3) * w3 / (s**2 + s * w3 / 0.64 + w3**2))


def vibration(accel, rate_hz):
    """Weighted rms on three axes, m/s², ten times a second."""
    n = fft.next_fast_len(len(accel), real=True)
    spectrum = fft.rfft(accel.T, n)
    spectrum *= wh(fft.rfftfreq(n, 1 / rate_hz))
    weighted = fft.irfft(spectrum, n)[:, : len(accel)]
    hop = int(rate_hz / 10)
    return np.sqrt((weighted[:, : len(accel) // hop * hop].reshape(3, -1, hop) ** 2).mean(axis=2))


def heat(spot, rate_hz):
    """Rise of the spot, the hot side, and where the rise leads in ten seconds, K."""
    smooth = ndimage.gaussian_filter1d(spot, 0.5 * rate_hz)
    rise = smooth - np.median(spot[: int(3 * rate_hz)])
    fall = np.exp(-1 / rate_hz / 150)
    # The highest so far, cooling: a running maximum of what is left of each.
    weight = fall ** -np.arange(len(rise))
    hot = np.maximum.accumulate(rise * weight) / weight
    ahead = rise + 10 * signal.savgol_filter(rise, int(2 * rate_hz) | 1, 1, deriv=1, delta=1 / rate_hz)
    return rise, hot, ahead


def review(accel, gyro, spot):
    """All of it once: what was found, and the seconds of processor time of each part."""
    seconds, last = {}, time.process_time()

    def took(part):
        nonlocal last
        seconds[part], last = time.process_time() - last, time.process_time()

    accel_hz, gyro_hz, spot_hz = (rate_of(t) for t, _ in (accel, gyro, spot))
    t, hz = orbit(accel[1], accel_hz)
    took("orbit")
    spin_t, spin_hz = spin(accel[1], accel_hz, t, hz)
    took("spin")
    push = motion(accel[1], accel_hz, gyro[1], gyro_hz)
    took("motion")
    running = np.interp(np.arange(len(push)) / MOTION_HZ, t, np.isfinite(hz)) > 0.5
    found = strokes(push, running)
    took("strokes")
    weighted = vibration(accel[1], accel_hz)
    took("vibration")
    rise, hot, ahead = heat(spot[1], spot_hz)
    took("heat")
    return seconds, {
        "series": [{"t_s": a, "orbit_opm": 60 * b} for a, b in zip(t.tolist(), hz.tolist())],
        "strokes": found,
        "spin_hz": float(np.nanmedian(spin_hz)),
        "weighted_mps2": float(np.sqrt((weighted**2).sum(axis=0).mean())),
        "rise_k": float(rise.max()),
        "hot_side_k": float(hot[-1]),
        "over_ahead": int((ahead > LIMIT_K).sum()),
    }


def main():
    table = read(sys.argv[1])
    runs = [review(*table) for _ in range(3)]
    seconds, found = min(runs, key=lambda run: sum(run[0].values()))
    json.dump({"seconds": sum(seconds.values()), "parts": seconds, "found": found}, sys.stdout)


if __name__ == "__main__":
    main()
