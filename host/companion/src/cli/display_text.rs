//! A display of dots as text: eight dots a letter, framed.

/// Eight rows of columns of eight dots, the lowest bit on top.
pub type Dots = [[u8; 128]; 8];

/// Bits of a braille letter for the dots of its left and right column, from the top
/// (Unicode, block "Braille Patterns").
const LEFT: [u32; 4] = [0x01, 0x02, 0x04, 0x40];
const RIGHT: [u32; 4] = [0x08, 0x10, 0x20, 0x80];

/// The lines of a display's picture: 66 letters wide, 18 high.
#[must_use]
pub fn lines(dots: &Dots) -> Vec<String> {
    let lit = |x: usize, y: usize| {
        let column = dots.get(y / 8).and_then(|row| row.get(x));
        column.is_some_and(|column| column >> (y % 8) & 1 != 0)
    };
    let edge = "─".repeat(64);
    let mut lines = vec![format!("┌{edge}┐")];
    for top in (0..64).step_by(4) {
        let row: String = (0..128)
            .step_by(2)
            .map(|x| {
                let mut pattern = 0x2800;
                for (down, (left, right)) in LEFT.iter().zip(RIGHT).enumerate() {
                    pattern |= if lit(x, top + down) { *left } else { 0 };
                    pattern |= if lit(x + 1, top + down) { right } else { 0 };
                }
                char::from_u32(pattern).unwrap_or(' ')
            })
            .collect();
        lines.push(format!("│{row}│"));
    }
    lines.push(format!("└{edge}┘"));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_dot_has_its_place() {
        let mut dots: Dots = [[0; 128]; 8];
        dots[0][0] = 0b1000_1001;
        dots[7][127] = 0b1000_0000;
        let lines = lines(&dots);
        assert_eq!((lines.len(), lines[1].chars().count()), (18, 66));
        let at = |line: usize, place: usize| lines[line].chars().nth(place);
        // Rows 0 and 3 of the first letter; row 7 is the last of the one below.
        assert_eq!(at(1, 1), char::from_u32(0x2841));
        assert_eq!(at(2, 1), char::from_u32(0x2840));
        assert_eq!(at(16, 64), char::from_u32(0x2880));
        assert_eq!(at(9, 30), Some('\u{2800}'));
    }
}
