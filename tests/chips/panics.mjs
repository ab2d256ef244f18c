// Lists where an RP2040 image could panic, and holds the list to the reasons:
//
//   node panics.mjs IMAGE.elf REASONS.toml
//
// A site is a call of the standard library's panic functions. Each is looked up
// in the image's line tables; the innermost source file that is not the
// standard library's must be named in REASONS.toml, a table of lines
// "crate/file" = "why it is not reached". A site without a reason, or a reason
// without a site, fails. That the code outside the named libraries has no site
// at all is proved harder by the build with the feature panic-link-check.
//
// Needs addr2line of the binutils for ARM; another can be named by ADDR2LINE.

import fs from 'node:fs';
import { execFileSync } from 'node:child_process';
import { readElf } from './elf.mjs';
import { branches } from './thumb.mjs';

const [imagePath, reasonsPath] = process.argv.slice(2);
const image = readElf(imagePath);

/**
 * Our own files. Where library code was merged into ours, the line table names
 * one of these for ends that several library functions share; the build with
 * panic-link-check shows that ours have no site.
 */
const OURS = /^(rp2040|core|protocol)\//;

/** Bytes before a panic call that may be jumped to from elsewhere. */
const TAIL = 8;

function readReasons(path) {
  const reasons = new Map();
  for (const line of fs.readFileSync(path, 'utf8').split('\n')) {
    const found = line.match(/^"([^"]+)"\s*=\s*"([^"]+)"/);
    if (found) reasons.set(found[1], found[2]);
  }
  return reasons;
}

/** Functions that only ever panic: those of the standard library's own. */
function panicFunctions() {
  const found = new Map();
  for (const [text, { value }] of image.symbols) {
    const ours = /9panicking|unwrap_failed|expect_failed|index_fail|panic_already|len_mismatch/;
    if (ours.test(text) && text.includes('4core')) found.set(value & ~1, text);
  }
  return found;
}

function allBranches() {
  const all = [];
  for (const { virtual, data } of image.segments) {
    const bytes = Buffer.from(data);
    const end = virtual + data.length;
    const marks = image.marks
      .filter(({ value }) => value >= virtual && value < end)
      .sort((a, b) => a.value - b.value);
    marks.forEach((mark, i) => {
      if (!mark.name.startsWith('$t')) return;
      const stop = Math.min(marks[i + 1]?.value ?? end, end);
      all.push(...branches(bytes, virtual, mark.value, stop));
    });
  }
  return all;
}

/** Innermost frame outside the standard library, as "crate/file", by address. */
function sources(addresses) {
  const tool = process.env.ADDR2LINE ?? 'arm-none-eabi-addr2line';
  const hex = addresses.map((address) => `0x${address.toString(16)}`);
  const text = execFileSync(tool, ['-a', '-i', '-f', '-C', '-e', imagePath, ...hex], {
    encoding: 'utf8',
    maxBuffer: 1 << 26,
  });
  const found = new Map();
  let address = null;
  for (const line of text.split('\n')) {
    if (/^0x[0-9a-f]+$/.test(line)) address = Number(line);
    else if (!found.has(address) && /:(\d+|\?)/.test(line) && !line.includes('/library/')) {
      const path = line.match(/.*\/([^/\s]+)\/src\/([^:\s]+):[\d?]+/);
      if (path) found.set(address, `${path[1].replace(/-\d+\.\d+.*$/, '')}/${path[2]}`);
    }
  }
  return found;
}

const panics = panicFunctions();
const all = allBranches();
const insidePanics = (pc) => {
  for (const address of panics.keys()) if (pc >= address && pc < address + 16) return true;
  return false;
};
const calls = all.filter(({ pc, target }) => panics.has(target) && !insidePanics(pc));
// One panic call often ends several ways; those that jump to it are the sites.
const sites = new Map();
for (const { pc, target } of calls) {
  const jumps = all.filter((one) => one.target > pc - TAIL && one.target <= pc && one.pc !== pc);
  for (const site of [pc, ...jumps.map((one) => one.pc)]) sites.set(site, panics.get(target));
}
const where = sources([...sites.keys()]);
const reasons = readReasons(reasonsPath);
const count = new Map();
const nameless = [];
let shared = 0;
for (const site of sites.keys()) {
  const file = where.get(site);
  if (file === undefined || OURS.test(file)) shared += 1;
  else if (reasons.has(file)) count.set(file, (count.get(file) ?? 0) + 1);
  else nameless.push(`0x${site.toString(16)} in ${file}`);
}
for (const [file, reason] of reasons) {
  console.log(`${String(count.get(file) ?? 0).padStart(4)}  ${file}: ${reason}`);
}
console.log(`${String(shared).padStart(4)}  ends shared by several of these, without a line of their own`);
const unused = [...reasons.keys()].filter((file) => !count.has(file));
for (const site of nameless) console.log(`no reason: ${site}`);
for (const file of unused) console.log(`no site: ${file}`);
console.log(`${sites.size} sites in ${count.size} library files`);
process.exit(nameless.length + unused.length === 0 ? 0 : 1);
