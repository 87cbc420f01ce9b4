// Runs the Pico-class board's image: an RP2040 whose USB serial and I²C buses lead to sockets.
//
//   node run.mjs IMAGE.uf2 HOST.sock BUSES.sock
//
// HOST.sock carries the bytes of the USB serial port. BUSES.sock leads to the parts: questions and answers as
// firmware/src/far_bus.rs tells them, so that the same parts serve this board and the emulated one. The chip's time stands still
// while a question is out. The boot ROM's few functions and the flash chip's instructions are here too; whoever reads the flash
// while the chip takes instructions ends it all. Lines on standard input: "button down", "button up", "pass SECONDS", which
// says "passed" when so much of the chip's time has passed, "stuck BUS CLOCKS", which lets a part hold the bus' data line until it
// was clocked so often, and "panic ADDRESS FILE LINE", which makes the program panic there: at the address of a function of the core
// library that takes the place of a panic. Lines on standard output: "reset CAUSE", "passed", "freed BUS".

import { readFileSync } from 'node:fs';
import { connect } from 'node:net';
import { createInterface } from 'node:readline';
import { BasePeripheral, GPIOPinState, RP2040, USBCDC } from 'rp2040js';

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
// IC_ENABLE of the I²C controllers.
const I2C_ENABLE = 0x6c;
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

// The boot ROM as far as it is asked (RP2040 data sheet, 2.8.2 and 2.8.3.1): where its table of functions is and how to look in it,
// and the functions: a breakpoint with a number, and back.
const ROM = { table: 0x40, lookup: 0x80, functions: 0xc0 };
const ROM_FUNCTIONS = ['IF', 'EX', 'FC'];
// r0 = table, r1 = code: each entry is a code and an address of 16 bits, 0 ends it.
const LOOKUP = [0x8802, 0x2a00, 0xd005, 0x8843, 0x3004, 0x428a, 0xd1f8, 0x0018, 0x4770, 0x2000, 0x4770];
const BREAKPOINT = 0xbe00;
const RETURN = 0x4770;
// SSI and the pins of the flash, on the peripherals' bus; registers of the SSI, and of the chip-select pin with its override.
const SSI = 0x18000;
const QSPI_PINS = 0x40018;
const SSI_ENABLE = 0x08;
const SSI_STATUS = 0x28;
const SSI_DATA = 0x60;
const SELECT = 0x0c;
const DRIVEN_LOW = 2;
const FIFO = 16;
// The chip: W25Q16JV, sections 8.2 and 9.6 of its data sheet; times in µs. It has a number like no other.
const CHIP = { size: 1 << 21, jedec: [0xef, 0x40, 0x15], id: [0xe6, 0x61, 0x64, 0x08, 0x43, 0x2b, 0x9a, 0x27], program: 400, erase: 45_000 };

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

// The flash chip behind the SSI. Between the boot ROM's exit from reading and the loader's return to it, it takes instructions.
class FlashChip {
  constructor(mcu, now) {
    this.mcu = mcu;
    this.now = now;
    this.commands = false;
    this.selected = false;
    this.sent = [];
    this.answers = [];
    this.enabled = false;
    this.busyUntil = 0;
    this.done = { programs: 0, erasures: 0 };
    const view = new DataView(mcu.bootrom.buffer);
    view.setUint16(0x14, ROM.table, true);
    view.setUint16(0x18, ROM.lookup | 1, true);
    LOOKUP.forEach((word, k) => view.setUint16(ROM.lookup + 2 * k, word, true));
    ROM_FUNCTIONS.forEach((code, k) => {
      const at = ROM.functions + 4 * k;
      const entry = [code.charCodeAt(0) | (code.charCodeAt(1) << 8), at | 1];
      entry.forEach((word, n) => view.setUint16(ROM.table + 4 * k + 2 * n, word, true));
      [BREAKPOINT | k, RETURN].forEach((word, n) => view.setUint16(at + 2 * n, word, true));
    });
    mcu.onBreak = (number) => this.called(ROM_FUNCTIONS[number]);
    const chip = this;
    const registers = new Map();
    mcu.peripherals[SSI] = new (class extends BasePeripheral {
      readUint32(offset) {
        if (offset === SSI_STATUS) return (chip.answers.length < FIFO ? 6 : 4) | (chip.answers.length > 0 ? 8 : 0);
        if (offset === SSI_DATA) return chip.answers.shift() ?? 0;
        return registers.get(offset) ?? 0;
      }

      writeUint32(offset, value) {
        registers.set(offset, value);
        if (offset === SSI_DATA && chip.commands) chip.take(value & 0xff);
        // The loader has set it up to read.
        if (offset === SSI_ENABLE && value === 1 && chip.commands) chip.readAgain();
      }
    })(mcu, 'SSI');
    mcu.peripherals[QSPI_PINS] = new (class extends BasePeripheral {
      readUint32(offset) {
        return registers.get(0x1000 + offset) ?? 0;
      }

      writeUint32(offset, value) {
        registers.set(0x1000 + offset, value);
        if (offset === SELECT) chip.select(((value >> 8) & 3) === DRIVEN_LOW);
      }
    })(mcu, 'QSPI pins');
  }

