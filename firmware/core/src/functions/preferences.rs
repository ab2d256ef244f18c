//! What somebody chose at the scale: one struct, and its bytes in storage.
//!
//! Nothing here changes what a mass is; a scale that loses it weighs on. Bytes
//! are read field by field: one that makes no sense becomes its default and
//! touches no other.

use super::counting::MOST_PIECES;
use super::unit::Unit;

/// Layout of the bytes. Append fields, never move one.
pub const VERSION: u8 = 1;
/// Length of the bytes.
pub const BYTES: usize = 24;
const _: () = assert!(BYTES <= crate::notebook::CONTENT_BYTES);

/// The function in use.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Function {
    /// Weighing and nothing else.
    #[default]
    None,
    /// Holding the highest at rest.
    HoldAtRest,
    /// Holding the highest, moving or not.
    HoldMoving,
    /// Counting pieces.
    Count,
    /// Checking limits.
    Limits,
}

/// After how long without key and load the display rests.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RestAfter {
    /// Never.
    Never,
    /// A minute.
    One,
    /// Five minutes.
    Five,
    /// A quarter of an hour.
    #[default]
    Fifteen,
    /// An hour.
    Sixty,
}

impl RestAfter {
    /// All, in the order they are offered.
    pub const ALL: [Self; 5] = [
        Self::Never,
        Self::One,
        Self::Five,
        Self::Fifteen,
        Self::Sixty,
    ];

    /// Minutes; none for never.
    #[must_use]
    pub const fn minutes(self) -> Option<u32> {
        match self {
            Self::Never => None,
            Self::One => Some(1),
            Self::Five => Some(5),
            Self::Fifteen => Some(15),
            Self::Sixty => Some(60),
        }
    }
}

/// Levels of brightness, from 1.
pub const BRIGHTEST: u8 = 5;

/// What was chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Preferences {
    /// Unit of indication; none stands for the scale's usual one.
    pub unit: Option<Unit>,
    /// Function in use.
    pub function: Function,
    /// Pieces of the sample last asked for.
    pub pieces: u16,
    /// Lower limit, quanta.
    pub low: i32,
    /// Upper limit, quanta.
    pub high: i32,
    /// Preset tare last entered, quanta. Not in use by itself.
    pub preset: i32,
    /// When the display rests.
    pub rest_after: RestAfter,
    /// Whether it is dark then, not only dim.
    pub rests_dark: bool,
    /// Brightness, 1 to [`BRIGHTEST`].
    pub brightness: u8,
    /// Micrograms of the quanta that masses above are in; 0 when nobody chose.
    pub quantum_ug: u32,
}

impl Default for Preferences {
    fn default() -> Self {
        Self::new()
    }
}

