// A UART with FIFOs and line time: the emulator's own sends at once and cannot drive interrupts as the PL011 does.
//
// PL011 technical reference (Arm DDI 0183): 32-byte FIFOs, interrupt levels in UARTIFLS, a transmit interrupt on the way
// down through its level only, a receive timeout after 32 bit times, an overrun flag.

import { RP2040 } from 'rp2040js';

const StockUart = new RP2040().uart[0].constructor;
const DR = 0x00, RSR = 0x04, FR = 0x18, CR = 0x30, IFLS = 0x34, IMSC = 0x38, RIS = 0x3c, MIS = 0x40, ICR = 0x44, DMACR = 0x48;
const RX = 1 << 4, TX = 1 << 5, RECEIVE_TIMEOUT = 1 << 6, OVERRUN = 1 << 10;
const LEVELS = [4, 8, 16, 24, 28];
const DEPTH = 32;
const BITS_PER_BYTE = 10;

export class Uart extends StockUart {
  /** Replaces UART `n` of `mcu`. */
  static install(mcu, n) {
    const stock = mcu.uart[n];
    const uart = new Uart(mcu, stock.name, stock.irq, stock.dreq);
    mcu.uart[n] = uart;
    mcu.peripherals[n === 0 ? 0x40034 : 0x40038] = uart;
    return uart;
  }

  constructor(...args) {
    super(...args);
    this.sendFifo = [];
    this.receiveFifo = [];
    this.fromHost = [];
    this.levels = 0x12;
    this.raised = 0;
    this.shifting = false;
    this.receiving = false;
    this.overruns = 0;
    /** Called with each byte that leaves the chip. */
    this.onSent = () => {};
    const { clock } = this.rp2040;
    this.sendAlarm = clock.createAlarm(() => this.byteSent());
    this.receiveAlarm = clock.createAlarm(() => this.byteReceived());
    this.timeoutAlarm = clock.createAlarm(() => {
      if (this.receiveFifo.length > 0) {
        this.raised |= RECEIVE_TIMEOUT;
        this.update();
      }
    });
  }

  /** The host sends `bytes`, one after the other at line speed. */
  hostSends(bytes) {
    for (const byte of bytes) this.fromHost.push(byte);
    if (!this.receiving && this.fromHost.length > 0) this.startReceiving();
  }

  get byteNs() {
    return this.baudDivider ? (BITS_PER_BYTE * 1e9) / this.baudRate : 1e6;
  }

  update() {
    this.rp2040.setInterrupt(this.irq, !!(this.raised & this.interruptMask));
  }

  startSending() {
    if (this.shifting || this.sendFifo.length === 0) return;
    this.shifting = true;
    this.current = this.sendFifo.shift();
    if (this.sendFifo.length === LEVELS[this.levels & 7]) this.raised |= TX;
    this.sendAlarm.schedule(this.byteNs);
  }

  byteSent() {
    this.shifting = false;
    this.onSent(this.current);
    this.startSending();
    this.update();
  }

  startReceiving() {
    this.receiving = true;
    this.receiveAlarm.schedule(this.byteNs);
  }

  byteReceived() {
    const byte = this.fromHost.shift();
    if (this.enabled && this.rxEnabled) {
      if (this.receiveFifo.length >= DEPTH) {
        this.raised |= OVERRUN;
        this.overruns++;
      } else {
        this.receiveFifo.push(byte);
        if (this.receiveFifo.length >= this.receiveLevel) this.raised |= RX;
        this.timeoutAlarm.schedule((32 * this.byteNs) / BITS_PER_BYTE);
      }
    }
    this.receiving = false;
    if (this.fromHost.length > 0) this.startReceiving();
    this.update();
  }

  get receiveLevel() {
    return LEVELS[(this.levels >> 3) & 7];
  }

  readUint32(offset) {
    switch (offset) {
      case DR: {
        const byte = this.receiveFifo.shift() ?? 0;
        if (this.receiveFifo.length < this.receiveLevel) this.raised &= ~RX;
        if (this.receiveFifo.length === 0) {
          this.raised &= ~RECEIVE_TIMEOUT;
          this.timeoutAlarm.cancel();
        }
        this.update();
        return byte;
      }
      case FR: {
        const [sends, receives] = [this.sendFifo.length, this.receiveFifo.length];
        const full = (sends >= DEPTH ? 0x20 : 0) | (receives >= DEPTH ? 0x40 : 0);
        const empty = (sends === 0 ? 0x80 : 0) | (receives === 0 ? 0x10 : 0);
        return full | empty | (this.shifting || sends > 0 ? 0x08 : 0);
      }
      case IFLS:
        return this.levels;
      case IMSC:
        return this.interruptMask;
      case RIS:
        return this.raised;
      case MIS:
        return this.raised & this.interruptMask;
      case DMACR:
        return 0;
      default:
        return super.readUint32(offset);
    }
  }

  writeUint32(offset, value) {
    switch (offset) {
      case DR:
        if (this.sendFifo.length < DEPTH) this.sendFifo.push(value & 0xff);
        this.startSending();
        break;
      case RSR:
        return;
      case CR:
        this.ctrlRegister = value;
        break;
      case IFLS:
        this.levels = value;
        return;
      case IMSC:
        this.interruptMask = value & 0x7ff;
        break;
      case ICR:
        this.raised &= ~this.rawWriteValue;
        break;
      case DMACR:
        return;
      default:
        super.writeUint32(offset, value);
        return;
    }
    this.update();
  }
}
