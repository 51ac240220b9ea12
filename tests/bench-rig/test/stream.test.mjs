// What the sensor does when nothing is wrong: who it is, what it streams, what it answers, what it shows.

import assert from 'node:assert/strict';
import test from 'node:test';
import { Board, PINS, UNIQUE_ID } from '../emulator/board.mjs';
import { Host, holes } from '../host.mjs';
import { DEFAULT_SETTINGS } from '../wire.mjs';
import { IMAGE } from './image.mjs';

const connected = (options, hostOptions) => {
  const board = new Board(IMAGE, options);
  const host = new Host(board, hostOptions);
  host.run(0.3);
  return { board, host };
};

for (const link of ['usb', 'uart']) {
  test(`over ${link}: a hello, a stream without holes, health, pings`, () => {
    const { board, host } = connected({ link });
    const hello = host.hello();
    assert.deepEqual([...hello.unique_id], UNIQUE_ID);
    assert.deepEqual([hello.protocol, hello.chips, hello.reset, hello.streaming], [1, 3, 'PowerOn', false]);
    assert.equal(hello.accel.nano_per_count, 4_785_645);
    host.start();
    host.run(6);
    for (const kind of ['Accel', 'Gyro']) {
      const blocks = host.of(kind);
      assert.deepEqual(holes(blocks), [], `${kind} without holes`);
      const spacing = blocks.at(-1).spacing_ns;
      const truth = (kind === 'Gyro' ? 8 : 1) * (1e9 / board.imu.trueAccelHz);
      assert.ok(Math.abs(spacing / truth - 1) < 5e-4, `${kind} spacing ${spacing}, true ${truth}`);
      assert.equal(blocks.at(-1).flags, 0);
    }
    const looks = host.of('Surface');
    assert.ok(looks.length > 90 && looks.every((s) => s.flags === 0));
    assert.deepEqual([looks[0].object_raw, looks[0].ambient_raw], [0x3ad2, 0x39e1]);
    const health = host.health();
    for (const count of ['frames_dropped', 'samples_lost', 'imu_bus_faults', 'ir_bus_faults', 'bad_commands', 'watchdog_resets']) {
      assert.equal(health[count], 0, count);
    }
    assert.equal(health.imu_centi_c, 3125);
    assert.ok(health.idle_permille > 500, `idle ${health.idle_permille} per mille`);
    const trips = host.of('Pong').map((p) => p.at_us - p.host_us);
    assert.ok(trips.length >= 10 && Math.max(...trips) < 15_000, `longest round trip ${Math.max(...trips)} µs`);
    assert.equal(host.frames.bad, 0);
    assert.equal(board.ir.written, 0, "nothing is ever written to the thermometer's EEPROM");
  });
}

test('samples carry what the chip measured, at the time it measured it', () => {
  const world = {
    // A ramp in time on x: 1 m/s² a second, 20 steps of it a count.
    motion: (_k, t) => ({ accel: [t, 0, 9.80665], gyro: [0, 0, t * 0.1] }),
    temperatures: () => ({ surface: 30, ambient: 20 }),
  };
  const { host } = connected({ world });
  const { accel, gyro } = host.hello();
  host.start();
  host.run(12);
  for (const [kind, scale, axis, slope] of [['Accel', accel, 0, 1], ['Gyro', gyro, 2, 0.1]]) {
    const blocks = host.of(kind).filter((b) => b.flags === 0);
    let worst = 0;
    for (const block of blocks) {
      const view = new DataView(block.samples.buffer, block.samples.byteOffset);
      for (let i = 0; i < block.count; i++) {
        const value = view.getInt16(i * 6 + axis * 2, true) * scale.nano_per_count * 1e-9;
        const t = (block.first_us + (i * block.spacing_ns) / 1e3) / 1e6;
        worst = Math.max(worst, Math.abs(value / slope - t));
      }
    }
    const resolution = (scale.nano_per_count * 1e-9) / slope / 2;
    assert.ok(worst < resolution + 200e-6, `${kind}: stamps off by up to ${(worst * 1e3).toFixed(2)} ms beyond a resolution of ${(resolution * 1e3).toFixed(2)} ms`);
  }
});

