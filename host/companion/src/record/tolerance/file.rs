//! Reading a user's own table of permitted errors.
//!
//! ```toml
//! name = "glaze kitchen"
//! source = "house rule of 2026"
//!
//! [[step]]
//! up_to = "500 g"
//! permitted = "0.5 g"
//!
//! [[step]]
//! up_to = "6 kg"
//! permitted = "0.1 %"           # of the load
//! ```
//!
//! Owns what a file may say. Refuses the rest with the line, the key and what to
//! do.

use std::ops::Range;
use std::path::Path;

use scalewright_metrology::tolerance::{
    LoadShare, OwnTable, Permitted, Scheme, Step, StepsRefusal, Title,
};
use serde::Deserialize;
use toml::Spanned;

use super::{Tolerance, ToleranceFault};
use crate::record::lines;
use crate::record::mass::{number, parse_g};
use crate::record::weights::name;

/// Bytes of a file that are read at most.
const MOST: u64 = 100_000;

/// Steps of a table at most: all of them stand in the report.
const MOST_STEPS: usize = 50;

type Text = Spanned<String>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: Option<Text>,
    source: Option<Text>,
    #[serde(default)]
    step: Vec<Spanned<StepSaid>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepSaid {
    up_to: Option<Text>,
    permitted: Option<Text>,
}

/// What is wrong, at which byte of the text, and what to do.
struct Fault {
    at: Option<usize>,
    cause: String,
    try_this: String,
}

impl Fault {
    fn at<T>(field: &Spanned<T>, cause: impl Into<String>, try_this: impl Into<String>) -> Self {
        Self {
            at: Some(field.span().start),
            cause: cause.into(),
            try_this: try_this.into(),
        }
    }

    fn whole(cause: &str, try_this: &str) -> Self {
        Self {
            at: None,
            cause: cause.into(),
            try_this: try_this.into(),
        }
    }
}

/// Reads a file.
///
/// # Errors
/// [`ToleranceFault`] with the line.
pub fn read(path: &Path) -> Result<Tolerance, ToleranceFault> {
    let file = path.display().to_string();
    let unreadable = |cause: String, try_this: &str| ToleranceFault {
        place: file.clone(),
        line: None,
        cause,
        try_this: try_this.into(),
    };
    let length = std::fs::metadata(path).map(|found| found.len());
    if length.is_ok_and(|length| length > MOST) {
        let cause = "it is far longer than a table of permitted errors";
        return Err(unreadable(cause.into(), "name another file"));
    }
    let text = std::fs::read_to_string(path).map_err(|error| {
        unreadable(
            format!("cannot be read: {error}"),
            "check the path; a table is plain text in UTF-8",
        )
    })?;
    parse(&text, &file)
}

/// Reads the text of a file called `file`.
///
/// # Errors
/// [`ToleranceFault`] with the line.
pub fn parse(text: &str, file: &str) -> Result<Tolerance, ToleranceFault> {
    let line_at = |at: usize| lines::line_at(text, at);
    let told = |fault: Fault| {
        // Both quote the file, which may hold anything.
        let shown = |text: String| text.replace(char::is_control, " ");
        ToleranceFault {
            place: file.into(),
            line: fault.at.map(line_at),
            cause: shown(fault.cause),
            try_this: shown(fault.try_this),
        }
    };
    let parsed: File = toml::from_str(text).map_err(|error| told(grammar(&error, text)))?;
    let (table, last_at) = table(&parsed, line_at).map_err(told)?;
    Ok(Tolerance {
        scheme: Scheme::Own(table),
        place: file.into(),
        last_line: Some(line_at(last_at)),
    })
}

/// What is wrong with the form of a file.
fn grammar(error: &toml::de::Error, text: &str) -> Fault {
    let at: Option<Range<usize>> = error.span();
    let said = error.message();
    let key = at.clone().and_then(|at| key_of(text, at.start));
    let (cause, try_this) = if said.contains("expected a string") {
        // A bare number is the commonest slip.
        let cause = format!("{}: it is not in quotes", key.unwrap_or("a value"));
        (cause, "write a text with its unit, as \"500 g\"")
    } else if said.contains("unknown field") {
        let cause = match key {
            Some(key) => format!("the key \"{key}\" is not known here"),
            None => said.to_owned(),
        };
        let try_this = "a table has name, source and [[step]]; a step has up_to and permitted";
        (cause, try_this)
    } else if said.contains("sequence") {
        let cause = "step: the steps are no list".to_owned();
        (cause, "begin each step with [[step]], in two brackets")
    } else {
        (said.to_owned(), "correct that line")
    };
    Fault {
        at: at.map(|at| at.start),
        cause,
        try_this: try_this.into(),
    }
}

/// The key of the line that holds this byte.
fn key_of(text: &str, at: usize) -> Option<&str> {
    let begins = text.get(..at)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(begins..)?.lines().next()?;
    let key = line.split('=').next()?.trim().trim_matches(['[', ']', '"']);
    (!key.is_empty() && key.len() <= 40).then_some(key)
}

