// The real host program on the emulated sensor: what it records must be what the chip saw, and faults must not end it.
//
// The program lives by the clock; where this machine is too slow or too busy, emulated time waits for it.

import assert from 'node:assert/strict';
import { spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { performance } from 'node:perf_hooks';
import readline from 'node:readline';
import test from 'node:test';
import { Cable } from '../cable.mjs';
import { fromTable } from '../chips/motion.mjs';
import { Board } from '../emulator/board.mjs';
import { holes } from '../host.mjs';
import { Frames } from '../wire.mjs';
import { IMAGE } from './image.mjs';

const PROGRAM = process.env.STEADYPASS_PROGRAM;
const LOST_DATA = 3;
const MINUTES = 10;
/** As fast as the emulator and the program's pings allow. */
const FULL_SPEED = 100;
/** The flag of blocks whose spacing is not measured yet, and how long they may bear it: 2000 samples, and some. */
const NOT_MEASURED = 2;
const MEASURING_US = 1.5e6;
/** What a count is worth in columns 1 to 6 of a table, m/s² and rad/s: 0.488 mg and 70 mdps at the ranges in use (data sheet). */
const PER_COUNT = [...Array(3).fill(0.488e-3 * 9.80665), ...Array(3).fill((70e-3 * Math.PI) / 180)];
/** A limit for hangs only. */
const HOUR_S = 3600;

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
  const cable = new Cable(board, path.join(folder, 'sensor'), { speed, patient: true });
  const passed = []; // messages on the cable, each with the emulated time and the clock's time it passed at
  const frames = new Frames((message) => passed.push({ ...message, at_us: board.nanos / 1e3, clock_us: performance.now() * 1e3 }));
  cable.onBytes = (bytes) => frames.feed(bytes);
  await cable.plug();
  try {
    await cable.runFor(0.5);
    await work({ board, cable, folder, passed, frames });
  } finally {
    if (cable.terminal) await cable.pull();
    fs.rmSync(folder, { recursive: true });
  }
}

/**
 * Invented data: rows of the program's own simulation without their times, over and over as often as they go into `limit_s` (it begins
 * and ends at rest), and how many seconds a row takes. Motion is rounded to what a count of the chip is worth: how finely it measures
 * is not the firmware's doing. The work is quick, because its turns are plain: in slow work the moment at which sampling begins can
 * decide what is taken for a stroke, with firmware and without.
 */
async function simulated(folder, limit_s) {
  steadypass(['simulate', '--kind', 'fast', '--seed', '11', '--out', folder, '--quiet']);
  const once = [];
  let columns = null;
  let last_s = 0;
  for await (const line of readline.createInterface({ input: fs.createReadStream(path.join(folder, 'fast-11.csv')) })) {
    const [time, ...cells] = line.split(',');
    if (columns === null) {
      columns = line;
      continue;
    }
    last_s = Number(time);
    once.push(cells.map((cell, i) => (cell === '' || i >= PER_COUNT.length ? cell : (Math.round(cell / PER_COUNT[i]) * PER_COUNT[i]).toFixed(7))));
  }
  const spacing_s = last_s / (once.length - 1);
  const rows = Array(Math.floor(limit_s / (once.length * spacing_s))).fill(once).flat();
  return { columns, rows, spacing_s };
}

/** Writes rows as a sensor table with even times. */
function write(file, { columns, rows, spacing_s }) {
  fs.writeFileSync(file, `${[columns, ...rows.map((cells, i) => `${(i * spacing_s).toFixed(6)},${cells}`)].join('\n')}\n`);
}

/** What the chip measures for `count` samples of a world that stands at `row`. */
function standing(row, count) {
  const cells = (i) => row.map((cell, column) => (column < 3 || (column < 6 ? (count - i) % 8 === 0 : i === 0) ? cell : ''));
  return Array.from({ length: count }, (_, i) => cells(i));
}

/** Everything in `recording` as its review tells it; the review's exit code must be `expected`. */
function review(recording, expected = 0) {
  const out = recording.replace('.mcap', '');
  const { lost } = JSON.parse(steadypass(['review', recording, '--out', out, '--no-sheets', '--quiet', '--json'], expected));
  return { lost, ...Object.fromEntries(['series', 'strokes', 'passes'].map((name) => [name, csv(path.join(out, `${name}.csv`))])) };
}

