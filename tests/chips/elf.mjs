// Reads a 32-bit little-endian ELF file: loadable segments, sections, symbols.
//
// Owns just what the emulated boards need to place an image in memory and to
// find names in it. After "Tool Interface Standard (TIS) Executable and Linking
// Format (ELF) Specification", version 1.2, book I; numbers from memory.

import fs from 'node:fs';

/** Machine numbers of the two chips. */
export const MACHINE = { arm: 40, avr: 83 };

const LOAD = 1;
const SYMBOL_TABLE = 2;

/** { machine, entry, segments, sections, symbols, marks } of the file. */
export function readElf(path) {
  const bytes = fs.readFileSync(path);
  const magic = [0x7f, 0x45, 0x4c, 0x46, 1, 1];
  if (bytes.length < 52 || magic.some((value, at) => bytes[at] !== value)) {
    throw new Error(`${path}: not a 32-bit little-endian ELF file`);
  }
  const u16 = (at) => bytes.readUInt16LE(at);
  const u32 = (at) => bytes.readUInt32LE(at);
  const name = (at) => bytes.toString('latin1', at, bytes.indexOf(0, at));

  const segments = [];
  for (let i = 0; i < u16(44); i += 1) {
    const at = u32(28) + i * u16(42);
    if (u32(at) !== LOAD) continue;
    const [offset, fileBytes] = [u32(at + 4), u32(at + 16)];
    segments.push({
      virtual: u32(at + 8),
      physical: u32(at + 12),
      memoryBytes: u32(at + 20),
      data: bytes.subarray(offset, offset + fileBytes),
    });
  }

  const headers = [];
  for (let i = 0; i < u16(48); i += 1) {
    const at = u32(32) + i * u16(46);
    headers.push({
      nameAt: u32(at),
      type: u32(at + 4),
      address: u32(at + 12),
      offset: u32(at + 16),
      size: u32(at + 20),
      link: u32(at + 24),
    });
  }
  const namesAt = headers[u16(50)]?.offset ?? 0;
  const sections = new Map();
  const symbols = new Map();
  const marks = [];
  for (const header of headers) {
    const { address, size, offset } = header;
    sections.set(name(namesAt + header.nameAt), { address, size, offset });
    if (header.type !== SYMBOL_TABLE) continue;
    const stringsAt = headers[header.link].offset;
    for (let at = offset; at < offset + size; at += 16) {
      const [text, value, size] = [name(stringsAt + u32(at)), u32(at + 4), u32(at + 8)];
      // "$t" and "$d" say where code and data begin; there are many of each.
      if (text.startsWith('$')) marks.push({ name: text, value });
      else if (text !== '') symbols.set(text, { value, size });
    }
  }
  return { machine: u16(18), entry: u32(24), segments, sections, symbols, marks };
}
