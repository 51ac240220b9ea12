"""Checks of the printed parts: build them with OpenSCAD, then measure the meshes. Needs numpy, scipy and trimesh."""
import ast
import concurrent.futures
import csv
import hashlib
import math
import pathlib
import re
import subprocess

import numpy as np
import trimesh
from scipy import ndimage, spatial

from checks import aim

ROOM = pathlib.Path(__file__).resolve().parent.parent
SCAD = ROOM / "clip" / "sensor.scad"
BUILD = ROOM / "build"
PARTS = {"case": {}, "lid": {}, "saddle": {}, "nose15": {"tilt": 15}, "nose30": {"tilt": 30}, "nose45": {"tilt": 45}}
PITCH = 0.25        # mm, of the voxels
THINNEST = 1.2      # mm, three lines of a 0.4 mm nozzle; the voxels tell it to about 0.2 mm
TIE, TIE_TAIL = 370, 50   # mm: length of the ties in parts.csv, and what their lock and the pulling hand need
SLIVER = 4.0        # mm³: sharp edges and cubes at curved rims leave pieces of up to 2.5 mm³ that are not walls
BED = (200, 175)    # mm, smaller than any common printer's
GLUED = 0.02        # mm, overlap below which two bodies only touch


# ---- building ----------------------------------------------------------------------------------
def openscad(output, part, **settings):
    command = ["openscad", "-o", str(output), "-D", f'part="{part}"']
    for key, value in settings.items():
        command += ["-D", f"{key}={str(value).lower()}"]
    done = subprocess.run([*command, str(SCAD)], capture_output=True, text=True)
    if done.returncode or "WARNING" in done.stderr:
        raise SystemExit(f"openscad could not build {part}:\n{done.stderr}")


def build(job):
    """One STL, unless the same sources have built it before."""
    name, marks = job
    source = hashlib.sha256(SCAD.read_bytes() + (ROOM / "clip" / "boards.scad").read_bytes()).hexdigest()[:16]
    path = BUILD / "placed" / f"{name}-{'marked' if marks else 'plain'}-{source}.stl"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        for old in path.parent.glob(f"{name}-{'marked' if marks else 'plain'}-*.stl"):
            old.unlink()
        part = path.with_suffix(".part.stl")
        openscad(part, re.sub(r"\d+", "", name), marks=marks, as_printed=False, **PARTS[name])
        part.rename(path)
    return job, trimesh.load(path, force="mesh")


def places():
    """Where the model puts the bought parts and beams: [(keys and values of one echo)]."""
    out = BUILD / "places.echo"
    BUILD.mkdir(exist_ok=True)
    openscad(out, "places")
    found = []
    for line in out.read_text(encoding="utf-8").splitlines():
        body = line.removeprefix("ECHO: ")
        found.append({k: ast.literal_eval(v) for k, v in re.findall(r'(\w+) = ("[^"]*"|\[[^\]]*\]|-?[\d.e-]+)', body)})
    return found


# ---- measuring ---------------------------------------------------------------------------------
class Voxels:
    """A mesh filled with cubes of PITCH: `solid[i, j, k]` is the cube centred at `origin + PITCH * (i, j, k)`."""

    def __init__(self, mesh, margin=2.0):
        low, high = mesh.bounds
        self.origin = low - margin + np.array([0.0137, 0.0171, 0.0113])   # off the drawing's grid, so that no ray grazes an edge
        self.shape = np.ceil((high - low + 2 * margin) / PITCH).astype(int)
        crossings = np.zeros((*self.shape[:2], self.shape[2] + 1), dtype=np.int32)
        for a, b, c in (mesh.triangles - self.origin) / PITCH:
            self._count(crossings, a, b, c)
        self.solid = np.cumsum(crossings[:, :, :-1], axis=2) % 2 == 1

    @staticmethod
    def _count(crossings, a, b, c):
        """Add one at the height where the upright ray of each column passes this triangle."""
        i0, j0 = np.maximum(np.ceil(np.minimum(np.minimum(a, b), c)[:2]), 0).astype(int)
        i1, j1 = np.floor(np.maximum(np.maximum(a, b), c)[:2]).astype(int)
        area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if i1 < i0 or j1 < j0 or area == 0:
            return
        i, j = np.mgrid[i0:i1 + 1, j0:j1 + 1]
        v = ((i - a[0]) * (c[1] - a[1]) - (j - a[1]) * (c[0] - a[0])) / area
        w = ((b[0] - a[0]) * (j - a[1]) - (b[1] - a[1]) * (i - a[0])) / area
        inside = (v >= 0) & (w >= 0) & (v + w <= 1)
        height = np.ceil(a[2] + v * (b[2] - a[2]) + w * (c[2] - a[2])).astype(int)
        np.add.at(crossings, (i[inside], j[inside], np.clip(height[inside], 0, crossings.shape[2] - 1)), 1)

    def box(self, low, high):
        """The part of `solid` inside a box."""
        i = np.maximum(np.ceil((np.array(low) - self.origin) / PITCH), 0).astype(int)
        k = np.maximum(np.floor((np.array(high) - self.origin) / PITCH), -1).astype(int) + 1
        return self.solid[i[0]:k[0], i[1]:k[1], i[2]:k[2]]

    def thin(self, thickness):
        """Volume (mm³) of the largest piece that a ball of this diameter cannot reach from inside, and where it lies."""
        radius = thickness / 2 / PITCH
        inner = ndimage.distance_transform_edt(self.solid) > radius      # centres whose ball stays inside, to half a cube
        opened = ndimage.distance_transform_edt(~inner) <= radius + 0.5
        labels, count = ndimage.label(self.solid & ~opened)
        if not count:
            return 0.0, None
        sizes = np.bincount(labels.ravel())[1:]
        worst = int(np.argmax(sizes)) + 1
        where = np.argwhere(labels == worst).mean(axis=0) * PITCH + self.origin
        return sizes.max() * PITCH ** 3, where


