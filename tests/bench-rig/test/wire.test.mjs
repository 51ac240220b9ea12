// The bench's own reading of the wire, against bytes pinned by the protocol crate (protocol/tests/pinned_bytes.rs).

import assert from 'node:assert/strict';
import test from 'node:test';
import { Frames, crc32, decode, encode, frame } from '../wire.mjs';
import { pec } from '../chips/mlx90614.mjs';

test('checksums have their published check values', () => {
  const digits = new TextEncoder().encode('123456789');
  assert.equal(crc32(digits), 0xe3069283); // CRC-32/ISCSI, public catalogue
  assert.equal(pec(digits), 0xf4); // CRC-8/SMBUS, public catalogue
  assert.equal(pec([0xb4, 0x07, 0xb5, 0xd2, 0x3a]), 0x30); // data/reference/mlx90614_vectors.csv
});

test('a command has the bytes that the protocol pins', () => {
  assert.deepEqual([...encode({ kind: 'Start' })], [0x00, 0x06, 0x01, 0x52, 0xd0, 0x16, 0xa0, 0x00]);
});

test('messages read as the protocol pins them', () => {
  const hello = decode(
    Uint8Array.from([
      ...[0x00, 0x01, 0x00, 0x01, 0x00, 0xe6, 0x61, 1, 2, 3, 4, 5, 6, 0x03, 0x01, 0xac, 0x02],
      ...[0xb8, 0xdf, 0x65, 0xed, 0x8b, 0xa4, 0x02, 0xfe, 0xff, 0x03, 0x80, 0xd9, 0x0c, 0xe2, 0xc8, 0x4a, 0xfe, 0xff, 0x03],
      ...[0x40, 0x01, 0xfe, 0xfd, 0x00],
    ]),
  );
  assert.deepEqual(
    [hello.protocol, hello.reset, hello.uptime_us, hello.accel.nano_per_count, hello.gyro.nominal_mhz, hello.streaming],
    [1, 'Watchdog', 300, 4_785_645, 208_000, false],
  );
  assert.deepEqual([hello.accel.full_scale, hello.mounting], [32767, [1, -2, -3]]);
  const surface = decode(Uint8Array.from([0x03, 0xff, 0xac, 0x02, 0xd2, 0x75, 0xe1, 0x73, 0x00]));
  assert.deepEqual(surface, { kind: 'Surface', index: 255, t_us: 300, object_raw: 0x3ad2, ambient_raw: 0x39e1, flags: 0 });
  const health = decode(Uint8Array.from([0x04, 0x02, 0x80, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0x01, 0x01, 0xc0, 0x07]));
  assert.equal(health.frames_dropped, 128);
  assert.equal(health.imu_centi_c, -1);
  assert.equal(health.idle_permille, 960);
  assert.equal(decode(Uint8Array.from([0x07, 0x03, 0x01, 0x01, 0x01])).outcome, 'OutOfRange(AccelRange)');
  assert.throws(() => decode(Uint8Array.from([5, 1, 2, 99])), /left over/);
});

test('a damaged frame is counted and costs no other', () => {
  const seen = [];
  const frames = new Frames((message) => seen.push(message));
  const good = frame([0x05, 0x01, 0x02]);
  const bad = Uint8Array.from(good);
  bad[3] ^= 0x10;
  frames.feed(good.subarray(4)); // joined in the middle
  for (const bytes of [good, bad, good]) frames.feed(bytes);
  assert.equal(seen.length, 2);
  assert.deepEqual([frames.good, frames.bad], [2, 1]);
});

test('COBS carries zeros and long runs', () => {
  for (const length of [0, 1, 253, 254, 255, 400]) {
    const samples = Array.from({ length }, (_, i) => (i * 7) % 256);
    const payload = [0x05, ...samples];
    const bytes = frame(payload);
    assert.equal(bytes.filter((b) => b === 0).length, 2, `zeros inside at ${length}`);
    const frames = new Frames(() => {});
    try {
      frames.feed(bytes);
    } catch {
      // not a message, but the frame was good
    }
    assert.equal(frames.good, 1, `length ${length}`);
  }
});
