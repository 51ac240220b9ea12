// The cable between the emulated board and a real program: a pseudo-terminal, and the pace of the clock.

import { spawn } from 'node:child_process';
import fs from 'node:fs';
import { fileURLToPath } from 'node:url';

const SLICE_NS = 20e6;
const MAX_BEHIND_NS = 500e6;
/** The program speaks twice a second of its own clock; the sensor stops streaming after three emulated ones without a word. */
const LONGEST_WAIT_NS = 2e9;
const TERMINAL = fileURLToPath(new URL('terminal.py', import.meta.url));

export class Cable {
  /**
   * `path` is the port that the program opens; `speed` how many emulated seconds a second, at most. With `patient`, emulated
   * time also stands still while the program has more to read than the terminal holds, or has not spoken for two emulated
   * seconds: what happens then depends neither on how fast this machine is nor on what else it does.
   */
  constructor(board, path, { speed = 1, patient = false } = {}) {
    Object.assign(this, { board, path, speed, patient });
    this.terminal = null;
    this.heardNs = 0;
    /** Called with the bytes too, for who wants to look on. */
    this.onBytes = () => {};
    board.onBytes = (bytes) => this.carry(bytes);
    board.onConfigured = () => {
      if (this.terminal) board.usb.setOpen(true);
    };
  }

  carry(bytes) {
    if (!this.terminal) return;
    this.onBytes(bytes);
    // A program that does not read fills the terminal, then the pipe: the USB host then stops asking, as a real one does.
    if (!this.terminal.stdin.write(bytes) && this.board.link === 'usb') {
      this.board.usb.setReading(false);
      this.terminal.stdin.once('drain', () => this.board.usb.setReading(true));
    }
  }

  /** Plugs the cable in. */
  async plug() {
    const terminal = spawn('python3', [TERMINAL, this.path], { stdio: ['pipe', 'pipe', 'inherit'] });
    terminal.stdout.on('data', (bytes) => {
      this.heardNs = this.board.nanos;
      this.board.send(bytes);
    });
    terminal.stdin.on('error', () => {}); // the other end goes first when it is pulled
    while (!fs.existsSync(this.path)) {
      if (terminal.exitCode !== null) throw new Error(`no pseudo-terminal at ${this.path}`);
      await sleep(5);
    }
    this.terminal = terminal;
    this.heardNs = this.board.nanos;
    this.board.usb.setReading(true); // the one before may have been pulled while it was full
    if (this.board.link === 'usb' && this.board.usb.configured) this.board.usb.setOpen(true);
  }

  /** Pulls it: the port goes away. */
  async pull() {
    const { terminal } = this;
    this.terminal = null;
    if (this.board.link === 'usb') this.board.usb.setOpen(false);
    terminal.kill();
    await new Promise((gone) => terminal.on('exit', gone));
  }

  /** Whether emulated time stands still until the program has caught up. */
  get waits() {
    return this.patient && this.terminal !== null && (!this.board.usb.reading || this.board.nanos - this.heardNs > LONGEST_WAIT_NS);
  }

  /**
   * Runs the board at the clock's pace until `until()` says so; when this machine is too slow, emulated time slips. Gives up
   * after `limit_s` of the clock.
   */
  async run(until, limit_s = 300) {
    const start = process.hrtime.bigint();
    const from = this.board.nanos;
    let slipped = 0;
    while (!until()) {
      const elapsedNs = Number(process.hrtime.bigint() - start);
      if (elapsedNs > limit_s * 1e9) throw new Error(`still waiting after ${limit_s} s`);
      const due = from + elapsedNs * this.speed - slipped;
      let behind = due - this.board.nanos;
      if (behind > MAX_BEHIND_NS) {
        slipped += behind - MAX_BEHIND_NS;
        behind = MAX_BEHIND_NS;
      }
      const goes = behind > 0 && !this.waits;
      if (goes) this.board.runTo(this.board.nanos + Math.min(behind, SLICE_NS));
      await (goes && behind > SLICE_NS ? breathe() : sleep(2));
    }
  }

  /** Runs it for so many emulated seconds. */
  runFor(seconds) {
    const end = this.board.nanos + seconds * 1e9;
    return this.run(() => this.board.nanos >= end);
  }
}

export const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const breathe = () => new Promise((done) => setImmediate(done));