def ray_hits(mesh, starts, ends):
    """How many of the segments meet the mesh (Möller and Trumbore 1997, all triangles at once)."""
    a, b, c = (mesh.triangles[:, i] for i in range(3))
    e1, e2, hits = b - a, c - a, 0
    for start, end in zip(starts, ends):
        d = end - start
        p = np.cross(d, e2)
        det = np.einsum("ij,ij->i", e1, p)
        with np.errstate(divide="ignore", invalid="ignore"):
            t0 = start - a
            u = np.einsum("ij,ij->i", t0, p) / det
            q = np.cross(t0, e1)
            v = q @ d / det
            t = np.einsum("ij,ij->i", e2, q) / det
            hits += bool(np.any((np.abs(det) > 1e-12) & (u >= 0) & (v >= 0) & (u + v <= 1) & (t >= 0) & (t <= 1)))
    return hits


# ---- checks ------------------------------------------------------------------------------------
def sizes():
    with (ROOM / "clip" / "boards.csv").open(newline="", encoding="utf-8") as text:
        return {r["name"]: r for r in csv.DictReader(text)}


def check_meshes(report, meshes, voxels):
    for name in PARTS:
        mesh = meshes[name, True]
        sound = mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0 and mesh.body_count == 1
        spread = np.sort(mesh.extents)[::-1]
        report.check(sound and spread[0] <= BED[0] and spread[1] <= BED[1], f"{name}: one closed manifold, fits the bed",
                     f"{len(mesh.faces)} triangles, {mesh.volume / 1000:.1f} cm³, {mesh.volume / 1000 * 1.27:.0f} g in PETG, " + " × ".join(f"{e:.0f}" for e in mesh.extents) + " mm")
        filled = voxels[name].solid.sum() * PITCH ** 3
        volume, where = voxels[name].thin(THINNEST)
        at = "" if where is None else f" at x {where[0]:.1f}, y {where[1]:.1f}, z {where[2]:.1f}"
        report.check(volume < SLIVER and abs(filled / meshes[name, False].volume - 1) < 0.02, f"{name}: no wall thinner than {THINNEST} mm",
                     f"largest thinner piece {volume:.2f} mm³{at}")
    for wall, fine in ((0.8, False), (1.4, True)):
        plate = trimesh.creation.box((6, 6, wall))
        plate.apply_transform(trimesh.transformations.rotation_matrix(0.4, (1, 0.3, 0)))
        volume, _ = Voxels(plate).thin(THINNEST)
        report.check((volume < SLIVER) == fine, f"a slanted plate of 6 × 6 × {wall} mm {'passes' if fine else 'is noticed'}", f"{volume:.1f} mm³ thinner than {THINNEST} mm")


