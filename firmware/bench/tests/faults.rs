//! Faults reach the host as conditions it can read, and pass when mended.

mod common;

use common::{counts, in_process};
use scalewright_bench::{
    AdcTrouble, AdcTroubleSpan, BenchSpec, CellSpec, LineFaults, Pan, ReadBy, StoredTable,
};
use scalewright_protocol::message::{Answer, Ask, Flags, TableHeader};
use scalewright_protocol::table::Knot;

/// What a host may see of each trouble.
const TROUBLES: [(AdcTrouble, Flags); 4] = [
    (AdcTrouble::HeldHigh, Flags::ADC_SILENT),
    (AdcTrouble::NoPower, Flags::ADC_SILENT),
    (AdcTrouble::HeldLow, Flags::ADC_STUCK),
    (AdcTrouble::BridgeOpen, Flags::SATURATED),
];

fn bad(flags: Flags) -> bool {
    flags.any(
        Flags::ADC_SILENT
            .with(Flags::ADC_STUCK)
            .with(Flags::SATURATED),
    )
}

#[test]
fn each_adc_trouble_shows_its_flag_and_is_over_when_mended() {
    for read_by in [ReadBy::Pins, ReadBy::Codes] {
        for (trouble, flag) in TROUBLES {
            let mut spec = BenchSpec::studio(2);
            spec.read_by = read_by;
            let mut laptop = in_process(spec);
            let desk = laptop.link.desk();
            let before = laptop.pass(6000);
            assert!(before.flags.has(Flags::STABLE) && !bad(before.flags));
            desk.adc_trouble(Some(trouble));
            let during = laptop.pass(4000);
            assert!(
                during.flags.has(flag),
                "{read_by:?} {trouble:?}: {:?}",
                during.flags
            );
            assert_eq!(during.indication, None, "{read_by:?} {trouble:?}");
            desk.adc_trouble(None);
            let after = laptop.pass(6000);
            assert!(
                after.flags.has(Flags::STABLE) && !bad(after.flags),
                "{read_by:?} {trouble:?}: {:?}",
                after.flags
            );
            let off = after.smooth_q8.abs_diff(before.smooth_q8) / 256;
            assert!(off < 430, "the same load reads the same to 1 g: {off}");
        }
    }
}

#[test]
fn a_trouble_on_plan_comes_and_goes_by_virtual_time() {
    let mut spec = BenchSpec::studio(2);
    spec.adc_troubles = vec![AdcTroubleSpan {
        from_s: 10.0,
        until_s: 13.0,
        trouble: AdcTrouble::HeldHigh,
    }];
    let mut laptop = in_process(spec);
    assert!(!bad(laptop.pass(9900).flags));
    assert!(laptop.pass(2000).flags.has(Flags::ADC_SILENT));
    assert!(!bad(laptop.pass(6000).flags));
}

#[test]
fn spikes_are_taken_out_of_a_capture() {
    let mut spec = BenchSpec::studio_factory(2);
    spec.cell = CellSpec {
        noise_g: 0.035,
        ..CellSpec::ideal()
    };
    // 100 g, in one of a hundred conversions.
    spec.spikes = (0.01, 42_950);
    spec.settings.rate_sps = 80;
    let mut laptop = in_process(spec);
    laptop.link.desk().place_g(1000.0);
    laptop.ask(Ask::Stream { every: 1 });
    laptop.pass(3000);
    let captured = laptop.capture(1000, 430);
    let spikes = laptop.samples.iter().filter(|s| s.flags.has(Flags::SPIKE));
    let seen = spikes.count();
    assert!(seen >= 3, "{seen}");
    // Noise at 80 per second is 0.1 g; over √1000 that is 0.003 g, and a
    // single spike left in would add 0.1 g.
    let g = counts(&captured) / 429.496_729_6;
    assert!((g - 1000.0).abs() < 0.03, "{g}");
    assert!(f64::from(captured.sd_q8) / 256.0 < 0.15 * 429.5);
}

