"""The same work as a review, as a plain script with NumPy and SciPy: what an engineer would write in an afternoon.

usage: scipy_review.py TABLE.csv     prints the seconds of processor time of the analysis alone, the table
being in memory, the best of three runs

Done as whole-array operations throughout, the fast way in Python: orbit rate ten times a second from spectra with a harmonic
sum and parabolic refinement; motion brought to 50 Hz by a zero-phase filter, gravity taken off by a slow one; turns as peaks
of a difference of Gaussians; strokes between turns with a speed from the integral; vibration; smoothed temperature and rise.
No attitude from the gyro, no joint estimate over a pass, no intervals, no warnings, no files: it does less than the program.
"""

import sys
import time

import numpy as np
from scipy import ndimage, signal

RATE_HZ = 1667.0


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
    return table[:, 0], table[:, 1:4], table[has_gyro, 4:7], table[has_spot, 7]


def orbit(accel):
    """Rate at ten times a second, Hz; NaN where no machine runs."""
    hop, n = int(RATE_HZ / 10), 1024
    f, _, z = signal.spectrogram(accel, RATE_HZ, "hann", n, n - hop, axis=0, mode="psd")
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
    return np.where(running, fine * RATE_HZ / n, np.nan)


def strokes(accel, gyro):
    """Stroke times and speeds."""
    low = signal.butter(4, 10, fs=RATE_HZ, output="sos")
    slow = signal.sosfiltfilt(low, accel, axis=0)[:: int(RATE_HZ / 50)]
    turning = signal.sosfiltfilt(signal.butter(4, 10, fs=208, output="sos"), gyro, axis=0)[::4]
    gravity = signal.sosfiltfilt(signal.butter(2, 0.1, fs=50, output="sos"), slow, axis=0)
    push = (slow - gravity)[:, :2]
    heading = np.cumsum(turning[:, 2] - np.median(turning[:, 2])) / 52
    n = min(len(push), len(heading))
    s, c = np.sin(heading[:n]), np.cos(heading[:n])
    plane = np.column_stack([c * push[:n, 0] - s * push[:n, 1], s * push[:n, 0] + c * push[:n, 1]])
    bursts = ndimage.gaussian_filter1d(plane, 5, axis=0) - ndimage.gaussian_filter1d(plane, 25, axis=0)
    size = np.hypot(bursts[:, 0], bursts[:, 1])
    turns, _ = signal.find_peaks(size, height=2.2 * np.median(size), distance=12)
    velocity = np.cumsum(signal.detrend(plane, axis=0, bp=np.arange(0, n, 500)), axis=0) / 50
    return [(a / 50, b / 50, np.hypot(*velocity[a:b].mean(axis=0))) for a, b in zip(turns, turns[1:]) if b - a > 50]


def review(t, accel, gyro, spot):
    """All of it once: seconds of processor time, and how much was found."""
    start = time.process_time()
    rate = orbit(accel)
    found = strokes(accel, gyro)
    whole = len(accel) // 167 * 167
    vibration = np.sqrt((accel[:whole] - ndimage.uniform_filter1d(accel[:whole], 417, axis=0)).reshape(-1, 167, 3).var(axis=1).sum(axis=1))
    rise = ndimage.gaussian_filter1d(spot, 8) - np.median(spot[:50])
    seconds = time.process_time() - start
    return seconds, f"{seconds:.3f} {t[-1]:.1f} {len(rate)} {len(found)} {len(vibration)} {rise.max():.1f}"


def main():
    table = read(sys.argv[1])
    print(min(review(*table) for _ in range(3))[1])


if __name__ == "__main__":
    main()
