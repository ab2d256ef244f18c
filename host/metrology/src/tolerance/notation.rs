//! A scheme as a short text, for a command line or a file.
//!
//! ```text
//! R76 III initial             R76 III in service
//! HB44 III acceptance         HB44 III maintenance
//! 1 % of load
//! up to 500 g: 1 g; up to 2 kg: 0.2 % of load
//! table "NAME" after "SOURCE": up to 500 g: 1 g; up to 2 kg: 2 g
//! ```
//!
//! Guarantees that what is written reads back as the same scheme. Refuses by
//! naming the word that is wrong and what may stand there.

use std::fmt;
use std::str::FromStr;

use super::{
    AccuracyClass, Application, LoadShare, OwnTable, Permitted, Scheme, ShareRefusal, Stage, Step,
    StepsRefusal, Title, TitleRefusal, UnknownClass,
};

/// A text that names no scheme.
#[derive(Debug, Clone, PartialEq)]
pub struct UnreadableScheme {
    /// The text.
    pub text: String,
    /// What is wrong with it.
    pub fault: NotationFault,
}

/// What is wrong with the text of a scheme.
#[derive(Debug, Clone, PartialEq)]
pub enum NotationFault {
    /// It begins like none of them.
    Beginning,
    /// The class is missing or unknown.
    Class(UnknownClass),
    /// The words after the class are not those of the scheme.
    Words {
        /// What stands there; empty when nothing does.
        found: String,
        /// What may stand there.
        choices: &'static str,
    },
    /// A number that can't be read.
    Number(String),
    /// A mass without a unit, or with one that is not known here.
    Unit(String),
    /// A step that is not "up to LOAD: ERROR", counted from 1.
    Form(usize),
    /// What follows "table" is no title.
    TitleForm,
    /// The name or the source of a table can't be one.
    Title(TitleRefusal),
    /// The percentage is out of range.
    Share(ShareRefusal),
    /// The steps make no table.
    Steps(StepsRefusal),
}

impl fmt::Display for NotationFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Beginning => write!(
                f,
                "write for instance \"R76 III initial\", \"HB44 III acceptance\", \"1 % of load\" or \"up to 500 g: 1 g; up to 2 kg: 2 g\""
            ),
            Self::Class(unknown) if unknown.0.is_empty() => {
                write!(f, "the accuracy class is missing: add I, II, III or IIII")
            }
            Self::Class(unknown) => unknown.fmt(f),
            Self::Words { found, choices } if found.is_empty() => {
                write!(f, "the end is missing: add {choices}")
            }
            Self::Words { found, choices } => {
                write!(f, "\"{found}\" is not known here: write {choices}")
            }
            Self::Number(word) => write!(
                f,
                "\"{word}\" is not a number: write digits, with a point before decimals"
            ),
            Self::Unit(word) => {
                write!(f, "\"{word}\" has no unit known here: write mg, g or kg")
            }
            Self::Form(step) => write!(
                f,
                "step {step} should read like \"up to 500 g: 1 g\", with a semicolon between steps"
            ),
            Self::TitleForm => write!(
                f,
                "a table with a title should begin like table \"NAME\" after \"SOURCE\": and go on with its steps"
            ),
            Self::Title(refusal) => write!(f, "the title of the table: {refusal}"),
            Self::Share(refusal) => refusal.fmt(f),
            Self::Steps(refusal) => refusal.fmt(f),
        }
    }
}

impl fmt::Display for UnreadableScheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (text, fault) = (&self.text, &self.fault);
        write!(f, "\"{text}\" names no permitted error: {fault}")
    }
}

impl std::error::Error for UnreadableScheme {}

impl fmt::Display for Scheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::R76 { class, stage } => {
                let stage = match stage {
                    Stage::Initial => "initial",
                    Stage::InService => "in service",
                };
                write!(f, "R76 {class} {stage}")
            }
            Self::Handbook44 { class, application } => {
                let application = match application {
                    Application::Acceptance => "acceptance",
                    Application::Maintenance => "maintenance",
                };
                write!(f, "HB44 {class} {application}")
            }
            Self::Share(share) => write!(f, "{} % of load", share.percent()),
            Self::Own(table) => {
                if let Some(title) = table.title() {
                    let (name, source) = (title.name(), title.source());
                    write!(f, "table \"{name}\" after \"{source}\": ")?;
                }
                f.write_str(&table.in_words())
            }
        }
    }
}

impl FromStr for Scheme {
    type Err = UnreadableScheme;

    /// Reads the notation above, in either case and with any spacing. A title
    /// keeps its letters.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let found = match after_word(text, "table") {
            Some(rest) => read_titled(rest),
            None => read(&text.to_ascii_lowercase()),
        };
        found.map_err(|fault| UnreadableScheme {
            text: text.trim().to_owned(),
            fault,
        })
    }
}

