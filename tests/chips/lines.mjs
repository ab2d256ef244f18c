// Lines of JSON over stdin and stdout, synchronously.
//
// An emulator in the middle of an instruction has to wait for an answer, so
// nothing here is left to the event loop.

import fs from 'node:fs';

const pause = new Int32Array(new SharedArrayBuffer(4));

/** Runs a read or write again for as long as the pipe is not ready. */
function patiently(call) {
  for (;;) {
    try {
      return call();
    } catch (error) {
      if (error.code !== 'EAGAIN') throw error;
      Atomics.wait(pause, 0, 0, 1);
    }
  }
}

export class Lines {
  #buffer = Buffer.alloc(65536);
  #text = '';

  /** The next line's value; null at the end of the input. */
  next() {
    for (;;) {
      const end = this.#text.indexOf('\n');
      if (end >= 0) {
        const line = this.#text.slice(0, end);
        this.#text = this.#text.slice(end + 1);
        if (line.trim() === '') continue;
        return JSON.parse(line);
      }
      const bytes = patiently(() => {
        try {
          return fs.readSync(0, this.#buffer, 0, this.#buffer.length, null);
        } catch (error) {
          if (error.code === 'EOF') return 0;
          throw error;
        }
      });
      if (bytes === 0) return null;
      this.#text += this.#buffer.toString('latin1', 0, bytes);
    }
  }

  /** Prints one value as a line. */
  say(value) {
    const bytes = Buffer.from(`${JSON.stringify(value)}\n`);
    for (let at = 0; at < bytes.length; ) {
      at += patiently(() => fs.writeSync(1, bytes, at));
    }
  }
}