  called(what) {
    const { mcu } = this;
    if (what !== 'EX') return;
    this.commands = true;
    for (const read of ['readUint8', 'readUint16', 'readUint32']) {
      mcu[read] = (address) => {
        const at = address >>> 0;
        if (at >= FLASH_START && at < FLASH_START + 0x4000000) {
          throw new Error(`the flash was read at ${at.toString(16)} while it took instructions, from ${mcu.core.PC.toString(16)}`);
        }
        return RP2040.prototype[read].call(mcu, address);
      };
    }
  }

  readAgain() {
    if (this.now() < this.busyUntil) throw new Error('the flash is read while it erases or writes');
    this.commands = false;
    for (const read of ['readUint8', 'readUint16', 'readUint32']) delete this.mcu[read];
  }

  select(low) {
    if (!low && this.selected && this.sent.length > 0) this.carryOut();
    this.selected = low;
    this.sent = [];
  }

  // Takes a byte, and gives one back.
  take(byte) {
    if (!this.selected) throw new Error('a byte for the flash without its select');
    const at = this.sent.push(byte) - 1;
    const [instruction] = this.sent;
    const busy = this.now() < this.busyUntil;
    const answer = () => {
      if (at === 0) return 0xff;
      if (instruction === 0x05) return (busy ? 1 : 0) | (this.enabled ? 2 : 0);
      if (busy) return 0xff;
      if (instruction === 0x9f) return CHIP.jedec[at - 1] ?? 0xff;
      if (instruction === 0x4b) return CHIP.id[at - 5] ?? 0xff;
      return 0xff;
    };
    this.answers.push(answer());
  }

  // What was sent takes effect when the select rises.
  carryOut() {
    const [instruction, high, middle, low, ...data] = this.sent;
    if (this.now() < this.busyUntil && instruction !== 0x05) throw new Error('the flash is busy');
    const { flash } = this.mcu;
    const address = ((high << 16) | (middle << 8) | low) % CHIP.size;
    if (instruction === 0x06) this.enabled = true;
    if (instruction === 0x02 || instruction === 0x20) {
      if (!this.enabled) throw new Error('the flash was not enabled to be written');
      this.enabled = false;
      if (instruction === 0x20) {
        const sector = address & ~0xfff;
        flash.fill(0xff, sector, sector + 0x1000);
        this.busyUntil = this.now() + CHIP.erase;
        this.done.erasures++;
      } else {
        // Bits only ever become 0, and addresses run round within the page.
        data.forEach((byte, k) => (flash[(address & ~0xff) | ((address + k) & 0xff)] &= byte));
        this.busyUntil = this.now() + CHIP.program;
        this.done.programs++;
      }
    }
  }
}

class Board {
  constructor(image, host, parts) {
    this.image = image;
    this.host = host;
    this.parts = parts;
    this.question = null;
    this.cause = null;
    this.stuck = null;
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
    if (!before) load(this.image, mcu.flash);
    this.chip = new FlashChip(mcu, () => this.clock.micros);
    if (before) {
      mcu.flash.set(before.flash);
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
    // It waits for a bus that another seems to have, until it is switched off.
    controller.onStart = () => {
      if (this.stuck !== bus) controller.completeStart();
    };
    const write = controller.writeUint32.bind(controller);
    controller.writeUint32 = (offset, value) => {
      if (offset === I2C_ENABLE && (value & 1) === 0 && this.stuck !== null) {
        Object.assign(controller, { state: 0, busy: false, stop: false, pendingRestart: false });
        controller.txFIFO.reset();
      }
      write(offset, value);
    };
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

  // A part holds the data line until it has seen so many clocks on bare pins. The controller finds its bus taken meanwhile.
  stick(bus, clocks) {
    const [data, clock] = [this.mcu.gpio[BUS_PINS[2 * bus]], this.mcu.gpio[BUS_PINS[2 * bus + 1]]];
    data.setInputValue(false);
    this.stuck = bus;
    let left = clocks;
    const remove = clock.addListener((state, before) => {
      // Low is driven, high is let go.
      const rose = before === GPIOPinState.Low && state !== GPIOPinState.Low;
      if (!rose || --left > 0) return;
      data.setInputValue(true);
      this.stuck = null;
      console.log(`freed ${bus}`);
      remove();
    });
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
  if (what === 'pass') board.after(Number(rest[0]) * 1e6, () => console.log('passed'));
  if (what === 'stuck') board.stick(Number(rest[0]), Number(rest[1]));
  if (what === 'panic') board.panic(Number(rest[0]), rest[1], Number(rest[2]));
});
await board.run();
