//! Calibration certificates of bench verifications: valid by PTB's schema, every
//! number traced to the captures, and saying what they are not.

mod support;

use std::fs;
use std::sync::OnceLock;

use roxmltree::Document;
use scalewright::certifying::{Certified, CertifyingFault, certified};
use scalewright::record::certificate::{Certificate, Conformity, Statement};
use scalewright::record::journal::Journal;
use scalewright::record::lab::{self, BLANK, Lab};
use scalewright::record::performed::UsedWorth;
use scalewright::report::dcc::{NoCertificate, SIMULATED, dcc};
use scalewright::session::proof::Test;
use scalewright::session::proof::entry::ProofEntry;
use scalewright::session::proof::plan::ProofPlan;
use scalewright::session::proof::prover::Prover;
use scalewright_bench::{BenchSpec, Desk};
use scalewright_tests::certificates::{FORM, traced};
use scalewright_tests::proofs::{self, Hand};
use scalewright_tests::schema::{Held, hold};
use scalewright_tests::structure;
use support::bench::{calibrated, plan, studio_scale};
use support::{Folder, run, too_wide};

const USAGE: i32 = 2;
const DATA: i32 = 4;

const DATE: &str = "2026-01-31T23:59:00Z";

fn form() -> Lab {
    lab::parse(FORM, "lab.toml").expect("a form")
}

fn proof_plan(desk: &Desk, tests: &[Test], short: bool, guarded: bool) -> ProofPlan {
    let weights = plan(desk).weights;
    let mut scale = studio_scale();
    scale.d_g = scale.e_g;
    let scheme = "R76 III initial".to_owned();
    ProofPlan::new(scale, weights, tests, short, scheme, guarded).expect("a plan")
}

/// The studio's scale, calibrated, with the small weights discrimination needs.
fn with_small_weights(seed: u64) -> BenchSpec {
    let mut spec = calibrated(seed);
    let small = scalewright_bench::weights::set_of_class_m1(&[2.0, 1.0], seed);
    for (weight, id) in small.into_iter().zip(["S1", "S2"]) {
        spec.weights.push(scalewright_bench::Weight {
            id: id.into(),
            ..weight
        });
    }
    spec
}

/// A verification of the bench, dated.
fn verified(spec: BenchSpec, tests: &[Test], short: bool, guarded: bool) -> Vec<ProofEntry> {
    let made = proofs::prove(spec, |desk| proof_plan(desk, tests, short, guarded));
    dated(made.expect("it comes to its end").0)
}

fn dated(mut entries: Vec<ProofEntry>) -> Vec<ProofEntry> {
    for entry in &mut entries {
        match entry {
            ProofEntry::ProofBegan { date, seed, .. } => {
                *date = DATE.into();
                *seed = Some(1);
            }
            ProofEntry::Resumed { date } => *date = "2026-02-03T08:00:00Z".into(),
            _ => {}
        }
    }
    entries
}

/// The same as it stands in a file.
fn kept(entries: &[ProofEntry]) -> String {
    let folder = Folder::new();
    let mut journal = Journal::create(&folder.file("a.session.jsonl")).expect("a journal");
    for entry in entries {
        journal.write(entry).expect("it is written");
    }
    fs::read_to_string(journal.path()).expect("it is read")
}

fn certify(entries: &[ProofEntry]) -> Certified {
    certified(&kept(entries), "a.session.jsonl", &form()).expect("a certificate")
}

fn statement<'a>(certificate: &'a Certificate, beginning: &str) -> &'a Statement {
    let found = certificate
        .statements
        .iter()
        .find(|one| one.declaration.starts_with(beginning));
    found.unwrap_or_else(|| panic!("no \"{beginning}\" in {:#?}", certificate.statements))
}

/// Sound in its frame, valid by the schema where that is at hand, and every
/// number in it traced.
fn holds(certificate: &Certificate, entries: &[ProofEntry]) -> usize {
    let xml = dcc(certificate).expect("it can be written");
    let document = Document::parse(&xml).expect("well formed");
    assert_eq!(structure::faults(document.root_element()), [""; 0]);
    if let Held::Invalid(why) = hold(&xml) {
        panic!("{why}");
    }
    let traced = traced(&xml, entries).expect("it is traced");
    assert_eq!(traced.strays, [""; 0]);
    assert_eq!(traced.from_captures.0, traced.from_captures.1);
    assert_eq!(traced.as_found.0, traced.as_found.1);
    traced.from_captures.1
}

