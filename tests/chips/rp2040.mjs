// The RP2040 board: chip, pins, flash, USB and UART around rp2040js.
//
// Owns one life of the chip, from reset to the next; the interface stands at
// the top of emulate.mjs. Pins are those of firmware/rp2040/src/pins.rs. The
// link is USB, or the UART when the harness is called with `--link uart`.

import { GPIOPinState, RP2040 } from 'rp2040js';
import { MACHINE } from './elf.mjs';
import { FLASH_BYTES, FlashChip } from './parts/flash_chip.mjs';
import { connectDisplay } from './parts/i2c_display.mjs';
import { UsbHost } from './parts/usb_host.mjs';

const PIN = { data: 2, clock: 3, rate: 4, keys: [6, 7, 8], work: 15 };
const XIP = 0x10000000;
const RAM = 0x20000000;
const VECTORS = XIP + 0x100;
/** The last five sectors: two pages, two slots, then the device number. */
const STORAGE_AT = FLASH_BYTES - 5 * 4096;
/** One byte on the UART at 115200 bit/s with start and stop bit, ns. */
const UART_BYTE_NS = 1e10 / 115200;
/** What free RAM is painted with before the start. */
const PAINT = 0xa5;
const WATCHDOG_BIT = 1;

/** A chip whose flash cannot always be read. */
class Chip extends RP2040 {
  flashChip = null;

  readUint32(address) {
    if (address >>> 26 === XIP >>> 26) this.flashChip?.check(address);
    return super.readUint32(address);
  }

  readUint16(address) {
    if (address >>> 26 === XIP >>> 26) this.flashChip?.check(address);
    return super.readUint16(address);
  }

  readUint8(address) {
    if (address >>> 26 === XIP >>> 26) this.flashChip?.check(address);
    return super.readUint8(address);
  }
}

export function switchOn(life) {
  return new Board(life);
}

class Board {
  #life;
  #mcu;
  #clock;
  #flashChip;
  #host = null;
  #uartBytes = [];
  #uartBusy = false;
  #working = false;
  #workCycles = 0;
  #stackFrom;
  #stackTo;
  #complaints = new Set();
  #counts;

  constructor(life) {
    this.#life = life;
    this.#mcu = new Chip();
    this.#clock = this.#mcu.clock;
    const mcu = this.#mcu;
    const complain = (_, text) => this.#complaints.add(text);
    mcu.logger = { debug() {}, info() {}, warn: complain, error: complain };
    this.#load();
    this.#flashChip = new FlashChip(mcu, life.halt);
    this.meterReset();
    this.#connectPins();
    this.#connectLink();
    connectDisplay(mcu.i2c[0], this.#clock, life.display);
    this.#connectWatchdog();
    this.#boot();
    mcu.flashChip = this.#flashChip;
  }

  #load() {
    const { image, memory } = this.#life;
    if (image.machine !== MACHINE.arm) throw new Error('the image is for another chip');
    const mcu = this.#mcu;
    if (memory) mcu.flash.set(memory.flash);
    for (const segment of image.segments) {
      const { data, physical } = segment;
      if (data.length > 0) mcu.flash.set(data, physical - XIP);
    }
    this.#stackFrom = image.symbols.get('__sheap').value - RAM;
    this.#stackTo = image.symbols.get('_stack_start').value - RAM;
    mcu.sram.fill(PAINT);
  }

  #connectPins() {
    const { adc } = this.#life;
    const { gpio } = this.#mcu;
    const listen = (pin, call) => gpio[pin].addListener((state) => call(isHigh(state)));
    const drive = (pin, level) => {
      if (gpio[pin].rawInputValue !== level) gpio[pin].setInputValue(level);
    };
    this.setKeys(this.#life.keys);
    listen(PIN.clock, (high) => adc.setClock(high));
    listen(PIN.rate, (high) => adc.setRate(high));
    listen(PIN.work, (high) => this.#work(high));
    const port = {
      nowNs: () => this.nowNs(),
      after: (ns, call) => this.#clock.createAlarm(call).schedule(ns),
      data: (level) => drive(PIN.data, level ?? gpio[PIN.data].pullupEnabled),
    };
    adc.attach(port, this.#life.reason === 'power');
  }

  #connectLink() {
    const [uart] = this.#mcu.uart;
    if (this.#life.link === 'uart') {
      uart.onByte = (byte) => this.#life.emit(byte);
    } else {
      this.#host = new UsbHost(this.#mcu.usbCtrl, this.#clock, this.#life.emit);
    }
  }

  #connectWatchdog() {
    const { memory, reason, halt } = this.#life;
    const watchdog = this.#mcu.peripherals[0x40058];
    if (reason === 'watchdog') {
      watchdog.reason = WATCHDOG_BIT;
      if (memory) watchdog.scratchData.set(memory.scratch);
    }
    watchdog.onWatchdogTrigger = () => {
      // Else its alarm comes again at once, for ever.
      watchdog.alarm.enable = false;
      watchdog.timer.enable = false;
      halt('watchdog', 'nobody fed it');
    };
    this.watchdog = watchdog;
  }

