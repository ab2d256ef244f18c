//! The outcome as JSON.

use crate::{all, fixture};
use scalewright::record::outcome::Outcome;
use scalewright::report::json;

#[test]
fn what_is_written_reads_back() {
    let outcome = fixture::studio();
    for pretty in [true, false] {
        let text = json(&outcome, pretty).unwrap();
        let back: Outcome = serde_json::from_str(&text).unwrap();
        assert_eq!(back.table, outcome.table);
        assert_eq!(back.candidates.len(), outcome.candidates.len());
        // Ten digits are kept, and a second writing changes nothing.
        let (old, new) = (outcome.loads[3].net_counts, back.loads[3].net_counts);
        assert!((old - new).abs() <= old.abs() * 1e-9, "{old} {new}");
        assert_eq!(json(&back, pretty).unwrap(), text);
    }
}

#[test]
fn fractions_carry_no_binary_noise() {
    let mut outcome = fixture::studio();
    outcome.wall_s = 0.1 + 0.2;
    outcome.device_s = 16_777_215.25;
    let text = json(&outcome, false).unwrap();
    assert!(text.contains("\"wall_s\":0.3}"), "{text}");
    assert!(text.contains("\"device_s\":16777215.25"));
    assert_eq!(text.lines().count(), 1);
}

#[test]
fn what_is_no_number_is_null() {
    for (name, outcome) in all() {
        let text = json(&outcome, true).unwrap();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert!(value.get("wall_s").is_some(), "{name}");
    }
    let text = json(&fixture::hopeless(), false).unwrap();
    assert!(text.contains("\"wall_s\":null"));
}
