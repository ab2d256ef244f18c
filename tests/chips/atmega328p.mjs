// An ATmega328P at 16 MHz with its pins wired as firmware/atmega328p/src/pins.rs
// says; the interface is described in emulate.mjs.
//
// Owns one chip from reset to its end: a watchdog reset or a power cut ends it,
// and what follows is a new chip with the same EEPROM. Virtual time is the
// chip's cycle counter; sleep is skipped to the next event.
//
// Put right here, because avr8js leaves it out or gets it wrong:
// - SLEEP does nothing there.
// - A received byte is lost there when the serial unit's control register is
//   written before it is read. Here the receiver holds two bytes as the chip's
//   does, and counts what it loses. Its "ready to send" is a condition, not an
//   event that an interrupt uses up.
// - After a watchdog reset the chip's watchdog goes on at its shortest period,
//   and cannot be stopped before its flag in MCUSR is cleared.
// - Its bus is as slow as a real one: 9 clocks for a byte.
// Register numbers: Microchip, "ATmega328P" data sheet, register summary.

import { createRequire } from 'node:module';
import { MACHINE } from './elf.mjs';

const avr = createRequire(import.meta.url)('avr8js');

const CLOCK_HZ = 16_000_000;
const CYCLE_NS = 1e9 / CLOCK_HZ;
const FLASH_BYTES = 32 * 1024;
const RAM_BYTES = 2048;
const RAM_AT = 0x100;
const RAM_END = RAM_AT + RAM_BYTES;
const EEPROM_BYTES = 1024;
/** Data addresses in the ELF file begin here. */
const ELF_DATA_AT = 0x800000;
const PAINT = 0xc5;

const SMCR = 0x53;
const MCUSR = 0x54;
const WDTCSR = 0x60;
const SREG = 0x5f;
const INTERRUPTS_ON = 0x80;
const UCSRA = 0xc0;
const UCSRB = 0xc1;
const UDR = 0xc6;
const DDRD = 0x2a;
const SLEEP = 0x9588;
/** `rjmp .`: the endless loop of hang(), in the last word of flash. */
const JUMP_TO_SELF = 0xcfff;

/** A byte of the laptop's, 10 bits at exactly 115 200 bit/s, in cycles. */
const INCOMING_BYTE_CYCLES = (CLOCK_HZ * 10) / 115_200;
/** Bytes the chip's receiver holds beside its shift register. */
const RECEIVER_BYTES = 2;

const ADC_DATA = 2;
const ADC_CLOCK = 1 << 3;
const ADC_RATE = 1 << 4;
const WORK = 1 << 7;

/** Ends the life of a chip in the middle of an instruction. */
class ChipEnds extends Error {}

export function switchOn(life) {
  return new Board(life);
}

class Board {
  constructor(life) {
    this.life = life;
    this.startNs = life.atNs;
    this.ended = false;
    this.sleeping = false;
    this.hanging = false;
    this.eeprom = life.memory ?? new Uint8Array(EEPROM_BYTES).fill(0xff);
    this.cutLeft = null;
    this.sleptCycles = 0;

    const { flash, used } = place(life.image);
    this.flashBytes = used;
    this.loopAt = flash.length - 1;
    flash[this.loopAt] = JUMP_TO_SELF;
    this.cpu = new avr.CPU(flash, RAM_BYTES);
    const { bss, ramUsed } = ramOf(life.image);
    this.freeAt = bss;
    this.staticBytes = ramUsed;
    this.cpu.data.fill(PAINT, this.freeAt, RAM_END);

    this.#timer();
    this.#pins();
    this.#serial();
    this.#memory();
    this.#bus();
    this.#watchdog();
    this.meterReset();
    life.adc.attach(
      {
        nowNs: () => this.nowNs(),
        after: (ns, call) => this.#after(ns / CYCLE_NS, call),
        data: (level) => this.portD.setPin(ADC_DATA, level ?? true),
      },
      life.reason === 'power',
    );
    this.setKeys(life.keys);
  }

  nowNs() {
    return this.startNs + this.cpu.cycles * CYCLE_NS;
  }

