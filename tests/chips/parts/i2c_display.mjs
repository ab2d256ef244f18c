// Ties a display to the emulated I2C controller, at the speed of the bus.
//
// The emulator's controller waits for every step to be completed; completing
// each after its time on the line keeps the firmware's bus time true.

/** One bit at 400 kHz, ns. */
const BIT_NS = 2500;

export function connectDisplay(i2c, clock, display) {
  const later = (bits, call) => clock.createAlarm(call).schedule(bits * BIT_NS);
  i2c.onStart = () => later(1, () => i2c.completeStart());
  i2c.onConnect = (address, mode) =>
    later(9, () => i2c.completeConnect(display.start(address, mode === 0)));
  i2c.onWriteByte = (byte) => later(9, () => i2c.completeWrite(display.write(byte)));
  i2c.onReadByte = () => later(9, () => i2c.completeRead(0xff));
  i2c.onStop = () => {
    display.stop();
    later(1, () => i2c.completeStop());
  };
}
