//! The serial line: 115 200 bit/s, 8 data bits, no parity, one stop bit.
//!
//! Both directions are queued and moved by interrupts. The core takes bytes in
//! as they come, all but the zero that ends a frame, which waits until the scale
//! has time for what the frame asks; a laptop sends the next request only after
//! the reply, so nothing long ever stands in the queue.
//!
//! The rate is 16 MHz / (8 · 17) = 117 647 bit/s, 2.1 % fast, as the table of
//! rates in the chip's data sheet has it (Microchip, "ATmega328P", USART,
//! examples of UBRRn settings); the receiver tolerates that together with a
//! sender that is exact.

use avr_device::atmega328p::USART0;
use avr_device::interrupt::{Mutex, free};

use crate::ring::Ring;

const RECEIVED: usize = 64;
/// A sample's frame (40 bytes) fits whole.
const SENDING: usize = 64;
const DIVISOR: u16 = 16;

static RX: Mutex<Ring<u8, RECEIVED>> = Mutex::new(Ring::new(0));
static TX: Mutex<Ring<u8, SENDING>> = Mutex::new(Ring::new(0));

/// Sets the line up; nothing moves before interrupts are let in.
pub fn start(port: &USART0) {
    port.ubrr0().write(|w| w.set(DIVISOR));
    port.ucsr0a().write(|w| w.u2x0().set_bit());
    // The frame format after reset is 8N1.
    port.ucsr0b().write(|w| {
        w.rxen0().set_bit();
        w.txen0().set_bit();
        w.rxcie0().set_bit()
    });
}

/// The next byte that arrived; with `hold`, not if it is a zero, which would end
/// a frame and begin what the frame asks for.
pub fn receive(hold: bool) -> Option<u8> {
    free(|cs| {
        let ring = RX.borrow(cs);
        if hold && ring.peek() == Some(0) {
            return None;
        }
        ring.pop()
    })
}

/// Queues as many of `bytes` as find room; says how many.
pub fn send(bytes: &[u8]) -> usize {
    let mut taken = 0usize;
    for byte in bytes {
        if !free(|cs| TX.borrow(cs).push(*byte)) {
            break;
        }
        taken = taken.saturating_add(1);
    }
    if taken > 0 {
        free(|_| listen(true));
    }
    taken
}

/// Lets the transmitter ask for bytes, or not; interrupts are off.
fn listen(on: bool) {
    // SAFETY: the only other user of this register is `start`, before interrupts.
    let port = unsafe { USART0::steal() };
    port.ucsr0b().modify(|_, w| w.udrie0().bit(on));
}

#[avr_device::interrupt(atmega328p)]
fn USART_RX() {
    // SAFETY: this interrupt alone reads the receiver.
    let port = unsafe { USART0::steal() };
    let sound = !port.ucsr0a().read().fe0().bit_is_set();
    let byte = port.udr0().read().bits();
    // A byte lost here breaks its frame, which the sender sends again.
    if sound {
        free(|cs| RX.borrow(cs).push(byte));
    }
}

#[avr_device::interrupt(atmega328p)]
fn USART_UDRE() {
    free(|cs| match TX.borrow(cs).pop() {
        Some(byte) => {
            // SAFETY: this interrupt alone writes to the transmitter.
            let port = unsafe { USART0::steal() };
            port.udr0().write(|w| w.set(byte));
        }
        None => listen(false),
    });
}
