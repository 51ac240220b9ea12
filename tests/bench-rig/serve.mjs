// The emulated sensor as a port to play with: `node serve.mjs IMAGE PORT [--uart] [--table sensor.csv]`, then
// `steadypass record --port PORT`. Type `help` for what can be broken meanwhile.

import readline from 'node:readline';
import { parseArgs } from 'node:util';
import { Cable } from './cable.mjs';
import { fromTable } from './chips/motion.mjs';
import { Board } from './emulator/board.mjs';

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { uart: { type: 'boolean', default: false }, table: { type: 'string' } },
});
const [image, port] = positionals;
if (!port) {
  console.error('usage: node serve.mjs IMAGE PORT [--uart] [--table sensor.csv]');
  process.exit(2);
}
const world = values.table ? fromTable(values.table) : undefined;
const rateError = world ? 0.0006 / world.spacing_s - 1 : 0.021;
const board = new Board(image, { link: values.uart ? 'uart' : 'usb', world, rateError });
const cable = new Cable(board, port);

const FAULTS = {
  'imu off': () => (board.imu.present = false),
  'imu on': () => (board.imu.present = true),
  'imu power': () => board.imu.powerOn(),
  'ir off': () => (board.ir.present = false),
  'ir on': () => (board.ir.present = true),
  'ir checksum': () => (board.ir.badChecksums += 3),
  'ir flag': () => (board.ir.flagged += 3),
  'sda imu': () => board.imuBus.holdSda(5),
  'sda ir': () => board.irBus.holdSda(5),
  deaf: () => board.usb.setReading(false),
  hear: () => board.usb.setReading(true),
  garbage: () => board.send(Uint8Array.from({ length: 500 }, () => Math.random() * 256)),
  hang: () => board.hang(),
  power: () => board.powerCycle(),
  play: () => world?.play(),
  press: () => board.press(true),
  release: () => board.press(false),
  pull: () => cable.pull(),
  plug: () => cable.plug(),
};

await cable.plug();
console.log(`the virtual sensor is at ${port}; type help`);
readline.createInterface({ input: process.stdin }).on('line', async (line) => {
  const fault = FAULTS[line.trim()];
  if (fault) await fault();
  else console.log(Object.keys(FAULTS).join(', '));
});
await cable.run(() => false, Infinity);