test('a stream starts on request only, stops on request, and in silence', () => {
  const { host } = connected();
  host.run(1);
  assert.equal(host.of('Accel').length, 0, 'nothing unasked');
  host.start();
  host.run(0.5);
  assert.equal(host.reply({ kind: 'Stop' }), 'Accepted');
  host.run(0.1);
  host.forget();
  host.run(0.5);
  assert.equal(host.of('Accel').length, 0, 'stopped');
  host.start();
  host.pings = false;
  host.run(3.5);
  host.forget();
  host.run(1);
  assert.equal(host.of('Accel').length, 0, 'nobody listens');
  assert.equal(host.hello().streaming, false);
});

test('a start that comes while the motion chip is still being set up is not turned away', () => {
  const host = new Host(new Board(IMAGE));
  host.run(0.02);
  assert.equal(host.hello().chips & 1, 0, 'not up yet');
  assert.equal(host.reply({ kind: 'Start' }), 'Accepted');
  host.run(1);
  assert.ok(host.of('Accel').length > 15);
});

test('settings within range are taken, others refused with the reason, none while streaming', () => {
  const { board, host } = connected();
  const configure = (change) => host.reply({ kind: 'Configure', ...DEFAULT_SETTINGS, ...change });
  assert.equal(configure({ surface_period_ms: 49 }), 'OutOfRange(SurfacePeriod)');
  assert.equal(configure({ accel_range_g: 5 }), 'OutOfRange(AccelRange)');
  assert.equal(configure({ light_percent: 101 }), 'OutOfRange(Light)');
  assert.equal(configure({ accel_range_g: 4, surface_period_ms: 100 }), 'Accepted');
  host.run(0.3);
  const hello = host.hello();
  assert.equal(hello.accel.nano_per_count, 1_196_411);
  assert.equal(hello.surface_period_ms, 100);
  host.start();
  host.run(2);
  const block = host.of('Accel').at(-1);
  const z = new DataView(block.samples.buffer, block.samples.byteOffset).getInt16(4, true);
  assert.ok(Math.abs(z * 1_196_411e-9 - 9.80665) < 0.002, 'the chip has the new range');
  assert.ok(Math.abs(host.of('Surface').length - 20) <= 2, 'ten looks a second');
  assert.equal(configure({}), 'Streaming');
  assert.equal(host.health().samples_lost, 0, 'a commanded change is no loss');
  assert.equal(board.ir.written, 0);
});

test('a start right behind a change of range gets samples of the new range only', () => {
  const { host } = connected();
  host.say({ kind: 'Configure', ...DEFAULT_SETTINGS, accel_range_g: 4 });
  host.say({ kind: 'Start' });
  host.run(1);
  assert.deepEqual(host.of('Reply').map((r) => r.outcome), ['Accepted', 'Accepted']);
  const blocks = host.of('Accel');
  assert.ok(blocks.length > 15, `${blocks.length} blocks`);
  for (const block of blocks) {
    const view = new DataView(block.samples.buffer, block.samples.byteOffset);
    for (let i = 0; i < block.count; i++) {
      const z = view.getInt16(i * 6 + 4, true) * 1_196_411e-9;
      assert.ok(Math.abs(z - 9.80665) < 0.002, `sample ${block.first_index + i} says ${z.toFixed(3)} m/s²`);
    }
  }
});

const EXPECTED = {
  // pattern: [red, green, blue] lit at all, share of the time the plain light is on, tone
  Off: { lit: [0, 0, 0], plain: 0.03, tone: false },
  Steady: { lit: [0, 1, 0], plain: 1, tone: false },
  SlowDown: { lit: [1, 1, 0], plain: 0.5, tone: true },
  SpeedUp: { lit: [0, 1, 1], plain: 0.5, tone: true },
  TooHot: { lit: [1, 0, 0], plain: 0.8, tone: true },
  LostHost: { lit: [1, 1, 1], plain: 0.16, tone: false },
};

