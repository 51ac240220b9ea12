"""Stroke lengths that are told wrong: how often that is noticed, and whether the intervals of the arm speeds hold all the same."""

import json
import subprocess
import sys
from pathlib import Path

from score import rows, strokes

FACTORS = (0.7, 0.8, 1.0, 1.2, 1.4)  # told length over the true one
SAID = ("nothing", "hardly fits", "contradicted")  # what the program says of a recording


def figures(program, recording, truth, folder):
    """For each factor what was said of the recording, and the figures of `score.strokes`."""
    out = {}
    for factor in FACTORS:
        done = Path(folder) / f"told-{factor}"
        told = ["--stroke-length-m", str(factor * truth["cfg"]["stroke_m"])]
        review = [program, "-q", "--json", "review", str(recording), "--no-sheets", "--out", str(done), *told]
        ran = subprocess.run(review, capture_output=True, text=True)
        if ran.returncode not in (0, 3):
            sys.exit(f"{' '.join(review)}: exit code {ran.returncode}\n{ran.stderr}")
        doubts = json.loads(ran.stdout)["length_doubts"]
        said = SAID[2] if any(d["clear"] for d in doubts) else SAID[1] if doubts else SAID[0]
        out[factor] = {"said": said, **strokes(truth, rows(done / "strokes.csv"))}
    return out