/// A verification of a calibrated scale with every test at its full length.
fn whole() -> &'static [ProofEntry] {
    static ENTRIES: OnceLock<Vec<ProofEntry>> = OnceLock::new();
    ENTRIES.get_or_init(|| verified(with_small_weights(1), &Test::ALL, false, false))
}

#[test]
fn every_number_of_every_test_is_traced_to_the_captures() {
    let found = certify(whole());
    assert_eq!(found.proof.tests.len(), Test::ALL.len());
    let numbers = holds(&found.certificate, whole());
    assert!(numbers > 130, "{numbers} numbers");
    for test in &found.proof.tests {
        let said = statement(&found.certificate, &format!("{}: ", test.title));
        // 3 g where 2.8 g are asked for prove nothing when all of them show:
        // open for want of a fit weight, not for its uncertainty.
        let expected = match test.test.as_str() {
            "discrimination" => None,
            _ => Some(Conformity::Pass),
        };
        assert_eq!(said.conformity, expected, "{said:?}");
        assert!(
            said.declaration
                .contains("Decision rule: simple acceptance")
        );
    }
    let mut in_grams = form();
    in_grams.mass_unit = scalewright::record::certificate::MassUnit::Gram;
    let session = kept(whole());
    let found = certified(&session, "a", &in_grams).expect("a certificate");
    assert_eq!(holds(&found.certificate, whole()), numbers);
}

#[test]
fn a_number_that_is_changed_is_a_stray() {
    let xml = dcc(&certify(whole()).certificate).expect("it can be written");
    let at = xml.rfind("<si:valueXMLList>").expect("a list") + 17;
    let mut spoilt = xml.clone();
    // The first digit after the point of the first number of a column.
    let point = at + spoilt[at..].find('.').expect("a point") + 1;
    let digit = if &spoilt[point..=point] == "7" {
        "3"
    } else {
        "7"
    };
    spoilt.replace_range(point..=point, digit);
    let strays = traced(&spoilt, whole()).expect("it is traced").strays;
    assert_eq!(strays.len(), 1, "{strays:?}");
    let fewer = xml.replacen("0.9545 ", "", 1);
    assert!(
        !traced(&fewer, whole())
            .expect("it is traced")
            .strays
            .is_empty()
    );
    let renamed = xml.replace("Eccentricity", "Corners");
    assert!(
        !traced(&renamed, whole())
            .expect("it is traced")
            .strays
            .is_empty()
    );
}

#[test]
fn a_frame_that_is_broken_is_noticed_without_the_schema() {
    let xml = dcc(&certify(whole()).certificate).expect("it can be written");
    for (from, to) in [
        ("schemaVersion=\"3.1.2\"", "schemaVersion=\"3.2.0\""),
        ("dcc:eMail>", "dcc:mail>"),
        ("<dcc:mainSigner>true</dcc:mainSigner>", "<dcc:mainSigner/>"),
        ("dcc:coreData>", "dcc:core>"),
        ("si:coverageFactor>", "si:factor>"),
        ("dcc:respPersons>", "dcc:persons>"),
        ("https://ptb.de/si", "https://ptb.de/sj"),
    ] {
        let spoilt = xml.replace(from, to);
        assert_ne!(spoilt, xml, "{from}");
        let document = Document::parse(&spoilt).expect("well formed");
        let faults = structure::faults(document.root_element());
        assert!(!faults.is_empty(), "{to}");
    }
}

