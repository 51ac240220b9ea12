// What the sensor does when something is wrong. Each fault must leave a count in Health that names it, and a stream that
// goes on.

import assert from 'node:assert/strict';
import test from 'node:test';
import { Board } from '../emulator/board.mjs';
import { Host, holes } from '../host.mjs';
import { IMAGE } from './image.mjs';

const AFTER_OVERRUN = 1;
const AFTER_RESTART = 4;
const NO_ANSWER = 1, BAD_CHECKSUM = 2, CHIP_ERROR = 4;

const streaming = (options) => {
  const board = new Board(IMAGE, options);
  const host = new Host(board);
  host.start();
  host.run(2);
  return { board, host };
};

/** The stream must be there, whole and in step with the chip, at the end of every test. */
function assertGoesOn(board, host) {
  host.run(0.5);
  host.forget();
  const bad = host.frames.bad;
  host.run(1.5);
  for (const kind of ['Accel', 'Gyro']) {
    const blocks = host.of(kind);
    assert.ok(blocks.length >= (kind === 'Accel' ? 30 : 14), `${kind} goes on: ${blocks.length} blocks`);
    assert.deepEqual(holes(blocks), [], `${kind} goes on whole`);
  }
  const spacing = host.of('Accel').at(-1).spacing_ns;
  assert.ok(Math.abs((spacing * board.imu.trueAccelHz) / 1e9 - 1) < 5e-4, `spacing ${spacing}`);
  assert.ok(host.of('Surface').filter((s) => s.flags === 0).length > 15, 'looks go on');
  assert.equal(host.frames.bad, bad, 'no bad frame');
}

test('motion chip not answering at boot: refused with the reason, counted, and served once it answers', () => {
  const board = new Board(IMAGE, { imuPresent: false });
  const host = new Host(board);
  host.run(1);
  assert.equal(host.hello().chips, 2);
  assert.equal(host.reply({ kind: 'Start' }), 'NoImu');
  assert.ok(host.health().imu_bus_faults >= 10, 'told although nothing streams');
  assert.equal(board.resets, 0);
  board.imu.present = true;
  host.run(0.5);
  assert.equal(host.hello().chips, 3);
  host.start();
  assertGoesOn(board, host);
});

test('motion chip silent for a moment: its buffer bridges the gap', () => {
  const { board, host } = streaming();
  board.imu.present = false;
  host.run(0.15);
  board.imu.present = true;
  host.run(1);
  const health = host.health();
  assert.ok(health.imu_bus_faults >= 1, `${health.imu_bus_faults} faults`);
  assert.equal(health.samples_lost, 0);
  assert.deepEqual(holes(host.of('Accel')), [], 'not one sample is missing');
  assertGoesOn(board, host);
});

test('motion chip loses power: set up anew, the hole counted and flagged', () => {
  const { board, host } = streaming();
  board.imu.present = false;
  host.run(1.2);
  board.imu.powerOn();
  board.imu.present = true;
  host.run(1.5);
  const health = host.health();
  assert.ok(health.imu_bus_faults >= 5);
  const [hole, ...more] = holes(host.of('Accel'));
  assert.equal(more.length, 0, 'one hole');
  assert.ok(hole.flags & AFTER_RESTART);
  const age_us = (block) => block.at_us - block.first_us - (block.count * block.spacing_ns) / 1e3;
  for (const kind of ['Accel', 'Gyro']) {
    const oldest = Math.max(...host.of(kind).map(age_us));
    assert.ok(oldest < 0.6e6, `${kind}: what was taken before the silence came ${oldest} µs late`);
  }
  const expected = 1.35 * board.imu.trueAccelHz; // 1.2 s and the set-up
  assert.ok(Math.abs(hole.missing / expected - 1) < 0.1, `${hole.missing} missing, about ${expected.toFixed(0)} expected`);
  assert.equal(health.samples_lost, hole.missing + holes(host.of('Gyro'))[0].missing);
  assertGoesOn(board, host);
});

