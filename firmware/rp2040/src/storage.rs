//! The last sectors of flash: two pages of the notebook, two slots for records and
//! a place for the device number.
//!
//! ```text
//! flash end - 20 KiB: notes A   - 16 KiB: notes B
//!           - 12 KiB: slot A    -  8 KiB: slot B    - 4 KiB: device number
//! ```
//!
//! While a sector is erased or a page written nothing can be read from flash,
//! code included. The job runs from RAM with every interrupt masked but the
//! sampler's, which lives in RAM too. Afterwards the second-stage loader sets
//! the fast reading mode up again, as it did at power-on (RP2040 datasheet,
//! 2.8.1.3 and 2.8.3).

use core::ptr;

use rp2040_hal::pac;
use rp2040_hal::rom_data;
use scalewright_core::number;
use scalewright_core::ports::{Slot, Storage};

/// Where flash is seen by the processor.
const XIP_BASE: usize = 0x1000_0000;
/// Size of the board's flash, bytes; memory.x has the same.
const FLASH_BYTES: usize = 2 << 20;
/// Smallest piece that can be erased, bytes.
const SECTOR_BYTES: usize = 4096;
/// Smallest piece that can be written, bytes.
const PAGE_BYTES: usize = 256;
/// Words of the second-stage loader.
const LOADER_WORDS: usize = 64;
/// Erase commands of serial flash: block of 64 KiB, unused here as pieces are
/// of one sector.
const BLOCK_BYTES: u32 = 1 << 16;
const BLOCK_ERASE: u8 = 0xD8;

/// Offset of slot A in flash.
const SLOTS_AT: usize = FLASH_BYTES - 3 * SECTOR_BYTES;
/// Offset of the notebook's first page.
const NOTES_AT: usize = FLASH_BYTES - 5 * SECTOR_BYTES;
/// Offset of the device number in flash.
const NUMBER_AT: usize = FLASH_BYTES - SECTOR_BYTES;

/// The range leaves its slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutOfRange;

/// Slots and pages.
pub struct Flash(());

impl Flash {
    /// The only one: taking the XIP and SSI peripherals proves it.
    pub fn new(_xip: pac::XIP_CTRL, _ssi: pac::XIP_SSI) -> Self {
        Self(())
    }

    /// The device number, once it has been stored.
    pub fn device_number(&self) -> Option<u32> {
        let mut stored = [0; number::STORED_BYTES];
        read(NUMBER_AT, &mut stored);
        number::from_bytes(stored)
    }

    /// Stores the device number. A cut on the way leaves none, and another
    /// number will be made.
    pub fn store_device_number(&mut self, number: u32) {
        erase_sector(NUMBER_AT);
        let mut page = [0xFF; PAGE_BYTES];
        for (to, byte) in page.iter_mut().zip(number::to_bytes(number)) {
            *to = byte;
        }
        write_page(NUMBER_AT, &page);
    }
}

const fn place(slot: Slot) -> usize {
    match slot {
        Slot::A => SLOTS_AT,
        Slot::B => SLOTS_AT + SECTOR_BYTES,
        Slot::NotesA => NOTES_AT,
        Slot::NotesB => NOTES_AT + SECTOR_BYTES,
    }
}

fn check(offset: usize, length: usize) -> Result<(), OutOfRange> {
    match offset.checked_add(length) {
        Some(end) if end <= SECTOR_BYTES => Ok(()),
        _ => Err(OutOfRange),
    }
}

impl Storage for Flash {
    type Error = OutOfRange;
    const HAS_ROOM: bool = true;
    const PAGE_BYTES: usize = SECTOR_BYTES;

    fn slot_bytes(&self) -> usize {
        SECTOR_BYTES
    }

    fn read(&mut self, slot: Slot, offset: usize, into: &mut [u8]) -> Result<(), OutOfRange> {
        check(offset, into.len())?;
        read(place(slot) + offset, into);
        Ok(())
    }

    /// All at once: a sector is the smallest piece.
    fn erase(&mut self, slot: Slot, _from: usize) -> Result<Option<usize>, OutOfRange> {
        erase_sector(place(slot));
        Ok(None)
    }

