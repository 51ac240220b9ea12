// Reads the loadable parts of the firmware's ELF file into an image of the flash chip.

import fs from 'node:fs';

const FLASH_START = 0x10000000;
const FLASH_BYTES = 2 * 1024 * 1024;
const PT_LOAD = 1;

/** Flash image (erased where nothing is loaded) of the 32-bit little-endian ELF file at `path`. */
export function flashImage(path) {
  const file = fs.readFileSync(path);
  if (file.readUInt32BE(0) !== 0x7f454c46 || file[4] !== 1) throw new Error(`${path} is not a 32-bit ELF file`);
  const flash = new Uint8Array(FLASH_BYTES).fill(0xff);
  const table = file.readUInt32LE(28);
  const entrySize = file.readUInt16LE(42);
  const entries = file.readUInt16LE(44);
  for (let i = 0; i < entries; i++) {
    const entry = table + i * entrySize;
    const offset = file.readUInt32LE(entry + 4);
    const address = file.readUInt32LE(entry + 12); // physical: where it is stored, not where it runs
    const size = file.readUInt32LE(entry + 16);
    if (file.readUInt32LE(entry) !== PT_LOAD || size === 0) continue;
    const at = address - FLASH_START;
    if (at < 0 || at + size > FLASH_BYTES) throw new Error(`${path}: ${size} bytes at ${address.toString(16)} are not flash`);
    flash.set(file.subarray(offset, offset + size), at);
  }
  return flash;
}
