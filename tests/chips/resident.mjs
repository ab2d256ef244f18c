// Checks that what must run while flash is busy stays in RAM:
//
//   node resident.mjs IMAGE.elf
//
// Looks through the section .ram_code of an RP2040 image and prints every call
// or jump out of it and every address of flash it holds; none is the only good
// answer. The emulator finds the same when it happens; this finds it before.
// Calls into the boot ROM go through pointers and are not seen here.

import { readElf } from './elf.mjs';
import { branches } from './thumb.mjs';

const FLASH = [0x10000000, 0x11000000];

const image = readElf(process.argv[2]);
const region = image.sections.get('.ram_code');
if (!region || region.size === 0) throw new Error('the image has no .ram_code');
const segment = image.segments.find(
  ({ virtual, data }) => virtual <= region.address && region.address < virtual + data.length,
);
const code = Buffer.from(segment.data);
const at = (address) => address - segment.virtual;
const end = region.address + region.size;

/** Mapping symbols ($t code, $d data) as an ordered list of [address, isCode]. */
const marks = image.marks
  .filter(({ value }) => value >= region.address && value < end)
  .sort((a, b) => a.value - b.value);
const inFlash = (address) => address >= FLASH[0] && address < FLASH[1];

const name = (address) => {
  for (const [text, { value, size }] of image.symbols) {
    if ((value & ~1) <= address && address < (value & ~1) + Math.max(size, 1)) return text;
  }
  return '?';
};

const found = [];
marks.forEach((mark, i) => {
  const stop = marks[i + 1]?.value ?? end;
  if (mark.name.startsWith('$d')) {
    for (let word = (mark.value + 3) & ~3; word + 4 <= stop; word += 4) {
      const value = code.readUInt32LE(at(word));
      if (inFlash(value)) found.push([word, `holds 0x${value.toString(16)} (${name(value & ~1)})`]);
    }
    return;
  }
  for (const { pc, target } of branches(code, segment.virtual, mark.value, stop)) {
    if (target < region.address || target >= end) {
      found.push([pc, `goes to 0x${target.toString(16)} (${name(target)})`]);
    }
  }
});

for (const [address, what] of found) {
  console.log(`0x${address.toString(16)} in ${name(address)}: ${what}`);
}
console.log(`${region.size} bytes of code in RAM, ${found.length} ways out of it`);
process.exit(found.length === 0 ? 0 : 1);