impl Preferences {
    /// Nobody chose anything.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            unit: None,
            function: Function::None,
            pieces: 10,
            low: 0,
            high: 0,
            preset: 0,
            rest_after: RestAfter::Fifteen,
            rests_dark: false,
            brightness: 4,
            quantum_ug: 0,
        }
    }

    /// Takes the quantum in force, micrograms; whether it was another one. Masses
    /// in other quanta would be other masses: they are forgotten, and no limit is
    /// checked any more.
    pub fn suit(&mut self, quantum_ug: u32) -> bool {
        if self.quantum_ug == quantum_ug {
            return false;
        }
        self.quantum_ug = quantum_ug;
        self.low = 0;
        self.high = 0;
        self.preset = 0;
        if self.function == Function::Limits {
            self.function = Function::None;
        }
        true
    }

    /// Its bytes: version, unit, function, pieces (2), lower limit (4), upper
    /// limit (4), preset tare (4), rest, dark, brightness, quantum (4); numbers
    /// with the lowest byte first.
    #[must_use]
    #[inline(never)]
    pub fn to_bytes(&self) -> [u8; BYTES] {
        let [p0, p1] = self.pieces.to_le_bytes();
        let [l0, l1, l2, l3] = self.low.to_le_bytes();
        let [h0, h1, h2, h3] = self.high.to_le_bytes();
        let [t0, t1, t2, t3] = self.preset.to_le_bytes();
        let [q0, q1, q2, q3] = self.quantum_ug.to_le_bytes();
        let unit = match self.unit {
            None => 0,
            Some(Unit::Gram) => 1,
            Some(Unit::Kilogram) => 2,
            Some(Unit::Pound) => 3,
            Some(Unit::Ounce) => 4,
        };
        let function = match self.function {
            Function::None => 0,
            Function::HoldAtRest => 1,
            Function::HoldMoving => 2,
            Function::Count => 3,
            Function::Limits => 4,
        };
        let rest = match self.rest_after {
            RestAfter::Never => 0,
            RestAfter::One => 1,
            RestAfter::Five => 2,
            RestAfter::Fifteen => 3,
            RestAfter::Sixty => 4,
        };
        let dark = u8::from(self.rests_dark);
        [
            VERSION,
            unit,
            function,
            p0,
            p1,
            l0,
            l1,
            l2,
            l3,
            h0,
            h1,
            h2,
            h3,
            t0,
            t1,
            t2,
            t3,
            rest,
            dark,
            self.brightness,
            q0,
            q1,
            q2,
            q3,
        ]
    }

    /// What bytes of any length say; defaults for what they do not. Bytes of
    /// another version say nothing.
    #[must_use]
    #[inline(never)]
    pub fn from_bytes(bytes: &[u8]) -> Self {
        let mut read = Self::new();
        let byte = |at: usize| bytes.get(at).copied();
        if byte(0) != Some(VERSION) {
            return read;
        }
        let four = |at: usize| {
            let bytes = bytes.get(at..at.saturating_add(4))?;
            Some(i32::from_le_bytes(bytes.try_into().ok()?))
        };
        read.unit = match byte(1) {
            Some(1) => Some(Unit::Gram),
            Some(2) => Some(Unit::Kilogram),
            Some(3) => Some(Unit::Pound),
            Some(4) => Some(Unit::Ounce),
            _ => None,
        };
        read.function = match byte(2) {
            Some(1) => Function::HoldAtRest,
            Some(2) => Function::HoldMoving,
            Some(3) => Function::Count,
            Some(4) => Function::Limits,
            _ => Function::None,
        };
        if let (Some(low), Some(high)) = (byte(3), byte(4)) {
            let pieces = u16::from_le_bytes([low, high]);
            if (1..=MOST_PIECES).contains(&pieces) {
                read.pieces = pieces;
            }
        }
        // A mass beyond what a scale may have is none.
        let mass = |at| four(at).filter(|mass: &i32| mass.unsigned_abs() <= MOST_QUANTA);
        read.low = mass(5).unwrap_or(read.low);
        read.high = mass(9).unwrap_or(read.high);
        read.preset = mass(13).filter(|tare| *tare >= 0).unwrap_or(read.preset);
        read.rest_after = match byte(17) {
            Some(0) => RestAfter::Never,
            Some(1) => RestAfter::One,
            Some(2) => RestAfter::Five,
            Some(4) => RestAfter::Sixty,
            _ => RestAfter::Fifteen,
        };
        read.rests_dark = byte(18) == Some(1);
        if let Some(brightness @ 1..=BRIGHTEST) = byte(19) {
            read.brightness = brightness;
        }
        read.quantum_ug = four(20).unwrap_or(0).cast_unsigned();
        read
    }
}

