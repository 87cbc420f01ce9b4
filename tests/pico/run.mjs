// Runs the Pico-class board's image: an RP2040 whose USB serial and I²C buses lead to sockets.
//
//   node run.mjs IMAGE.uf2 HOST.sock BUSES.sock
//
// HOST.sock carries the bytes of the USB serial port. BUSES.sock leads to the parts: questions and answers as
// firmware/src/far_bus.rs tells them, so that the same parts serve this board and the emulated one. The chip's time stands still
// while a question is out. Lines on standard input: "button down", "button up", and "panic ADDRESS FILE LINE", which makes the
// program panic there: at the address of a function of the core library that takes the place of a panic. Lines on standard output:
// "reset CAUSE".

import { readFileSync } from 'node:fs';
import { connect } from 'node:net';
import { createInterface } from 'node:readline';
import { RP2040, USBCDC } from 'rp2040js';

const NANOS_PER_CYCLE = 8;
// Instructions or sleeps between two looks at the sockets, and the chip's time between them, µs.
const SLICE = 20_000;
const SLICE_US = 5000;
const FLASH_START = 0x10000000;
const VECTORS = 0x10000100;
// Memory that neither statics nor the stack come near.
const SCRATCH = 0x20020000;
const BUTTON = 22;
// The watchdog's place on the peripherals' bus: 0x40058000.
const WATCHDOG = 0x40058;
// Data and clock lines idle high.
const BUS_PINS = [4, 5, 6, 7];
// A command in the controller's queue that reads.
const READ = 1 << 8;
// The processor fills the queue with all that is to be read while the address goes over the bus, µs.
const ADDRESS_US = 30;
// SET_CONTROL_LINE_STATE for interface 0: a program has opened the port (DTR and RTS).
const OPEN_PORT = [0x21, 0x22, 3, 0, 0, 0, 0, 0];
// A frame of USB, µs.
const FRAME_US = 1000;

// Puts what an UF2 file says into flash: blocks of 512 bytes with address, length and data.
function load(uf2, flash) {
  const view = new DataView(uf2.buffer, uf2.byteOffset, uf2.byteLength);
  for (let at = 0; at < uf2.length; at += 512) {
    const [magic, address, length] = [0, 12, 16].map((offset) => view.getUint32(at + offset, true));
    if (magic !== 0x0a324655) throw new Error('the image is no UF2 file');
    flash.set(uf2.subarray(at + 32, at + 32 + length), address - FLASH_START);
  }
}

// CRC-8, polynomial 0x07.
function sum(bytes) {
  return bytes.reduce((crc, byte) => {
    crc ^= byte;
    for (let k = 0; k < 8; k++) crc = ((crc << 1) ^ (crc & 0x80 ? 0x07 : 0)) & 0xff;
    return crc;
  }, 0);
}

// The parts at the other end: one question at a time.
class FarBus {
  constructor(socket) {
    this.socket = socket;
    this.number = 0;
    this.heard = Buffer.alloc(0);
    this.waiting = null;
    socket.on('data', (data) => {
      this.heard = Buffer.concat([this.heard, data]);
      this.answer();
    });
  }

  ask({ bus, address, written, wanted, startUs }) {
    this.number = (this.number + 1) & 0xff;
    const start = [0, 1, 2, 3, 4].map((k) => Math.floor(startUs / 2 ** (8 * k)) & 0xff);
    const body = [written.length, this.number, bus << 1, address, wanted, ...start, ...written];
    this.socket.write(Buffer.from([0xa5, ...body, sum(body)]));
    return new Promise((resolve) => {
      this.waiting = resolve;
      this.answer();
    });
  }

  answer() {
    const [mark, length, , became, low, high] = this.heard;
    if (!this.waiting || this.heard.length < 2 || this.heard.length < 7 + length) return;
    if (mark !== 0x5a || sum([...this.heard.subarray(1, 6 + length)]) !== this.heard[6 + length]) {
      throw new Error('the parts answer what is no frame');
    }
    const read = [...this.heard.subarray(6, 6 + length)];
    this.heard = this.heard.subarray(7 + length);
    const resolve = this.waiting;
    this.waiting = null;
    resolve({ done: (became & 3) === 0, tookUs: low | (high << 8), read });
  }
}

class Board {
  constructor(image, host, parts) {
    this.image = image;
    this.host = host;
    this.parts = parts;
    this.question = null;
    this.cause = null;
    this.fromHost = [];
    this.begin(null, 0);
    host.on('data', (data) => {
      this.fromHost.push(...data);
      this.give();
    });
  }

  // Power comes, or the watchdog resets all but the memory.
  begin(before, reason) {
    const mcu = new RP2040();
    this.mcu = mcu;
    this.clock = mcu.clock;
    this.watchdog = mcu.peripherals[WATCHDOG];
    load(this.image, mcu.flash);
    if (before) {
      mcu.sram.set(before.sram);
      this.watchdog.reason = reason;
    }
    mcu.logger = { debug() {}, info() {}, warn() {}, error: (name, message) => console.error(name, message) };
    const { watchdog } = this;
    watchdog.onWatchdogTrigger = () => {
      watchdog.alarm.enable = false;
      this.cause = watchdog.reason;
    };
    for (const pin of BUS_PINS) mcu.gpio[pin].setInputValue(true);
    mcu.gpio[BUTTON].setInputValue(true);
    this.begunMs = performance.now();
    this.usb();
    mcu.i2c.forEach((controller, bus) => this.bus(controller, bus));
    mcu.core.VTOR = VECTORS;
    mcu.core.reset();
  }

