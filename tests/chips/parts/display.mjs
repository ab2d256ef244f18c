// A 128x64 I2C display with the controller's memory, as a picture.
//
// Owns the controller's command language as far as it places bytes and lights
// pixels: addressing modes, windows, mirroring, on and off. Refuses nothing
// silently: a command it does not know is kept in `unknown`. Knows no chip; a
// bus model calls start, write and stop, and carries the acknowledgements.
//
// After Solomon Systech, "SSD1306 128 x 64 Dot Matrix OLED/PLED
// Segment/Common Driver with Controller", section 9 (command table) and 10;
// the numbers are from memory.

const WIDTH = 128;
const HEIGHT = 64;
const PAGES = HEIGHT / 8;
const ADDRESS = 0x3c;

/** Bytes that follow a command byte, where there are any. */
const ARGUMENTS = new Map([
  [0x20, 1], [0x21, 2], [0x22, 2], [0x23, 1], [0x26, 6], [0x27, 6], [0x29, 5], [0x2a, 5],
  [0x81, 1], [0x8d, 1], [0xa3, 2], [0xa8, 1], [0xd3, 1], [0xd5, 1], [0xd6, 1], [0xd9, 1],
  [0xda, 1], [0xdb, 1],
]);

export class Display {
  constructor() {
    this.plugged = true;
    this.powerCycle();
  }

  /** Power off and on: registers as after reset, memory with what chance left there. */
  powerCycle() {
    this.memory = new Uint8Array(WIDTH * PAGES);
    for (let i = 0; i < this.memory.length; i += 1) this.memory[i] = (i * 0x9e3779b1) >>> 24;
    this.mode = 2;
    this.column = 0;
    this.page = 0;
    this.columns = [0, WIDTH - 1];
    this.pages = [0, PAGES - 1];
    this.mirrored = false;
    this.scanDown = false;
    this.startLine = 0;
    this.offset = 0;
    this.lines = HEIGHT;
    this.on = false;
    this.pumped = false;
    this.inverse = false;
    this.allOn = false;
    this.unknown = [];
    this.command = null;
    this.state = 'idle';
    this.bytes = 0;
  }

  /** Connects or disconnects it; power comes and goes with the plug. */
  setPlugged(plugged) {
    if (plugged && !this.plugged) this.powerCycle();
    this.plugged = plugged;
    if (!plugged) this.state = 'idle';
  }

  /** A start condition with an address (7 bits); true for an acknowledgement. */
  start(address, write) {
    this.state = this.plugged && write && address === ADDRESS ? 'control' : 'idle';
    this.command = null;
    return this.state !== 'idle';
  }

  /** A byte on the bus; true for an acknowledgement. */
  write(byte) {
    if (!this.plugged || this.state === 'idle') return false;
    this.bytes += 1;
    switch (this.state) {
      case 'control':
        this.single = (byte & 0x80) !== 0;
        this.state = byte & 0x40 ? 'data' : 'command';
        return true;
      case 'data':
        this.#store(byte);
        break;
      default:
        this.#instruct(byte);
    }
    if (this.single) this.state = 'control';
    return true;
  }

  /** A stop condition. */
  stop() {
    this.state = 'idle';
  }

  #store(byte) {
    const x = this.mirrored ? WIDTH - 1 - this.column : this.column;
    this.memory[this.page * WIDTH + x] = byte;
    const [left, right] = this.mode === 2 ? [0, WIDTH - 1] : this.columns;
    const [top, bottom] = this.pages;
    if (this.mode === 1) {
      if (this.page !== bottom) {
        this.page = (this.page + 1) % PAGES;
        return;
      }
      this.page = top;
    }
    if (this.column !== right) {
      this.column = (this.column + 1) % WIDTH;
      return;
    }
    this.column = left;
    if (this.mode === 0) this.page = this.page === bottom ? top : (this.page + 1) % PAGES;
  }

  #instruct(byte) {
    if (this.command === null) {
      this.command = [byte];
      this.missing = ARGUMENTS.get(byte) ?? 0;
    } else {
      this.command.push(byte);
      this.missing -= 1;
    }
    if (this.missing > 0) return;
    const [code, a, b] = this.command;
    this.command = null;
    this.#obey(code, a, b);
  }

  #obey(code, a, b) {
    if (code < 0x10) this.column = (this.column & 0xf0) | code;
    else if (code < 0x20) this.column = ((code & 0x07) << 4) | (this.column & 0x0f);
    else if (code >= 0x40 && code < 0x80) this.startLine = code & 0x3f;
    else if (code >= 0xb0 && code < 0xb8) this.page = code & 0x07;
    else {
      switch (code) {
        case 0x20:
          this.mode = a & 3;
          break;
        case 0x21:
          this.columns = [a & 0x7f, b & 0x7f];
          this.column = a & 0x7f;
          break;
        case 0x22:
          this.pages = [a & 7, b & 7];
          this.page = a & 7;
          break;
        case 0x8d:
          this.pumped = (a & 4) !== 0;
          break;
        case 0xa0:
        case 0xa1:
          this.mirrored = code === 0xa1;
          break;
        case 0xa4:
        case 0xa5:
          this.allOn = code === 0xa5;
          break;
        case 0xa6:
        case 0xa7:
          this.inverse = code === 0xa7;
          break;
        case 0xa8:
          this.lines = (a & 0x3f) + 1;
          break;
        case 0xae:
        case 0xaf:
          this.on = code === 0xaf;
          break;
        case 0xc0:
        case 0xc8:
          this.scanDown = code === 0xc8;
          break;
        case 0xd3:
          this.offset = a & 0x3f;
          break;
        // Contrast, clock, charge times, pin layout and "scrolling off" light no pixel.
        case 0x81:
        case 0xd5:
        case 0xd9:
        case 0xda:
        case 0xdb:
        case 0x2e:
        case 0xe3:
          break;
        default:
          this.unknown.push(code);
      }
    }
  }

  /**
   * What a person sees: 64 rows of 128 characters, '#' lit. The module is
   * mounted as usual: upright with mirrored columns and rows scanned downwards.
   */
  rows() {
    const rows = [];
    for (let y = 0; y < HEIGHT; y += 1) {
      let row = '';
      for (let x = 0; x < WIDTH; x += 1) row += this.#lit(x, y) ? '#' : '.';
      rows.push(row);
    }
    return rows;
  }

  #lit(x, y) {
    if (!this.plugged || !this.on || !this.pumped) return false;
    const common = this.scanDown ? y : HEIGHT - 1 - y;
    if (common >= this.lines) return false;
    if (this.allOn) return true;
    const line = (common + this.startLine + this.offset) % HEIGHT;
    const byte = this.memory[(line >> 3) * WIDTH + (WIDTH - 1 - x)];
    return ((byte >> (line & 7)) & 1) === (this.inverse ? 0 : 1);
  }
}
