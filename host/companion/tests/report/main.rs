//! The reports drawn from outcomes good and bad: one a run would give, one
//! without numbers, one without anything, one with hostile texts.

mod fixture;
mod json;
mod page;
mod pictures;
mod terminal;

/// Every fixture with its name, for the checks that hold for all.
fn all() -> [(&'static str, scalewright::record::outcome::Outcome); 5] {
    [
        ("studio", fixture::studio()),
        ("hopeless", fixture::hopeless()),
        ("bare", fixture::bare()),
        ("hostile", fixture::hostile()),
        ("huge", fixture::huge()),
    ]
}

/// Fails when a text shows what a number that is none looks like in Rust.
fn shows_no_broken_number(name: &str, text: &str) {
    for word in text.split(|c: char| !c.is_alphanumeric()) {
        assert!(
            !matches!(word, "NaN" | "inf" | "Infinity"),
            "{name}: {word}"
        );
    }
}
