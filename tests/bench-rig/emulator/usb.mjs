// A USB host with one serial port (CDC ACM): enumerates the sensor, opens and closes the port, reads and writes.
//
// The emulator's USB device model gives packets away at once and never keeps an OUT endpoint waiting; both are mended here,
// so that a host that does not read, or has nothing to say, looks to the firmware as it does on a real bus.

const FIRST_ENDPOINT = 0x80; // buffer control of endpoint 0 IN in the dual-port RAM; OUT is 4 further, the next 8
const LAST_ENDPOINT = 0xfc;
const AVAILABLE = 1 << 10;
const FULL = 1 << 15;
const LENGTH = 0x3ff;
const PACKET_NS = 50_000; // a full-speed bulk packet, with the bus's own overhead
const PACKET_BYTES = 64;
const CONFIGURATION = 2;
const ENDPOINT = 5;
const INTERFACE = 4;
const CDC_DATA = 0x0a;

export class UsbHost {
  constructor(mcu) {
    this.usb = mcu.usbCtrl;
    this.mcu = mcu;
    this.dpram = mcu.usbDPRAMView;
    this.configured = false;
    this.reading = true;
    this.inbox = []; // IN packets the device has ready
    this.outbox = []; // bytes for the device
    this.armed = 0; // room of the armed OUT endpoint
    this.descriptors = [];
    this.inEndpoint = this.outEndpoint = -1;
    this.steps = [];
    /** Called with the bytes of each packet. */
    this.onData = () => {};
    /** Called once the device is configured. */
    this.onConfigured = () => {};
    this.deliver = mcu.clock.createAlarm(() => this.takeNext());
    this.hook();
  }

  /** A program opens or closes the port (DTR and RTS). */
  setOpen(open) {
    this.control([0x21, 0x22, open ? 3 : 0, 0, 0, 0, 0, 0]);
  }

  /** Whether the host asks for data at all. */
  setReading(reading) {
    this.reading = reading;
    if (reading && this.inbox.length > 0) this.deliver.schedule(PACKET_NS);
  }

  hostSends(bytes) {
    for (const byte of bytes) this.outbox.push(byte);
    this.sendNext();
  }

  control(setup) {
    this.usb.sendSetupPacket(Uint8Array.from(setup));
  }

  hook() {
    const { usb, dpram } = this;
    usb.onUSBEnabled = () => usb.resetDevice();
    usb.onResetReceived = () => this.enumerate();
    usb.onEndpointWrite = (endpoint, bytes) => this.received(endpoint, bytes);
    usb.onEndpointRead = () => {};
    const updated = usb.DPRAMUpdated.bind(usb);
    usb.DPRAMUpdated = (offset, value) => {
      const isBuffer = offset >= FIRST_ENDPOINT && offset <= LAST_ENDPOINT && (value & AVAILABLE) !== 0;
      if (!isBuffer) return updated(offset, value);
      const endpoint = (offset - FIRST_ENDPOINT) >> 3;
      const out = (offset & 4) !== 0;
      if (endpoint === 0) {
        // The status stage of a control transfer completes at once; what the device sends goes the stock way.
        if (out) dpram.setUint32(offset, value & ~AVAILABLE, true);
        else updated(offset, value);
      } else if (out) {
        if (endpoint === this.outEndpoint || this.outEndpoint < 0) {
          this.armed = value & LENGTH;
          this.sendNext();
        }
      } else {
        this.inbox.push({ endpoint, offset, value });
        if (this.reading) this.deliver.schedule(PACKET_NS);
      }
    };
    const finish = usb.finishRead.bind(usb);
    usb.finishRead = (endpoint, bytes) => {
      finish(endpoint, bytes);
      const offset = FIRST_ENDPOINT + endpoint * 8 + 4;
      dpram.setUint32(offset, dpram.getUint32(offset, true) & ~AVAILABLE, true);
    };
  }

  enumerate() {
    this.configured = false;
    this.descriptors = [];
    this.steps = [
      () => this.control([0x80, 6, 0, CONFIGURATION, 0, 0, 9, 0]),
      () => this.control([0x80, 6, 0, CONFIGURATION, 0, 0, this.total & 0xff, this.total >> 8]),
      () => this.control([0, 9, 1, 0, 0, 0, 0, 0]),
    ];
    this.control([0, 5, 1, 0, 0, 0, 0, 0]); // address 1
  }

  received(endpoint, bytes) {
    if (endpoint !== 0) {
      if (endpoint === this.inEndpoint) this.onData(bytes);
      return;
    }
    if (this.configured) return;
    if (this.steps.length === 0 && bytes.length === 0) {
      this.configured = true;
      this.onConfigured();
    } else if (bytes.length === 0) {
      this.steps.shift()();
    } else if (this.steps.length === 2) {
      this.total = bytes[2] | (bytes[3] << 8);
      this.steps.shift()();
    } else {
      this.descriptors.push(...bytes);
      if (this.descriptors.length >= this.total) {
        this.findEndpoints();
        this.steps.shift()();
      }
    }
  }

  findEndpoints() {
    let inData = false;
    for (let at = 0; at < this.descriptors.length; at += this.descriptors[at]) {
      const [, type, address] = this.descriptors.slice(at, at + 3);
      if (type === INTERFACE) inData = this.descriptors[at + 5] === CDC_DATA;
      if (type !== ENDPOINT || !inData) continue;
      if (address & 0x80) this.inEndpoint = address & 0xf;
      else this.outEndpoint = address & 0xf;
    }
  }

  takeNext() {
    if (!this.reading) return;
    const { usb, dpram } = this;
    for (const { endpoint, offset, value } of this.inbox.splice(0)) {
      const start = usb.getEndpointBufferOffset(endpoint, false);
      const bytes = this.mcu.usbDPRAM.slice(start, start + (value & LENGTH));
      dpram.setUint32(offset, value & ~(AVAILABLE | FULL), true);
      usb.onEndpointWrite(endpoint, bytes);
      usb.indicateBufferReady(endpoint, false);
    }
  }

  sendNext() {
    if (this.armed === 0 || this.outbox.length === 0 || this.outEndpoint < 0) return;
    const count = Math.min(this.armed, this.outbox.length, PACKET_BYTES);
    this.armed = 0;
    this.usb.endpointReadDone(this.outEndpoint, Uint8Array.from(this.outbox.splice(0, count)));
  }
}
