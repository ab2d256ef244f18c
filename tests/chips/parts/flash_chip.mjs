// The serial flash behind an RP2040, and the boot ROM that works it.
//
// Owns what the firmware may not overlook: while the flash is busy, or not in
// its reading mode, nobody can read it, neither data nor instructions. Erasing
// and writing take their time, interrupts go on meanwhile, and power can be cut
// after any byte. The boot ROM is a stub: its routines are break instructions
// that call back here (RP2040 datasheet, 2.8.3: table of routines by two
// letters).
//
// Times: Winbond, "W25Q16JV" data sheet, AC characteristics, typical values,
// from memory. That a cut leaves whole bytes is a model; real cells can also be
// left half changed.

export const FLASH_BYTES = 2 << 20;
const SECTOR_ERASE_NS = 45e6;
const PAGE_PROGRAM_NS = 0.7e6;
const PAGE_BYTES = 256;

// Places in the ROM stub, below the 16 KiB of the real one.
const FUNCTIONS_AT = 0x100;
const DATA_AT = 0x140;
const LOOKUP_AT = 0x180;
const ROUTINES_AT = 0x200;
const HANG_AT = 0x300;

const BREAK = 0xbe00;
const RETURN = 0x4770; // bx lr
const AGAIN = 0xe7fd; // b to the instruction before
const WAIT = 0x20;
const LOOKUP = 0x21;
const HANG = 0x22;
/** Routine letters in the order of their break numbers. */
const ROUTINES = ['IF', 'EX', 'RE', 'RP', 'FC', 'CX'];

export class FlashChip {
  /** `halt(kind, why)` ends the run. */
  constructor(mcu, halt) {
    this.mcu = mcu;
    this.halt = halt;
    this.busyUntilNs = 0;
    this.readable = true;
    this.fuel = null;
    this.control = 0;
    this.erases = 0;
    this.wake = mcu.clock.createAlarm(() => {
      mcu.core.waiting = false;
    });
    this.#burnRom();
    mcu.onBreak = (number) => this.#routine(number);
    this.#watchReadingMode();
  }

  /** Whether the processor stands in a routine, waiting for the flash. */
  get waiting() {
    return this.mcu.clock.nanos < this.busyUntilNs;
  }

  /** Address of an endless loop. */
  get hangAddress() {
    return HANG_AT;
  }

  /** Whether a read of flash gives data now; ends the run if not. */
  check(address) {
    if (this.readable && !this.waiting) return;
    const pc = this.mcu.core.PC.toString(16);
    const state = this.waiting ? 'busy' : 'not in its reading mode';
    this.halt('fault', `flash read at 0x${address.toString(16)} while it was ${state}, pc 0x${pc}`);
  }

  #burnRom() {
    const rom = new Uint16Array(this.mcu.bootrom.buffer);
    const put = (at, ...halves) => rom.set(halves, at / 2);
    put(0x10, 0x754d, 0x0201); // 'M', 'u', 1, version 2
    put(0x14, FUNCTIONS_AT, DATA_AT, LOOKUP_AT | 1);
    ROUTINES.forEach((letters, i) => {
      const at = ROUTINES_AT + i * 16;
      const tag = letters.charCodeAt(0) | (letters.charCodeAt(1) << 8);
      put(FUNCTIONS_AT + i * 4, tag, at | 1);
      // The second break waits until the flash is done, interrupts or not.
      put(at, BREAK | i, BREAK | WAIT, AGAIN, RETURN);
    });
    put(LOOKUP_AT, BREAK | LOOKUP, RETURN);
    put(HANG_AT, BREAK | HANG, AGAIN);
  }

  /** The loader makes flash readable again by its last settings of the SSI. */
  #watchReadingMode() {
    const ssi = this.mcu.peripherals[0x18000];
    const write = ssi.writeUint32.bind(ssi);
    const [CONTROL, ENABLE] = [0x00, 0x08];
    ssi.writeUint32 = (offset, value) => {
      write(offset, value);
      if (offset === CONTROL) this.control = value;
      // Transfer mode 3 is reading by command and address.
      if (offset === ENABLE) this.readable = value === 1 && ((this.control >> 8) & 3) === 3;
    };
  }

  #routine(number) {
    const { core, clock } = this.mcu;
    switch (number) {
      case WAIT:
        if (this.waiting) this.#sleep(this.busyUntilNs - clock.nanos);
        else core.PC += 2;
        return;
      case HANG:
        this.#sleep(1e6);
        return;
      case LOOKUP:
        this.#lookup();
        return;
      default:
    }
    const [at, b, c] = core.registers;
    switch (ROUTINES[number]) {
      case 'EX':
        this.readable = false;
        break;
      case 'CX':
        this.readable = true;
        break;
      case 'RE':
        this.#erase(at, b);
        break;
      case 'RP':
        this.#program(at, b, c);
        break;
      default:
    }
  }

  /** The processor counts as busy, but nothing is executed until then. */
  #sleep(ns) {
    this.mcu.core.waiting = true;
    this.wake.schedule(ns);
  }

  #lookup() {
    const { core, bootrom } = this.mcu;
    const rom = new Uint16Array(bootrom.buffer);
    let at = core.registers[0] / 2;
    while (rom[at] !== 0 && rom[at] !== core.registers[1]) at += 2;
    core.registers[0] = rom[at] === 0 ? 0 : rom[at + 1];
  }

  /** Uses up `bytes` of what is left until the cut; how many can still be done. */
  #burn(bytes) {
    if (this.fuel === null) return bytes;
    const done = Math.min(bytes, this.fuel);
    this.fuel -= done;
    return done;
  }

  #cut(wanted, done) {
    if (done < wanted) this.halt('power_cut', `after ${done} of ${wanted} bytes`);
  }

  #begin(at, count, unit) {
    if (this.readable) this.halt('fault', 'flash changed while still in its reading mode');
    if (at % unit || count % unit || at + count > FLASH_BYTES) {
      this.halt('fault', `flash range 0x${at.toString(16)}+${count} is not made of ${unit} bytes`);
    }
  }

  #erase(at, count) {
    this.#begin(at, count, 4096);
    this.erases += count / 4096;
    const done = this.#burn(count);
    this.mcu.flash.fill(0xff, at, at + done);
    this.busyUntilNs = this.mcu.clock.nanos + (count / 4096) * SECTOR_ERASE_NS;
    this.#cut(count, done);
  }

  /** Bytes of 0xff leave the cells as they are and need no charge: only others count. */
  #program(at, from, count) {
    this.#begin(at, count, PAGE_BYTES);
    if (from < 0x20000000) this.halt('fault', 'flash written from flash');
    const data = [];
    for (let i = 0; i < count; i += 1) data.push(this.mcu.readUint8(from + i));
    const wanted = data.filter((byte) => byte !== 0xff).length;
    const done = this.#burn(wanted);
    let left = done;
    for (let i = 0; i < count; i += 1) {
      if (data[i] === 0xff) continue;
      if (left === 0) break;
      this.mcu.flash[at + i] &= data[i];
      left -= 1;
    }
    this.busyUntilNs = this.mcu.clock.nanos + (count / PAGE_BYTES) * PAGE_PROGRAM_NS;
    this.#cut(wanted, done);
  }
}
