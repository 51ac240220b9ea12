// What the virtual machine does: a made-up motion for tests that only need some, or a sensor table played back.

import fs from 'node:fs';

/** An orbit of 75 Hz under gravity, and slow turning. */
export function madeUp() {
  const w = 2 * Math.PI * 75;
  return {
    motion: (_k, t) => ({
      accel: [40 * Math.cos(w * t), 40 * Math.sin(w * t), 9.80665],
      gyro: [0, 0, 0.3 * Math.sin(2 * Math.PI * 0.5 * t)],
    }),
    temperatures: () => ({ surface: 28.01, ambient: 23.19 }),
  };
}

/**
 * Plays a sensor table (header `t_s,accel_x_mps2,…`) row by row: the chip's sample k is row k, whatever the chip's rate; empty
 * cells keep the value before. Behind its end the last row stands. `spacing_s` is the table's mean row spacing.
 */
export function fromTable(path) {
  const [header, ...lines] = fs.readFileSync(path, 'utf8').trimEnd().split('\n');
  const columns = header.trim().split(',');
  const rows = [];
  const last = {};
  for (const line of lines) {
    line.trim().split(',').forEach((cell, i) => {
      if (cell !== '') last[columns[i]] = Number(cell);
    });
    rows.push({
      t: last.t_s,
      accel: ['x', 'y', 'z'].map((axis) => last[`accel_${axis}_mps2`]),
      gyro: ['x', 'y', 'z'].map((axis) => last[`gyro_${axis}_radps`] ?? 0),
      temperatures: { surface: last.surface_c ?? 20, ambient: last.ambient_c ?? 20 },
    });
  }
  let at = 0;
  return {
    rows: rows.length,
    spacing_s: (rows.at(-1).t - rows[0].t) / (rows.length - 1),
    played: () => at,
    motion: (k) => rows[(at = Math.min(k, rows.length - 1))],
    temperatures: () => rows[at].temperatures,
  };
}