test('each pattern shows on the pins as it should', () => {
  const { board, host } = connected();
  for (const [pattern, expected] of Object.entries(EXPECTED)) {
    assert.equal(host.reply({ kind: 'Indicate', pattern }), 'Accepted');
    host.run(0.05);
    const names = ['red', 'green', 'blue', 'plain', 'buzzer'];
    const watches = names.map((name) => board.watch(PINS[name]));
    host.run(6);
    const [red, green, blue, plain, buzzer] = watches.map((end) => end());
    assert.deepEqual([red, green, blue].map((p) => (p.share > 0.005 ? 1 : 0)), expected.lit, `${pattern}: colours`);
    assert.ok(Math.abs(plain.share - expected.plain) < 0.03, `${pattern}: plain light on ${plain.share}`);
    assert.equal(buzzer.rises > 100, expected.tone, `${pattern}: buzzer rose ${buzzer.rises} times`);
  }
});

test('brightness and silence are obeyed', () => {
  const { board, host } = connected();
  const shares = [20, 100].map((light_percent) => {
    host.reply({ kind: 'Configure', ...DEFAULT_SETTINGS, light_percent, buzzer: false });
    host.reply({ kind: 'Indicate', pattern: 'TooHot' });
    host.run(0.05);
    const [red, buzzer] = [board.watch(PINS.red), board.watch(PINS.buzzer)];
    host.run(4);
    assert.equal(buzzer().rises, 0);
    return red().share;
  });
  assert.ok(Math.abs(shares[0] - 0.8 * 0.2) < 0.02 && Math.abs(shares[1] - 0.8) < 0.03, `${shares}`);
});

test('the mark button marks the moment it closed, once per press', () => {
  const { board, host } = connected();
  host.start();
  const pressed = [];
  for (let press = 0; press < 3; press++) {
    pressed.push(board.nanos / 1e3);
    for (const [closed, ms] of [[true, 2], [false, 1], [true, 80], [false, 1], [true, 1], [false, 60]]) {
      board.press(closed);
      host.run(ms / 1e3);
    }
  }
  host.run(0.1);
  const marks = host.of('Mark');
  assert.deepEqual(marks.map((m) => m.index), [1, 2, 3]);
  marks.forEach((mark, i) => assert.ok(Math.abs(mark.t_us - pressed[i]) < 3000, `${mark.t_us} for ${pressed[i]}`));
});

test('commanded restarts: back into the firmware, or into the loader', () => {
  const { board, host } = connected();
  assert.equal(host.reply({ kind: 'Restart', into: 'Firmware' }), 'Accepted');
  host.run(1);
  assert.equal(board.resets, 1);
  const hello = host.hello();
  assert.deepEqual([hello.reset, hello.uptime_us < 1.2e6], ['Commanded', true]);
  assert.equal(host.reply({ kind: 'Restart', into: 'Loader' }), 'Accepted');
  host.run(0.3);
  assert.ok(board.loaderAsked);
  board.loaderRestarts();
  host.run(0.5);
  assert.equal(host.hello().reset, 'Commanded', 'a new firmware was copied: nothing was stuck');
  host.start();
  assert.equal(host.health().watchdog_resets, 0);
  board.hang();
  host.run(2);
  assert.equal(host.hello().reset, 'Watchdog', 'a firmware that is stuck is told as ever');
});

test('a firmware copied to a sensor that came up in its loader was not stuck either', () => {
  const { board, host } = connected();
  board.powerCycle();
  board.loaderRestarts();
  host.run(0.5);
  assert.equal(host.hello().reset, 'Commanded');
});

test('the image starts through its own boot stage', () => {
  const { host } = connected({ boot2: true });
  assert.equal(host.hello().chips, 3);
});
