//! Division of 32 bits by the chip's own divider.
//!
//! The processor has no such instruction, and the library's function takes some 180
//! cycles: with a dozen divisions a sample that is a fifth of its time. Under the names
//! below the compiler looks for it (Arm, "Run-time ABI for the Arm Architecture",
//! 4.3.1); the divider is described in the "RP2040 Datasheet", 2.3.1.5 (both from
//! memory).
//!
//! The divider is one for all: an interrupt must not divide. None does, since these
//! functions lie in flash and `tests/chips/resident.mjs` watches what interrupts call.

use rp2040_hal::pac;

/// Quotient in the lower half, remainder in the upper. Nobody divides by zero: the
/// compiler asks before.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_uidivmod(numerator: u32, denominator: u32) -> u64 {
    // SAFETY: the divider is used here and below only, and never by an interrupt.
    unsafe {
        let sio = &*pac::SIO::PTR;
        sio.div_udividend().write(|w| w.bits(numerator));
        sio.div_udivisor().write(|w| w.bits(denominator));
        result(sio)
    }
}

/// As above, towards zero.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_idivmod(numerator: i32, denominator: i32) -> u64 {
    // SAFETY: as above.
    unsafe {
        let sio = &*pac::SIO::PTR;
        sio.div_sdividend().write(|w| w.bits(numerator as u32));
        sio.div_sdivisor().write(|w| w.bits(denominator as u32));
        result(sio)
    }
}

/// The quotient alone.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_uidiv(numerator: u32, denominator: u32) -> u32 {
    __aeabi_uidivmod(numerator, denominator) as u32
}

/// The quotient alone.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_idiv(numerator: i32, denominator: i32) -> i32 {
    __aeabi_idivmod(numerator, denominator) as i32
}

/// What the divider came to, eight cycles after the divisor was written.
#[inline(always)]
fn result(sio: &pac::sio::RegisterBlock) -> u64 {
    while sio.div_csr().read().ready().bit_is_clear() {}
    let remainder = sio.div_remainder().read().bits();
    // Read last: the divider is free for others then.
    let quotient = sio.div_quotient().read().bits();
    u64::from(remainder) << 32 | u64::from(quotient)
}