def check_fit(report, found, voxels):
    boxes = {f["place"]: (np.array(f["from"]), np.array(f["to"])) for f in found if "place" in f}
    table = {f["place"]: sizes()[f.get("size", f["place"])] for f in found if "place" in f}
    for name, (low, high) in boxes.items():
        want = sorted(float(table[name][k]) for k in ("length_mm", "width_mm", "height_mm"))
        same = np.allclose(sorted(high - low), want, atol=1e-3)
        report.check(same, f"{name}: the model's box has the size in boards.csv", " × ".join(f"{v:g}" for v in want) + " mm")
    case, lid = voxels["case"], voxels["lid"]
    for name, (low, high) in boxes.items():
        clearance = float(table[name]["clearance_mm"])
        grow = np.full((2, 3), clearance)
        if name == "pico":
            grow[:, 1] = 0          # lies on its posts; the pegs pass through its holes
        if name == "imu":
            grow[:, 2] = 0          # lies on its posts
        if name == "led":
            grow[1, 2] = 0          # the lamp passes through the top
        if name in ("button", "buzzer"):
            grow[0, 1] = -0.3       # starts at the lid
        body = case.box(low - grow[0], high + grow[1])
        solid = int(body.sum())
        if name == "pico":
            solid -= pegs(case, low, high)
        if name == "buzzer":
            solid = int(lid.box(low - [clearance / 2, 0, clearance / 2] + [3, 0.05, 3], high + [-3, 0, -3]).sum())
        report.check(solid * PITCH ** 3 < 0.5, f"{name}: fits with {clearance:g} mm to spare", f"{solid * PITCH ** 3:.2f} mm³ of plastic in its way")
    names = list(boxes)
    clashes = [f"{a} and {b}" for i, a in enumerate(names) for b in names[i + 1:]
               if np.all(np.minimum(boxes[a][1], boxes[b][1]) - np.maximum(boxes[a][0], boxes[b][0]) > GLUED)]
    report.check(not clashes, "no two bought parts are in the same place", ", ".join(clashes))
    low, high = boxes["imu"]
    moved = case.box(low + [0, 0, -2], high + [0, 0, -2]).sum() * PITCH ** 3
    report.check(moved > 0.5, "an IMU board set 2 mm too low is noticed", f"{moved:.1f} mm³ in its way")


def pegs(case, low, high):
    """Plastic of the two pegs inside the Pico's own mounting holes: cubes within a hole's radius of its centre."""
    row = sizes()["pico"]
    pitch = float(row["hole_pitch_x_mm"]), float(row["hole_pitch_y_mm"])
    middle = (low + high) / 2
    count = 0
    for sz in (-1, 1):
        hole = np.array([middle[0] - pitch[0] / 2, middle[1], middle[2] + sz * pitch[1] / 2])
        r = float(row["hole_mm"]) / 2
        lo, hi = hole - [r, (high - low)[1] / 2, r], hole + [r, (high - low)[1] / 2, r]
        i = np.maximum(np.ceil((lo - case.origin) / PITCH), 0).astype(int)
        body = case.box(lo, hi)
        grid = (np.indices(body.shape).transpose(1, 2, 3, 0) + i) * PITCH + case.origin
        count += int((body & (np.hypot(grid[..., 0] - hole[0], grid[..., 2] - hole[2]) <= r)).sum())
    return count


def check_ir_board(report, tilts, meshes, voxels):
    """Can and board lie free in the nose, and nothing of case, nose or lid stands in the cone."""
    row = sizes()
    can = [float(row["ir_can"][k]) for k in ("length_mm", "height_mm")]
    for tilt, place in tilts.items():
        t = math.radians(tilt)
        beam, across = np.array([0, -math.sin(t), -math.cos(t)]), np.array([0, math.cos(t), -math.sin(t)])
        base, blocked = np.array(place["base"]), 0
        nose = voxels[f"nose{tilt}"]
        size, spare = place["board"], float(row["ir"]["clearance_mm"])
        s, r, a = np.meshgrid(np.arange(0.2, can[1], 0.5), np.linspace(0, can[0] / 2, 12), np.linspace(0, 2 * math.pi, 48), indexing="ij")
        points = [base + s[..., None] * beam + (r * np.cos(a))[..., None] * [1, 0, 0] + (r * np.sin(a))[..., None] * across]
        u, v, w = np.meshgrid(np.arange(place["board_x"] - spare + 0.2, place["board_x"] + size[0] + spare - 0.1, 0.5),
                              np.arange(-size[1] / 2 - spare + 0.2, size[1] / 2 + spare - 0.1, 0.5), np.arange(0.3, size[2] + 4, 0.5), indexing="ij")
        points.append(base + u[..., None] * [1, 0, 0] + v[..., None] * across - w[..., None] * beam)
        for cloud in points:
            flat = cloud.reshape(-1, 3)
            for body in (nose, voxels["case"]):
                index = np.round((flat - body.origin) / PITCH).astype(int)
                inside = np.all((index >= 0) & (index < body.solid.shape), axis=1)
                blocked += int(body.solid[tuple(index[inside].T)].sum())
        report.check(blocked == 0, f"nose {tilt}°: IR can and board (with 4 mm of solder and wire behind it) lie free", f"{blocked} points in plastic")
        for fov in aim.VIEWS:
            ends = np.array(list(aim.cone_points({**place, "tilt": tilt}, fov, 150.0, rings=1)))[48:]
            starts = np.array(list(aim.cone_points({**place, "tilt": tilt}, fov, 150.0, rings=1)))[:48] + 0.05 * beam
            hits = sum(ray_hits(meshes[name, True], starts, ends) for name in ("case", "lid", f"nose{tilt}"))
            report.check(hits == 0, f"nose {tilt}°: the {fov}° type's cone (twice as wide) leaves case, lid and nose untouched", f"{hits} of {len(ends)} rays stopped")
    ends = np.array(list(aim.cone_points({**tilts[45], "tilt": 45}, 90, 150.0, rings=1)))
    hits = ray_hits(meshes["nose45", True], ends[:48], ends[48:])
    report.check(hits > 0, "a 90° type in this nose is noticed", f"{hits} of 48 rays stopped")


