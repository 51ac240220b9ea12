// The board: the emulated RP2040 running the unchanged image, virtual chips on its buses, a button and lights on its pins.
//
// Time is emulated time in nanoseconds since the rig started; it does not depend on how fast the emulation runs. A reset by
// the watchdog builds a new RP2040 and keeps what the chip keeps: flash, reset reason and the watchdog's scratch registers.
// The chips on the buses keep their power.

import { ConsoleLogger, GPIOPinState, LogLevel, RP2040 } from 'rp2040js';
import { Lsm6dsox } from '../chips/lsm6dsox.mjs';
import { Mlx90614 } from '../chips/mlx90614.mjs';
import { madeUp } from '../chips/motion.mjs';
import { installBootrom, installFlashId } from './bootrom.mjs';
import { flashImage } from './elf.mjs';
import { I2cBus } from './i2c.mjs';
import { Uart } from './uart.mjs';
import { UsbHost } from './usb.mjs';

const SimulationClock = new RP2040().clock.constructor; // not exported by name
const RESETS = 0x4000c;
const RESET_I2C0 = 1 << 3;
const RESET_I2C1 = 1 << 4;
const TIMER = 0x40054;
const WATCHDOG = 0x40058;
const WATCHDOG_TIMER = 1; // REASON, RP2040 datasheet 4.7.6
const BOOT2_BYTES = 256;
const BOOT2_RUNS_AT = 0x20041f00;
const VECTOR_TABLE = 0x10000100;
const FLASH_START = 0x10000000;
const CYCLE_NS = 8; // 125 MHz
export const UNIQUE_ID = [0xe6, 0x61, 1, 2, 3, 4, 5, 6];
/** The wiring, as in firmware/board/src/pins.rs. */
export const PINS = { imuSda: 4, imuScl: 5, irSda: 6, irScl: 7, mark: 15, plain: 25, red: 16, green: 17, blue: 18, buzzer: 14 };

export class Board {
  /** `link` is `'usb'` or `'uart'`, and may be set anew later; `world` gives motion and temperatures; `rateError` is that of the motion chip. */
  constructor(image, { link = 'usb', world = madeUp(), rateError = 0.021, imuPresent = true, irPresent = true, boot2 = false } = {}) {
    this.link = link;
    this.boot2 = boot2;
    this.flash = flashImage(image);
    this.resets = 0;
    this.loaderAsked = false;
    this.sleptNs = 0;
    this.ranNs = 0;
    this.pressed = false;
    /** Called with bytes that the sensor sends. */
    this.onBytes = () => {};
    /** Called when the USB device has been configured, also again after a reset. */
    this.onConfigured = () => {};
    // One clock for the whole life of the rig: chips keep time through a reset of the microcontroller.
    this.clock = new SimulationClock();
    this.imu = new Lsm6dsox(this.clock, world.motion, { rateError });
    this.ir = new Mlx90614(world.temperatures);
    this.imu.present = imuPresent;
    this.ir.present = irPresent;
    this.boot(null);
  }

  get nanos() {
    return this.clock.nanos;
  }

  /** Runs until `nanos`. */
  runTo(nanos) {
    while (this.clock.nanos < nanos) {
      this.slice(nanos);
      if (this.keep) this.boot(this.keep);
    }
  }

  run(seconds) {
    this.runTo(this.nanos + seconds * 1e9);
  }

  /** Bytes from the host. */
  send(bytes) {
    if (this.link === 'usb') this.usb.hostSends(bytes);
    else this.uart.hostSends(bytes);
  }

  heard(link, bytes) {
    if (link === this.link) this.onBytes(bytes);
  }

  /** The mark button's contact closes (`true`) or opens. */
  press(closed) {
    this.pressed = closed;
    this.mcu.gpio[PINS.mark].setInputValue(!closed);
  }

  /** The firmware hangs for good: asleep with every interrupt off, at an address of its own where no code of the image is. */
  hang() {
    const { core } = this.mcu;
    const scratch = 0x20041e00;
    this.mcu.writeUint16(scratch, 0xbf30); // wfi
    this.mcu.writeUint16(scratch + 2, 0xe7fd); // b .-2
    core.PM = true;
    core.enabledInterrupts = 0;
    core.PC = scratch;
    core.waiting = false;
  }

  /** The loader, when a new firmware has been copied, restarts the chip through the watchdog's timer; the scratch registers stay. */
  loaderRestarts() {
    this.boot({ reason: WATCHDOG_TIMER, scratch: this.mcu.peripherals[WATCHDOG].scratchData.slice() });
  }

  /** Power is cut and comes back: nothing is kept but flash. */
  powerCycle() {
    this.imu.powerOn();
    this.boot({ reason: 0, scratch: new Uint32Array(8) });
  }