const MOST_QUANTA: u32 = scalewright_protocol::settings::Settings::MAX_QUANTA.unsigned_abs();

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn some() -> impl Strategy<Value = Preferences> {
        let most = MOST_QUANTA as i32;
        (
            (0usize..5, 0usize..5, 1..=MOST_PIECES),
            (-most..=most, -most..=most, 0..=most),
            (0usize..5, any::<bool>(), 1..=BRIGHTEST),
        )
            .prop_map(
                |((unit, function, pieces), (low, high, preset), (rest, dark, brightness))| {
                    Preferences {
                        unit: Unit::ALL.get(unit).copied(),
                        function: [
                            Function::None,
                            Function::HoldAtRest,
                            Function::HoldMoving,
                            Function::Count,
                            Function::Limits,
                        ][function],
                        pieces,
                        low,
                        high,
                        preset,
                        rest_after: RestAfter::ALL[rest],
                        rests_dark: dark,
                        brightness,
                        quantum_ug: preset.unsigned_abs().wrapping_mul(7),
                    }
                },
            )
    }

    #[test]
    fn nothing_stored_reads_as_nothing_chosen() {
        for bytes in [
            &[][..],
            &[0; BYTES],
            &[0xFF; BYTES],
            &[VERSION],
            &[2; BYTES],
        ] {
            assert_eq!(Preferences::from_bytes(bytes), Preferences::new());
        }
    }

    #[test]
    fn the_layout_stays() {
        let chosen = Preferences {
            unit: Some(Unit::Pound),
            function: Function::Limits,
            pieces: 0x0201,
            low: 0x0403_0201,
            high: -2,
            preset: 5,
            rest_after: RestAfter::One,
            rests_dark: true,
            brightness: 2,
            quantum_ug: 2000,
        };
        let bytes = [
            1, 3, 4, 1, 2, 1, 2, 3, 4, 0xFE, 0xFF, 0xFF, 0xFF, 5, 0, 0, 0, 1, 1, 2, 0xD0, 7, 0, 0,
        ];
        assert_eq!(chosen.to_bytes(), bytes);
    }

    #[test]
    fn masses_in_other_quanta_are_forgotten_and_nothing_else() {
        let mut chosen = Preferences {
            function: Function::Limits,
            low: 5,
            high: 9,
            preset: 7,
            brightness: 1,
            quantum_ug: 2000,
            ..Preferences::new()
        };
        let before = chosen;
        assert!(!chosen.suit(2000));
        assert_eq!(chosen, before);
        assert!(chosen.suit(10_000));
        let left = Preferences {
            brightness: 1,
            quantum_ug: 10_000,
            ..Preferences::new()
        };
        assert_eq!(chosen, left);
    }

    proptest! {
        #[test]
        fn what_was_chosen_comes_back(chosen in some()) {
            prop_assert_eq!(Preferences::from_bytes(&chosen.to_bytes()), chosen);
        }

        /// A byte that makes no sense costs its own field only.
        #[test]
        fn damage_stays_in_its_field(chosen in some(), at in 1usize..20, byte: u8) {
            let mut bytes = chosen.to_bytes();
            bytes[at] = byte;
            let mut read = Preferences::from_bytes(&bytes);
            match at {
                1 => read.unit = chosen.unit,
                2 => read.function = chosen.function,
                3 | 4 => read.pieces = chosen.pieces,
                5..=8 => read.low = chosen.low,
                9..=12 => read.high = chosen.high,
                13..=16 => read.preset = chosen.preset,
                17 => read.rest_after = chosen.rest_after,
                18 => read.rests_dark = chosen.rests_dark,
                _ => read.brightness = chosen.brightness,
            }
            prop_assert_eq!(read, chosen);
        }

        #[test]
        fn any_bytes_make_sense(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
            let mut bytes = bytes;
            if let Some(first) = bytes.first_mut() {
                *first = VERSION;
            }
            let read = Preferences::from_bytes(&bytes);
            prop_assert!((1..=MOST_PIECES).contains(&read.pieces));
            prop_assert!((1..=BRIGHTEST).contains(&read.brightness));
            prop_assert!(read.preset >= 0);
            prop_assert_eq!(Preferences::from_bytes(&read.to_bytes()), read);
        }
    }
}
