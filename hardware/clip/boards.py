#!/usr/bin/env python3
"""Write clip/boards.scad from clip/boards.csv, so that a board's size stands in one place only."""
import csv
import pathlib

HERE = pathlib.Path(__file__).resolve().parent


def render(table: pathlib.Path = HERE / "boards.csv") -> str:
    lines = ["// Made from boards.csv by boards.py: change the table, not this file. Millimetres.",
             "// name = [length, width, height]; name_holes = [pitch along, pitch across]."]
    with table.open(newline="", encoding="utf-8") as rows:
        for row in csv.DictReader(rows):
            name = row["name"]
            size = ", ".join(f"{float(row[k]):g}" for k in ("length_mm", "width_mm", "height_mm"))
            lines.append(f"{name} = [{size}];")
            lines.append(f"{name}_clearance = {float(row['clearance_mm']):g};")
            if row["hole_mm"]:
                lines.append(f"{name}_holes = [{float(row['hole_pitch_x_mm']):g}, {float(row['hole_pitch_y_mm']):g}];")
                lines.append(f"{name}_hole = {float(row['hole_mm']):g};")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    (HERE / "boards.scad").write_text(render(), encoding="utf-8")