test('buffer overrun: every lost sample counted, the block behind flagged', () => {
  const { board, host } = streaming();
  board.imuBus.holdSda(Infinity); // nothing gets through; the chip goes on sampling
  host.run(0.6);
  board.imuBus.releaseSda();
  host.run(1.5);
  const health = host.health();
  assert.ok(board.imu.overwritten > 300, 'the chip did overrun');
  assert.equal(health.fifo_overruns, 1);
  assert.equal(health.samples_lost, board.imu.overwritten, 'to the sample');
  const [hole, ...more] = holes(host.of('Accel'));
  assert.equal(more.length, 0);
  assert.ok(hole.flags & AFTER_OVERRUN);
  assertGoesOn(board, host);
});

for (const bus of ['imu', 'ir']) {
  test(`${bus} bus: a chip holds SDA and is clocked free`, () => {
    const { board, host } = streaming();
    const lines = board[`${bus}Bus`];
    lines.holdSda(5);
    host.run(1);
    assert.equal(lines.clears, 5, 'five clocks by hand, no more');
    assert.ok(host.health()[`${bus}_bus_faults`] >= 1);
    assert.equal(board.resets, 0);
    assertGoesOn(board, host);
  });
}

test('SDA held from power-on: cleared before the first transfer', () => {
  const board = new Board(IMAGE);
  board.imuBus.holdSda(7);
  const host = new Host(board);
  host.start();
  assert.equal(board.imuBus.clears, 7);
  assert.equal(host.health().imu_bus_faults, 0);
  assertGoesOn(board, host);
});

test('thermometer: wrong checksums are counted and give no reading', () => {
  const { board, host } = streaming();
  board.ir.badChecksums = 3;
  host.run(0.5);
  assert.equal(host.of('Surface').filter((s) => s.flags === BAD_CHECKSUM && s.object_raw === 0).length, 3);
  assert.equal(host.health().ir_checksum_errors, 3);
  assertGoesOn(board, host);
});

test('thermometer: words it distrusts are counted and give no reading', () => {
  const { board, host } = streaming();
  board.ir.flagged = 4;
  host.run(0.6);
  assert.equal(host.of('Surface').filter((s) => s.flags === CHIP_ERROR).length, 4);
  assert.equal(host.health().ir_chip_errors, 4);
  assertGoesOn(board, host);
});

test('thermometer gone and back: counted, the motion stream untouched', () => {
  const { board, host } = streaming();
  board.ir.present = false;
  host.run(1);
  board.ir.present = true;
  host.run(0.3);
  const silent = host.of('Surface').filter((s) => s.flags === NO_ANSWER).length;
  assert.ok(silent >= 14, `${silent} silent looks`);
  const health = host.health();
  assert.equal(health.ir_bus_faults, silent);
  assert.equal(health.samples_lost, 0);
  assert.deepEqual(holes(host.of('Accel')), []);
  assertGoesOn(board, host);
});

test('host does not read for 10 s but lives: whole blocks are dropped and counted, sampling goes on', () => {
  const { board, host } = streaming();
  board.usb.setReading(false);
  host.run(10);
  board.usb.setReading(true);
  host.run(1.5);
  const health = host.health();
  assert.ok(health.frames_dropped > 200, `${health.frames_dropped} dropped`);
  assert.deepEqual([health.samples_lost, health.imu_bus_faults], [0, 0]);
  const [hole, ...more] = holes(host.of('Accel'));
  assert.equal(more.length, 0, 'one hole');
  assert.ok(hole.missing > 7 * board.imu.trueAccelHz && hole.missing < 9 * board.imu.trueAccelHz, 'the room held about 2 s');
  assert.equal(hole.missing % 72, 0, 'whole blocks');
  assert.equal(host.frames.bad, 0);
  assertGoesOn(board, host);
});

