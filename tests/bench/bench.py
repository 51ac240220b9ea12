"""Speed and memory of a review, beside a plain SciPy script; times are processor time on one core.

usage: bench.py PROGRAM EXAMPLES WORK [--table FILE]
"""

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
TARGETS = {"everything": 500, "tables only": 5000, "memory": 150, "scipy": 20}


def cpu_model():
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            return line.split(":", 1)[1].strip()
    return platform.processor() or "unknown"


def measured(command):
    """Processor seconds, wall seconds and peak resident memory (MB) of a command on one core, with what it printed."""
    core = sorted(os.sched_getaffinity(0))[0]
    start = time.monotonic()
    child = subprocess.Popen([*map(str, command)], stdout=subprocess.PIPE, preexec_fn=lambda: os.sched_setaffinity(0, {core}))
    text = child.stdout.read().decode()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 3):
        sys.exit(f"{command}: exit code {child.returncode}")
    return usage.ru_utime + usage.ru_stime, time.monotonic() - start, usage.ru_maxrss / 1024, text


def best(command, times=3):
    """The least disturbed of several runs."""
    return min((measured(command) for _ in range(times)), key=lambda m: m[0])


def hours(program, work):
    """Recordings of one and of two hours, made once: the second hour is another seed's, set behind the first."""
    tables = []
    for seed in (1, 2):
        table = work / f"hour-{seed}.csv"
        if not table.exists():
            print(f"simulating an hour of work (seed {seed})", flush=True)
            subprocess.run([program, "-q", "simulate", "--kind", "hour", "--seed", str(seed), "--out", work], check=True, stdout=subprocess.DEVNULL)
        tables.append(table)
    one, two = work / "hour.mcap", work / "two-hours.mcap"
    joined = work / "two-hours.csv"
    with open(tables[0], "rb") as file:
        file.seek(-200, os.SEEK_END)
        seconds = float(file.read().splitlines()[-1].split(b",")[0])
    with open(joined, "wb") as out:
        with open(tables[0], "rb") as first:
            shutil.copyfileobj(first, out)
        with open(tables[1], "rb") as second:
            next(second)
            for row in second:
                t, rest = row.split(b",", 1)
                out.write(b"%.6f,%s" % (float(t) + seconds + 0.0006, rest))
    for table, recording in ((tables[0], one), (joined, two)):
        recording.unlink(missing_ok=True)
        cpu, _, peak, _ = measured([program, "-q", "import", table, "--out", recording])
        print(f"import of {table.name}: {cpu:.1f} s, {peak:.0f} MB")
    joined.unlink()
    return seconds, tables[0], one, two


def held_against_truth(truth, review, script):
    """What review and script found of a recording, in words; both scored as the accuracy table is."""
    # Only now: a child's peak memory counts what its parent had, and NumPy is larger than a review.
    sys.path.insert(0, str(HERE.parent / "accuracy"))
    import numpy as np
    import score

    truth = json.loads(truth.read_text())
    found = {"review": (score.rows(review / "series.csv"), score.rows(review / "strokes.csv")), "script": (script["series"], script["strokes"])}
    told = {}
    for who, (series, strokes) in found.items():
        rate, arm = score.orbit(truth, series), score.strokes(truth, strokes)
        errors = np.abs(arm["traverse_errors"])
        told[who] = (
            f"orbit rate off by {rate['orbit_rel_rms']:.2%} RMS; {arm['stroke_recall']:.0%} of the strokes, {arm['stroke_precision']:.0%} "
            f"of those found real; arm speed off by {np.median(errors):.0%}, nine in ten by less than {np.quantile(errors, 0.9):.0%}; "
            f"intervals hold {np.mean(arm['interval_holds']):.0%}"
        )
    return told


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("examples", type=Path)
    parser.add_argument("work", type=Path)
    parser.add_argument("--table", type=Path)
    args = parser.parse_args()
    seconds, table, one, two = hours(args.program, args.work)
    lines = []

    def say(what, found, target, holds):
        verdict = "" if holds is None else "met" if holds else "**missed**"
        lines.append(f"| {what} | {found} | {target} | {verdict} |")
        print(what, "|", found, "|", target, verdict, flush=True)

    out = args.work / "review"
    tables_s = None
    for what, more, target in (("everything", [], TARGETS["everything"]), ("tables only", ["--no-sheets"], TARGETS["tables only"])):
        peaks = []
        for recording, length, name in ((one, seconds, "an hour"), (two, 2 * seconds, "two hours")):
            cpu, wall, peak, _ = best([args.program, "-q", "review", recording, "--out", out, *more])
            peaks.append(peak)
            if recording is one and more:
                tables_s = cpu
            say(f"review of {name}, {what}", f"{length / cpu:.0f} x real time ({cpu:.2f} s of processor, {wall:.2f} s by the clock)", f"≥ {target} x", length / cpu >= target)
            say(f"peak memory, {name}, {what}", f"{peak:.0f} MB", f"< {TARGETS['memory']} MB", peak < TARGETS["memory"])
        say(f"growth of memory from one hour to two, {what}", f"{peaks[1] - peaks[0]:+.1f} MB", "none (5 MB and a tenth allowed)", peaks[1] < 1.1 * peaks[0] + 5)
    printed = subprocess.run([sys.executable, HERE / "scipy_review.py", table], check=True, capture_output=True, text=True,
                             env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}).stdout
    script = json.loads(printed)
    scipy_s = script["seconds"]
    parts = ", ".join(f"{part} {seconds / scipy_s:.0%}" for part, seconds in script["parts"].items())
    _, _, _, printed = measured([args.examples / "analysis_alone", one])
    alone_s = float(printed)
    say("the same hour by a plain SciPy script, table in memory", f"{scipy_s:.2f} s ({parts})", "", None)
    say("the analysis alone, samples in memory", f"{alone_s:.2f} s: {scipy_s / alone_s:.1f} x as fast as the script", f"≥ {TARGETS['scipy']} x", scipy_s / alone_s >= TARGETS["scipy"])
    measured([args.program, "-q", "review", one, "--out", out, "--no-sheets"])
    told = held_against_truth(table.with_suffix(".truth.json"), out, script["found"])
    for who, found in told.items():
        say(f"what the {who} found of that hour", found, "", None)
    say("review of the hour, reading the recording and writing tables included", f"{tables_s:.2f} s: {scipy_s / tables_s:.1f} x as fast as the script, which does neither", "", None)
    _, _, _, latency = measured([args.examples / "frame_latency"])
    for line in latency.splitlines():
        what, found = line.split(": ", 1)
        say(f"live, frame in to everything out, {what}", found, "", None)
    if args.table:
        head = (HERE / "HEAD.md").read_text().format(machine=f"{cpu_model()}, {os.cpu_count()} cores", date=time.strftime("%Y-%m-%d"))
        args.table.write_text(head + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
