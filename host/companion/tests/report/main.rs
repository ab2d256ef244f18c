//! The reports drawn from outcomes good and bad: what a run would give, with a
//! weight that is wrong, with a doubt, without what newer runs tell; one without
//! numbers, one without anything, one with hostile texts.

mod fixture;
mod found;
mod json;
mod page;
mod pictures;
mod proof;
mod terminal;

/// Every fixture with its name, for the checks that hold for all.
fn all() -> [(&'static str, scalewright::record::outcome::Outcome); 8] {
    [
        ("studio", fixture::studio()),
        ("bad weight", fixture::bad_weight()),
        ("undecided", fixture::undecided()),
        ("of old", fixture::of_old()),
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
