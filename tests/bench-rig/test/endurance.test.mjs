// Ten minutes at full rate, in emulated time.

import assert from 'node:assert/strict';
import test from 'node:test';
import { Board } from '../emulator/board.mjs';
import { Host, holes } from '../host.mjs';
import { IMAGE } from './image.mjs';

const MINUTES = 10;

test(`${MINUTES} minutes at full rate: nothing lost, numbers without a hole, true spacing, half the time asleep`, (t) => {
  const board = new Board(IMAGE, { rateError: -0.0237 });
  const host = new Host(board);
  host.start();
  host.run(5);
  host.forget();
  const [slept, started] = [board.sleptNs, board.nanos];
  let worst = 0;
  let samples = 0;
  let last = { Accel: null, Gyro: null };
  for (let minute = 0; minute < MINUTES; minute++) {
    host.run(60);
    for (const kind of ['Accel', 'Gyro']) {
      const blocks = [...(last[kind] ? [last[kind]] : []), ...host.of(kind)];
      assert.deepEqual(holes(blocks), [], `${kind}, minute ${minute}`);
      const per_sample = (kind === 'Gyro' ? 8 : 1) * (1e9 / board.imu.trueAccelHz);
      for (const { spacing_ns, count, flags } of host.of(kind)) {
        worst = Math.max(worst, Math.abs(spacing_ns / per_sample - 1));
        samples += count;
        assert.equal(flags, 0);
      }
      last[kind] = blocks.at(-1);
    }
    assert.ok(host.of('Surface').every((s) => s.flags === 0));
    assert.ok(host.of('Pong').length >= 119);
    host.forget();
  }
  const health = host.health();
  const zero = ['frames_dropped', 'samples_lost', 'fifo_overruns', 'imu_bus_faults', 'ir_bus_faults', 'bad_commands'];
  for (const count of zero) assert.equal(health[count], 0, count);
  const idle = (board.sleptNs - slept) / (board.nanos - started);
  t.diagnostic(
    `${samples} samples, 0 lost; spacing off by at most ${(worst * 1e6).toFixed(0)} ppm; asleep ${(idle * 100).toFixed(1)} % ` +
      `(the sensor says ${(health.idle_permille / 10).toFixed(1)} %); largest buffer level ${board.imu.largestLevel} of 512 words`,
  );
  assert.ok(samples >= MINUTES * 60 * board.imu.trueAccelHz * 1.124, 'all that the chip took');
  assert.ok(worst < 5e-4, `spacing off by ${worst}`);
  assert.ok(idle >= 0.5, `asleep ${idle}`);
  assert.ok(Math.abs(idle - health.idle_permille / 1000) < 0.05, 'the sensor knows how much it sleeps');
  assert.equal(board.resets, 0);
});
