// An emulated board that is told what to do by lines of JSON on stdin, and
// answers each with one line on stdout:
//
//   node emulate.mjs --board rp2040|atmega328p --image FILE.elf [--link usb|uart]
//
// Owns the conversation and everything that outlives a chip's reset: virtual
// time, the bridge ADC, the display, the non-volatile memory. The driver is the
// master and everything is synchronous: while a `run` is at work, each finished
// conversion prints a question {"convert":…} and waits for {"code":n}.
//
// Commands: run, input, keys, wires, display, cut_after, restart, hang, screen,
// memory, set_memory, meter, meter_reset, quit. A command that cannot be obeyed
// is answered {"error":"…"}.
//
// What a board module exports:
//   switchOn(life) -> board      a new chip
// `life` is what it is switched on with:
//   image       the ELF file as elf.mjs reads it
//   memory      what the chip before kept (`board.keep()`), null for a new one
//   reason      "power" | "watchdog"
//   atNs        virtual time at which this chip starts; board.nowNs() goes on from there
//   adc         call adc.attach(port, reason === "power") once the pins exist, then
//               adc.setClock(high) and adc.setRate(high) on every change of these
//               pins; port = { nowNs(), after(ns, call), data(true|false|null) }, null:
//               the line follows the chip's pull resistor. No timer is ever cancelled.
//   display     start(address, write), write(byte), stop(): true is an acknowledgement
//   link        "usb" | "uart", undefined for what the board usually speaks
//   keys        [zero, tare, view], true while pressed
//   emit(byte)  a byte left the chip on the link
//   halt(kind, why)   ends the run: "power_cut" | "watchdog" | "fault"
//   run         { stopped }: null while running; checked before every instruction
// `board`:
//   nowNs()                virtual time, ns
//   run(untilNs)           executes until then, or until life.run.stopped is set
//   input(bytes)           bytes for the link, paced like the real line
//   setKeys(keys)
//   cutAfter(bytes|null)   power dies after so many more bytes erased or written
//   hang()                 the main program loops for ever, interrupts go on
//   storage() -> Uint8Array     the region of slots and device number (a copy)
//   setStorage(bytes)
//   keep()                 whatever the next chip needs as its `memory`
//   meter() -> object, meterReset()

import fs from 'node:fs';
import { Lines } from './lines.mjs';
import { readElf } from './elf.mjs';
import { BridgeAdc } from './parts/bridge_adc.mjs';
import { Display } from './parts/display.mjs';

const BOARDS = ['rp2040', 'atmega328p'];

function options() {
  const found = {};
  for (let i = 2; i + 1 < process.argv.length; i += 2) {
    found[process.argv[i].replace(/^--/, '')] = process.argv[i + 1];
  }
  if (!BOARDS.includes(found.board) || !found.image) {
    process.stderr.write('usage: emulate.mjs --board rp2040|atmega328p --image FILE.elf [--link usb|uart]\n');
    process.exit(2);
  }
  return found;
}

const { board: boardName, image: imagePath, link } = options();
const { switchOn } = await import(`./${boardName}.mjs`);
const image = readElf(imagePath);
const lines = new Lines();
const us = (ns) => Math.floor(ns / 1000);

const run = { stopped: null, why: undefined };
let untilOutput = false;
let output = [];
let read = [];
let insideFrame = false;
let firstOutputNs = null;
let keys = [false, false, false];
let startedNs = 0;
let over = null;

const adc = new BridgeAdc({
  convert(atNs, input, rate) {
    lines.say({ convert: { at_us: us(atNs), input, rate } });
    const answer = lines.next();
    if (answer === null) process.exit(0);
    return answer.code ?? null;
  },
  read(atNs, code) {
    read.push([us(atNs), code]);
  },
});
const display = new Display();

function halt(kind, why) {
  if (run.stopped === null || run.stopped === 'output') {
    run.stopped = kind;
    run.why = why;
  }
}

// A frame is what stands between two zeros; empty ones are no frames.
function emit(byte) {
  firstOutputNs ??= board.nowNs();
  output.push(byte);
  const ended = byte === 0 && insideFrame;
  insideFrame = byte !== 0;
  if (ended && untilOutput) halt('output');
}

function live(reason, memory, atNs) {
  startedNs = atNs;
  firstOutputNs = null;
  insideFrame = false;
  over = null;
  run.stopped = null;
  return switchOn({ image, memory, reason, atNs, adc, display, keys, link, emit, halt, run });
}

let board = live('power', null, 0);

const commands = {
  run({ us: length, until_output: stop = false }) {
    if (over) throw new Error(`the chip stands still (${over}); restart it`);
    run.stopped = null;
    run.why = undefined;
    untilOutput = stop;
    output = [];
    read = [];
    board.run(board.nowNs() + length * 1000);
    const stopped = run.stopped ?? 'time';
    if (!['time', 'output'].includes(stopped)) over = stopped;
    return {
      at_us: us(board.nowNs()),
      output: Buffer.from(output).toString('hex'),
      stopped,
      why: run.why,
      read,
    };
  },
  input({ hex }) {
    board.input(Buffer.from(hex, 'hex'));
  },
  keys({ down }) {
    keys = down.map(Boolean);
    board.setKeys(keys);
  },
  wires({ state }) {
    adc.setWires(state);
  },
  display({ plugged }) {
    display.setPlugged(plugged);
  },
  cut_after({ bytes }) {
    board.cutAfter(bytes);
  },
  restart({ reason }) {
    if (reason === 'power') display.powerCycle();
    board = live(reason, board.keep(), board.nowNs());
  },
  hang() {
    board.hang();
  },
  screen() {
    return { rows: display.rows() };
  },
  memory() {
    return { hex: Buffer.from(board.storage()).toString('hex') };
  },
  set_memory({ hex }) {
    board.setStorage(Buffer.from(hex, 'hex'));
  },
  meter() {
    return {
      ...board.meter(),
      first_output_us: firstOutputNs === null ? null : us(firstOutputNs - startedNs),
      conversions: adc.conversions,
      codes_read: adc.reads,
      codes_lost: adc.lost,
      longest_wait_ns: Math.round(adc.longestWaitNs),
      display_bytes: display.bytes,
      display_unknown: display.unknown,
    };
  },
  meter_reset() {
    adc.conversions = 0;
    adc.reads = 0;
    adc.lost = 0;
    adc.longestWaitNs = 0;
    display.bytes = 0;
    board.meterReset();
  },
  quit() {
    process.exit(0);
  },
};

for (;;) {
  try {
    const line = lines.next();
    if (line === null) break;
    const command = Object.hasOwn(commands, line.do) ? commands[line.do] : null;
    if (!command) throw new Error(`no such command: ${line.do}`);
    lines.say(command(line) ?? { ok: true });
  } catch (error) {
    lines.say({ error: error instanceof Error ? error.message : String(error) });
    if (process.env.EMULATE_TRACE) fs.writeSync(2, `${error?.stack}\n`);
  }
}