#[test]
fn who_and_with_what_stand_in_it() {
    let Certified {
        certificate,
        performed,
        ..
    } = certify(whole());
    // It began a minute before midnight, UTC.
    assert_eq!(
        (certificate.began.as_str(), certificate.ended.as_str()),
        ("2026-01-31", "2026-02-01")
    );
    let item = &certificate.items[0];
    let ProofEntry::ProofBegan { held, .. } = &whole()[0] else {
        panic!("no beginning");
    };
    let known: Vec<&str> = item
        .identifications
        .iter()
        .map(|one| one.value.as_str())
        .collect();
    let (id, checksum) = (
        format!("{:04X}", held.device_id),
        format!("{:08x}", held.checksum),
    );
    let sequence = held.sequence.to_string();
    assert_eq!(known, [&id, &checksum, &sequence, "SN-1", "I-2"]);
    assert_eq!(item.software[0].release, held.firmware);
    assert_eq!(certificate.software[0].release, env!("CARGO_PKG_VERSION"));
    assert_eq!(
        certificate.owner.as_ref().map(|one| one.name.as_str()),
        Some("Example owner")
    );
    let equipment = &certificate.measurements[0].equipment;
    assert_eq!(equipment.len(), performed.weights.len());
    let w1 = equipment.iter().find(|one| one.name == "weight W1");
    let w1 = w1.expect("it was used");
    let about = w1.description.as_deref().unwrap_or_default();
    // OIML R 111-1:2004, table 1: M1 leaves 2 kg 100 mg.
    assert!(about.contains("2 kg within 100 mg") && about.contains("class M1"));
    assert_eq!(w1.identifications[1].value, "K-2026-113");
    for weight in &performed.weights {
        assert!(
            matches!(&weight.worth, UsedWorth::Within { class: Some(class), .. } if class == "M1"),
            "{weight:?}"
        );
    }
    let said = statement(&certificate, "No certificate is named for these weights");
    assert!(said.declaration.contains("W2") && !said.declaration.contains("W1,"));
    let conditions = &certificate.measurements[0].conditions;
    assert_eq!(conditions.len(), 3);
    assert_eq!(conditions[1].quantity.uncertainty, None);
    // What was noted with the verification stands in for what the form leaves out.
    let mut noted = whole().to_vec();
    if let ProofEntry::ProofBegan { plan, .. } = &mut noted[0] {
        plan.surroundings.temperature_c = Some(19.0);
        plan.surroundings.humidity_percent = Some(61.0);
    }
    let mut bare = form();
    bare.conditions.retain(|one| one.name == "temperature");
    let found = certified(&kept(&noted), "a", &bare).expect("a certificate");
    let conditions = &found.certificate.measurements[0].conditions;
    let values: Vec<f64> = conditions.iter().map(|one| one.quantity.value).collect();
    assert_eq!(values, [21.3, 61.0]);
    statement(&certificate, "NOT TESTED: temperature, humidity");
}

#[test]
fn what_is_simulated_says_so_and_what_is_not_does_not() {
    let simulated = certify(whole()).certificate;
    assert!(simulated.identifier.starts_with("SIMULATED-"));
    assert!(simulated.items[0].name.ends_with("(SIMULATED)"));
    assert!(simulated.measurements[0].name.ends_with("(SIMULATED)"));
    assert!(
        simulated.statements[0]
            .declaration
            .starts_with("SIMULATED: this is no calibration")
    );
    let mut real = whole().to_vec();
    if let ProofEntry::ProofBegan { seed, .. } = &mut real[0] {
        *seed = None;
    }
    // The bench behind a port tells no seed, but its board.
    let port = certify(&real).certificate;
    assert!(port.identifier.starts_with("SIMULATED-"));
    assert!(port.statements[0].declaration.contains("built-in bench."));
    if let ProofEntry::ProofBegan { held, .. } = &mut real[0] {
        held.board = "rp2040".into();
    }
    let xml = dcc(&certify(&real).certificate).expect("it can be written");
    assert!(!xml.contains(SIMULATED) && !xml.contains("built-in bench"));
}

#[test]
fn a_scale_that_fails_gets_a_certificate_that_says_so() {
    for guarded in [false, true] {
        let tests = [Test::Errors, Test::Repeatability];
        let entries = verified(BenchSpec::studio(1), &tests, true, guarded);
        let found = certify(&entries);
        holds(&found.certificate, &entries);
        let said = statement(
            &found.certificate,
            "Errors of indication, up and down: fails",
        );
        assert_eq!(said.conformity, Some(Conformity::Fail));
        let rule = if guarded {
            "guard bands"
        } else {
            "simple acceptance"
        };
        assert!(said.declaration.contains(rule), "{said:?}");
    }
}

