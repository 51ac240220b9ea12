// LSM6DSOX at register level, as far as the sensor uses it: identity, reset, ranges, rates, FIFO in continuous mode.
//
// Registers after the vendor's public header and data sheet DS12814; written from those, not from the driver under test.
// From memory: the slot counter counts ticks of the fastest sensor, the gyro's word stands before the accelerometer's of
// the same slot, the software reset takes 50 µs.

const R = {
  FUNC_CFG_ACCESS: 0x01, FIFO_CTRL3: 0x09, FIFO_CTRL4: 0x0a, WHO_AM_I: 0x0f, CTRL1_XL: 0x10, CTRL2_G: 0x11, CTRL3_C: 0x12,
  OUT_TEMP_L: 0x20, OUT_TEMP_H: 0x21, FIFO_STATUS1: 0x3a, FIFO_STATUS2: 0x3b, FIFO_TAG: 0x78, FIFO_LAST: 0x7e,
};
const RESET_VALUES = { [R.WHO_AM_I]: 0x6c, [R.CTRL3_C]: 0x04, 0x18: 0xe0 };
const SW_RESET = 0x01, IF_INC = 0x04;
const CONTINUOUS = 6;
const FIFO_WORDS = 512;
const TAG_GYRO = 1, TAG_ACCEL = 2;
const BASE_HZ = 6666.6667; // of which the named rates are 1, 1/2, 1/4, ...: 1667 is a quarter
const RATE_CODES = { 5: 32, 6: 16, 7: 8, 8: 4, 9: 2, 10: 1 }; // code: divider of the base
const ACCEL_G_PER_COUNT = { 0: 0.061e-3, 1: 0.488e-3, 2: 0.122e-3, 3: 0.244e-3 };
const STANDARD_GRAVITY = 9.80665;
const GYRO_DPS_PER_COUNT = { 0: 8.75e-3, 1: 17.5e-3, 2: 35e-3, 3: 70e-3 };
const WRITE = 0;

const toCounts = (value, perCount) => Math.max(-32768, Math.min(32767, Math.round(value / perCount)));

export class Lsm6dsox {
  /**
   * `motion(k, t_s)` gives sample k at t_s: `{ accel: m/s² of x, y, z, gyro: rad/s }`.
   * `rateError` is how much faster than its name the chip's oscillator runs.
   */
  constructor(clock, motion, { rateError = 0 } = {}) {
    this.clock = clock;
    this.motion = motion;
    this.trueAccelHz = (BASE_HZ / 4) * (1 + rateError);
    this.basePeriodNs = 1e9 / (BASE_HZ * (1 + rateError));
    this.present = true;
    this.celsius = 31.25;
    this.taken = 0; // accelerometer samples since power-on of the rig, for the truth
    this.overwritten = 0;
    this.largestLevel = 0;
    this.tick = clock.createAlarm(() => this.sample());
    this.powerOn();
  }

  /** Power comes (back) on: every register and the buffer are as after reset. */
  powerOn() {
    this.registers = new Uint8Array(256);
    for (const [register, value] of Object.entries(RESET_VALUES)) this.registers[register] = value;
    this.fifo = [];
    this.overrun = this.overrunLatched = false;
    this.slot = 0;
    this.slotCounter = 0;
    this.pointer = 0;
    this.expectsRegister = true;
    this.tick.cancel();
    this.periodNs = 0;
  }

  get divider() {
    return RATE_CODES[this.registers[R.CTRL1_XL] >> 4] ?? 0;
  }

  sample() {
    this.nextNs += this.periodNs;
    this.tick.schedule(this.nextNs - this.clock.nanos);
    this.slot++;
    const { accel, gyro } = this.motion(this.taken++, this.clock.nanos / 1e9);
    if ((this.registers[R.FIFO_CTRL4] & 7) !== CONTINUOUS) return;
    this.slotCounter = (this.slotCounter + 1) & 3;
    const gyroEvery = RATE_CODES[this.registers[R.FIFO_CTRL3] >> 4] / this.divider;
    if (gyroEvery >= 1 && this.slot % gyroEvery === 0 && this.registers[R.CTRL2_G] >> 4) {
      const perCount = (GYRO_DPS_PER_COUNT[(this.registers[R.CTRL2_G] >> 2) & 3] * Math.PI) / 180;
      this.push(TAG_GYRO, gyro.map((v) => toCounts(v, perCount)));
    }
    if (this.registers[R.FIFO_CTRL3] & 0xf) {
      const perCount = ACCEL_G_PER_COUNT[(this.registers[R.CTRL1_XL] >> 2) & 3] * STANDARD_GRAVITY;
      this.push(TAG_ACCEL, accel.map((v) => toCounts(v, perCount)));
    }
  }

