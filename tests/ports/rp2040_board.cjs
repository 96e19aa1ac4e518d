// The RP2040 with a signal at its track pin, for tests. npm's rp2040js emulates the chip.
//
// node rp2040_board.cjs JOB.json, with NODE_PATH naming the folder that holds rp2040js. The job:
//
//   image     file: what is in the flash memory from its start
//   store     file: the last two sectors of the flash memory; read if it is there, written at the end
//   signal    file: ns between changes of the pin, 32 bits each; the pin is high at first
//   pauses    [[from, length], ...] in ns: the main loop stands still, interrupts go on
//   cut       null, or {at, share, seed}: power fails in write or erase number `at`; of the bits, `share` are done
//   after     ns to run after the last change
//   memory    [address, bytes]: RAM that is given at the end, in hexadecimal digits
//
// Each change of an output goes to standard output as a line: ns, what, value. The last line is a JSON object.
//
// What the emulator lacks is here. Its programmable I/O runs by the PC's clock and knows no divider: here it is stepped
// in emulated time. Its FIFO holds four words also when it is joined: here eight. Behind its serial interface there is
// no flash memory: here is one, which can only turn ones into zeros, erases by sectors, takes its time, and can lose
// power. There is no boot ROM: what it does at a start is done here.
"use strict";

const { readFileSync, writeFileSync, existsSync } = require("node:fs");
const { RP2040 } = require("rp2040js");

const FLASH_BYTES = 0x200000, SECTOR = 4096, STORE = FLASH_BYTES - 2 * SECTOR;
const TRACK = 16, MOTOR = 17;
const NAMES = { 2: "f1", 3: "f2", 18: "direction", 19: "front", 20: "rear", 21: "pulse" };
const WRITE_NS = 400_000, ERASE_NS = 45_000_000; // common practice, no source

const job = JSON.parse(readFileSync(process.argv[2], "utf8"));
const bytes = readFileSync(job.signal);
const durations = new Uint32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
const lines = [];

const chip = new RP2040();
const clock = chip.clock;
const core = chip.core;
const complaints = [];
let cut = false;

function event(name, value) {
  lines.push(`${Math.round(clock.nanos)} ${name} ${value}`);
}

function complain(...words) {
  if (complaints.length < 20) complaints.push(words.join(" "));
}
chip.logger = { debug() {}, info() {}, warn: complain, error: complain };

// ---- flash memory, and the serial interface to it (registers from memory of the chip's datasheet)

class Flash {
  constructor(memory) {
    this.memory = memory;
    this.bytes = [];
    this.enabled = false;
    this.busyUntil = 0;
    this.operations = 0;
    this.random = job.cut ? job.cut.seed : 1;
  }

  chance() { // xorshift: the same in each run
    this.random ^= this.random << 13;
    this.random ^= this.random >>> 17;
    this.random ^= this.random << 5;
    return (this.random >>> 0) / 2 ** 32;
  }

  exchange(out) {
    this.bytes.push(out);
    const [code, a, b, c] = this.bytes, at = (a << 16) | (b << 8) | c, count = this.bytes.length;
    const busy = clock.nanos < this.busyUntil;
    if (code === 0x05) return count > 1 && busy ? 1 : 0;
    if (busy) {
      complain("a command to the flash memory while it is busy");
      return 0xff;
    }
    return code === 0x03 && count > 4 ? this.memory[(at + count - 5) % FLASH_BYTES] : 0xff;
  }

  end() {
    const [code, a, b, c, ...data] = this.bytes, at = (a << 16) | (b << 8) | c;
    this.bytes = [];
    if (code === 0x06) this.enabled = true;
    if (code !== 0x02 && code !== 0x20) return;
    if (!this.enabled || at < STORE) complain("a write that was not enabled, or outside of the CVs");
    this.enabled = false;
    const failing = job.cut && job.cut.at === this.operations;
    this.operations += 1;
    if (code === 0x02) {
      this.busyUntil = clock.nanos + WRITE_NS;
      data.forEach((value, index) => this.change(at + index, this.memory[at + index] & value, failing));
      event("write", at - STORE);
    } else {
      this.busyUntil = clock.nanos + ERASE_NS;
      for (let index = 0; index < SECTOR; index++) this.change((at & ~(SECTOR - 1)) + index, 0xff, failing);
      event("erase", at - STORE);
    }
    cut = cut || Boolean(failing);
  }