  /** Share of the time since `mark` that a PWM or plain output was high, and how often it rose. */
  watch(pin) {
    const gpio = this.mcu.gpio[pin];
    const seen = { since: this.nanos, high: 0, rises: 0, at: this.nanos, level: gpio.value === GPIOPinState.High };
    const settle = () => {
      if (seen.level) seen.high += this.nanos - seen.at;
      seen.at = this.nanos;
    };
    const remove = gpio.addListener((value) => {
      settle();
      const level = value === GPIOPinState.High;
      if (level && !seen.level) seen.rises++;
      seen.level = level;
    });
    return () => {
      settle();
      remove();
      return { share: seen.high / (this.nanos - seen.since), rises: seen.rises };
    };
  }

  boot(keep) {
    if (this.mcu) {
      this.resets++;
      this.silence();
    }
    this.keep = null;
    const mcu = new RP2040(this.clock);
    this.mcu = mcu;
    mcu.logger = new ConsoleLogger(LogLevel.Error, false);
    mcu.flash.set(this.flash);
    installBootrom(mcu, () => {
      this.loaderAsked = true;
    });
    installFlashId(mcu, UNIQUE_ID);
    this.uart = Uart.install(mcu, 0);
    this.usb = new UsbHost(mcu);
    this.usb.onData = (bytes) => this.heard('usb', bytes);
    this.usb.onConfigured = () => {
      if (this.link === 'usb') this.onConfigured();
    };
    this.uart.onSent = (byte) => this.heard('uart', Uint8Array.of(byte));
    this.imuBus = new I2cBus(mcu, mcu.i2c[0], { 0x6a: this.imu }, { sda: PINS.imuSda, scl: PINS.imuScl });
    this.irBus = new I2cBus(mcu, mcu.i2c[1], { 0x5a: this.ir }, { sda: PINS.irSda, scl: PINS.irScl });
    this.startTimer();
    this.hookResets();
    this.hookWatchdog(keep);
    mcu.gpio[PINS.mark].setInputValue(!this.pressed);
    if (this.boot2) this.startThroughBoot2();
    else this.startAtVectors();
  }

  startAtVectors() {
    const { core } = this.mcu;
    core.VTOR = VECTOR_TABLE;
    core.SP = this.mcu.readUint32(VECTOR_TABLE);
    core.PC = this.mcu.readUint32(VECTOR_TABLE + 4) & ~1;
  }

  /** As the ROM does it: the second stage is copied to RAM, runs there and finds the image itself. */
  startThroughBoot2() {
    for (let i = 0; i < BOOT2_BYTES; i++) this.mcu.writeUint8(BOOT2_RUNS_AT + i, this.mcu.readUint8(FLASH_START + i));
    this.mcu.core.SP = BOOT2_RUNS_AT; // the ROM leaves a stack; where it is does not matter
    this.mcu.core.LR = 0;
    this.mcu.core.PC = BOOT2_RUNS_AT;
  }

  /** The microcontroller's own clock starts at zero with every reset; the rig's goes on. */
  startTimer() {
    const { clock } = this;
    const started = clock.nanos;
    this.mcu.peripherals[TIMER].clock = {
      get nanos() {
        return clock.nanos - started;
      },
    };
  }

  hookResets() {
    const resets = this.mcu.peripherals[RESETS];
    const write = resets.writeUint32.bind(resets);
    resets.writeUint32 = (offset, value) => {
      write(offset, value);
      if (offset !== 0) return;
      if (value & RESET_I2C0) this.imuBus.reset();
      if (value & RESET_I2C1) this.irBus.reset();
    };
  }

  hookWatchdog(keep) {
    const watchdog = this.mcu.peripherals[WATCHDOG];
    if (keep) {
      watchdog.reason = keep.reason;
      watchdog.scratchData.set(keep.scratch);
    }
    watchdog.onWatchdogTrigger = () => {
      watchdog.alarm.enable = false;
      watchdog.timer.enable = false;
      this.keep = { reason: watchdog.reason, scratch: watchdog.scratchData.slice() };
    };
  }

  /** The old microcontroller's timers must not go on beside the new one's. The chips' own alarms stay. */
  silence() {
    const chips = new Set([this.imu.tick]);
    let alarm = this.clock.nextAlarm;
    while (alarm) {
      const { next } = alarm;
      if (!chips.has(alarm)) alarm.cancel();
      alarm = next;
    }
  }

  /** Runs until `end` or a reset; sleeping costs nothing. */
  slice(end) {
    const { clock } = this;
    const { core } = this.mcu;
    let ran = 0;
    let slept = 0;
    while (clock.nanosCounter < end && !this.keep) {
      if (core.waiting) {
        const next = clock.nextAlarm;
        const until = next ? Math.min(next.nanos, end) : end;
        const span = Math.max(0, until - clock.nanosCounter);
        slept += span;
        clock.tick(span);
      } else {
        const span = core.executeInstruction() * CYCLE_NS;
        ran += span;
        const now = (clock.nanosCounter += span);
        const next = clock.nextAlarm;
        if (next !== null && next.nanos <= now) clock.tick(0);
      }
    }
    this.ranNs += ran;
    this.sleptNs += slept;
  }
}
