// The wire of protocol version 1, as the protocol crate specifies it, written anew for the bench.
//
// A frame is 0x00 · COBS(payload · CRC-32/ISCSI, little endian) · 0x00; a payload is a postcard value: a varint kind, then
// the fields in order, wide integers as varints, signed ones zigzag.

const CRC_TABLE = Uint32Array.from({ length: 256 }, (_, i) => {
  let crc = i;
  for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? (crc >>> 1) ^ 0x82f63b78 : crc >>> 1;
  return crc >>> 0;
});

export function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (crc >>> 8) ^ CRC_TABLE[(crc ^ byte) & 0xff];
  return (crc ^ 0xffffffff) >>> 0;
}

function cobs(bytes) {
  const out = [0];
  let code = 0;
  for (const byte of bytes) {
    if (byte !== 0) out.push(byte);
    if (byte === 0 || out.length - code === 255) {
      out[code] = out.length - code;
      code = out.length;
      out.push(0);
    }
  }
  out[code] = out.length - code;
  return out;
}

function uncobs(bytes) {
  const out = [];
  for (let at = 0; at < bytes.length; ) {
    const code = bytes[at++];
    for (let i = 1; i < code; i++) out.push(bytes[at++]);
    if (code !== 255 && at < bytes.length) out.push(0);
  }
  return Uint8Array.from(out);
}

function varint(value) {
  const out = [];
  let rest = value;
  while (rest > 127) {
    out.push((rest % 128) | 128);
    rest = Math.floor(rest / 128);
  }
  out.push(rest);
  return out;
}

export const PATTERNS = ['Off', 'Steady', 'SlowDown', 'SpeedUp', 'TooHot', 'LostHost'];
const SETTING_NAMES = ['SurfacePeriod', 'AccelRange', 'Light'];
const REFUSALS = ['UnknownCommand', 'OutOfRange', 'NoImu', 'Streaming'];
const RESET_CAUSES = ['PowerOn', 'Watchdog', 'Commanded'];
export const DEFAULT_SETTINGS = { surface_period_ms: 64, accel_range_g: 16, light_percent: 60, buzzer: true };

const COMMANDS = {
  Identify: () => [0],
  Start: () => [1],
  Stop: () => [2],
  Configure: (c) => [3, ...varint(c.surface_period_ms), c.accel_range_g, c.light_percent, c.buzzer ? 1 : 0],
  Ping: (c) => [4, ...varint(c.token), ...varint(c.host_us)],
  Indicate: (c) => [5, PATTERNS.indexOf(c.pattern)],
  Restart: (c) => [6, c.into === 'Loader' ? 1 : 0],
  Raw: (c) => c.payload,
};

export function frame(payload) {
  const crc = crc32(payload);
  const body = [...payload, crc & 0xff, (crc >>> 8) & 0xff, (crc >>> 16) & 0xff, crc >>> 24];
  return Uint8Array.from([0, ...cobs(body), 0]);
}

/** One command as a frame. */
export function encode(command) {
  return frame(COMMANDS[command.kind](command));
}

class Reader {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0;
  }
  u8() {
    if (this.at >= this.bytes.length) throw new Error('payload ends early');
    return this.bytes[this.at++];
  }
  i8() {
    return (this.u8() << 24) >> 24;
  }
  uint() {
    let value = 0;
    for (let scale = 1; ; scale *= 128) {
      const byte = this.u8();
      value += (byte & 127) * scale;
      if (byte < 128) return value;
    }
  }
  int() {
    const zigzag = this.uint();
    return zigzag % 2 ? -(zigzag + 1) / 2 : zigzag / 2;
  }
  take(count) {
    if (this.at + count > this.bytes.length) throw new Error('payload ends early');
    return this.bytes.slice(this.at, (this.at += count));
  }
}

const scale = (r) => ({ nominal_mhz: r.uint(), nano_per_count: r.uint(), full_scale: r.int() });

function block(kind, r) {
  const head = { kind, first_index: r.uint(), first_us: r.uint(), spacing_ns: r.uint(), flags: r.u8() };
  const samples = r.take(r.uint());
  if (samples.length % 6 !== 0) throw new Error('not whole samples');
  return { ...head, count: samples.length / 6, samples };
}

function outcome(r) {
  if (r.u8() === 0) return 'Accepted';
  const refusal = REFUSALS[r.u8()];
  return refusal === 'OutOfRange' ? `OutOfRange(${SETTING_NAMES[r.u8()]})` : refusal;
}

const MESSAGES = [
  (r) => ({
    kind: 'Hello', protocol: r.u8(), firmware: [...r.take(3)], unique_id: [...r.take(8)], chips: r.u8(), reset: RESET_CAUSES[r.u8()],
    uptime_us: r.uint(), accel: scale(r), gyro: scale(r), surface_period_ms: r.uint(), mounting: [r.i8(), r.i8(), r.i8()],
    streaming: r.u8() === 1,
  }),
  (r) => block('Accel', r),
  (r) => block('Gyro', r),
  (r) => ({ kind: 'Surface', index: r.u8(), t_us: r.uint(), object_raw: r.uint(), ambient_raw: r.uint(), flags: r.u8() }),
  (r) => ({
    kind: 'Health', uptime_us: r.uint(), frames_dropped: r.uint(), samples_lost: r.uint(), fifo_overruns: r.uint(),
    imu_bus_faults: r.uint(), ir_bus_faults: r.uint(), ir_checksum_errors: r.uint(), ir_chip_errors: r.uint(),
    bad_commands: r.uint(), watchdog_resets: r.uint(), imu_centi_c: r.u8() ? r.int() : null, idle_permille: r.uint(),
  }),
  (r) => ({ kind: 'Mark', t_us: r.uint(), index: r.uint() }),
  (r) => ({ kind: 'Pong', token: r.uint(), host_us: r.uint(), sensor_us: r.uint() }),
  (r) => ({ kind: 'Reply', command: r.u8(), outcome: outcome(r) }),
];

/** Reads one payload from the sensor. */
export function decode(payload) {
  const r = new Reader(payload);
  const message = MESSAGES[r.uint()]?.(r);
  if (!message) throw new Error(`unknown kind ${payload[0]}`);
  if (r.at !== payload.length) throw new Error(`${payload.length - r.at} bytes left over`);
  return message;
}

/** Finds frames in a byte stream and calls `sink` with each message; counts what could not be used. */
export class Frames {
  constructor(sink) {
    this.sink = sink;
    this.good = this.bad = this.bytes = 0;
    this.reset();
  }

  /** As after the port was opened: what comes before the first zero is half a frame. */
  reset() {
    this.frame = null;
  }

  feed(bytes) {
    for (const byte of bytes) {
      this.bytes++;
      if (byte !== 0) this.frame?.push(byte);
      else {
        if (this.frame?.length) this.end(Uint8Array.from(this.frame));
        this.frame = [];
      }
    }
  }

  end(raw) {
    const body = uncobs(raw);
    const payload = body.subarray(0, body.length - 4);
    const crc = body.length > 4 ? new DataView(body.buffer).getUint32(body.length - 4, true) : -1;
    if (crc !== crc32(payload)) {
      this.bad++;
      return;
    }
    this.good++;
    this.sink(decode(payload));
  }
}