    fn write(&mut self, slot: Slot, offset: usize, bytes: &[u8]) -> Result<(), OutOfRange> {
        check(offset, bytes.len())?;
        // What a page has besides these bytes is written 0xFF, which leaves
        // flash cells as they are.
        let (mut at, mut left) = (place(slot) + offset, bytes);
        while !left.is_empty() {
            let into_page = at % PAGE_BYTES;
            let here = left.len().min(PAGE_BYTES - into_page);
            let (now, later) = left.split_at_checked(here).unwrap_or((left, &[]));
            let mut page = [0xFF; PAGE_BYTES];
            for (to, byte) in page.iter_mut().skip(into_page).zip(now) {
                *to = *byte;
            }
            write_page(at - into_page, &page);
            at += here;
            left = later;
        }
        Ok(())
    }
}

fn read(from: usize, into: &mut [u8]) {
    for (at, to) in into.iter_mut().enumerate() {
        // SAFETY: every caller stays inside the flash. Volatile, since what
        // stands there changes behind the compiler's back.
        *to = unsafe { ((XIP_BASE + from + at) as *const u8).read_volatile() };
    }
}

fn erase_sector(at: usize) {
    change(&Job {
        at,
        data: ptr::null(),
    });
}

fn write_page(at: usize, page: &[u8; PAGE_BYTES]) {
    change(&Job {
        at,
        data: page.as_ptr(),
    });
}

/// Erases the sector at `at`, or writes a page there when there are data.
struct Job {
    at: usize,
    data: *const u8,
}

/// Routines of the boot ROM (RP2040 datasheet, 2.8.3.1.3), looked up while
/// flash can still be read, and the loader that brings reading back.
struct Tools {
    connect: unsafe extern "C" fn(),
    exit_xip: unsafe extern "C" fn(),
    erase: unsafe extern "C" fn(u32, usize, u32, u8),
    program: unsafe extern "C" fn(u32, *const u8, usize),
    flush: unsafe extern "C" fn(),
    loader: [u32; LOADER_WORDS],
}

fn change(job: &Job) {
    let mut tools = Tools {
        connect: rom_data::connect_internal_flash::ptr(),
        exit_xip: rom_data::flash_exit_xip::ptr(),
        erase: rom_data::flash_range_erase::ptr(),
        program: rom_data::flash_range_program::ptr(),
        flush: rom_data::flash_flush_cache::ptr(),
        loader: [0; LOADER_WORDS],
    };
    for (at, word) in tools.loader.iter_mut().enumerate() {
        // SAFETY: the loader stands in the first words of flash.
        *word = unsafe { ((XIP_BASE as *const u32).add(at)).read_volatile() };
    }
    // SAFETY: enable bits of the interrupt controller; what was on comes on
    // again. Only the tick, which runs from RAM, stays on.
    unsafe {
        let nvic = &*cortex_m::peripheral::NVIC::PTR;
        let enabled = nvic.iser[0].read();
        nvic.icer[0].write(!(1 << pac::Interrupt::TIMER_IRQ_0 as u32));
        cortex_m::asm::dsb();
        cortex_m::asm::isb();
        run(&tools, job);
        nvic.iser[0].write(enabled);
    }
}

/// The part that cannot read flash.
///
/// # Safety
/// Every interrupt that is enabled must run from RAM.
#[inline(never)]
#[unsafe(link_section = ".ram_code.storage")]
unsafe fn run(tools: &Tools, job: &Job) {
    // SAFETY: the ROM's routines in the order the datasheet gives; `at` is a
    // sector's or a page's start. The loader is entered as a function (Thumb
    // bit set) and returns, as its caller's address is not 0.
    unsafe {
        (tools.connect)();
        (tools.exit_xip)();
        if job.data.is_null() {
            (tools.erase)(job.at as u32, SECTOR_BYTES, BLOCK_BYTES, BLOCK_ERASE);
        } else {
            (tools.program)(job.at as u32, job.data, PAGE_BYTES);
        }
        (tools.flush)();
        let entry = tools.loader.as_ptr() as usize | 1;
        core::mem::transmute::<usize, extern "C" fn()>(entry)();
    }
}