  change(at, value, failing) {
    let differing = this.memory[at] ^ value;
    if (failing) for (let bit = 1; bit < 256; bit <<= 1) if (this.chance() >= job.cut.share) differing &= ~bit;
    this.memory[at] ^= differing;
  }
}

class Registers {
  constructor() {
    this.held = new Map();
  }

  readUint32(offset) {
    return this.held.get(offset) || 0;
  }

  writeUint32(offset, value) {
    this.held.set(offset, value >>> 0);
  }

  writeUint32Atomic(offset, value, kind) {
    const old = kind ? this.readUint32(offset) : 0;
    this.writeUint32(offset, [value, old ^ value, old | value, old & ~value][kind]);
  }
}

class Serial extends Registers {
  constructor(flash) {
    super();
    this.flash = flash;
    this.received = [];
    this.low = false; // the pin that selects the memory
  }

  readUint32(offset) {
    if (offset === 0x28) return 0x6 | (this.received.length ? 0x8 : 0);
    if (offset === 0x60) {
      if (!this.received.length) complain("a read from an empty FIFO");
      return this.received.shift() || 0;
    }
    return super.readUint32(offset);
  }

  writeUint32(offset, value) {
    if (offset !== 0x60) {
      if (offset !== 0x08 && this.readUint32(0x08)) complain("a setting of the serial interface while it is enabled");
      super.writeUint32(offset, value);
      return;
    }
    const plain = this.readUint32(0x00) === 7 << 16 && this.readUint32(0x08) === 1 && this.readUint32(0x10) === 1;
    if (!plain || !this.low || this.readUint32(0x14) < 4) complain("a byte to the flash memory, which it does not get");
    this.received.push(this.flash.exchange(value & 255));
  }

  // As a memory that can be read word by word: command 03 and 24 bits of address, write before read, 32 bits.
  get asMemory() {
    const settings = [0x00, 0x04, 0x08, 0x10, 0xf4].map((offset) => this.readUint32(offset));
    return settings.join() === [0x001f0300, 0, 1, 1, 0x03000218].join() && this.readUint32(0x14) >= 2;
  }
}

class SelectPin extends Registers {
  constructor(serial) {
    super();
    this.serial = serial;
  }

  writeUint32(offset, value) {
    super.writeUint32(offset, value);
    if (offset !== 0x0c) return;
    const low = ((value >> 8) & 3) === 2;
    if (this.serial.low && !low) this.serial.flash.end();
    this.serial.low = low;
  }
}

const flash = new Flash(chip.flash);
const serial = new Serial(flash);
chip.peripherals[0x18000] = serial;
chip.peripherals[0x40018] = new SelectPin(serial);
chip.flash.set(readFileSync(job.image), 0);
if (existsSync(job.store)) chip.flash.set(readFileSync(job.store), STORE);

// ---- what the boot ROM does (from memory): the first 256 bytes to the end of RAM, their check, and a jump to them

function checkOf(block) {
  let rest = 0xffffffff;
  for (const byte of block) {
    rest ^= byte << 24;
    for (let bit = 0; bit < 8; bit++) rest = rest & 0x80000000 ? (rest << 1) ^ 0x04c11db7 : rest << 1;
  }
  return rest >>> 0;
}

const BOOT = 0x20041f00;
if (checkOf(chip.flash.subarray(0, 252)) !== chip.flashView.getUint32(252, true)) complain("the boot stage's check");
chip.sram.set(chip.flash.subarray(0, 256), BOOT - 0x20000000);
serial.writeUint32(0x08, 1);
core.PC = BOOT;
const readWord = chip.readUint32;
chip.readUint32 = function (address) { // until the program runs: is the flash memory set up as memory?
  if (address >>> 24 === 0x10 && !serial.asMemory) complain("the flash memory is read as memory, but is not set up so");
  return readWord.call(chip, address);
};