#[test]
fn what_was_interrupted_says_so_and_is_not_called_passed() {
    let tests = [Test::Errors, Test::Repeatability];
    // Within the errors, and within the weighings after them.
    for (after, open) in [(6, "Errors of indication"), (16, "Repeatability")] {
        let folder = Folder::new();
        let file = folder.file("cut.session.jsonl");
        let mut journal = Journal::create(&file).expect("a journal");
        let leaves = |desk: Desk| {
            let mut hand = Hand::at(desk);
            hand.stop_after = Some(after);
            hand
        };
        let made = |desk: &Desk| proof_plan(desk, &tests, true, false);
        let spec = calibrated(1);
        let (ended, _) = proofs::attend(
            spec.clone(),
            |desk| Prover::new(made(desk)),
            leaves,
            Some(&mut journal),
            Vec::new(),
        );
        assert!(ended.is_err());
        let (_, contents): (Journal, _) = Journal::open(&file).expect("reads");
        let contents: scalewright::record::journal::Contents<ProofEntry> = contents;
        let entries = dated(contents.entries);
        let found = certify(&entries);
        holds(&found.certificate, &entries);
        let said = statement(&found.certificate, "INTERRUPTED");
        assert!(said.declaration.contains(open), "{said:?}");
        let said = statement(&found.certificate, open);
        assert_eq!(said.conformity, None, "{said:?}");
        assert!(said.declaration.ends_with("Conformity is not stated."));

        // Gone on with, it is another certificate, of a later day.
        let (whole, _) = proofs::attend(
            spec,
            |desk| Prover::resume(made(desk), &entries),
            Hand::at,
            None,
            entries.clone(),
        );
        let whole = dated(whole.expect("comes to its end"));
        let later = certify(&whole);
        holds(&later.certificate, &whole);
        assert!(later.performed.unfinished.is_empty());
        assert_ne!(later.certificate.identifier, found.certificate.identifier);
        assert_eq!(later.certificate.ended, "2026-02-03");
    }
}

#[test]
fn what_is_no_calibration_is_refused_with_its_reason() {
    let entries = verified(calibrated(1), &[Test::Zero], true, false);
    let fault = certified(&kept(&entries), "a", &form()).expect_err("no errors");
    assert_eq!(fault, CertifyingFault::Certificate(NoCertificate::NoErrors));
    let mut undated = whole().to_vec();
    if let ProofEntry::ProofBegan { date, .. } = &mut undated[0] {
        *date = "yesterday".into();
    }
    let fault = certified(&kept(&undated), "a", &form()).expect_err("no date");
    assert!(fault.to_string().contains("\"yesterday\""), "{fault}");
    let mut other = form();
    other.weights[0].names.push("W77".into());
    let fault = certified(&kept(whole()), "a", &other).expect_err("no such weight");
    assert!(fault.to_string().contains("W77") && fault.to_string().contains("line "));
    let fault = certified("{}", "a", &form()).expect_err("no session");
    assert!(matches!(fault, CertifyingFault::Journal(_)));
}

#[test]
fn an_identifier_is_that_of_one_certificate() {
    let session = kept(whole());
    let made = |session: &str, lab: &Lab| certified(session, "a", lab).expect("a certificate");
    let one = made(&session, &form());
    assert_eq!(made(&session, &form()), one, "the same gives the same");
    // Scale, second of the beginning, checksum of the file, of what is stated.
    let parts: Vec<&str> = one.certificate.identifier.split('-').collect();
    assert_eq!(parts.len(), 5);
    assert_eq!((parts[0], parts[1]), ("SIMULATED", &*one.proof.device.id));
    assert_eq!(parts[2], "20260131T235900Z");
    // Half a line at the end counts for nothing.
    let cut = format!("{session}{{\"scalewright_se");
    assert_eq!(made(&cut, &form()), one);
    // A corrected form is another certificate of the same verification.
    let mut corrected = form();
    corrected.customer.name.push('s');
    let other = made(&session, &corrected).certificate.identifier;
    assert_eq!(other.rsplit_once('-').map(|one| one.0), {
        let all = &one.certificate.identifier;
        all.rsplit_once('-').map(|one| one.0)
    });
    assert_ne!(other, one.certificate.identifier);
}

// ---- the command ------------------------------------------------------------