  /** Starts where the second-stage loader would jump to. */
  #boot() {
    const { core } = this.#mcu;
    core.VTOR = VECTORS;
    core.SP = this.#mcu.readUint32(VECTORS);
    core.PC = this.#mcu.readUint32(VECTORS + 4) & ~1;
  }

  nowNs() {
    return this.#life.atNs + this.#clock.nanos;
  }

  run(untilNs) {
    const clock = this.#clock;
    const end = untilNs - this.#life.atNs;
    const { run } = this.#life;
    while (clock.nanos < end && run.stopped === null) this.#step(end);
  }

  /** One instruction, or a sleep to the next event but not beyond `end`. */
  #step(end) {
    const clock = this.#clock;
    const mcu = this.#mcu;
    const { core } = mcu;
    if (!core.waiting) {
      const cycles = core.executeInstruction();
      this.#counts.busy += cycles;
      if (this.#working) this.#workCycles += cycles;
      clock.tick((cycles * 1e9) / mcu.clkSys);
      return;
    }
    // A pending interrupt ends a sleep even where it is masked.
    if (core.pendingInterrupts & core.enabledInterrupts) {
      core.waiting = false;
      core.interruptsUpdated = true;
      return;
    }
    const beforeNs = clock.nanos;
    const next = clock.nextAlarm ? clock.nextAlarm.nanos : end;
    const ns = Math.max(0, Math.min(next, end) - beforeNs);
    const inRoutine = core.PC < 0x4000;
    clock.tick(ns);
    if (inRoutine) this.#counts.busy += (ns * mcu.clkSys) / 1e9;
  }

  input(bytes) {
    if (this.#host) {
      this.#host.send(bytes);
      return;
    }
    this.#uartBytes.push(...bytes);
    if (!this.#uartBusy) this.#feedUart();
  }

  #feedUart() {
    this.#uartBusy = this.#uartBytes.length > 0;
    if (!this.#uartBusy) return;
    this.#clock
      .createAlarm(() => {
        const [uart] = this.#mcu.uart;
        if (uart.rxFIFO.full) this.#counts.overrun += 1;
        uart.feedByte(this.#uartBytes.shift());
        this.#feedUart();
      })
      .schedule(UART_BYTE_NS);
  }

  setKeys(keys) {
    PIN.keys.forEach((pin, i) => this.#mcu.gpio[pin].setInputValue(!keys[i]));
  }

  cutAfter(bytes) {
    this.#flashChip.fuel = bytes;
  }

  hang() {
    const { core } = this.#mcu;
    // Where interrupts are on: the main program sleeps with them off.
    const inMain = () =>
      core.currentMode === 0 && !core.PM && core.PC >= 0x4000 && this.#flashChip.readable;
    const endNs = this.#clock.nanos + 1e9;
    while (!inMain() && this.#clock.nanos < endNs) this.#step(endNs);
    core.waiting = false;
    core.PC = this.#flashChip.hangAddress;
  }

  storage() {
    return this.#mcu.flash.slice(STORAGE_AT, FLASH_BYTES);
  }

  setStorage(bytes) {
    if (bytes.length !== FLASH_BYTES - STORAGE_AT) {
      throw new Error(`the storage has ${FLASH_BYTES - STORAGE_AT} bytes, not ${bytes.length}`);
    }
    this.#mcu.flash.set(bytes, STORAGE_AT);
  }

  keep() {
    return {
      flash: this.#mcu.flash.slice(0, FLASH_BYTES),
      scratch: this.watchdog.scratchData.slice(),
    };
  }

  #work(high) {
    if (high === this.#working) return;
    this.#working = high;
    if (high) {
      this.#workCycles = 0;
      return;
    }
    const counts = this.#counts;
    counts.work += this.#workCycles;
    counts.works += 1;
    counts.workMost = Math.max(counts.workMost, this.#workCycles);
  }

  meter() {
    const counts = this.#counts;
    const { sram } = this.#mcu;
    let deepest = this.#stackFrom;
    while (deepest < this.#stackTo && sram[deepest] === PAINT) deepest += 1;
    return {
      clock_hz: this.#mcu.clkSys,
      cycles: Math.round(((this.#clock.nanos - counts.sinceNs) * this.#mcu.clkSys) / 1e9),
      busy_cycles: Math.round(counts.busy),
      work_cycles: counts.work,
      work_count: counts.works,
      work_most_cycles: counts.workMost,
      stack_deepest_bytes: this.#stackTo - deepest,
      static_ram_bytes: this.#stackFrom,
      flash_erases: this.#flashChip.erases,
      uart_overruns: counts.overrun,
      complaints: [...this.#complaints],
    };
  }

  meterReset() {
    this.#counts = {
      sinceNs: this.#clock.nanos,
      busy: 0,
      work: 0,
      works: 0,
      workMost: 0,
      overrun: 0,
    };
    this.#flashChip.erases = 0;
  }
}

function isHigh(state) {
  return state === GPIOPinState.High || state === GPIOPinState.InputPullUp;
}
