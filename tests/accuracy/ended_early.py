"""The arm speeds of a recording that ends soon after its first strokes: a test spot, or work that is called off.

Nothing later can mend what is thought of the strokes then, and the one under way was seen by nobody to end.
"""

import itertools
from pathlib import Path

from score import rows, strokes

STROKES = (1, 2, 3, 4)  # so many strokes are whole
GOES_ON_S = 3.0  # so long after the last of them the recording ends


def parts(table, truth, folder):
    """The table's beginnings: number of whole strokes, path, and the truth of those strokes."""
    for n in STROKES:
        whole = truth["strokes"][:n]
        if len(whole) < n:
            return
        part = Path(folder) / f"early-{n}.csv"
        end_s = whole[-1]["end_s"] + GOES_ON_S
        with open(table) as lines, open(part, "w") as out:
            out.writelines(itertools.takewhile(lambda line: not is_after(line, end_s), lines))
        yield n, part, {"strokes": whole}


def is_after(line, end_s):
    """Of a row, which begins with its time; the lines above the rows begin with words."""
    time = line.partition(",")[0]
    return time[:1].isdigit() and float(time) > end_s


def score(known, folder):
    """The figures of `score.strokes`, and how many strokes there are; what is told of the one under way does not count."""
    figures = strokes(known, rows(Path(folder) / "strokes.csv"))
    return {"strokes": len(known["strokes"]), **{k: v for k, v in figures.items() if k != "stroke_precision"}}