test(`${MINUTES} minutes at full rate into the program: nothing lost, and the review that the same motion gives without the firmware`, async (t) => {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'bench-rig-'));
  const truth = await simulated(folder, MINUTES * 60);
  const table = path.join(folder, 'truth.csv');
  write(table, truth);
  const world = fromTable(table);
  const rateError = 0.0006 / truth.spacing_s - 1; // the simulated chip does not keep what its name promises either
  const recorded = path.join(folder, 'recorded.mcap');
  let zero_us = null; // the recording counts its time from the first accelerometer sample
  await plugged({ world, rateError }, FULL_SPEED, async ({ board, cable, passed, frames }) => {
    const [slept, started] = [board.sleptNs, board.nanos];
    const { code, said } = await record(cable, recorded, async (alive) => {
      await cable.run(() => passed.some((m) => m.kind === 'Accel') || alive());
      world.play();
      const end_us = (MINUTES * 60 + 2) * 1e6 + board.nanos / 1e3; // the machine rests at the end; one more health report
      await cable.run(() => board.nanos / 1e3 > end_us || alive(), HOUR_S);
      assert.ok(world.ended(), 'the whole table was played');
    });
    assert.equal(code, 0, said);
    assert.deepEqual([frames.bad, board.resets, board.imu.overwritten], [0, 0, 0]);
    const idle = (board.sleptNs - slept) / (board.nanos - started);
    zero_us = passed.find((m) => m.kind === 'Accel').first_us;
    whole(t, passed, board, idle);
  });
  const direct = path.join(folder, 'direct.mcap');
  const before = Math.round((world.startedAt_s - zero_us / 1e6) / truth.spacing_s);
  write(table, { ...truth, rows: [...standing(truth.rows[0], before), ...truth.rows] });
  steadypass(['import', table, '--out', direct, '--quiet']);
  compare(t, review(direct), review(recorded));
  fs.rmSync(folder, { recursive: true });
});

/** Of what passed on the cable nothing is missing, it came at full rate with true times, and the processor had little to do. */
function whole(t, passed, board, idle) {
  const of = (kind) => passed.filter((m) => m.kind === kind);
  const measured_us = of('Accel')[0].first_us + MEASURING_US;
  let samples = 0;
  let worst = 0;
  for (const [kind, every] of [['Accel', 1], ['Gyro', 8]]) {
    const blocks = of(kind);
    assert.deepEqual(holes(blocks), [], `${kind}: holes`);
    assert.ok(blocks.every(({ flags, first_us }) => flags === 0 || (flags === NOT_MEASURED && first_us < measured_us)), `${kind}: flags`);
    const count = blocks.reduce((sum, block) => sum + block.count, 0);
    const due = (MINUTES * 60 * board.imu.trueAccelHz) / every;
    assert.ok(count >= Math.floor(due), `${count} of ${due} ${kind} samples`);
    samples += count;
    const true_ns = (every * 1e9) / board.imu.trueAccelHz;
    for (const block of blocks.filter((b) => b.flags === 0)) worst = Math.max(worst, Math.abs(block.spacing_ns / true_ns - 1));
  }
  const looks = of('Surface');
  const looks_hz = (looks.length - 1) / ((looks.at(-1).t_us - looks[0].t_us) / 1e6);
  assert.ok(looks.every((look, i) => look.flags === 0 && (i === 0 || look.index === ((looks[i - 1].index + 1) & 0xff))), 'looks');
  assert.ok(looks.at(-1).t_us - looks[0].t_us > MINUTES * 60 * 1e6, 'looks to the end');
  const health = of('Health').at(-1);
  const zero = ['frames_dropped', 'samples_lost', 'fifo_overruns', 'imu_bus_faults', 'ir_bus_faults', 'bad_commands'];
  for (const count of zero) assert.equal(health[count], 0, count);
  t.diagnostic(
    `${samples} samples, 0 lost; spacing off by at most ${(worst * 1e6).toFixed(0)} ppm; ${looks_hz.toFixed(1)} looks a second; ` +
      `asleep ${(idle * 100).toFixed(1)} % (the sensor says ${(health.idle_permille / 10).toFixed(1)} %); ` +
      `largest buffer level ${board.imu.largestLevel} of 512 words`,
  );
  assert.ok(worst < 5e-4, `spacing off by ${worst}`);
  assert.ok(looks_hz >= 10, `${looks_hz} looks a second`);
  assert.ok(idle >= 0.5, `asleep ${idle}`);
  assert.ok(Math.abs(idle - health.idle_permille / 1000) < 0.05, 'the sensor knows how much it sleeps');
}

