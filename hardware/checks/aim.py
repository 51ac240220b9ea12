"""Where the thermometer looks: the cone of sight against the pad, for every line of aim.csv, and the tables made from it.

Frame and names as in clip/sensor.scad (x along the case, y to the machine, z away from the pad, millimetres). The pad is
taken as two upright cylinders, a wide one and its backing plate, both widened by half the largest throw, because the
sensor sees them swing. The cone starts as wide as the window and opens with the sensor's full field of view to *each* side:
the maker states the angle at half sensitivity, and what lies just outside it still counts a little.
"""
import csv
import math
import pathlib

ROOM = pathlib.Path(__file__).resolve().parent.parent
WINDOW_RADIUS = 2.5
PAD_TOP, PLATE_TOP, PLATE_INSET = 30.0, 45.0, 10.0   # a thick pad with its plate; the plate is at least this much smaller
THROW, BULGE = 21.0, 2.0                             # largest common throw; the pressed pad's edge bulges
CLEAR = 5.0                                          # what every line of aim.csv must keep
CASE_CLEAR = 8.0                                     # between whatever of case and nose is above the pad and the plate's top
NOSE = (-5.5, 33.5, -32.5, -4.5)                     # the nose seen from above: x from, x to, y from, y to
NECKS = (45, 60, 75)
VIEWS = (5, 12)                                      # the two types the case is made for, degrees
LABEL = {90: "-xAx (standard)", 35: "-xCC", 12: "-xCH", 10: "-xCF", 5: "-xCI"}


def rows():
    with (ROOM / "aim.csv").open(newline="", encoding="utf-8") as text:
        return [{k: (v if k == "mount" else float(v) if v else None) for k, v in r.items()} for r in csv.DictReader(text)]


def spot(distance, fov):
    """Diameter of the spot at a distance, from the cone's apex: 2 d tan(fov/2)."""
    return 2 * distance * math.tan(math.radians(fov / 2))


def cone_points(place, opening, length, rings=80, around=48):
    """Points on the cone's surface from the window on; `opening` is its half angle in degrees."""
    t = math.radians(place["tilt"])
    beam, across = (0, -math.sin(t), -math.cos(t)), (0, math.cos(t), -math.sin(t))
    for i in range(rings + 1):
        s = length * i / rings
        r = WINDOW_RADIUS + s * math.tan(math.radians(opening))
        for k in range(around):
            a = 2 * math.pi * k / around
            yield tuple(place["window"][j] + s * beam[j] + r * (math.cos(a) * (j == 0) + math.sin(a) * across[j]) for j in range(3))


def look(place, neck_offset, mount, pad, floor, reach, fov):
    """Clearance of cone and pad, distance to the panel along the beam, spot's centre to the pad's edge; all mm.

    A negative clearance means that the thermometer sees the pad."""
    cosine = math.cos(math.radians(place["tilt"]))
    distance = (floor + place["window"][2]) / cosine
    sx, sy = (0.0 if mount == "neck" else reach), neck_offset
    solids = ((pad / 2 + THROW / 2 + BULGE, PAD_TOP), (pad / 2 - PLATE_INSET + THROW / 2, PLATE_TOP))
    clearance = math.inf
    for x, y, z in cone_points(place, fov, distance * 1.4):
        if z + floor < 0:
            continue
        out = math.hypot(x - sx, y - sy)
        for radius, top in solids:
            beside, above = out - radius, z + floor - top
            gap = max(beside, above) if max(beside, above) < 0 else math.hypot(max(beside, 0), max(above, 0))
            clearance = min(clearance, gap)
    t = math.radians(place["tilt"])
    cx, cy = place["window"][0], place["window"][1] - distance * math.sin(t)
    return clearance, distance, math.hypot(cx - sx, cy - sy) - pad / 2


def lowest(place):
    """Lowest point of the nose: the edge of its mouth."""
    t = math.radians(place["tilt"])
    return place["window"][2] - 4 * math.cos(t) - (place["bore"] / 2 + 2.4) * math.sin(t)


def over_plate(place, neck_offset, row):
    """Height of the sensor's lowest part over the plate; the nose counts only where it can be above the swinging pad."""
    sx, sy = (0.0 if row["mount"] == "neck" else row["reach_min_mm"]), neck_offset
    beside = math.hypot(max(NOSE[0] - sx, 0, sx - NOSE[1]), max(NOSE[2] - sy, 0, sy - NOSE[3])) - row["pad_mm"] / 2 - THROW / 2
    return row["floor_min_mm"] - PLATE_TOP + (0 if beside >= CLEAR else lowest(place))


