//! How fast the bench runs: virtual samples per second of wall time through
//! cell, converter and core, by codes and by pins, as one JSON line.
//!
//! `cargo run --release -p scalewright-bench --example samples_per_second`

use std::time::{Duration, Instant};

use scalewright_bench::{BenchSpec, BenchStream, LoadOrder, Pan, ReadBy};
use scalewright_protocol::codec::{MAX_FRAME, encode};
use scalewright_protocol::message::{Ask, Request};

/// Samples of one calibration of one cell of a population, about.
const SAMPLES_A_CELL: u32 = 4000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (codes_s, codes) = run(ReadBy::Codes, 100)?;
    let (pins_s, pins) = run(ReadBy::Pins, 10)?;
    println!(
        "{{\"codes_us_per_sample\":{:.3},\"pins_us_per_sample\":{:.3},\
         \"thousand_cells_s\":{:.1},\"samples\":{:.0}}}",
        codes_s * 1e6 / codes,
        pins_s * 1e6 / pins,
        codes_s / codes * f64::from(SAMPLES_A_CELL) * 1000.0,
        codes + pins,
    );
    Ok(())
}

/// Seconds and samples of `cells` scales of the poor population, each waiting
/// for a load in steps of a second.
fn run(read_by: ReadBy, cells: u32) -> Result<(f64, f64), Box<dyn std::error::Error>> {
    let began = Instant::now();
    let mut id = 0u16;
    let mut samples = 0.0;
    for seed in 0..cells {
        let mut spec = BenchSpec::poor(u64::from(seed));
        spec.read_by = read_by;
        let mut bench = BenchStream::open(spec)?;
        let pan = bench.desk();
        for second in 0..SAMPLES_A_CELL / 10 {
            if second % 20 == 0 {
                let ids = if second % 40 == 0 { "W1" } else { "W3" };
                pan.ask(LoadOrder::of([ids]));
            }
            id = id.wrapping_add(1);
            let mut frame = [0; MAX_FRAME];
            let ask = Ask::Wait { up_to_ms: 1000 };
            let length =
                encode(&Request { id, ask }, &mut frame).map_err(|_| "the request is too long")?;
            bench.write(&frame[..length]);
            let mut reply = [0; 256];
            loop {
                if bench.read(&mut reply, Duration::ZERO) == 0 {
                    break;
                }
            }
        }
        // A wait may end early: what counts is the time that really passed.
        // The desk learns it with the next order.
        pan.place_g(0.0);
        bench.write(&[]);
        samples += pan.time_s() * 10.0;
    }
    if samples < 1.0 {
        return Err("time stood still".into());
    }
    Ok((began.elapsed().as_secs_f64(), samples))
}