fn read(text: &str) -> Result<Scheme, NotationFault> {
    let words: Vec<&str> = text.split_whitespace().collect();
    if let ["up", "to", ..] = words.as_slice() {
        return read_steps(text).map(Scheme::Own);
    }
    if let Some((number, rest)) = text.split_once('%') {
        return read_of_load(number.trim(), rest).map(Scheme::Share);
    }
    let (handbook, rest) = match words.as_slice() {
        ["r76", rest @ ..] | ["r", "76", rest @ ..] => (false, rest),
        ["hb44", rest @ ..] | ["hb", "44", rest @ ..] => (true, rest),
        _ => return Err(NotationFault::Beginning),
    };
    let class = rest.first().copied().unwrap_or_default();
    let class: AccuracyClass = class.parse().map_err(NotationFault::Class)?;
    let end = rest.get(1..).unwrap_or_default();
    let unknown = |choices| NotationFault::Words {
        found: end.join(" "),
        choices,
    };
    match (handbook, end) {
        (false, ["initial"]) => Ok(Scheme::R76 {
            class,
            stage: Stage::Initial,
        }),
        (false, ["in", "service"]) => Ok(Scheme::R76 {
            class,
            stage: Stage::InService,
        }),
        (false, _) => Err(unknown("\"initial\" or \"in service\"")),
        (true, ["acceptance"]) => Ok(Scheme::Handbook44 {
            class,
            application: Application::Acceptance,
        }),
        (true, ["maintenance"]) => Ok(Scheme::Handbook44 {
            class,
            application: Application::Maintenance,
        }),
        (true, _) => Err(unknown("\"acceptance\" or \"maintenance\"")),
    }
}

/// A percentage and what follows it.
fn read_of_load(number: &str, rest: &str) -> Result<LoadShare, NotationFault> {
    let rest: Vec<&str> = rest.split_whitespace().collect();
    if !matches!(rest.as_slice(), [] | ["of", "load"] | ["of", "the", "load"]) {
        return Err(NotationFault::Words {
            found: rest.join(" "),
            choices: "\"of load\"",
        });
    }
    LoadShare::new(read_number(number)?).map_err(NotationFault::Share)
}

fn read_steps(text: &str) -> Result<OwnTable, NotationFault> {
    let mut steps = Vec::new();
    for (index, part) in text.split(';').enumerate() {
        let malformed = NotationFault::Form(index + 1);
        let Some((load, error)) = part.split_once(':') else {
            return Err(malformed);
        };
        let words: Vec<&str> = load.split_whitespace().collect();
        let ["up", "to", load @ ..] = words.as_slice() else {
            return Err(malformed);
        };
        let permitted = match error.split_once('%') {
            Some((number, rest)) => Permitted::Share(read_of_load(number.trim(), rest)?),
            None => Permitted::Mass(read_mass_g(error.trim())?),
        };
        steps.push(Step {
            up_to_g: read_mass_g(&load.join(" "))?,
            permitted,
        });
    }
    OwnTable::new(&steps).map_err(NotationFault::Steps)
}

/// What follows `word` at the beginning of a text, in either case.
fn after_word<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    let text = text.trim_start();
    let (head, rest) = text.split_at_checked(word.len())?;
    head.eq_ignore_ascii_case(word).then_some(rest)
}

/// What stands between quotation marks at the beginning, and what follows.
fn quoted(text: &str) -> Option<(&str, &str)> {
    text.trim_start().strip_prefix('"')?.split_once('"')
}

/// Name, source and steps, after the word "table".
fn read_titled(text: &str) -> Result<Scheme, NotationFault> {
    let parts = || {
        let (name, rest) = quoted(text)?;
        let (source, rest) = quoted(after_word(rest, "after")?)?;
        Some((name, source, rest.trim_start().strip_prefix(':')?))
    };
    let (name, source, steps) = parts().ok_or(NotationFault::TitleForm)?;
    let title = Title::new(name, source).map_err(NotationFault::Title)?;
    let table = read_steps(&steps.to_ascii_lowercase())?;
    Ok(Scheme::Own(table.titled(title)))
}

fn read_number(word: &str) -> Result<f64, NotationFault> {
    word.parse()
        .ok()
        .filter(|number: &f64| number.is_finite())
        .ok_or_else(|| NotationFault::Number(word.to_owned()))
}

/// A mass in g.
fn read_mass_g(text: &str) -> Result<f64, NotationFault> {
    // Longer units first: "kg" and "mg" end with "g" too. Dividing by a whole
    // thousand gives the f64 nearest to the decimal number.
    for (unit, to_g) in [
        ("kg", (|m| m * 1000.0) as fn(f64) -> f64),
        ("mg", |m| m / 1000.0),
        ("g", |m| m),
    ] {
        if let Some(number) = text.strip_suffix(unit) {
            return read_number(number.trim()).map(to_g);
        }
    }
    Err(NotationFault::Unit(text.to_owned()))
}