function compare(t, direct, recorded) {
  const worst = (rows, difference) => Math.max(0, ...rows.map((row) => Math.abs(difference(row))));
  assert.deepEqual([direct.lost, recorded.lost], [null, null]);
  assert.ok(direct.strokes.length >= 60, `${direct.strokes.length} strokes in the truth`);
  assert.equal(recorded.strokes.length, direct.strokes.length, 'strokes');
  assert.equal(recorded.passes.length, direct.passes.length, 'passes');
  const pairs = direct.strokes.map((stroke, i) => [stroke, recorded.strokes[i]]);
  const off_s = worst(pairs, ([a, b]) => Math.max(Math.abs(b.start_s - a.start_s), Math.abs(b.end_s - a.end_s)));
  // Of strokes and of passes; what one has and the other has not is as wrong as can be.
  const orbits = [
    ...pairs.map((pair) => pair.map((stroke) => stroke.orbit_opm)),
    ...direct.passes.map((pass, i) => [pass, recorded.passes[i]].map((one) => one.orbit_median_opm)),
  ].filter(([a, b]) => a !== null || b !== null);
  const orbit = worst(orbits, ([a, b]) => (a && b ? b / a - 1 : Infinity));
  const byTenth = new Map(direct.series.map((row) => [row.t_s, row.surface_c]));
  const end_s = direct.series.at(-1).t_s - 0.5; // the last values of the table have nothing behind them to be smoothed with
  const surfaces = recorded.series
    .filter((row) => row.t_s < end_s)
    .map((row) => [row.surface_c, byTenth.get(row.t_s) ?? null])
    .filter(([a, b]) => a !== null && b !== null);
  const surface = worst(surfaces, ([a, b]) => a - b);
  t.diagnostic(
    `${pairs.length} strokes in ${direct.passes.length} passes, off by at most ${(off_s * 1e3).toFixed(0)} ms; orbit by ${(orbit * 100).toFixed(3)} %; ` +
      `surface by ${surface.toFixed(3)} °C over ${surfaces.length} rows`,
  );
  assert.ok(off_s <= 0.05, `strokes off by ${off_s} s`);
  assert.ok(orbit <= 1e-3, `orbit off by ${orbit}`);
  assert.ok(orbits.length >= 20, 'there are orbit rates to compare');
  assert.ok(surfaces.length > 5000, 'there are surface readings to compare');
  assert.ok(surface <= 0.1, `surface off by ${surface} °C`);
}

/**
 * From the last sample before the reset to the first behind it, in emulated time; and how much longer that was by the clock, as
 * on a machine that is too slow. The recording knows only the clock.
 */
function resetHole(blocks) {
  const back = blocks.findIndex((block, i) => i > 0 && block.first_us < blocks[i - 1].first_us);
  const [before, behind] = [blocks[back - 1], blocks[back]];
  const wait_us = behind.at_us - before.at_us;
  return {
    hole_s: (wait_us - (behind.count * behind.spacing_ns) / 1e3) / 1e6,
    slipped_s: (behind.clock_us - before.clock_us - wait_us) / 1e6,
  };
}

test('a watchdog reset and a pulled cable do not end a recording; it says what is missing', async (t) => {
  await plugged({}, 1, async ({ board, cable, folder, passed }) => {
    const out = path.join(folder, 'faults.mcap');
    const blocks = () => passed.filter((m) => m.kind === 'Accel');
    const { code, said } = await record(cable, out, async (alive) => {
      const streamed = async (seconds) => {
        const wanted = blocks().length + seconds * 23;
        await cable.run(() => alive() || blocks().length >= wanted);
      };
      await streamed(3);
      board.hang();
      await cable.run(() => board.resets === 1);
      await streamed(3);
      await cable.pull();
      await cable.runFor(2);
      await cable.plug();
      await streamed(3);
    });
    assert.equal(code, LOST_DATA, said);
    assert.match(said, /the sensor was lost 2 times/);
    const { lost, series } = review(out, LOST_DATA);
    assert.match(lost, /1 sensor restart\b/);
    assert.match(lost, /interruptions?/);
    const { hole_s, slipped_s } = resetHole(blocks());
    const shown_s = series.slice(1).map((row, i) => row.t_s - series[i].t_s).find((step_s) => step_s > 0.5) - slipped_s;
    t.diagnostic(`the reset cost ${hole_s.toFixed(2)} s of samples, ${shown_s.toFixed(1)} s of the review; it says: ${lost}`);
    assert.ok(hole_s < 2, `the reset cost ${hole_s} s`);
    assert.ok(shown_s > 0.5 && shown_s < 2, `the review shows a hole of ${shown_s} s`);
    const orbits = series.filter((row) => row.orbit_opm !== null);
    // The made-up motion turns at 75 Hz: 4500 a minute, before, between and after the faults.
    assert.ok(orbits.length > 40, `${orbits.length} rows with an orbit rate`);
    for (const row of orbits.slice(5)) assert.ok(Math.abs(row.orbit_opm / 4500 - 1) < 0.01, `${row.orbit_opm} at ${row.t_s}`);
  });
});
