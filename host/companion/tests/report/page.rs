//! The HTML page. It is written so that it is well-formed XML too, which lets
//! a strict parser check it.

use crate::{all, fixture, shows_no_broken_number};
use scalewright::report::page;

/// The page as XML; the doctype is HTML's own and not XML's to judge.
pub fn parsed(page: &str) -> roxmltree::Document<'_> {
    let body = page.strip_prefix("<!DOCTYPE html>\n").expect("doctype");
    roxmltree::Document::parse(body).expect("well formed")
}

/// All text of the page, style sheet left out.
pub fn words(page: &str) -> String {
    let document = parsed(page);
    document
        .descendants()
        .filter(|node| node.is_text() && !node.parent().is_some_and(|p| p.has_tag_name("style")))
        .filter_map(|node| node.text())
        .collect::<Vec<_>>()
        .join(" ")
        .replace('\u{a0}', " ")
}

#[test]
fn every_page_is_well_formed_and_whole() {
    for (name, outcome) in all() {
        let page = page(&outcome);
        let document = parsed(&page);
        assert_eq!(document.root_element().attribute("lang"), Some("en"));
        shows_no_broken_number(name, &page);
        // Nothing is fetched and nothing runs.
        for node in document.descendants().filter(|node| node.is_element()) {
            let tag = node.tag_name().name();
            assert!(
                !["script", "link", "img", "iframe", "object"].contains(&tag),
                "{name}: {tag}"
            );
            for attribute in node.attributes() {
                assert!(!["src", "href", "onload", "onclick"].contains(&attribute.name()));
            }
        }
        assert!(!page.contains("@import") && !page.contains("url(http"));
    }
}

#[test]
fn ids_are_unique_and_pictures_are_described() {
    for (name, outcome) in all() {
        let page = page(&outcome);
        let document = parsed(&page);
        let mut ids = std::collections::HashSet::new();
        for id in document
            .descendants()
            .filter_map(|node| node.attribute("id"))
        {
            assert!(ids.insert(id.to_owned()), "{name}: {id} twice");
        }
        let svgs: Vec<_> = document
            .descendants()
            .filter(|node| node.tag_name().name() == "svg")
            .collect();
        let together = outcome.together.as_ref();
        let weights = together.is_some_and(|found| !found.weights.is_empty());
        let small = together.is_some_and(|found| !found.small_on_big.is_empty());
        let pictures = 4 + usize::from(weights) + usize::from(small);
        assert_eq!(svgs.len(), 2 * pictures, "{name}: each in two sizes");
        for svg in svgs {
            let labelled = svg.attribute("aria-labelledby").expect("labelled");
            for id in labelled.split(' ') {
                let label = document
                    .descendants()
                    .find(|node| node.attribute("id") == Some(id));
                let text = label.and_then(|node| node.text()).unwrap_or("");
                assert!(
                    !text.trim().is_empty() || outcome.candidates.is_empty(),
                    "{name}: {id}"
                );
            }
        }
    }
}

#[test]
fn the_studio_page_tells_the_whole_story() {
    let page = page(&fixture::studio());
    let words = words(&page);
    for expected in [
        "Set with one weight of 1 kg, this scale breaks the limits of class III at 7 of 10 loads",
        "0.31 e (0.62 g) at 4 kg",
        "seed 7",
        "Max 6 kg, e = 2 g, d = 1 g, class III",
        "9c41d07e",
        "change number 3",
        "2026-05-02 14:05 UTC+02:00",
        "Creep: a load left on",
        "Medicine.",
        "suspended load",
        "the parabola comes close",
    ] {
        assert!(words.contains(expected), "missing: {expected}");
    }
    assert_eq!(words.matches("✗ fail").count(), 7);
    assert_eq!(words.matches("✓ pass").count(), 13 + 3);
}

#[test]
fn hostile_text_stays_text() {
    let page = page(&fixture::hostile());
    assert!(!page.contains("<script"));
    assert!(!page.contains("<!--"));
    assert!(!page.chars().any(|c| c.is_control() && c != '\n'));
    assert!(!page.contains('\u{202e}'));
    // It is shown, not swallowed.
    assert!(words(&page).contains("<script>alert(1)</script>"));
}

#[test]
fn what_is_missing_is_called_unknown() {
    let hopeless = words(&page(&fixture::hopeless()));
    assert!(hopeless.contains("? unknown"));
    assert!(!hopeless.contains("✓ pass"), "no number, no pass");
    let bare = words(&page(&fixture::bare()));
    for expected in [
        "has not been verified",
        "No load was verified",
        "not calibrated",
        "That means unknown, not everything tested",
    ] {
        assert!(bare.contains(expected), "missing: {expected}");
    }
}

#[test]
fn a_bad_result_is_not_dressed_up() {
    let mut outcome = fixture::studio();
    outcome.after = outcome.before.clone();
    outcome.after.title = "with the new table".into();
    let words = words(&page(&outcome));
    assert!(words.contains("with the new table it still breaks them at 7 of 10 loads"));
    assert!(words.contains("3 of 10"));
}

#[test]
fn a_pass_within_its_uncertainty_is_called_unproven() {
    let mut outcome = fixture::studio();
    assert!(!words(&page(&outcome)).contains("not proven"));
    // 0.45 e with U = 0.11 e under a limit of 0.5 e.
    outcome.after.rows[0].error_e = 0.45;
    assert!(words(&page(&outcome)).contains("not proven"));
}