#[test]
fn a_bad_line_delays_but_neither_lies_nor_hangs() {
    let mut spec = BenchSpec::studio(2);
    let bad_line = LineFaults {
        lose: 0.003,
        garble: 0.003,
        insert: 0.003,
        cut: vec![(4, 3), (9, 1)],
    };
    spec.line_in = bad_line.clone();
    spec.line_out = bad_line;
    let mut laptop = in_process(spec.clone());
    let mut sound = in_process({
        let mut sound = spec;
        sound.line_in = LineFaults::default();
        sound.line_out = LineFaults::default();
        sound
    });
    let want = sound.ask(Ask::Settings);
    for _ in 0..300 {
        let got = laptop.try_ask(Ask::Settings, 20).expect("comes through");
        assert_eq!(got, Ok(want.clone()));
        let waited = laptop.try_ask(Ask::Wait { up_to_ms: 50 }, 20);
        assert!(matches!(waited, Some(Ok(Answer::State(_)))), "{waited:?}");
    }
    assert!(laptop.broken > 5, "{}", laptop.broken);
}

fn table(laptop: &mut common::Laptop<scalewright_bench::BenchStream>) -> TableHeader {
    match laptop.ask(Ask::Table) {
        Answer::Table(header) => header,
        other => panic!("no table: {other:?}"),
    }
}

#[test]
fn the_studio_scale_comes_with_its_table_and_keeps_it_over_a_restart() {
    let mut laptop = in_process(BenchSpec::studio(2));
    let before = table(&mut laptop);
    assert_eq!(before.knots, 2);
    laptop.link.desk().place_g(1000.0);
    let state = laptop.pass(8000);
    // It was set at 1 kg, so it is right there: to a quarter of e, or so much
    // as zero drifts, creep and noise do in these seconds.
    let mass_g = f64::from(state.mass.expect("calibrated")) / 1000.0;
    assert!((mass_g - 1000.0).abs() < 0.8, "{mass_g}");
    assert_eq!(state.indication, Some(1_000_000));
    laptop.link.desk().restart();
    let state = laptop.state();
    assert_eq!(state.at_ms, 0);
    assert!(state.flags.has(Flags::SETTLING));
    assert_eq!(table(&mut laptop), before);
}

#[test]
fn a_factory_scale_has_no_mass() {
    let mut laptop = in_process(BenchSpec::studio_factory(2));
    let state = laptop.pass(5000);
    assert!(state.flags.has(Flags::NOT_CALIBRATED));
    assert_eq!((state.mass, state.indication), (None, None));
    assert_eq!(table(&mut laptop).knots, 0);
}

#[test]
fn a_cut_while_storing_leaves_the_old_table_and_a_dead_device_says_nothing() {
    let mut spec = BenchSpec::studio(2);
    let mut laptop = in_process(spec.clone());
    let desk = laptop.link.desk();
    let before = table(&mut laptop);
    desk.cut_power_after(100);
    let settings = spec.settings;
    let stage = scalewright_protocol::message::Stage {
        settings,
        zero_counts: 0,
        knots: 2,
        checksum: 0,
    };
    assert_eq!(laptop.try_ask(Ask::StageBegin(stage), 2), None);
    assert!(desk.is_dead());
    assert_eq!(laptop.try_ask(Ask::State, 2), None);
    desk.restart();
    assert_eq!(table(&mut laptop), before);
    // The image outlives the device.
    spec.flash = Some(desk.flash_image());
    let mut again = in_process(spec);
    assert_eq!(table(&mut again).checksum, before.checksum);
}

#[test]
fn a_table_the_firmware_refuses_is_told_not_swallowed() {
    let mut spec = BenchSpec::studio_factory(2);
    spec.stored = Some(StoredTable {
        zero_counts: 0,
        knots: vec![Knot { counts: 5, mass: 5 }, Knot { counts: 9, mass: 8 }],
    });
    let fault = scalewright_bench::BenchStream::open(spec).expect_err("no knot at zero");
    assert!(matches!(fault, scalewright_bench::BenchFault::Table(_)));
    assert!(fault.to_string().contains("refused"));
}

#[test]
fn true_load_is_told_to_the_desk() {
    let mut laptop = in_process(BenchSpec::studio(2));
    let desk = laptop.link.desk();
    desk.place_g(250.0);
    laptop.state();
    assert_eq!(desk.true_load_g(), 250.0);
}
