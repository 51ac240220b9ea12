"""How far a smoother would follow the arm's speed inside the strokes: a study, not part of the program.

The smoother is given what the program has to find out first: each stroke's true times and direction, its mean speed and the
speed at both ends of what is looked at. Between them it sees the acceleration along the stroke, gravity carried by the gyro
from the stroke's middle, in means over 0.1 s. It takes them for the change of a speed that wanders about its mean (a Gaussian
process), plus tilt and bias (a parabola), plus noise; the size of all three, and the time over which the speed stays alike, are
those that make each stroke likeliest. For Gaussian processes this regression and a Kalman smoother over the stroke give the
same trace (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, chapters 2 and 5.4; from memory).

The figure is the trace's RMS error over the true wandering's RMS. Beside it stand the same for a straight line between the two
ends, which needs no acceleration, and for the true acceleration instead of the measured one: the smoother's own error.
"""

import csv
import itertools

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

GRAVITY = 9.80665  # m/s², standard gravity
STEP_S = 0.02
MEAN_STEPS = 5
TURN_S = 0.4  # beside each end of a stroke, left to the turn
REACH_S = 0.8  # beyond each end, to find the direction from the turns
CELL_S = MEAN_STEPS * STEP_S
WANDER_S = (0.3, 1.0)  # time over which speed stays alike
WANDER = (0.03, 0.1, 0.3)  # of the mean speed
NOISE = (0.005, 0.01, 0.02, 0.04, 0.08)  # of a mean over 0.1 s, m/s²
DRIFT = (0.003, 0.03, 0.3)  # of each term of the parabola, m/s²
KNOWN_MPS = 0.001  # how well mean and ends are known


def even(t, x):
    """Samples as means around the points of an even grid that starts at zero; the orbit's vibration averages out."""
    at = np.round(t / STEP_S).astype(int)
    count = np.bincount(at).astype(float)
    held = count > 0
    points = np.arange(len(count))
    means = [np.interp(points, points[held], np.bincount(at, c)[held] / count[held]) for c in x.T]
    return gaussian_filter1d(np.column_stack(means), 2.0, axis=0)


def motion(table):
    """Acceleration, m/s², and turn rate, rad/s, of a sensor table on the even grid."""
    with open(table, newline="") as file:
        reader = csv.reader(file)
        names = next(reader)
        parts = [[names.index(f"{kind}_{axis}_{unit}") for axis in "xyz"] for kind, unit in (("accel", "mps2"), ("gyro", "radps"))]
        known = ([], [])
        for row in reader:
            for samples, columns in zip(known, parts):
                if row[columns[0]]:
                    samples.append([float(row[0]), *(float(row[c]) for c in columns)])
    out = [even(samples[:, 0], samples[:, 1:]) for samples in map(np.array, known)]
    length = min(map(len, out))
    return out[0][:length], out[1][:length]


def plane_acceleration(accel, gyro):
    """Acceleration in the panel's plane over a stroke, in the frame of its middle."""
    middle = len(accel) // 2
    turns = [Rotation.identity()]
    for rate in gyro[1:]:
        turns.append(turns[-1] * Rotation.from_rotvec(rate * STEP_S))
    frame = turns[middle].inv()
    level = np.array([(frame * turn).apply(a) for turn, a in zip(turns, accel)])
    down = level[middle - 25 : middle + 26].mean(axis=0)
    return (level - down * (GRAVITY / np.linalg.norm(down)))[:, :2]


def smoothed(z, ends_mps, mean_mps):
    """Speed about its mean, m/s, at the borders of 0.1 s cells, from the accelerations `z` in them."""
    n = len(z)
    border = np.arange(n + 1)
    change = (np.eye(n, n + 1, 1) - np.eye(n, n + 1)) / CELL_S
    seen = np.vstack([change, np.eye(n + 1)[[0, -1]], np.full(n + 1, 1 / (n + 1))])
    said = np.concatenate([z, ends_mps, [0.0]])
    apart_s = (border[:, None] - border) * CELL_S
    parabola = np.vander(np.linspace(-1, 1, n), 3)
    best, trace = -np.inf, None
    for wander_s, wander, noise, drift in itertools.product(WANDER_S, WANDER, NOISE, DRIFT):
        prior = (wander * mean_mps) ** 2 * np.exp(-0.5 * (apart_s / wander_s) ** 2)
        spread = seen @ prior @ seen.T
        spread[:n, :n] += drift**2 * parabola @ parabola.T
        spread[np.diag_indices_from(spread)] += np.concatenate([np.full(n, noise**2), np.full(3, KNOWN_MPS**2)])
        factor = cho_factor(spread, lower=True)
        weights = cho_solve(factor, said)
        likelihood = -0.5 * said @ weights - np.log(np.diag(factor[0])).sum()
        if likelihood > best:
            best, trace = likelihood, prior @ seen.T @ weights
    return trace


def errors(table, truth):
    """RMS error over RMS of the true wandering, for each stroke: of the smoother, of a straight line, of the smoother with
    the true acceleration."""
    accel, gyro = motion(table)
    speed_s = np.array(truth["speed"]["t"])
    out = []
    for stroke in truth["strokes"]:
        a, b = (round((stroke[k] + way * REACH_S) / STEP_S) for k, way in (("start_s", -1), ("end_s", 1)))
        cells = int((stroke["end_s"] - stroke["start_s"] - 2 * TURN_S) / CELL_S)
        if a < 0 or b > len(accel) or cells < 20:
            continue
        at = lambda t: np.interp(t, speed_s, truth["speed"]["vy" if stroke["axis"] else "vx"])
        t = np.arange(a, b) * STEP_S
        plane = plane_acceleration(accel[a:b], gyro[a:b] - gyro[a:b].mean(axis=0))
        turning = (t < stroke["start_s"] + TURN_S) | (t > stroke["end_s"] - TURN_S)
        change = np.gradient(at(t), STEP_S)[turning]
        direction = (plane[turning] - plane[turning].mean(axis=0)).T @ change
        along = plane @ (direction / np.linalg.norm(direction))

        borders = stroke["start_s"] + TURN_S + np.arange(cells + 1) * CELL_S
        mean = at(borders).mean()
        true = at(borders) - mean
        integral = np.interp(borders, t, np.cumsum(along) * STEP_S)
        error = lambda trace: float(np.sqrt(np.mean((trace - true) ** 2) / np.mean(true**2)))
        smoother = lambda z: error(smoothed(z, true[[0, -1]], abs(mean)))
        line = np.linspace(true[0], true[-1], cells + 1)
        out.append((smoother(np.diff(integral) / CELL_S), error(line - line.mean()), smoother(np.diff(true) / CELL_S)))
    return out
