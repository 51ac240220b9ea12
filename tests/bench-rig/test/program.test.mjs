// The real host program on the emulated sensor: what it records must be what the chip saw, and faults must not end it.
//
// These tests are paced by the clock, because the program is.

import assert from 'node:assert/strict';
import { spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import test from 'node:test';
import { Cable } from '../cable.mjs';
import { fromTable } from '../chips/motion.mjs';
import { Board } from '../emulator/board.mjs';
import { Frames } from '../wire.mjs';
import { IMAGE } from './image.mjs';

const PROGRAM = process.env.STEADYPASS_PROGRAM;
const LOST_DATA = 3;

/** Runs the program to its end and returns what it printed; its exit code must be `expected`. */
function steadypass(args, expected = 0) {
  const { status, stdout, stderr } = spawnSync(PROGRAM, args, { encoding: 'utf8' });
  assert.equal(status, expected, `steadypass ${args.join(' ')} ended with ${status}:\n${stdout}${stderr}`);
  return stdout + stderr;
}

/** Records from `cable` while `during(program)` runs, then stops with Ctrl-C; returns exit code and what it printed. */
async function record(cable, out, during) {
  const program = spawn(PROGRAM, ['record', '--port', cable.path, '--out', out, '--no-review'], { stdio: ['ignore', 'pipe', 'pipe'] });
  let code = null;
  let said = '';
  for (const stream of [program.stdout, program.stderr]) stream.on('data', (text) => (said += text));
  program.on('exit', (status, signal) => (code = status ?? signal));
  try {
    await during(() => code !== null && assert.fail(`the program ended early with ${code}:\n${said}`));
    program.kill('SIGINT');
    await cable.run(() => code !== null);
  } finally {
    program.kill('SIGKILL');
  }
  return { code, said };
}

/** Rows of a CSV file as objects; cells that look like numbers are numbers, empty ones null. */
function csv(file) {
  const [header, ...lines] = fs.readFileSync(file, 'utf8').trimEnd().split(/\r?\n/);
  const columns = header.split(',');
  const value = (cell) => (cell === '' ? null : Number.isNaN(Number(cell)) ? cell : Number(cell));
  return lines.map((line) => Object.fromEntries(line.split(',').map((cell, i) => [columns[i], value(cell)])));
}

async function plugged(options, speed, work) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'bench-rig-'));
  const board = new Board(IMAGE, options);
  const cable = new Cable(board, path.join(folder, 'sensor'), speed);
  await cable.plug();
  try {
    await cable.runFor(0.5);
    await work({ board, cable, folder });
  } finally {
    if (cable.terminal) await cable.pull();
    fs.rmSync(folder, { recursive: true });
  }
}

/**
 * A table of invented data: the first `seconds` of the program's own simulation, its time stretched so that a row takes
 * `spacing_s`.
 */
function table(folder, seconds, spacing_s) {
  steadypass(['simulate', '--kind', 'fast', '--seed', '11', '--out', folder, '--quiet']);
  const [header, ...rows] = fs.readFileSync(path.join(folder, 'fast-11.csv'), 'utf8').trimEnd().split('\n');
  const cells = rows.map((row) => row.split(','));
  const stretch = (spacing_s * (rows.length - 1)) / (cells.at(-1)[0] - cells[0][0]);
  const kept = cells.map(([t, ...rest]) => [(t * stretch).toFixed(6), ...rest]).filter(([t]) => t <= seconds);
  const file = path.join(folder, 'truth.csv');
  fs.writeFileSync(file, `${[header, ...kept].join('\n')}\n`);
  return file;
}

test('a recording through the firmware gives the review that the same motion gives without it', async (t) => {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'bench-rig-'));
  const rateError = -0.02; // the chip is 2 % slower than its name promises
  const truth = table(folder, 45, 0.0006 / (1 + rateError));
  const world = fromTable(truth);
  const recorded = path.join(folder, 'recorded.mcap');
  let zero_us = null; // the recording counts its time from the first accelerometer sample
  await plugged({ world, rateError }, 2, async ({ board, cable }) => {
    const frames = new Frames((message) => {
      if (message.kind === 'Accel') zero_us ??= message.first_us;
    });
    cable.onBytes = (bytes) => frames.feed(bytes);
    const { code, said } = await record(cable, recorded, async (alive) => {
      await cable.run(() => zero_us !== null || alive());
      world.play();
      await cable.run(() => world.ended() || alive());
      await cable.runFor(0.3);
    });
    assert.equal(code, 0, said);
    assert.equal(board.imu.overwritten, 0);
  });
  const direct = path.join(folder, 'direct.mcap');
  steadypass(['import', truth, '--out', direct, '--quiet']);
  const reviews = [direct, recorded].map((recording) => {
    const out = recording.replace('.mcap', '');
    steadypass(['review', recording, '--out', out, '--no-sheets', '--quiet']);
    return Object.fromEntries(['series', 'strokes', 'passes'].map((name) => [name, csv(path.join(out, `${name}.csv`))]));
  });
  const shift_s = world.startedAt_s - zero_us / 1e6; // where the table's first row lies in the recording
  compare(t, ...reviews, shift_s);
  fs.rmSync(folder, { recursive: true });
});

