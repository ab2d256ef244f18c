//! One figure, one line.

/// What a value is held against.
#[derive(Clone, Copy, Debug)]
pub enum Bound {
    /// At least this.
    AtLeast(f64),
    /// At most this.
    AtMost(f64),
    /// More than this.
    Above(f64),
    /// Nothing: printed for comparison.
    Beside,
}

impl Bound {
    fn met_by(self, value: f64) -> Option<bool> {
        Some(match self {
            Self::AtLeast(bound) => value >= bound,
            Self::AtMost(bound) => value <= bound,
            Self::Above(bound) => value > bound,
            Self::Beside => return None,
        })
    }
}

/// How many lines fell short, and how they are written.
#[derive(Debug, Default)]
pub struct Sheet {
    short: usize,
    judged: usize,
}

/// Digits as a figure deserves: small ones in powers of ten.
fn written(value: f64) -> String {
    let size = value.abs();
    if !value.is_finite() {
        "none".into()
    } else if size != 0.0 && size < 0.1 {
        format!("{value:.3e}")
    } else if size >= 1000.0 || value.fract() == 0.0 {
        format!("{value:.0}")
    } else if size >= 100.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.3}")
    }
}

fn bound(bound: Bound) -> String {
    match bound {
        Bound::AtLeast(value) => format!(">= {}", written(value)),
        Bound::AtMost(value) => format!("<= {}", written(value)),
        Bound::Above(value) => format!("> {}", written(value)),
        Bound::Beside => "-".into(),
    }
}

impl Sheet {
    /// The names of the columns.
    pub fn heading() {
        line("figure", "value", "unit", "floor", "aim", "");
    }

    /// A part of the topic.
    pub fn part(title: &str) {
        println!("{title}");
    }

    /// One figure, held against `floor`; `aim` is printed only.
    pub fn row(&mut self, name: &str, value: f64, unit: &str, floor: Bound, aim: Bound) {
        // NaN meets no bound.
        let verdict = match floor.met_by(value) {
            Some(true) => "ok",
            Some(false) => {
                self.short += 1;
                "short"
            }
            None => "-",
        };
        self.judged += usize::from(verdict != "-");
        let (floor, aim) = (bound(floor), bound(aim));
        line(name, &written(value), unit, &floor, &aim, verdict);
    }

    /// A figure for comparison.
    pub fn beside(&mut self, name: &str, value: f64, unit: &str) {
        self.row(name, value, unit, Bound::Beside, Bound::Beside);
    }

    /// A figure that could not be measured, and why: short.
    pub fn failed(&mut self, name: &str, why: &str) {
        self.short += 1;
        self.judged += 1;
        line(name, "none", "-", "-", "-", "short");
        println!("      {why}");
    }

    /// Says how it went; whether nothing is short.
    pub fn sum_up(&self) -> bool {
        let met = self.judged - self.short;
        println!("{met} of {} floors reached", self.judged);
        self.short == 0
    }
}

fn line(name: &str, value: &str, unit: &str, floor: &str, aim: &str, verdict: &str) {
    let text = format!("  {name:<43} {value:>10} {unit:<9} {floor:>11} {aim:>11} {verdict}");
    println!("{}", text.trim_end());
}
