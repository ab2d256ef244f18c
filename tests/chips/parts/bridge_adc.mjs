// The two-wire 24-bit bridge ADC at its pins.
//
// Owns the conversion schedule, power-down, the choice of input and the bits on
// the data line, in virtual time. The codes come from outside (`convert`), so
// that the physics stays in one place, the bench. Knows no chip: it is attached
// to one by a port { nowNs(), after(ns, call), data(level) }, where a level of
// null leaves the line to the chip's own pull resistor.
//
// Timing after Avia Semiconductor, "24-Bit Analog-to-Digital Converter (ADC)
// for Weigh Scales" (serial interface; 100 ms and 12.5 ms by the RATE pin), and
// as firmware/bench/src/adc.rs and pins.rs have it, so that bench and emulated
// chips convert at the same moments.

/** Clock high beyond this powers the converter down, ns. */
const POWER_DOWN_NS = 60_000;
/**
 * Clock low for this long after the 25th pulse ends a reading, ns. Our own
 * number: the data sheet names no longest low time.
 */
const READING_ENDS_NS = 200_000;
const INPUT_OF_PULSES = { 25: 'A128', 26: 'B32', 27: 'A64' };

export class BridgeAdc {
  /**
   * `convert(atNs, input, rate)` gives the code of a finished conversion, or
   * null for none; `read(atNs, code)` is told of a code fully clocked out.
   * `longestWaitNs` is the longest time from the end of a conversion to its first
   * clock pulse.
   */
  constructor({ convert, read }) {
    this.convert = convert;
    this.read = read;
    this.port = null;
    this.life = 0;
    // Numbers the readings; not `reads`, which a meter sets back.
    this.reading = 0;
    this.wires = 'whole';
    this.rateHigh = false;
    this.clockHigh = false;
    this.lost = 0;
    this.conversions = 0;
    this.reads = 0;
    this.longestWaitNs = 0;
    this.readyNs = 0;
  }

  /** Puts the wires on a chip whose clock and RATE pins are low; `cold` when its power was off. */
  attach(port, cold) {
    const before = this.port;
    this.port = port;
    this.clockHigh = false;
    this.edgeNs = port.nowNs();
    if (cold || !before) {
      this.rateHigh = false;
      this.#powerUp();
    } else {
      this.pulses = 0;
      this.#schedule();
      this.setRate(false);
    }
    this.#show();
  }

  /** Conversions per second. */
  get rate() {
    return this.rateHigh ? 80 : 10;
  }

  get #periodNs() {
    return 1e9 / this.rate;
  }

  /** "whole", "data_high", "data_low" or "unplugged" (which also takes its power). */
  setWires(state) {
    if (!['whole', 'data_high', 'data_low', 'unplugged'].includes(state)) {
      throw new Error(`no such state of the wires: ${state}`);
    }
    const replugged = this.wires === 'unplugged' && state !== 'unplugged';
    this.wires = state;
    if (replugged) this.#powerUp();
    this.#show();
  }

  /** The RATE pin: a change starts conversions anew. */
  setRate(high) {
    if (high === this.rateHigh) return;
    this.rateHigh = high;
    this.#begin(this.port.nowNs());
  }

  /** The clock pin, told of every change. */
  setClock(high) {
    if (high === this.clockHigh) return;
    const nowNs = this.port.nowNs();
    if (high) this.#rise(nowNs);
    else this.#fall(nowNs);
    this.clockHigh = high;
    this.edgeNs = nowNs;
    this.#show();
  }

  #rise(nowNs) {
    if (this.pulses === 0) {
      if (this.ready === null) return;
      this.longestWaitNs = Math.max(this.longestWaitNs, nowNs - this.readyNs);
      this.shifting = this.ready;
      this.pulses = 1;
    } else {
      this.pulses += 1;
    }
    if (this.pulses === 25) {
      // A conversion that ended meanwhile stays, and is offered next.
      if (this.ready === this.shifting || !this.renewed) this.ready = null;
      this.renewed = false;
      this.reads += 1;
      this.reading += 1;
      this.read(nowNs, this.shifting);
    }
  }

  #fall(nowNs) {
    if (nowNs - this.edgeNs > POWER_DOWN_NS) {
      this.#powerUp();
      return;
    }
    if (this.pulses < 25) return;
    const pulses = this.pulses;
    const reading = this.reading;
    this.port.after(READING_ENDS_NS, () => {
      if (this.pulses === pulses && this.reading === reading) this.#endReading(nowNs);
    });
  }

  /** What the pulses chose takes hold from the last falling edge on. */
  #endReading(fellNs) {
    const chosen = INPUT_OF_PULSES[this.pulses] ?? this.input;
    this.pulses = 0;
    if (chosen !== this.input) {
      this.input = chosen;
      this.#begin(fellNs);
    }
    this.#show();
  }

  #powerUp() {
    this.input = 'A128';
    this.#begin(this.port.nowNs());
  }

  /** Starts conversions anew; the first ends one period from `fromNs`. */
  #begin(fromNs) {
    this.ready = null;
    this.renewed = false;
    this.pulses = 0;
    this.dueNs = fromNs + this.#periodNs;
    this.#schedule();
  }

  #schedule() {
    this.life += 1;
    const life = this.life;
    const end = () => {
      if (life !== this.life) return;
      this.#finish();
      if (life !== this.life) return;
      this.dueNs += this.#periodNs;
      this.port.after(this.dueNs - this.port.nowNs(), end);
    };
    this.port.after(Math.max(0, this.dueNs - this.port.nowNs()), end);
  }

  #finish() {
    const nowNs = this.port.nowNs();
    const down = this.clockHigh && nowNs - this.edgeNs > POWER_DOWN_NS;
    if (down) {
      this.ready = null;
      this.pulses = 0;
    }
    if (down || this.wires === 'unplugged') return;
    this.conversions += 1;
    const code = this.convert(nowNs, this.input, this.rate);
    if (code === null) return;
    if (this.ready !== null && this.pulses === 0) this.lost += 1;
    // After a loss the time of the first that waits goes on.
    else this.readyNs = nowNs;
    this.ready = code;
    this.renewed = this.pulses > 0;
    this.#show();
  }

  #show() {
    this.port.data(this.#level());
  }

  #level() {
    switch (this.wires) {
      case 'unplugged':
        return null;
      case 'data_high':
        return true;
      case 'data_low':
        return false;
      default:
    }
    if (this.pulses === 0) return this.ready === null;
    if (this.pulses <= 24) return ((this.shifting >> (24 - this.pulses)) & 1) === 1;
    return true;
  }
}
