//! Somebody before a chip: loads the pan, presses the key whose word is wanted,
//! and looks at the display when it is painted.
//!
//! What stands there must not depend on how many instructions the image took: the
//! cell has no noise, the device number is given, and a look waits for a screen
//! that stands still or that says what was waited for.

use scalewright_bench::physics::CellSpec;
use scalewright_bench::{BenchSpec, Curve};
use scalewright_core::{FACTORY, number};
use scalewright_protocol::message::Flags;

use super::emulator::Board;
use super::rig::{Rig, hold};
use super::screen::Screen;
use super::session::Chip;

/// The device number of every scale here.
const NUMBER: u32 = 0x5C00_4F2A;
/// How long a key is held, and the time until it counts and is let go.
const HELD_MS: u64 = 40;
const LET_GO_MS: u64 = 40;
/// A screen that did not change for so long is painted.
const STILL_MS: u64 = 80;
/// Enough to read what the keys do: they are painted at once, what is measured
/// waits for the painter's next look.
const KEYS_STILL_MS: u64 = 50;
/// While it is painted, something changes within this.
const PAINTING_MS: u64 = 20;
/// Most looks until a screen stands still.
const PATIENCE: usize = 20;
/// What a change of the load takes until it is noticed, and the longest until the
/// load rests.
const NOTICED_MS: u64 = 400;
const SETTLED_MS: u64 = 8000;

/// A chip, its keys and its display.
pub struct Front {
    /// The chip.
    pub chip: Chip,
}

/// The cell of the studio's scale in good order: 10 kg, a pan of 850 g, no noise;
/// with a bend of this fraction of Max.
#[must_use]
pub fn cell(bend: f64) -> CellSpec {
    CellSpec {
        dead_load_g: 850.0,
        curve: Curve::bent(bend, 1.0, 0.1),
        ..CellSpec::ideal()
    }
}

impl Front {
    /// A chip before this cell, switched on for the first time.
    #[must_use]
    pub fn new(board: Board, cell: CellSpec) -> Self {
        let mut rig = Rig::new(board, &BenchSpec::plain(1, cell, FACTORY));
        let mut memory = rig.emulator.memory();
        let at = match board {
            Board::Rp2040 => memory.len() - 4096,
            Board::Atmega328p => 1008,
        };
        memory[at..at + number::STORED_BYTES].copy_from_slice(&number::to_bytes(NUMBER));
        rig.emulator.set_memory(&memory);
        rig.pass(5000);
        let mut front = Self {
            chip: Chip::over(rig.shared()),
        };
        assert_eq!(front.chip.hello().device_id, NUMBER);
        front.settle();
        front
    }

    /// Time goes by.
    pub fn pass(&mut self, ms: u64) {
        hold(&self.chip.rig).pass(ms * 1000);
    }

    /// Puts exactly so much on the pan.
    pub fn put(&mut self, g: f64) {
        hold(&self.chip.rig).place_g(g);
    }

    /// The same, and waits until it rests.
    pub fn load(&mut self, g: f64) {
        self.put(g);
        self.settle();
    }

    /// Waits until the load rests.
    pub fn settle(&mut self) {
        let mut waited_ms = NOTICED_MS;
        self.pass(NOTICED_MS);
        while waited_ms < SETTLED_MS && !self.chip.state().flags.has(Flags::STABLE) {
            self.pass(100);
            waited_ms += 100;
        }
    }

    /// What is on the display at this moment.
    #[must_use]
    pub fn glance(&self) -> Screen {
        let rows = hold(&self.chip.rig).emulator.screen();
        Screen::of(&rows)
    }

    /// What is on the display once it stands still.
    ///
    /// # Panics
    /// When it never does.
    pub fn look(&mut self) -> Screen {
        self.still(STILL_MS)
    }

    fn still(&mut self, for_ms: u64) -> Screen {
        let mut before = self.glance();
        for _ in 0..PATIENCE {
            self.pass(for_ms);
            let now = self.glance();
            if now == before {
                return now;
            }
            before = now;
        }
        panic!("the display never stands still");
    }

    /// The first screen of which this is true.
    ///
    /// # Panics
    /// When it does not come within 20 s.
    pub fn wait_for(&mut self, what: impl Fn(&Screen) -> bool) -> Screen {
        for _ in 0..1000 {
            if what(&self.glance()) {
                // Painted to the end, but no later: a bar goes on with the next sample.
                let now = self.still(PAINTING_MS);
                if what(&now) {
                    return now;
                }
            }
            self.pass(PAINTING_MS);
        }
        let last = self.glance();
        let said = [0, 24, 29, 38, 47].map(|y| last.words(y));
        panic!("to the end the display said {said:?} {:?}", last.keys());
    }

    /// Presses a key: 0 is the left one.
    pub fn press(&mut self, key: usize) {
        let mut down = [false; 3];
        down[key] = true;
        hold(&self.chip.rig).keys(down);
        self.pass(HELD_MS);
        hold(&self.chip.rig).keys([false; 3]);
        self.pass(LET_GO_MS);
    }

    /// Presses the key above which this word stands.
    ///
    /// # Panics
    /// When it stands above none.
    pub fn say(&mut self, word: &str) {
        let keys = self.still(KEYS_STILL_MS).keys();
        let key = keys.iter().position(|key| key == word);
        self.press(key.unwrap_or_else(|| panic!("no {word:?} among {keys:?}")));
    }

    /// Presses the keys above which these words stand, one after the other.
    pub fn all(&mut self, words: &[&str]) {
        for word in words {
            self.say(word);
        }
    }

    /// Presses one key, without looking, so many times.
    pub fn times(&mut self, key: usize, times: usize) {
        (0..times).for_each(|_| self.press(key));
    }

    /// From weighing to an entry of the menu, and chooses it.
    pub fn choose(&mut self, entry: usize) {
        self.say("menu");
        self.choose_here(entry);
    }

    /// Goes on so many entries in a list, and chooses.
    pub fn choose_here(&mut self, onward: usize) {
        self.times(0, onward);
        self.press(1);
    }
}
