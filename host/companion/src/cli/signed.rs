//! Who changes a scale from this laptop, and when.

use crate::session::note::Note;

use super::clock;

/// `who`, else the login, and why, as of now.
pub fn note(who: Option<&str>, why: &str) -> Note {
    let login = || {
        ["USER", "USERNAME"]
            .iter()
            .find_map(|name| std::env::var(name).ok())
    };
    let who = who.map(str::to_owned).or_else(login).unwrap_or_default();
    let parts: Vec<&str> = [who.trim(), why.trim()]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    Note {
        when_s: clock::unix_s(),
        text: parts.join(": "),
    }
}