def check_together(report, meshes, voxels):
    """Parts that are screwed together touch but do not overlap."""
    for a, b in (("case", "lid"), ("case", "saddle"), ("case", "nose15"), ("case", "nose30"), ("case", "nose45"), ("lid", "nose45")):
        va, vb = voxels[a], voxels[b]
        index = np.argwhere(vb.solid)
        points = index * PITCH + vb.origin
        at = np.round((points - va.origin) / PITCH).astype(int)
        inside = np.all((at >= 0) & (at < va.solid.shape), axis=1)
        deep = ndimage.distance_transform_edt(va.solid) > 1.5          # more than about a third of a millimetre inside
        volume = deep[tuple(at[inside].T)].sum() * PITCH ** 3
        report.check(volume < 0.5, f"{a} and {b} do not overlap", f"{volume:.2f} mm³")


def check_saddle(report, found):
    """Every neck rests on both faces of the V, and the ties of the parts list reach round it."""
    saddle = next(f for f in found if "saddle_w" in f)
    half, apex, slot = saddle["saddle_w"] / 2, saddle["apex"], saddle["slot"]
    for d in (45, 60, 75):
        neck = next(f for f in found if f.get("neck") == d)
        rest, gap = half - neck["reach"], neck["off"] - d / 2 - apex
        report.check(rest >= 3 and gap >= 1, f"neck {d} mm rests on both faces of the saddle", f"{rest:.1f} mm inside the edge, {gap:.1f} mm off the groove")
        a = np.linspace(0, 2 * math.pi, 721)
        outline = np.vstack([np.column_stack([d / 2 * np.cos(a), neck["off"] + d / 2 * np.sin(a)]), [(-half, slot), (half, slot)]])
        around = spatial.ConvexHull(outline).area            # of a flat figure: its perimeter
        report.check(around + TIE_TAIL <= TIE, f"a {TIE} mm tie reaches round neck {d} mm and saddle", f"{around:.0f} mm round, {TIE_TAIL} mm for the lock and to pull")


def write_prints(meshes):
    """STL files lying as they are printed, for the slicer."""
    turn = {"case": ((1, 0, 0), -90), "lid": ((1, 0, 0), 90), "saddle": ((1, 0, 0), 90), "nose": ((1, 0, 0), 180)}
    folder = BUILD / "print"
    folder.mkdir(parents=True, exist_ok=True)
    for name in PARTS:
        mesh = meshes[name, True].copy()
        axis, degrees = turn[re.sub(r"\d+", "", name)]
        mesh.apply_transform(trimesh.transformations.rotation_matrix(math.radians(degrees), axis))
        mesh.apply_translation(-np.array([*mesh.bounds.mean(axis=0)[:2], mesh.bounds[0][2]]))
        mesh.export(folder / f"{name}.stl")
    return folder


def geometry():
    found = places()
    tilts = {int(f["tilt"]): f for f in found if "tilt" in f}
    necks = {int(f["neck"]): f["off"] for f in found if "neck" in f}
    return found, tilts, necks


def run(report):
    found, tilts, necks = geometry()
    aim.run(report, tilts, necks)
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        meshes = dict(pool.map(build, [(name, marks) for name in PARTS for marks in (True, False)]))
    # Walls are measured without the engraving, whose letters are meant to be fine; it is 0.6 mm deep in walls of 2.4 mm and more.
    voxels = {name: Voxels(meshes[name, False]) for name in PARTS}
    check_meshes(report, meshes, voxels)
    check_fit(report, found, voxels)
    check_ir_board(report, tilts, meshes, voxels)
    check_together(report, meshes, voxels)
    check_saddle(report, found)
    print(f"      STL files for printing: {write_prints(meshes)}")
