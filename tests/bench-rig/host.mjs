// A host for tests: speaks the wire to the board in emulated time and keeps what it hears.

import { Frames, encode } from './wire.mjs';

const PING_NS = 500e6;

export class Host {
  /** Opens the port as soon as it is there; pings twice a second unless `pings` is false. */
  constructor(board, { pings = true } = {}) {
    this.board = board;
    this.pings = pings;
    this.messages = [];
    this.frames = new Frames((message) => this.messages.push({ ...message, at_us: board.nanos / 1e3 }));
    this.token = 0;
    this.open = true;
    this.nextPing = 0;
    board.onBytes = (bytes) => {
      if (this.open) this.frames.feed(bytes);
    };
    board.onConfigured = () => {
      if (this.open) board.usb.setOpen(true);
    };
  }

  /** Runs the board for `seconds`, pinging on the way. */
  run(seconds) {
    const end = this.board.nanos + seconds * 1e9;
    while (this.board.nanos < end) {
      if (this.pings && this.open && this.board.nanos >= this.nextPing) {
        this.nextPing = this.board.nanos + PING_NS;
        this.say({ kind: 'Ping', token: ++this.token, host_us: Math.round(this.board.nanos / 1e3) });
      }
      this.board.runTo(Math.min(end, Math.max(this.nextPing, this.board.nanos + 1e6)));
    }
  }

  say(command) {
    this.board.send(encode(command));
  }

  /** Says `command` and waits, at most a second, for the first new message that `wanted` accepts. */
  ask(command, wanted) {
    const from = this.messages.length;
    this.say(command);
    for (let ms = 0; ms < 1000; ms++) {
      this.run(0.001);
      const answer = this.messages.slice(from).find(wanted);
      if (answer) return answer;
    }
    throw new Error(`no answer to ${command.kind} within a second`);
  }

  reply(command) {
    return this.ask(command, (m) => m.kind === 'Reply').outcome;
  }

  hello() {
    return this.ask({ kind: 'Identify' }, (m) => m.kind === 'Hello');
  }

  /** Waits until the sensor is up and starts the stream. */
  start() {
    this.run(0.3);
    const outcome = this.reply({ kind: 'Start' });
    if (outcome !== 'Accepted') throw new Error(`start refused: ${JSON.stringify(outcome)}`);
  }

  of(kind) {
    return this.messages.filter((m) => m.kind === kind);
  }

  /** The newest health report, at most a good second old. */
  health() {
    this.run(1.1);
    const health = this.of('Health').at(-1);
    if (!health) throw new Error('no health report');
    return health;
  }

  /** The program closes the port, or the cable is pulled. */
  close() {
    this.open = false;
    if (this.board.link === 'usb') this.board.usb.setOpen(false);
  }

  reopen() {
    this.open = true;
    this.frames.reset();
    if (this.board.link === 'usb') this.board.usb.setOpen(true);
  }

  forget() {
    this.messages = [];
  }
}

/** Holes in the sample numbers of `blocks`: `{ first, missing }`. */
export function holes(blocks) {
  const found = [];
  for (let i = 1; i < blocks.length; i++) {
    const expected = (blocks[i - 1].first_index + blocks[i - 1].count) >>> 0;
    const missing = (blocks[i].first_index - expected) | 0;
    if (missing !== 0) found.push({ first: expected, missing, flags: blocks[i].flags });
  }
  return found;
}
