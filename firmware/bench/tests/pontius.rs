//! A real load cell on the bench: NIST StRD "Pontius" (Pontius, P., NIST,
//! "Load Cell Calibration"; 40 observations, two runs of 20 loads), taken as a
//! table of load against output.

mod common;

use common::{counts, in_process};
use scalewright_bench::adc::code_of;
use scalewright_bench::setup::class_iii_settings;
use scalewright_bench::{BenchSpec, CellSpec, Curve};

/// Deflections of both runs at 150 000 to 3 000 000, from the data file.
const RUNS: [[f64; 20]; 2] = [
    [
        0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146,
        1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    ],
    [
        0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150,
        1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
    ],
];

/// Load in g and output in mV/V: deflection taken as mV/V, zero at none.
fn points(run: usize) -> Vec<(f64, f64)> {
    let loads = (1..=20).map(|i| f64::from(i) * 150_000.0);
    std::iter::once((0.0, 0.0))
        .chain(loads.zip(RUNS[run]))
        .collect()
}

#[test]
fn captures_meet_every_given_point_to_the_count() {
    let settings = class_iii_settings(3_000_000.0, 1000.0, 1_000_000);
    let spec = BenchSpec::plain(1, CellSpec::tabulated(&points(0)), settings);
    let mut laptop = in_process(spec);
    let desk = laptop.link.desk();
    for run in 0..2 {
        desk.exchange_curve(Curve::Tabulated(points(run)));
        for (load_g, mv_per_v) in points(run) {
            desk.place_g(load_g);
            let captured = laptop.capture(4, 0);
            // At gain 128, 1 mV/V is 2^31/1000 counts.
            assert_eq!(counts(&captured), f64::from(code_of(mv_per_v, 128.0)));
            assert_eq!(captured.sd_q8, 0);
        }
    }
}