  #after(cycles, call) {
    this.cpu.addClockEvent(call, Math.ceil(cycles));
  }

  run(untilNs) {
    const until = Math.ceil((untilNs - this.startNs) / CYCLE_NS);
    const { cpu, life } = this;
    try {
      while (life.run.stopped === null && cpu.cycles < until) {
        if (this.hanging && cpu.data[SREG] & 0x80) this.#loopForEver();
        if (this.sleeping) this.#skip(until);
        else this.#step();
      }
    } catch (error) {
      if (!(error instanceof ChipEnds)) throw error;
    }
    if (!this.ended && cpu.data[this.freeAt] !== PAINT) {
      this.#end('fault', 'the stack has reached the variables');
    }
  }

  // After an instruction that lets interrupts in, one more is executed before any
  // is taken ("ATmega328P data sheet", reset and interrupt handling). Compilers
  // count on it: between its two halves the stack pointer points anywhere.
  #step() {
    const { cpu } = this;
    const heldOff = !(cpu.data[SREG] & INTERRUPTS_ON);
    this.#execute();
    if (heldOff && cpu.data[SREG] & INTERRUPTS_ON) this.#execute();
    this.#tick();
    if (cpu.pc >= cpu.progMem.length) {
      this.#end('fault', 'the program has left the flash');
      throw new ChipEnds();
    }
  }

  #execute() {
    const { cpu } = this;
    if (cpu.progMem[cpu.pc] === SLEEP && cpu.data[SMCR] & 1) this.sleeping = true;
    avr.avrInstruction(cpu);
  }

  /** Passes the time until something happens. */
  #skip(until) {
    const { cpu } = this;
    const next = Math.min(cpu.nextClockEvent?.cycles ?? until, until);
    if (next > cpu.cycles) {
      this.sleptCycles += next - cpu.cycles;
      cpu.cycles = next;
    }
    this.#tick();
  }

  /** Due events, and the interrupt they may cause, which also ends a sleep. */
  #tick() {
    const { cpu } = this;
    const before = cpu.pc;
    cpu.tick();
    if (cpu.pc !== before) this.sleeping = false;
  }

  #end(kind, why) {
    this.ended = true;
    this.life.halt(kind, why);
  }

  #loopForEver() {
    this.hanging = false;
    this.sleeping = false;
    this.cpu.pc = this.loopAt;
  }

  /** Interrupts must be on at that moment, or none could go on. */
  hang() {
    this.hanging = true;
  }

  #timer() {
    this.timer = new avr.AVRTimer(this.cpu, avr.timer1Config);
  }

  #pins() {
    const { cpu, life } = this;
    this.portB = new avr.AVRIOPort(cpu, avr.portBConfig);
    this.portC = new avr.AVRIOPort(cpu, avr.portCConfig);
    this.portD = new avr.AVRIOPort(cpu, avr.portDConfig);
    for (const port of [this.portB, this.portC, this.portD]) {
      for (let bit = 0; bit < 8; bit += 1) port.setPin(bit, true);
    }
    this.workSince = null;
    this.portD.addListener((value) => {
      const driven = value & cpu.data[DDRD];
      life.adc.setClock((driven & ADC_CLOCK) !== 0);
      life.adc.setRate((driven & ADC_RATE) !== 0);
      this.#work((driven & WORK) !== 0);
    });
  }

  #work(high) {
    const busy = this.#busyCycles();
    if (high && this.workSince === null) {
      this.workSince = busy;
    } else if (!high && this.workSince !== null) {
      const spent = busy - this.workSince;
      this.workSince = null;
      this.workCycles += spent;
      this.workCount += 1;
      this.workMost = Math.max(this.workMost, spent);
    }
  }

  setKeys(keys) {
    keys.forEach((pressed, bit) => this.portB.setPin(bit, !pressed));
  }

  #serial() {
    const { cpu, life } = this;
    const usart = new avr.AVRUSART(cpu, avr.usart0Config, CLOCK_HZ);
    this.usart = usart;
    // "Data register empty" lasts until a byte is written, whoever looks at it.
    usart.UDRE.constant = true;
    usart.onByteTransmit = (byte) => {
      this.#after(usart.cyclesPerChar, () => life.emit(byte));
    };
    this.incoming = [];
    this.arriving = false;
    this.received = [];
    this.overruns = 0;
    cpu.readHooks[UDR] = () => {
      const byte = this.received.shift() ?? 0;
      cpu.clearInterrupt(usart.RXC);
      if (this.received.length > 0) cpu.setInterruptFlag(usart.RXC);
      return byte;
    };
    const control = cpu.writeHooks[UCSRB];
    cpu.writeHooks[UCSRB] = (value, old, address, mask) => {
      const done = control(value, old, address, mask);
      if (this.received.length > 0) cpu.setInterruptFlag(usart.RXC);
      return done;
    };
  }

  input(bytes) {
    this.incoming.push(...bytes);
    if (!this.arriving && this.incoming.length > 0) this.#nextByte();
  }

  #nextByte() {
    this.arriving = true;
    this.#after(INCOMING_BYTE_CYCLES, () => {
      const byte = this.incoming.shift();
      if (this.usart.rxEnable) {
        if (this.received.length < RECEIVER_BYTES) {
          this.received.push(byte);
          this.cpu.setInterruptFlag(this.usart.RXC);
        } else {
          this.overruns += 1;
        }
      }
      this.arriving = false;
      if (this.incoming.length > 0) this.#nextByte();
    });
  }

  #memory() {
    const spend = () => {
      if (this.cutLeft === 0) this.#die();
    };
    // Power dies when the last byte allowed has been erased or written.
    const spent = () => {
      if (this.cutLeft === null) return;
      this.cutLeft -= 1;
      if (this.cutLeft === 0) this.#die();
    };
    const backend = {
      readMemory: (at) => this.eeprom[at],
      eraseMemory: (at) => {
        spend();
        this.eeprom[at] = 0xff;
        spent();
      },
      writeMemory: (at, value) => {
        spend();
        this.eeprom[at] &= value;
        spent();
      },
    };
    this.eepromUnit = new avr.AVREEPROM(this.cpu, backend);
  }

  #die() {
    this.#end('power_cut');
    throw new ChipEnds();
  }

  cutAfter(bytes) {
    this.cutLeft = bytes;
  }

  storage() {
    return Uint8Array.from(this.eeprom);
  }

  setStorage(bytes) {
    if (bytes.length !== EEPROM_BYTES) throw new Error(`storage has ${EEPROM_BYTES} bytes`);
    this.eeprom.set(bytes);
  }

  keep() {
    return this.eeprom;
  }

  #bus() {
    const twi = new avr.AVRTWI(this.cpu, avr.twiConfig, CLOCK_HZ);
    const { display } = this.life;
    const clocks = (count, call) => this.#after((count * CLOCK_HZ) / twi.sclFrequency, call);
    twi.eventHandler = {
      start: () => clocks(1, () => twi.completeStart()),
      stop: () => {
        display.stop();
        clocks(1, () => twi.completeStop());
      },
      connectToSlave: (address, write) => {
        clocks(9, () => twi.completeConnect(display.start(address, write)));
      },
      writeByte: (byte) => clocks(9, () => twi.completeWrite(display.write(byte))),
      readByte: () => clocks(9, () => twi.completeRead(0xff)),
    };
  }

  #watchdog() {
    const { cpu, life } = this;
    const clock = new avr.AVRClock(cpu, CLOCK_HZ);
    this.watchdog = new avr.AVRWatchdog(cpu, avr.watchdogConfig, clock);
    const control = cpu.writeHooks[WDTCSR];
    cpu.writeHooks[WDTCSR] = (value, old, address, mask) =>
      control(cpu.data[MCUSR] & 8 ? value | 8 : value, old, address, mask);
    cpu.data[MCUSR] = life.reason === 'watchdog' ? 8 : 1;
    if (life.reason === 'watchdog') {
      cpu.writeData(WDTCSR, 0x18);
      cpu.writeData(WDTCSR, 0x08);
    }
    cpu.reset = () => {
      this.#end('watchdog');
      throw new ChipEnds();
    };
  }

  #busyCycles() {
    return this.cpu.cycles - this.sleptCycles;
  }

  /** Bytes of stack in use at its deepest. */
  #stackBytes() {
    let at = this.freeAt;
    while (at < RAM_END && this.cpu.data[at] === PAINT) at += 1;
    return RAM_END - at;
  }

  meter() {
    return {
      cycles: this.cpu.cycles - this.meterFrom,
      busy_cycles: this.#busyCycles() - this.busyFrom,
      work_cycles: this.workCycles,
      work_count: this.workCount,
      work_most_cycles: this.workMost,
      stack_deepest_bytes: this.#stackBytes(),
      static_ram_bytes: this.staticBytes,
      flash_bytes: this.flashBytes,
      clock_hz: CLOCK_HZ,
      rx_overruns: this.overruns,
    };
  }

  meterReset() {
    this.meterFrom = this.cpu.cycles;
    this.busyFrom = this.#busyCycles();
    this.workCycles = 0;
    this.workCount = 0;
    this.workMost = 0;
    this.overruns = 0;
    const top = Math.min(this.cpu.SP + 1, RAM_END);
    if (top > this.freeAt) this.cpu.data.fill(PAINT, this.freeAt, top);
  }
}

/** The image in flash, erased elsewhere, and how many bytes it takes. */
function place(image) {
  if (image.machine !== MACHINE.avr) throw new Error('the image is not for this chip');
  const segments = image.segments.filter(({ data }) => data.length > 0);
  const used = Math.max(...segments.map(({ physical, data }) => physical + data.length));
  if (used > FLASH_BYTES) throw new Error(`the image does not fit: ${used} bytes`);
  const flash = new Uint8Array(FLASH_BYTES).fill(0xff);
  for (const { physical, data } of segments) flash.set(data, physical);
  return { flash: new Uint16Array(flash.buffer), used };
}

/** Where variables end, and how many bytes they are. */
function ramOf(image) {
  const end = image.symbols.get('_end') ?? image.symbols.get('__bss_end');
  if (!end) throw new Error('the image does not say where its variables end');
  const bss = end.value - ELF_DATA_AT;
  return { bss, ramUsed: bss - RAM_AT };
}
