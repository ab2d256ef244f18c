// Finds the branches in Thumb code of an ARMv6-M image.
//
// Encodings: ARMv6-M Architecture Reference Manual, A5.2, A5.3, A6.7.10 and
// A6.7.13, from memory. Branches through registers are not seen.

/** [{ pc, target }] of the code from `from` to `to`; `bytes` stand at `base`. */
export function branches(bytes, base, from, to) {
  const found = [];
  for (let pc = from; pc + 2 <= to; pc += 2) {
    const half = bytes.readUInt16LE(pc - base);
    if (half >> 11 === 0b11110 && pc + 4 <= to) {
      const low = bytes.readUInt16LE(pc + 2 - base);
      if ((low & 0xd000) === 0xd000) found.push({ pc, target: pc + 4 + long(half, low) });
      pc += 2;
    } else if (half >> 12 === 0b1101 && ((half >> 8) & 0xf) < 0xe) {
      found.push({ pc, target: pc + 4 + (((half & 0xff) << 24) >> 23) });
    } else if (half >> 11 === 0b11100) {
      found.push({ pc, target: pc + 4 + (((half & 0x7ff) << 21) >> 20) });
    }
  }
  return found;
}

/** Distance of a branch with link. */
function long(high, low) {
  const sign = (high >> 10) & 1;
  const i1 = 1 ^ ((low >> 13) & 1) ^ sign;
  const i2 = 1 ^ ((low >> 11) & 1) ^ sign;
  const bits =
    (sign << 24) | (i1 << 23) | (i2 << 22) | ((high & 0x3ff) << 12) | ((low & 0x7ff) << 1);
  return (bits << 7) >> 7;
}
