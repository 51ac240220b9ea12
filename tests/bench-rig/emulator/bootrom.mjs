// The few functions of the chip's ROM that the image calls, as break points the emulator answers.
//
// Layout (RP2040 data sheet, section 2.8.2): a 16-bit pointer to the function table at 0x14, to the data table at 0x16 and
// to the lookup function at 0x18. Functions are found by two-letter codes.

const BKPT = 0xbe00;
const BX_LR = 0x4770;
const LOOKUP = { address: 0x100, code: 0x10 };
const MEMCPY44 = { address: 0x160, code: 0x40 };
// connect flash, leave XIP, erase, program, flush cache, enter XIP, restart into the USB loader
const FUNCTIONS = { IF: 1, EX: 2, RE: 3, RP: 4, FC: 5, CX: 6, UB: 7 };
const addressOf = (index) => 0x110 + index * 4;
const codeOf = (index) => 0x10 + index;

/** Installs the stubs. `onLoader` is called when the firmware asks for the USB loader. */
export function installBootrom(mcu, onLoader) {
  const rom = new DataView(mcu.bootrom.buffer);
  const stub = ({ address, code }) => {
    rom.setUint16(address, BKPT | code, true);
    rom.setUint16(address + 2, BX_LR, true);
  };
  rom.setUint8(0x10, 'M'.charCodeAt(0));
  rom.setUint8(0x11, 'u'.charCodeAt(0));
  rom.setUint8(0x12, 1);
  rom.setUint8(0x13, 2); // ROM version 2
  rom.setUint16(0x14, 0x200, true);
  rom.setUint16(0x16, 0x280, true);
  rom.setUint16(0x18, LOOKUP.address | 1, true);
  stub(LOOKUP);
  stub(MEMCPY44);
  for (const index of Object.values(FUNCTIONS)) stub({ address: addressOf(index), code: codeOf(index) });

  mcu.onBreak = (code) => {
    const r = mcu.core.registers;
    switch (code) {
      case LOOKUP.code: {
        const name = String.fromCharCode(r[1] & 0xff, (r[1] >> 8) & 0xff);
        const index = FUNCTIONS[name];
        r[0] = name === 'C4' ? MEMCPY44.address | 1 : index ? addressOf(index) | 1 : 0;
        break;
      }
      case MEMCPY44.code:
        for (let i = 0; i < r[2]; i++) mcu.writeUint8(r[0] + i, mcu.readUint8(r[1] + i));
        break;
      case codeOf(FUNCTIONS.RE):
        mcu.flash.fill(0xff, r[0], r[0] + r[1]);
        break;
      case codeOf(FUNCTIONS.RP):
        for (let i = 0; i < r[2]; i++) mcu.flash[r[0] + i] &= mcu.readUint8(r[1] + i);
        break;
      case codeOf(FUNCTIONS.UB):
        onLoader();
        break;
      default: // connecting, leaving and entering XIP, flushing: nothing to do here
    }
  };
  // The XIP cache's control registers, which the emulator does not know.
  mcu.peripherals[0x14000] = { readUint32: () => 0, writeUint32() {}, writeUint32Atomic() {} };
}

const READ_UNIQUE_ID = 0x4b; // four dummy bytes, then eight bytes of id
const SSI_ENABLE = 0x08;
const SSI_DATA = 0x60;

/** Lets the flash chip answer the command that reads its unique id. */
export function installFlashId(mcu, id) {
  const ssi = mcu.peripherals[0x18000];
  const [read, write] = [ssi.readUint32.bind(ssi), ssi.writeUint32.bind(ssi)];
  let command = null;
  let answer = [];
  ssi.writeUint32 = (offset, value) => {
    if (offset === SSI_ENABLE) [command, answer] = [null, []];
    if (offset !== SSI_DATA) return write(offset, value);
    if (command === null) {
      command = value & 0xff;
      if (command === READ_UNIQUE_ID) answer = [0, 0, 0, 0, ...id];
    }
  };
  ssi.readUint32 = (offset) => (offset === SSI_DATA && answer.length ? answer.shift() : read(offset));
}
