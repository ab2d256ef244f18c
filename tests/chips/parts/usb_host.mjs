// The laptop's end of the USB cable: finds the serial port, moves bytes.
//
// Built on the emulator's own host, with what it lacks: it remembers that a
// device armed its receiving end before its number was known, gives the device
// time between control requests, and opens the port as a terminal program does ("set control line state" to the interface,
// USB CDC PSTN 1.2, 6.3.12).

import { USBCDC } from 'rp2040js';

/** A host controller comes round at least so often when it has something, ns. */
const POLL_US = 50;
/**
 * Time before each control request, ns. A device has 2 ms for taking on its
 * address (USB 2.0, 9.2.6.3, from memory) and cannot be reached under it before.
 */
const REQUEST_NS = 3e6;

export class UsbHost {
  constructor(usb, clock, emit) {
    this.usb = usb;
    const request = usb.sendSetupPacket.bind(usb);
    usb.sendSetupPacket = (packet) =>
      clock.createAlarm(() => request(packet)).schedule(REQUEST_NS);
    this.cdc = new USBCDC(usb);
    this.queue = [];
    this.armed = new Map();
    this.open = false;
    usb.onEndpointRead = (endpoint, size) => {
      this.armed.set(endpoint, size);
      this.#move();
    };
    this.cdc.cdcSetControlLineState = () => {
      this.cdc.initialized = true;
      usb.sendSetupPacket(new Uint8Array([0x21, 0x22, 0x03, 0, 0, 0, 0, 0]));
    };
    this.cdc.onDeviceConnected = () => {
      this.open = true;
      this.#move();
    };
    this.cdc.onSerialData = (bytes) => {
      for (const byte of bytes) emit(byte);
    };
  }

  /** Bytes for the device; they wait until it is found. */
  send(bytes) {
    this.queue.push(...bytes);
    this.#move();
  }

  #move() {
    const endpoint = this.cdc.outEndpoint;
    const size = this.armed.get(endpoint);
    if (!this.open || size === undefined || this.queue.length === 0) return;
    this.armed.delete(endpoint);
    const packet = Uint8Array.from(this.queue.splice(0, size));
    this.usb.endpointReadDone(endpoint, packet, POLL_US);
  }
}