  push(tag, counts) {
    if (this.fifo.length >= FIFO_WORDS) {
      this.fifo.shift();
      this.overwritten++;
      this.overrun = this.overrunLatched = true;
    }
    const word = new Uint8Array(7);
    const view = new DataView(word.buffer);
    const byte = (tag << 3) | (this.slotCounter << 1);
    word[0] = byte | (parity(byte) ? 1 : 0);
    counts.forEach((count, axis) => view.setInt16(1 + 2 * axis, count, true));
    this.fifo.push(word);
    this.largestLevel = Math.max(this.largestLevel, this.fifo.length);
  }

  setRate() {
    const periodNs = this.divider * this.basePeriodNs;
    if (periodNs === this.periodNs) return;
    this.periodNs = periodNs;
    this.tick.cancel();
    if (periodNs === 0) return;
    this.nextNs = this.clock.nanos + periodNs;
    this.tick.schedule(periodNs);
  }

  connect(mode) {
    if (mode === WRITE) this.expectsRegister = true;
    return this.present;
  }

  write(byte) {
    if (this.expectsRegister) {
      this.pointer = byte;
      this.expectsRegister = false;
      return true;
    }
    const register = this.pointer;
    this.advance();
    if (register === R.WHO_AM_I || register >= R.FIFO_STATUS1) return true; // read only
    this.registers[register] = byte;
    if (register === R.CTRL3_C && byte & SW_RESET) {
      this.powerOn();
      this.registers[R.CTRL3_C] |= SW_RESET;
      this.resetEndsNs = this.clock.nanos + 50_000;
    }
    if (register === R.CTRL1_XL) this.setRate();
    if (register === R.FIFO_CTRL4 && (byte & 7) === 0) {
      this.fifo = [];
      this.overrun = this.overrunLatched = false;
    }
    return true;
  }

  read() {
    const register = this.pointer;
    if (register === R.CTRL3_C && this.clock.nanos >= this.resetEndsNs) this.registers[R.CTRL3_C] &= ~SW_RESET;
    const value = this.valueOf(register);
    if (register === R.FIFO_LAST) this.fifo.shift();
    this.advance();
    return value;
  }

  valueOf(register) {
    if (register >= R.FIFO_TAG && register <= R.FIFO_LAST) return this.fifo[0]?.[register - R.FIFO_TAG] ?? 0;
    switch (register) {
      case R.FIFO_STATUS1:
        return this.fifo.length & 0xff;
      case R.FIFO_STATUS2: {
        const full = this.fifo.length >= FIFO_WORDS ? 0x20 : 0;
        const flags = (this.overrun ? 0x40 : 0) | full | (this.overrunLatched ? 0x08 : 0);
        this.overrun = this.overrunLatched = false;
        return (this.fifo.length >> 8) | flags;
      }
      case R.OUT_TEMP_L:
      case R.OUT_TEMP_H: {
        const word = Math.round((this.celsius - 25) * 256) & 0xffff;
        return register === R.OUT_TEMP_L ? word & 0xff : word >> 8;
      }
      default:
        return this.registers[register];
    }
  }

  advance() {
    if (!(this.registers[R.CTRL3_C] & IF_INC)) return;
    this.pointer = this.pointer === R.FIFO_LAST ? R.FIFO_TAG : (this.pointer + 1) & 0xff;
  }

  stop() {}
}

const parity = (byte) => {
  let ones = 0;
  for (let rest = byte; rest; rest >>= 1) ones ^= rest & 1;
  return ones;
};
