//! What a scale shall be judged by, as people say it: in the notation of a
//! scheme, or as a table of their own in a file.
//!
//! Guarantees a scheme that the notation can write out with all that was said of
//! it, so that a session needs the file no more. What a file may say is `file`'s.

mod file;
#[cfg(test)]
mod tests;

use std::fmt;

use scalewright_metrology::tolerance::{Scheme, UnreadableScheme};

use super::weights::name;

pub use file::{parse, read};

/// A text or a file that says no permitted errors.
#[derive(Clone, Debug, PartialEq)]
pub struct ToleranceFault {
    /// The file, or what the text was given by, as "--judge".
    pub place: String,
    /// Line, from 1, when known.
    pub line: Option<usize>,
    /// What is wrong, with the key it is wrong in.
    pub cause: String,
    /// What to do.
    pub try_this: String,
}

impl fmt::Display for ToleranceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.place, self.cause),
            None => write!(f, "{}: {}", self.place, self.cause),
        }
    }
}

impl std::error::Error for ToleranceFault {}

/// What to judge by, and where it was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Tolerance {
    scheme: Scheme,
    place: String,
    /// Line of the last step, in a file.
    last_line: Option<usize>,
}

impl Tolerance {
    /// What a text in the notation of a scheme means, given by `place`, as
    /// "--judge".
    ///
    /// # Errors
    /// [`ToleranceFault`] without a line.
    pub fn noted(text: &str, place: &str) -> Result<Self, ToleranceFault> {
        let read: Result<Scheme, UnreadableScheme> = text.parse();
        let scheme = read.map_err(|fault| ToleranceFault {
            place: place.into(),
            line: None,
            cause: fault.to_string().replace(char::is_control, " "),
            try_this: format!(
                "write it as in {place} 'R76 III initial', or name a file that ends in .toml"
            ),
        })?;
        Ok(Self {
            scheme,
            place: place.into(),
            last_line: None,
        })
    }

    /// What is judged by; its notation holds all that was said.
    #[must_use]
    pub fn scheme(&self) -> &Scheme {
        &self.scheme
    }

    /// Whether it has a permitted error for a load, g, which `what` names, as
    /// "Max".
    ///
    /// # Errors
    /// [`ToleranceFault`] with the line of the last step.
    pub fn reaches(&self, load_g: f64, what: &str) -> Result<(), ToleranceFault> {
        let Scheme::Own(table) = &self.scheme else {
            return Ok(());
        };
        if table.permitted_g(load_g).is_some() {
            return Ok(());
        }
        let (ends, load) = (name(table.last_g()), name(load_g));
        Err(ToleranceFault {
            place: self.place.clone(),
            line: self.last_line,
            cause: format!(
                "up_to of the last step: the table ends at {ends}, below {what} ({load})"
            ),
            try_this: format!(
                "let the last step reach up to {load} or beyond, or add one that does"
            ),
        })
    }
}
