// What the virtual machine does: a made-up motion for tests that only need some, or a sensor table played back.

import fs from 'node:fs';

const ZERO_CELSIUS_K = 273.15;

/** The chip numbers its samples from 0 and takes the gyro with every eighth, the last of each eight. */
const SAMPLES_PER_GYRO = 8;

/** Emissivity of the paint (the default of the program's plan). */
const EMISSIVITY = 0.93;

/**
 * What a thermometer sees of a surface at `surface_c` among surroundings at `ambient_c`: grey body, T⁴ law (textbook; the program
 * undoes it).
 */
function apparent(surface_c, ambient_c) {
  const [own, reflected] = [surface_c, ambient_c].map((c) => (c + ZERO_CELSIUS_K) ** 4);
  return (EMISSIVITY * own + (1 - EMISSIVITY) * reflected) ** 0.25 - ZERO_CELSIUS_K;
}

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
 * Plays a sensor table (header `t_s,accel_x_mps2,…`) row by row, one a sample whatever the chip's rate, from `play()` on; before
 * it the first row stands, behind its end the last. It begins with a sample at which the chip takes the gyro, too, as tables do.
 * Empty cells keep the value before. `spacing_s` is the table's mean row spacing, `startedAt_s` the time of the first row played.
 */
export function fromTable(path) {
  const [header, ...lines] = fs.readFileSync(path, 'utf8').trimEnd().split('\n');
  const columns = header.trim().split(',');
  const rows = [];
  const last = {};
  const readings = []; // rows that have a temperature, which changes evenly from one to the next
  for (const line of lines) {
    const cells = line.trim().split(',');
    cells.forEach((cell, i) => {
      if (cell !== '') last[columns[i]] = Number(cell);
    });
    if (cells[columns.indexOf('surface_c')]) readings.push({ row: rows.length, surface: last.surface_c, ambient: last.ambient_c ?? 20 });
    rows.push({
      t: last.t_s,
      accel: ['x', 'y', 'z'].map((axis) => last[`accel_${axis}_mps2`]),
      gyro: ['x', 'y', 'z'].map((axis) => last[`gyro_${axis}_radps`] ?? 0),
    });
  }
  let at = 0;
  let playing = false;
  const table = {
    rows: rows.length,
    spacing_s: (rows.at(-1).t - rows[0].t) / (rows.length - 1),
    startedAt_s: null,
    play: () => {
      playing = true;
    },
    ended: () => at === rows.length - 1,
    motion: (k, t_s) => {
      if (table.startedAt_s !== null) at = Math.min(at + 1, rows.length - 1);
      else if (playing && (k + 1) % SAMPLES_PER_GYRO === 0) table.startedAt_s = t_s;
      return rows[at];
    },
    temperatures: () => {
      while (readings.length > 2 && readings[1].row <= at) readings.shift();
      const [a, b = a] = readings;
      const along = b.row > a.row ? Math.min(1, Math.max(0, (at - a.row) / (b.row - a.row))) : 0;
      return { surface: apparent(a.surface + along * (b.surface - a.surface), a.ambient), ambient: a.ambient };
    },
  };
  return table;
}