function compare(t, direct, recorded, shift_s) {
  const worst = (rows, name, difference) => Math.max(0, ...rows.map(difference).filter(Number.isFinite).map(Math.abs));
  assert.ok(direct.strokes.length >= 3, `${direct.strokes.length} strokes in the truth`);
  assert.equal(recorded.strokes.length, direct.strokes.length, 'strokes');
  const pairs = direct.strokes.map((stroke, i) => [stroke, recorded.strokes[i]]);
  const off_s = worst(pairs, 'stroke', ([a, b]) => Math.max(Math.abs(b.start_s - shift_s - a.start_s), Math.abs(b.end_s - shift_s - a.end_s)));
  const orbit = worst(pairs, 'orbit', ([a, b]) => (a.orbit_opm && b.orbit_opm ? b.orbit_opm / a.orbit_opm - 1 : NaN));
  // Rows stand at tenths of a second of their own recording: between two of them the surface changes evenly.
  const byTenth = new Map(direct.series.map((row) => [Math.round(row.t_s * 10), row.surface_c]));
  const directAt = (t_s) => {
    const tenth = Math.floor(t_s * 10);
    const [before, after] = [byTenth.get(tenth), byTenth.get(tenth + 1)];
    return before == null || after == null ? null : before + (t_s * 10 - tenth) * (after - before);
  };
  const end_s = direct.series.at(-1).t_s - 0.5; // the last values of the table have nothing behind them to be smoothed with
  const surfaces = recorded.series
    .filter((row) => row.t_s - shift_s < end_s)
    .map((row) => [row.surface_c, directAt(row.t_s - shift_s)])
    .filter(([a, b]) => a !== null && b !== null);
  const surface = worst(surfaces, 'surface', ([a, b]) => a - b);
  t.diagnostic(
    `${pairs.length} strokes, off by at most ${(off_s * 1e3).toFixed(0)} ms; orbit by ${(orbit * 100).toFixed(3)} %; ` +
      `surface by ${surface.toFixed(3)} °C over ${surfaces.length} rows`,
  );
  assert.ok(off_s <= 0.05, `strokes off by ${off_s} s`);
  assert.ok(orbit <= 1e-3, `orbit off by ${orbit}`);
  assert.ok(surfaces.length > 100, 'there are surface readings to compare');
  assert.ok(surface <= 0.1, `surface off by ${surface} °C`);
}

test('a watchdog reset and a pulled cable do not end a recording; it says what is missing', async () => {
  await plugged({}, 1, async ({ board, cable, folder }) => {
    const out = path.join(folder, 'faults.mcap');
    let blocks = 0;
    const frames = new Frames((message) => {
      if (message.kind === 'Accel') blocks++;
    });
    cable.onBytes = (bytes) => frames.feed(bytes);
    const { code, said } = await record(cable, out, async (alive) => {
      const streamed = async (seconds) => {
        const wanted = blocks + seconds * 23;
        await cable.run(() => alive() || blocks >= wanted, 60);
      };
      await streamed(3);
      board.hang();
      await cable.run(() => board.resets === 1, 60);
      await streamed(3);
      await cable.pull();
      await cable.runFor(2);
      await cable.plug();
      await streamed(3);
    });
    assert.equal(code, LOST_DATA, said);
    const review = path.join(folder, 'review');
    steadypass(['review', out, '--out', review, '--no-sheets'], LOST_DATA);
    const orbits = csv(path.join(review, 'series.csv')).filter((row) => row.orbit_opm !== null);
    // The made-up motion turns at 75 Hz: 4500 a minute, before, between and after the faults.
    assert.ok(orbits.length > 40, `${orbits.length} rows with an orbit rate`);
    for (const row of orbits.slice(5)) assert.ok(Math.abs(row.orbit_opm / 4500 - 1) < 0.01, `${row.orbit_opm} at ${row.t_s}`);
  });
});