  usb() {
    const { usbCtrl } = this.mcu;
    // A host asks the next question a frame after the last, when the device has seen that its answer was taken.
    const setup = usbCtrl.sendSetupPacket.bind(usbCtrl);
    usbCtrl.sendSetupPacket = (packet) => this.after(FRAME_US, () => setup(packet));
    this.cdc = new USBCDC(usbCtrl);
    // Addressed to the interface, as hosts do (USB CDC PSTN 1.2, 6.3.12), where the package addresses the device.
    this.cdc.cdcSetControlLineState = () => {
      usbCtrl.sendSetupPacket(Uint8Array.from(OPEN_PORT));
      this.cdc.initialized = true;
    };
    this.room = new Map();
    this.fromHost.length = 0;
    this.cdc.onSerialData = (data) => this.host.write(Buffer.from(data));
    // An endpoint's read stays open until there is something to read; it opens before the descriptors say whose it is.
    usbCtrl.onEndpointRead = (endpoint, size) => {
      this.room.set(endpoint, size);
      this.give();
    };
  }

  // Moves bytes from the host to the endpoint that is ready for them.
  give() {
    const { outEndpoint } = this.cdc;
    const room = this.room.get(outEndpoint) ?? 0;
    if (room === 0 || this.fromHost.length === 0) return;
    this.room.delete(outEndpoint);
    const piece = this.fromHost.splice(0, room);
    this.mcu.usbCtrl.endpointReadDone(outEndpoint, Uint8Array.from(piece));
  }

  after(us, work) {
    this.clock.createAlarm(work).schedule(Math.max(us, 0.1) * 1000);
  }

  // A controller's transfers become questions: what is written, then how much is read.
  bus(controller, bus) {
    let written = [];
    let read = [];
    let address = 0;
    const ask = (wanted, then) => {
      const startUs = this.clock.micros;
      this.question = { bus, address, written, wanted, startUs, then };
      written = [];
    };
    controller.onStart = () => controller.completeStart();
    controller.onConnect = (to, mode) => {
      address = to;
      if (mode === 0) {
        written = [];
        return controller.completeConnect(true);
      }
      this.after(ADDRESS_US, () => {
        const queued = controller.txFIFO.items.filter((command) => command & READ).length;
        ask(queued, (answer) => {
          read = answer.read;
          this.after(answer.tookUs - ADDRESS_US, () => controller.completeConnect(answer.done));
        });
      });
    };
    controller.onWriteByte = (byte) => {
      written.push(byte);
      if (!controller.stop) return controller.completeWrite(true);
      ask(0, (answer) => this.after(answer.tookUs, () => controller.completeWrite(answer.done)));
    };
    controller.onReadByte = () => {
      if (read.length === 0) throw new Error('more was read than was asked for');
      controller.completeRead(read.shift());
    };
    controller.onStop = () => controller.completeStop();
  }

  // Goes on in `address`, whose first argument is the place (core::panic::Location: name, its length, line, column).
  panic(address, file, line) {
    const { mcu } = this;
    const [place, name] = [SCRATCH, SCRATCH + 16];
    [...file].forEach((letter, k) => mcu.writeUint8(name + k, letter.charCodeAt(0)));
    [name, file.length, line, 1].forEach((word, k) => mcu.writeUint32(place + 4 * k, word));
    mcu.core.registers[0] = place;
    mcu.core.PC = address & ~1;
    mcu.core.waiting = false;
  }

  slice() {
    const { mcu, clock } = this;
    const end = clock.micros + SLICE_US;
    for (let k = 0; k < SLICE && clock.micros < end && !this.question && this.cause === null; k++) {
      if (mcu.core.waiting) clock.tick(clock.nanosToNextAlarm);
      else clock.tick(mcu.core.executeInstruction() * NANOS_PER_CYCLE);
    }
  }

  async run() {
    for (;;) {
      this.slice();
      if (this.question) {
        const { then, ...question } = this.question;
        this.question = null;
        then(await this.parts.ask(question));
      } else if (this.cause !== null) {
        console.log(`reset ${this.cause}`);
        const { cause } = this;
        this.cause = null;
        this.begin(this.mcu, cause);

      } else {
        // The chip's time does not outrun the wall's.
        const aheadMs = this.clock.micros / 1000 - (performance.now() - this.begunMs);
        await new Promise((resolve) => (aheadMs > 1 ? setTimeout(resolve, aheadMs) : setImmediate(resolve)));
      }
    }
  }
}

const [image, host, buses] = process.argv.slice(2);
const board = new Board(new Uint8Array(readFileSync(image)), connect(host), new FarBus(connect(buses)));
createInterface({ input: process.stdin }).on('line', (line) => {
  const [what, ...rest] = line.split(' ');
  if (what === 'button') board.mcu.gpio[BUTTON].setInputValue(rest[0] === 'up');
  if (what === 'panic') board.panic(Number(rest[0]), rest[1], Number(rest[2]));
});
await board.run();
