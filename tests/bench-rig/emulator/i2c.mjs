// An I2C bus with time, virtual chips and faults on top of the emulator's controller.
//
// The emulator's controller completes every byte at once and lacks interrupt masks; both are added here. Chips are objects
// with `connect(mode)`, `write(byte)`, `read(ack)` and `stop()`.

import { GPIOPinState } from 'rp2040js';

const IC_INTR_MASK = 0x30;
const IC_RX_TL = 0x38;
const RX_FULL = 1 << 2;
const IDLE = 0;
const BITS_PER_BYTE = 9;

export class I2cBus {
  /** `chips` maps 7-bit addresses to chips; `sda` and `scl` are GPIO numbers. */
  constructor(mcu, controller, chips, { sda, scl }) {
    this.mcu = mcu;
    this.controller = controller;
    this.chips = chips;
    this.sda = mcu.gpio[sda];
    this.scl = mcu.gpio[scl];
    this.nacks = 0;
    this.clears = 0;
    this.pending = null;
    this.waitingStart = null;
    this.clocksToRelease = 0;
    this.alarm = mcu.clock.createAlarm(() => {
      const step = this.pending;
      this.pending = null;
      step?.();
    });
    // Pull-ups.
    this.sda.setInputValue(true);
    this.scl.setInputValue(true);
    this.scl.addListener((now, before) => {
      if (before === GPIOPinState.Low && now !== GPIOPinState.Low) this.clockByHand();
    });
    this.mask();
    this.time();
  }

  /** A chip holds SDA low until it has seen `clocks` clocks; `Infinity` for a short to ground. */
  holdSda(clocks) {
    this.clocksToRelease = clocks;
    this.sda.setInputValue(false);
  }

  /** The short is gone. */
  releaseSda() {
    this.clocksToRelease = 0;
    this.sda.setInputValue(true);
    const start = this.waitingStart;
    this.waitingStart = null;
    if (start) this.after(1, start);
  }

  /** What a reset of the controller by the chip's reset register does. */
  reset() {
    const i2c = this.controller;
    this.alarm.cancel();
    this.pending = this.waitingStart = null;
    i2c.rxFIFO.reset();
    i2c.txFIFO.reset();
    Object.assign(i2c, { state: IDLE, busy: false, stop: false, pendingRestart: false, firstByte: false });
    Object.assign(i2c, { enable: 0, abortSource: 0, intRaw: 0, intEnable: 0, rxThreshold: 0, txThreshold: 0 });
    i2c.checkInterrupts();
  }

  clockByHand() {
    if (this.clocksToRelease === 0) return;
    this.clears++;
    this.clocksToRelease--;
    if (this.clocksToRelease === 0) this.releaseSda();
  }

  /** Interrupt masks, and the receive threshold looked at again when it is written. */
  mask() {
    const i2c = this.controller;
    const write = i2c.writeUint32.bind(i2c);
    i2c.writeUint32 = (offset, value) => {
      if (offset === IC_INTR_MASK) {
        i2c.intEnable = value & 0x1fff;
        i2c.checkInterrupts();
        return;
      }
      write(offset, value);
      if (offset === IC_RX_TL && i2c.rxFIFO.itemCount > i2c.rxThreshold) i2c.setInterrupts(RX_FULL);
    };
  }

  after(bits, step) {
    const { sclHighPeriod, sclLowPeriod } = this.controller;
    this.pending = step;
    this.alarm.schedule((bits * (sclHighPeriod + sclLowPeriod) * 1e9) / this.mcu.clkPeri);
  }

  time() {
    const i2c = this.controller;
    let chip = null;
    i2c.onStart = () => {
      const start = () => i2c.completeStart();
      // A controller that finds SDA low waits for a free bus, for ever if need be.
      if (this.clocksToRelease > 0) this.waitingStart = start;
      else this.after(1, start);
    };
    i2c.onConnect = (address, mode) =>
      this.after(BITS_PER_BYTE, () => {
        chip = this.chips[address];
        const acknowledged = !!chip?.connect(mode);
        if (!acknowledged) this.nacks++;
        i2c.completeConnect(acknowledged);
      });
    i2c.onWriteByte = (byte) => this.after(BITS_PER_BYTE, () => i2c.completeWrite(chip.write(byte)));
    i2c.onReadByte = (ack) => this.after(BITS_PER_BYTE, () => i2c.completeRead(chip.read(ack)));
    i2c.onStop = () =>
      this.after(1, () => {
        chip?.stop();
        i2c.completeStop();
      });
  }
}
