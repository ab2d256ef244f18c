//! Large digits: 14 columns of 24 dots, drawn for this project.
//!
//! They stand here as pictures and are packed when the crate is built: 42 bytes
//! a digit in the image. All have one width, so that a number does not jump; the
//! point is narrow and the minus sign sits at half height.

use super::strip::Strip;
use super::text::Text;

/// Dots from top to bottom.
pub const HEIGHT: u8 = 24;
/// Columns of a digit, and from one digit to the next.
const COLUMNS: usize = 14;
const STEP: u8 = 16;
/// Columns from a point or a minus sign to what follows.
const POINT_STEP: u8 = 6;
const MINUS_STEP: u8 = 12;

/// Five digits a block, side by side.
#[rustfmt::skip]
const DRAWN: [[&str; HEIGHT as usize]; 2] = [
    [
        ".....####..... ......####.... .....####..... .....####..... ........####..",
        "...########... ......####.... ...########... ...########... ........####..",
        "..##########.. ....######.... ..##########.. ..##########.. .......#####..",
        ".############. ...#######.... .############. .############. .......#####..",
        ".####....####. ..########.... .####....####. #####....##### ......######..",
        "####......#### .#########.... ####......#### ####......#### ......######..",
        "####......#### .####.####.... ####......#### ####......#### .....#######..",
        "####......#### ..##..####.... ####......#### ..........#### ....########..",
        "####......#### ......####.... .##.......#### ..........#### ....########..",
        "####......#### ......####.... ..........#### ......#######. ...#########..",
        "####......#### ......####.... .........####. ....#########. ...####.####..",
        "####......#### ......####.... ........#####. ....########.. ..####..####..",
        "####......#### ......####.... .......#####.. ....#########. .#####..####..",
        "####......#### ......####.... ......#####... ........#####. .############.",
        "####......#### ......####.... ......#####... .........##### ##############",
        "####......#### ......####.... .....#####.... ..........#### ##############",
        "####......#### ......####.... ....#####..... .##.......#### .#############",
        "####......#### ......####.... ...#####...... ####......#### ........####..",
        "####......#### ......####.... ..#####....... ####......#### ........####..",
        ".####....####. ......####.... .#####........ .####....####. ........####..",
        ".############. ..###########. #############. .############. ........####..",
        "..##########.. .############# ############## ..##########.. ........####..",
        "...########... .############# ############## ...########... ........####..",
        ".....####..... .############# .############. .....####..... ........####..",
    ],
    [
        "..###########. .......####... .############. .....####..... .....####.....",
        ".############. .....#######.. ############## ...########... ...########...",
        ".############. ....########.. ############## ..##########.. ..##########..",
        ".############. ...########... .############# .############. .############.",
        ".####......... ..#####....... .........####. .####....####. .####....####.",
        ".####......... ..####........ .........####. .####....####. ####......####",
        ".####......... .####......... .........####. .###......###. ####......####",
        ".####......... .####......... ........####.. .###......###. ####......####",
        ".#########.... .####......... ........####.. .####....####. ####......####",
        ".##########... .#########.... ........####.. .############. ####......####",
        ".###########.. .##########... .......####... ..##########.. .####....#####",
        ".############. ############.. .......####... ..##########.. .#############",
        ".........####. #############. .......####... ..##########.. ..############",
        "..........#### #####....####. ......####.... .############. ...##########.",
        "..........#### ####......#### ......####.... #####....##### ....#########.",
        "..........#### ####......#### ......####.... ####......#### .........####.",
        "..........#### ####......#### .....####..... ####......#### .........####.",
        ".###......#### ####......#### .....####..... ####......#### .........####.",
        ".###.....##### ####......#### .....####..... ####......#### ........####..",
        ".####....####. .####....####. ....####...... .####....####. .......#####..",
        ".############. .############. ....####...... .############. ...########...",
        "..##########.. ..##########.. ....####...... ..##########.. ..########....",
        "...########... ...########... ....###....... ...########... ..#######.....",
        ".....####..... .....####..... ....###....... .....####..... ...####.......",
    ],
];

/// Three bytes a column, the upper first.
const DIGITS: [[[u8; 3]; COLUMNS]; 10] = packed();

const fn packed() -> [[[u8; 3]; COLUMNS]; 10] {
    let mut digits = [[[0; 3]; COLUMNS]; 10];
    let mut digit = 0;
    while digit < 10 {
        let block = &DRAWN[digit / 5];
        let mut y = 0;
        while y < HEIGHT as usize {
            let row = block[y].as_bytes();
            let mut x = 0;
            while x < COLUMNS {
                if row[digit % 5 * (COLUMNS + 1) + x] == b'#' {
                    digits[digit][x][y / 8] |= 1 << (y % 8);
                }
                x += 1;
            }
            y += 1;
        }
        digit += 1;
    }
    digits
}

/// Columns that `text` takes.
#[must_use]
#[inline(never)]
pub fn width(text: &Text) -> u8 {
    let steps = text.letters().iter().map(|letter| step(*letter));
    steps.fold(0u8, u8::saturating_add).saturating_sub(2)
}

const fn step(letter: u8) -> u8 {
    match letter {
        b'.' => POINT_STEP,
        b'-' => MINUS_STEP,
        _ => STEP,
    }
}

/// Draws a number with its upper left corner at `x`, `y`: digits, point and
/// minus; anything else is a blank as wide as a digit.
#[inline(never)]
pub fn draw(strip: &mut Strip, x: u8, y: u8, text: &Text) {
    if !strip.shows(y, HEIGHT) {
        return;
    }
    let mut x = x;
    for letter in text.letters() {
        match letter {
            b'.' => strip.fill(x, y.saturating_add(20), 4, 4),
            b'-' => strip.fill(x, y.saturating_add(10), 10, 4),
            _ => {
                let digit = usize::from(letter.wrapping_sub(b'0'));
                for (at, [a, b, c]) in (0u8..).zip(DIGITS.get(digit).unwrap_or(&[[0; 3]; COLUMNS]))
                {
                    let column = u32::from_le_bytes([*a, *b, *c, 0]);
                    strip.column(x.saturating_add(at), y, column);
                }
            }
        }
        x = x.saturating_add(step(*letter));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_digit_is_another_and_fills_its_height() {
        for (at, digit) in DIGITS.iter().enumerate() {
            let rows = digit.iter().fold([0u8; 3], |all, column| {
                [all[0] | column[0], all[1] | column[1], all[2] | column[2]]
            });
            assert_eq!(rows, [0xFF; 3], "{at} reaches from top to bottom");
            assert_eq!(DIGITS.iter().filter(|other| *other == digit).count(), 1);
        }
    }

    #[test]
    fn a_number_is_as_wide_as_what_is_drawn() {
        for said in ["0", "-12.5", "888888", "1."] {
            let mut text = Text::new();
            text.say(said);
            let mut last = 0;
            for page in 0..3 {
                let mut strip = Strip::new(page);
                draw(&mut strip, 0, 0, &text);
                let lit = strip.columns().iter().rposition(|column| *column != 0);
                last = last.max(lit.unwrap_or(0));
            }
            // A point or the digit 1 ends before the place it is given.
            let width = usize::from(width(&text));
            assert!(last < width && last + 3 >= width, "{said}: {last} {width}");
        }
    }
}