// ---- programmable I/O, in emulated time

const pio = chip.pio[0], machine = pio.machines[0];
let nextStep = Infinity, cycle = 0;
pio.run = () => {
  if (machine.shiftCtrl & 0x80000000) machine.rxFIFO = new machine.rxFIFO.constructor(8);
  cycle = ((machine.clockDivInt + machine.clockDivFrac / 256) * 1e9) / chip.clkSys;
  nextStep = clock.nanos;
};

// Steps until a time. Nothing else sees them but a push into the FIFO: only for it the clock is set.
function stepUntil(time) {
  while (nextStep <= time) {
    if (pio.instructions[machine.pc] >> 13 === 4) clock.tick(nextStep - clock.nanos);
    const before = machine.cycles;
    machine.step();
    nextStep += (machine.cycles - before) * cycle;
  }
}

// ---- pins

let rose = 0, fell = 0, level = 0, edge = 0;
function showMotor(now) {
  if (now !== level) event("motor", now);
  level = now;
}
chip.gpio[MOTOR].addListener((value) => {
  if (value > 1) return;
  edge = clock.nanos;
  if (value === 0) {
    fell = edge;
    return;
  }
  if (edge - rose < 100_000) showMotor(Math.round(((fell - rose) / (edge - rose)) * 255));
  rose = edge;
});
for (const [pin, name] of Object.entries(NAMES)) chip.gpio[pin].addListener((value) => value < 2 && event(name, value));

let input = true, at = 0, nextEdge = durations.length ? durations[at++] : Infinity, total = 0;
for (const one of durations) total += one;
chip.gpio[TRACK].setInputValue(input);

// ---- time

const end = total + job.after;

function advance(to) {
  while (nextEdge <= to) {
    stepUntil(nextEdge);
    clock.tick(nextEdge - clock.nanos);
    input = !input;
    chip.gpio[TRACK].setInputValue(input);
    nextEdge = at < durations.length ? nextEdge + durations[at++] : Infinity;
  }
  stepUntil(to);
  if (to > clock.nanos) clock.tick(to - clock.nanos);
}

const pauses = [...job.pauses, [Infinity, 0]];
let pause = 0;
function paused() {
  if (clock.nanos < pauses[pause][0]) return false;
  if (clock.nanos < pauses[pause][0] + pauses[pause][1]) return true;
  pause += 1;
  return false;
}

function run() {
  let booting = true, sample = 0, instructions = 0;
  while (clock.nanos < end && !cut) {
    if (booting && core.PC < BOOT) {
      booting = false;
      delete chip.readUint32;
    }
    if (!core.interruptsUpdated && (core.waiting || (core.IPSR === 0 && paused()))) {
      const alarm = clock.nextAlarm ? clock.nextAlarm.nanos : Infinity;
      advance(Math.max(Math.min(alarm, nextEdge, end), clock.nanos));
    } else {
      instructions += 1;
      advance(clock.nanos + (core.executeInstruction() * 1e9) / chip.clkSys);
    }
    if (clock.nanos < sample) continue;
    sample = clock.nanos + 500_000;
    if (clock.nanos - edge > 200_000) showMotor(chip.gpio[MOTOR].value === 1 ? 255 : 0);
    if (lines.length > 1000) process.stdout.write(lines.splice(0).join("\n") + "\n");
  }
  return instructions;
}

const started = process.hrtime.bigint();
const instructions = run();
const [from, size] = job.memory;
writeFileSync(job.store, chip.flash.subarray(STORE, FLASH_BYTES));
const seen = {
  memory: Buffer.from(chip.sram.subarray(from - 0x20000000, from - 0x20000000 + size)).toString("hex"),
  cycles: core.cycles,
  instructions,
  nanos: Math.round(clock.nanos),
  took: Number(process.hrtime.bigint() - started) / 1e9,
  operations: flash.operations,
  cut,
  complaints,
};
process.stdout.write([...lines, JSON.stringify(seen)].join("\n") + "\n");