def run(report, tilts, necks):
    """`tilts`: tilt -> window etc.; `necks`: diameter -> distance of the neck's axis; both as the model states them."""
    for row in rows():
        place, worst = tilts[row["tilt_deg"]], math.inf
        floors = [row["floor_min_mm"], (row["floor_min_mm"] + row["floor_max_mm"]) / 2, row["floor_max_mm"]]
        for neck in NECKS:
            for floor in floors:
                for extra in ((0, 25) if row["mount"] == "barrel" else (0,)):
                    for fov in VIEWS:
                        reach = (row["reach_min_mm"] or 0) + extra
                        worst = min(worst, look(place, necks[neck], row["mount"], row["pad_mm"], floor, reach, fov)[0])
        over = min(over_plate(place, necks[neck], row) for neck in NECKS)
        report.check(worst >= CLEAR and over >= CASE_CLEAR,
                     f"{row['mount']}, pad {row['pad_mm']:g} mm, nose {row['tilt_deg']:g}°: cone {CLEAR:g} mm clear of the pad, sensor {CASE_CLEAR:g} mm above the plate",
                     f"{worst:.1f} and {over:.1f} mm")
    blocked = look(tilts[15], necks[45], "neck", 180, 90, 0, 5)[0]
    report.check(blocked < 0, "a nose aimed at a 180 mm pad is noticed", f"clearance {blocked:.1f} mm")
    wide = look(tilts[45], necks[45], "neck", 130, 80, 0, 35)[0]
    report.check(wide < CLEAR, "the 35° type in the 12° type's place is noticed", f"clearance {wide:.1f} mm")


def aim_table(tilts, necks):
    lines = ["| mount | pad up to | nose | floor above panel | clip to spindle | beam to panel | spot of the 5° type | of the 12° type | spot's centre to pad's edge |",
             "| --- | --- | --- | --- | --- | --- | --- | --- | --- |"]
    for row in rows():
        place, found = tilts[row["tilt_deg"]], []
        for neck in (NECKS[0], NECKS[-1]):
            for floor in (row["floor_min_mm"], row["floor_max_mm"]):
                found.append(look(place, necks[neck], row["mount"], row["pad_mm"], floor, row["reach_min_mm"] or 0, 5)[1:])
        near, far = min(f[0] for f in found), max(f[0] for f in found)
        stretch = 1 / math.cos(math.radians(row["tilt_deg"]))
        spots = [f"{spot(near, v):.0f} × {spot(near, v) * stretch:.0f} to {spot(far, v):.0f} × {spot(far, v) * stretch:.0f} mm" for v in VIEWS]
        reach = f"{row['reach_min_mm']:g} mm or more" if row["reach_min_mm"] else "-"
        lines.append(f"| {row['mount']} | {row['pad_mm']:g} mm | {row['tilt_deg']:g}° | {row['floor_min_mm']:g}-{row['floor_max_mm']:g} mm | {reach} | {near:.0f}-{far:.0f} mm | "
                     f"{spots[0]} | {spots[1]} | {min(f[1] for f in found):.0f}-{max(f[1] for f in found):.0f} mm |")
    return "\n".join(lines)


def chip_table(chip, necks):
    """Where the motion chip sits, seen from the pad's centre on the panel, in the case's axes."""
    lines = ["| mount | x | y | z |", "| --- | --- | --- | --- |"]
    for mount, x in (("neck", f"{chip[0]:.0f} mm"), ("barrel", f"{chip[0]:.0f} mm − clip to spindle")):
        y = ", ".join(f"{chip[1] - necks[d]:.0f} mm ({d} mm {mount})" for d in NECKS)
        lines.append(f"| {mount} | {x} | {y} | floor above panel + {chip[2]:.0f} mm |")
    return "\n".join(lines)


def spot_table():
    distances = (50, 75, 100, 125, 150)
    lines = ["| type | view | " + " | ".join(f"{d} mm" for d in distances) + " |", "| --- | --- |" + " --- |" * len(distances)]
    lines += [f"| {LABEL[v]} | {v}° | " + " | ".join(f"{spot(d, v):.0f}" for d in distances) + " |" for v in (90, 35, 12, 10, 5)]
    return "\n".join(lines)


def slant_table():
    """How much of its emissivity a clear coat keeps when seen at a slant: Fresnel, refractive index 1.5, unpolarised."""
    def absorbed(degrees, n=1.5):
        a = math.radians(degrees)
        b = math.asin(math.sin(a) / n)
        rs = ((math.cos(a) - n * math.cos(b)) / (math.cos(a) + n * math.cos(b))) ** 2
        rp = ((n * math.cos(a) - math.cos(b)) / (n * math.cos(a) + math.cos(b))) ** 2
        return 1 - (rs + rp) / 2
    angles = (0, 15, 30, 45, 60)
    return "\n".join(["| slant | " + " | ".join(f"{a}°" for a in angles) + " |", "| --- |" + " --- |" * len(angles),
                      "| emissivity | " + " | ".join(f"{absorbed(a):.3f}" for a in angles) + " |"])
