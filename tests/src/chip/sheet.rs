//! A sheet: several pictures of a display side by side, each with a line below it
//! that says what it is.
//!
//! For the user's guide, so a sheet brings its own ground and is legible on any
//! page. Dots are drawn as strokes, each as long as it can be: a screen takes some
//! three kilobytes, and the text changes only where the screen does.

use std::fmt::Write;

use scalewright::report::svg::escape;

use super::screen::Screen;

/// Screens in a row.
const ACROSS: usize = 3;
/// Sizes of the picture's units: two for each dot of a display.
const DOT: usize = 2;
const EDGE: usize = 16;
const GLASS: (usize, usize) = (128 * DOT + 12, 64 * DOT + 12);
const PITCH: (usize, usize) = (GLASS.0 + 12, GLASS.1 + 36);
/// Longest line below a screen, letters: what fits in 14 units each.
const LONGEST: usize = 36;

/// Screens with what is said of each.
pub struct Sheet {
    title: String,
    screens: Vec<(Screen, String)>,
}

impl Sheet {
    /// An empty one.
    #[must_use]
    pub fn new(title: &str) -> Self {
        Self {
            title: title.into(),
            screens: Vec::new(),
        }
    }

    /// Takes a screen.
    ///
    /// # Panics
    /// When there is no room for what is said of it.
    pub fn add(&mut self, screen: Screen, said: &str) {
        assert!(said.chars().count() <= LONGEST, "{said:?} is too long");
        self.screens.push((screen, said.into()));
    }

    /// The picture.
    #[must_use]
    pub fn svg(&self) -> String {
        let across = self.screens.len().min(ACROSS);
        let rows = self.screens.len().div_ceil(ACROSS);
        let width = 2 * EDGE + across * PITCH.0 - (PITCH.0 - GLASS.0);
        let height = 2 * EDGE + rows * PITCH.1 - 14;
        let said: Vec<String> = self.screens.iter().map(|(_, said)| escape(said)).collect();
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
             width=\"{width}\" role=\"img\" aria-labelledby=\"title desc\">\n\
             <title id=\"title\">{}</title>\n<desc id=\"desc\">{}.</desc>\n\
             <style>text {{ font: 14px Arial, Helvetica, \"Liberation Sans\", \
             \"DejaVu Sans\", sans-serif; fill: #1b1b1b }} \
             path {{ fill: none; stroke: #cfe8ff; stroke-linecap: square }}</style>\n\
             <rect x=\"1\" y=\"1\" width=\"{}\" height=\"{}\" rx=\"10\" fill=\"#fbfaf6\" \
             stroke=\"#b9b4a6\" stroke-width=\"2\"/>\n",
            escape(&self.title),
            said.join(". "),
            width - 2,
            height - 2,
        );
        for (at, ((screen, _), said)) in self.screens.iter().zip(&said).enumerate() {
            let x = EDGE + at % ACROSS * PITCH.0;
            let y = EDGE + at / ACROSS * PITCH.1;
            let _ = write!(
                svg,
                "<g transform=\"translate({x} {y})\">\
                 <rect width=\"{}\" height=\"{}\" rx=\"4\" fill=\"#101418\"/>\n\
                 <path transform=\"translate(7 7) scale({DOT})\" d=\"{}\"/>\n\
                 <text y=\"{}\">{said}</text></g>\n",
                GLASS.0,
                GLASS.1,
                strokes(screen),
                GLASS.1 + 17,
            );
        }
        svg.push_str("</svg>\n");
        svg
    }
}

/// Strokes from dot to dot that cover what is lit and nothing else. With square
/// ends one of no length is a dot.
fn strokes(screen: &Screen) -> String {
    let mut covered = [[false; 128]; 64];
    let mut path = String::new();
    let (mut pen_x, mut pen_y) = (0i32, 0i32);
    for y in 0..64 {
        for x in 0..128 {
            if !screen.dot(x, y) || covered[y][x] {
                continue;
            }
            let across = (x..128).take_while(|x| screen.dot(*x, y)).count();
            let down = (y..64).take_while(|y| screen.dot(x, *y)).count();
            let (to_x, to_y) = (x as i32, y as i32);
            let _ = write!(path, "m{}", pair(to_x - pen_x, to_y - pen_y));
            (pen_x, pen_y) = (to_x, to_y);
            if across >= down {
                covered[y][x..x + across].fill(true);
                let _ = write!(path, "h{}", across - 1);
                pen_x += across as i32 - 1;
            } else {
                for row in &mut covered[y..y + down] {
                    row[x] = true;
                }
                let _ = write!(path, "v{}", down - 1);
                pen_y += down as i32 - 1;
            }
        }
    }
    path
}

/// Two numbers of a path; a minus parts them as well as a blank.
fn pair(x: i32, y: i32) -> String {
    let gap = if y < 0 { "" } else { " " };
    format!("{x}{gap}{y}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Draws the strokes again.
    fn drawn(path: &str) -> Vec<(i32, i32)> {
        let mut dots = Vec::new();
        let (mut x, mut y) = (0, 0);
        for stroke in path.split('m').skip(1) {
            let along = stroke.find(['h', 'v']).expect("a stroke");
            let (place, rest) = stroke.split_at(along);
            let cut = place.rfind([' ', '-']).expect("two numbers");
            x += place[..cut].parse::<i32>().expect("a number");
            y += place[cut..].trim().parse::<i32>().expect("a number");
            let length: i32 = rest[1..].parse().expect("a length");
            let across = rest.starts_with('h');
            for n in 0..=length {
                dots.push(if across { (x + n, y) } else { (x, y + n) });
            }
            (x, y) = *dots.last().expect("a dot");
        }
        dots.sort_unstable();
        dots.dedup();
        dots
    }

    #[test]
    fn strokes_cover_what_is_lit_and_nothing_else() {
        let mut seed = 1u32;
        let rows: Vec<String> = (0..64)
            .map(|_| {
                (0..128)
                    .map(|_| {
                        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        if seed >> 30 == 0 { '.' } else { '#' }
                    })
                    .collect()
            })
            .collect();
        let screen = Screen::of(&rows);
        let mut lit = Vec::new();
        for x in 0..128 {
            for y in 0..64 {
                if screen.dot(x, y) {
                    lit.push((x as i32, y as i32));
                }
            }
        }
        assert_eq!(drawn(&strokes(&screen)), lit);
    }
}