/// The table, and where its last step ends.
fn table(said: &File, line_at: impl Fn(usize) -> usize) -> Result<(OwnTable, usize), Fault> {
    let title = Title::new(
        &titled(said.name.as_ref(), "name", "what you call the table")?,
        &titled(
            said.source.as_ref(),
            "source",
            "where its numbers come from",
        )?,
    );
    let title = title.map_err(|refusal| Fault::whole(&refusal.to_string(), "correct the title"))?;
    let Some(last) = said.step.last() else {
        return Err(Fault::whole(
            "it holds no [[step]] at all",
            "write one for each range of loads: up_to = \"500 g\", permitted = \"0.5 g\"",
        ));
    };
    if let Some(beyond) = said.step.get(MOST_STEPS) {
        let cause = format!("step: there are more than {MOST_STEPS}");
        return Err(Fault::at(beyond, cause, "join steps that permit the same"));
    }
    let mut steps: Vec<Step> = Vec::new();
    let mut last_at = last.span().start;
    for (index, one) in said.step.iter().enumerate() {
        let number = index + 1;
        let [up_to, permitted] = fields(one, number)?;
        let step = Step {
            up_to_g: load_g(up_to, number)?,
            permitted: error(permitted, number)?,
        };
        let twin = (steps.iter().zip(&said.step)).find(|(other, _)| other.up_to_g == step.up_to_g);
        if let Some((_, first)) = twin {
            let line = first
                .get_ref()
                .up_to
                .as_ref()
                .map(|up_to| up_to.span().start);
            let line = line_at(line.unwrap_or(first.span().start));
            let cause = format!(
                "up_to of step {number}: {} stands here again, first in line {line}",
                name(step.up_to_g)
            );
            return Err(Fault::at(up_to, cause, "take one of the two steps out"));
        }
        steps.push(step);
        // Each prefix is a table or its last step is wrong.
        OwnTable::new(&steps).map_err(|refusal| refused(refusal, number, up_to, permitted))?;
        last_at = up_to.span().start;
    }
    let table = OwnTable::new(&steps)
        .map_err(|refusal| Fault::at(last, refusal.to_string(), "correct the steps"))?;
    Ok((table.titled(title), last_at))
}

fn titled(field: Option<&Text>, key: &str, what: &str) -> Result<String, Fault> {
    let example = match key {
        "name" => "glaze kitchen",
        _ => "house rule of 2026",
    };
    let try_this = format!("write {what}, as {key} = \"{example}\", above the first [[step]]");
    let Some(field) = field else {
        return Err(Fault::whole(&format!("{key} is missing"), &try_this));
    };
    Title::text(field.get_ref())
        .map_err(|refusal| Fault::at(field, format!("{key}: {refusal}"), try_this))
}

/// Both fields of a step.
fn fields(step: &Spanned<StepSaid>, number: usize) -> Result<[&Text; 2], Fault> {
    let StepSaid { up_to, permitted } = step.get_ref();
    let missing = |key: &str, example: &str| {
        Fault::at(
            step,
            format!("step {number} has no {key}"),
            format!("add {key} = \"{example}\""),
        )
    };
    Ok([
        up_to.as_ref().ok_or_else(|| missing("up_to", "500 g"))?,
        (permitted.as_ref()).ok_or_else(|| missing("permitted", "0.5 g"))?,
    ])
}

/// To a nanogram: "700 mg" must not show how f64 multiplies.
fn rounded_g(g: f64) -> f64 {
    match g < 1e6 {
        true => (g * 1e9).round() / 1e9,
        false => g,
    }
}

fn load_g(field: &Text, number: usize) -> Result<f64, Fault> {
    parse_g(field.get_ref()).map(rounded_g).map_err(|cause| {
        let cause = format!("up_to of step {number}: {cause}");
        Fault::at(
            field,
            cause,
            "write the heaviest load of the step, as \"500 g\"",
        )
    })
}

fn error(field: &Text, step: usize) -> Result<Permitted, Fault> {
    let text = field.get_ref().trim();
    let read = match text.strip_suffix('%') {
        Some(percent) => number(percent.trim()).and_then(|percent| {
            let share = LoadShare::new(percent)
                .map_err(|_| format!("\"{text}\" is no share of the load above 0 and below 100 %"));
            share.map(Permitted::Share)
        }),
        None => parse_g(text).map(|g| Permitted::Mass(rounded_g(g))),
    };
    read.map_err(|cause| {
        let cause = format!("permitted of step {step}: {cause}");
        let try_this = "write a mass, as \"0.5 g\", or a share of the load, as \"0.1 %\"";
        Fault::at(field, cause, try_this)
    })
}

/// A step that does not follow the ones before, with the field in question.
fn refused(refusal: StepsRefusal, number: usize, up_to: &Text, permitted: &Text) -> Fault {
    let (load, error) = (
        format!("up_to of step {number}"),
        format!("permitted of step {number}"),
    );
    match refusal {
        StepsRefusal::LoadNotRising {
            before_g, up_to_g, ..
        } => Fault::at(
            up_to,
            format!(
                "{load}: {} is below the step before ({})",
                name(up_to_g),
                name(before_g)
            ),
            "list the steps from the lightest load to the heaviest",
        ),
        StepsRefusal::ErrorFalls {
            before_g,
            permitted_g,
            ..
        } => Fault::at(
            permitted,
            format!(
                "{error}: it permits {} where it begins, the lighter step before it {}",
                name(permitted_g),
                name(before_g)
            ),
            "a heavier load can't be permitted less: correct one of the two",
        ),
        StepsRefusal::ShareFirst => Fault::at(
            permitted,
            format!("{error}: a share of the load is nothing at zero"),
            "let the first step permit a mass, as permitted = \"0.5 g\"",
        ),
        StepsRefusal::ErrorTooLarge {
            up_to_g,
            permitted_g,
            ..
        } => Fault::at(
            permitted,
            format!(
                "{error}: {} is as much as the load of {} itself",
                name(permitted_g),
                name(up_to_g)
            ),
            "check that up_to and permitted are not swapped",
        ),
        StepsRefusal::NoSteps | StepsRefusal::NotPositive { .. } => {
            Fault::at(up_to, format!("{load}: {refusal}"), "correct that step")
        }
    }
}