#[test]
fn a_rehearsal_gets_its_certificate_by_the_command() {
    let folder = Folder::new();
    let said = run(folder.path(), &["rehearse", "--verify"]);
    assert_eq!(said.code, 0);
    assert!(said.out.contains("scalewright certificate --help"));
    let about = folder.with("lab.toml", FORM);
    let session = "rehearsal/verification.session.jsonl";
    let before = fs::read_to_string(folder.file(session)).expect("the session");
    let call = ["certificate", session, "--about", &about];
    let said = run(folder.path(), &call);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{}", said.out);
    assert_eq!(too_wide(&said.out), [""; 0]);
    for part in [
        "SIMULATED",
        "passes so far",
        "not tested",
        "no legal verification",
    ] {
        assert!(said.out.contains(part), "no \"{part}\" in {}", said.out);
    }
    let file = folder.file("rehearsal/verification.certificate.xml");
    let first = fs::read_to_string(&file).expect("the certificate");
    let entries = scalewright::record::journal::parse(&before, "a").expect("reads");
    let traced = traced(&first, &entries.entries).expect("it is traced");
    assert_eq!(traced.strays, [""; 0]);
    assert!(!matches!(hold(&first), Held::Invalid(_)));

    // Once more: another file with the same text, and the values for programs.
    let again = run(folder.path(), &[&call[..], &["--json"]].concat());
    assert_eq!((again.code, again.err.as_str()), (0, ""));
    let told: serde_json::Value = serde_json::from_str(&again.out).expect("one object");
    assert_eq!(told["file"], "rehearsal/verification-2.certificate.xml");
    assert_eq!(told["certificate"]["country"], "DE");
    let second = fs::read_to_string(folder.file("rehearsal/verification-2.certificate.xml"));
    assert_eq!(second.expect("the second"), first);

    // A file that is named is never written over.
    let taken = folder.with("taken.xml", "mine");
    let named = [&call[..], &["--output", &taken]].concat();
    run(folder.path(), &named).is_problem(DATA, "is there already");
    assert_eq!(fs::read_to_string(&taken).expect("it is there"), "mine");
    let nowhere = [&call[..], &["--output", "no/such/folder.xml"]].concat();
    run(folder.path(), &nowhere).is_problem(DATA, "can't be written");
    assert_eq!(
        fs::read_to_string(folder.file(session)).expect("the session"),
        before
    );
    let calibration = "rehearsal/rehearsal.session.jsonl";
    let wrong = ["certificate", calibration, "--about", &about];
    run(folder.path(), &wrong).is_problem(DATA, "makes no sense");
}

#[test]
fn the_form_is_printed_and_its_faults_are_shown_line_by_line() {
    let folder = Folder::new();
    let blank = run(folder.path(), &["certificate", "--blank"]);
    assert_eq!((blank.code, blank.err.as_str()), (0, ""));
    assert_eq!(blank.out, BLANK);
    let about = folder.with("lab.toml", &blank.out);
    let call = ["certificate", "a.session.jsonl", "--about", &about];
    let said = run(folder.path(), &call);
    said.is_problem(DATA, "10 faults");
    assert!(said.err.contains("line 7 "), "{}", said.err);
    let none = run(folder.path(), &["certificate", "a.session.jsonl"]);
    assert_eq!(none.code, USAGE);
    assert!(none.err.contains("--about"), "{}", none.err);
    let about = folder.with("full.toml", FORM);
    let call = ["certificate", "nothing.jsonl", "--about", &about];
    run(folder.path(), &call).is_problem(DATA, "nothing.jsonl can't be read");
}

#[test]
fn a_scale_that_fails_is_told_by_the_exit_code() {
    let folder = Folder::new();
    let entries = verified(BenchSpec::studio(1), &[Test::Errors], true, false);
    let session = folder.with("verification.session.jsonl", kept(&entries));
    let about = folder.with("lab.toml", FORM.replace("\"W3\"", "\"W2\""));
    let said = run(folder.path(), &["certificate", &session, "--about", &about]);
    assert_eq!((said.code, said.err.as_str()), (1, ""), "{}", said.out);
    assert!(folder.file("verification.certificate.xml").is_file());
    let zero = verified(calibrated(1), &[Test::Zero], true, false);
    let session = folder.with("zero.session.jsonl", kept(&zero));
    let said = run(folder.path(), &["certificate", &session, "--about", &about]);
    said.is_problem(DATA, "holds no errors of indication");
    assert!(!folder.file("zero.certificate.xml").exists());
}
