// MLX90614 at register level, as far as the sensor uses it: two RAM words with their checksum, and its faults.
//
// After application note 390119061402: 0.02 K per count (p. 14), error bit, checksum over all bytes (p. 19).

const RAM_AMBIENT = 0x06;
const RAM_OBJECT = 0x07;
const WRITE = 0;
const ZERO_CELSIUS_K = 273.15;

/** CRC-8, polynomial 0x07, start 0. */
export function pec(bytes) {
  let crc = 0;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = crc & 0x80 ? ((crc << 1) ^ 0x07) & 0xff : crc << 1;
  }
  return crc;
}

export class Mlx90614 {
  /** `temperatures()` gives `{ surface, ambient }` in °C now. */
  constructor(temperatures, address = 0x5a) {
    this.temperatures = temperatures;
    this.address = address;
    this.present = true;
    this.badChecksums = 0; // so many answers to come are spoilt
    this.flagged = 0; // so many answers to come have the error bit
    this.written = 0; // bytes written beyond the command: there must never be any
    this.reads = 0;
  }

  connect(mode) {
    this.at = 0;
    if (mode === WRITE) this.command = null;
    return this.present;
  }

  write(byte) {
    if (this.command === null) this.command = byte;
    else this.written++;
    return true;
  }

  read() {
    if (this.at === 0) this.answer = this.makeAnswer();
    return this.answer[this.at++] ?? 0xff;
  }

  makeAnswer() {
    const { surface, ambient } = this.temperatures();
    const celsius = { [RAM_OBJECT]: surface, [RAM_AMBIENT]: ambient }[this.command];
    let word = celsius === undefined ? 0xffff : Math.round((celsius + ZERO_CELSIUS_K) / 0.02) & 0x7fff;
    this.reads++;
    if (this.flagged > 0) {
      this.flagged--;
      word |= 0x8000;
    }
    const [low, high] = [word & 0xff, word >> 8];
    let check = pec([this.address << 1, this.command, (this.address << 1) | 1, low, high]);
    if (this.badChecksums > 0) {
      this.badChecksums--;
      check ^= 0x55;
    }
    return [low, high, check];
  }

  stop() {}
}