test('host silent and deaf for 10 s: the stream stops by itself and starts again on request', () => {
  const { board, host } = streaming();
  host.pings = false;
  board.usb.setReading(false);
  host.run(10);
  board.usb.setReading(true);
  host.pings = true;
  host.run(0.5);
  assert.equal(host.hello().streaming, false);
  host.start();
  assert.ok(host.health().frames_dropped > 0);
  assertGoesOn(board, host);
});

test('cable pulled and put back: the sensor says who it is, and streams again without a restart', () => {
  const { board, host } = streaming();
  host.close();
  host.run(5);
  host.forget();
  host.reopen();
  host.run(0.2);
  const hello = host.of('Hello')[0];
  assert.ok(hello, 'unasked, when the port opens');
  assert.ok(hello.uptime_us > 7e6, 'the same life');
  host.start();
  host.run(0.2);
  const first = host.of('Accel')[0].first_index;
  assert.ok(first > 7 * board.imu.trueAccelHz, 'numbers have gone on meanwhile');
  assertGoesOn(board, host);
});

test("a program on USB is killed while it streams, another asks over UART: nothing of the first one's stream reaches it", () => {
  const { board, host } = streaming();
  host.close();
  host.run(1.5);
  board.link = 'uart';
  const other = new Host(board);
  const hello = other.hello();
  other.start();
  other.run(0.5);
  for (const kind of ['Accel', 'Gyro', 'Surface']) {
    const first = other.of(kind)[0];
    const before_us = hello.uptime_us - (first.first_us ?? first.t_us);
    assert.ok(before_us < 150e3, `${kind}: the first is from ${before_us} µs before the hello`);
  }
  for (const kind of ['Accel', 'Gyro']) assert.deepEqual(holes(other.of(kind)), [], `${kind} without holes`);
  assert.ok(other.health().frames_dropped > 20, 'what waited is counted');
  assertGoesOn(board, other);
});

test('garbage from the host: counted, and the next command is answered', () => {
  for (const link of ['usb', 'uart']) {
    const { board, host } = streaming({ link });
    let seed = 1;
    const random = () => (seed = (seed * 16807) % 2147483647) & 0xff;
    board.send(Uint8Array.from({ length: 4000 }, random));
    host.run(0.3);
    host.say({ kind: 'Raw', payload: [9, 1, 2] }); // a command of a newer host
    host.run(0.1);
    host.say({ kind: 'Raw', payload: [3, 64] }); // cut short
    host.run(0.1);
    assert.equal(host.of('Reply').at(-1).outcome, 'UnknownCommand');
    assert.equal(host.hello().streaming, true);
    assert.ok(host.health().bad_commands >= 10, `${host.health().bad_commands} counted`);
    assertGoesOn(board, host);
  }
});

test('a burst of 200 pings: what is answered is answered right, the rest is counted', () => {
  const { board, host } = streaming();
  host.pings = false;
  const before = host.of('Pong').length;
  for (let i = 0; i < 200; i++) host.say({ kind: 'Ping', token: 1000 + i, host_us: i });
  host.run(0.5);
  host.pings = true;
  const pongs = host.of('Pong').slice(before).filter((p) => p.token >= 1000);
  assert.ok(pongs.every((p) => p.host_us === p.token - 1000));
  assert.equal(pongs.length + host.health().frames_dropped, 200);
  assertGoesOn(board, host);
});

test('hung firmware: the watchdog restarts it, says so, and the host starts the stream again', () => {
  const { board, host } = streaming();
  board.hang();
  host.run(2);
  assert.equal(board.resets, 1);
  const hello = host.hello();
  assert.deepEqual([hello.reset, hello.chips, hello.streaming], ['Watchdog', 3, false]);
  host.start();
  assert.equal(host.health().watchdog_resets, 1);
  board.hang();
  host.run(2);
  host.start();
  assert.equal(host.health().watchdog_resets, 2, 'counted over resets');
  board.powerCycle();
  host.run(0.5);
  host.start();
  assert.equal(host.health().watchdog_resets, 0, 'since power came on');
  assertGoesOn(board, host);
});
