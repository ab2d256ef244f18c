//! What a scale captured, as a session keeps it.

use scalewright::record::weights;
use scalewright::session::event::{Capture, Part};
use scalewright::session::plan::Load;
use scalewright_protocol::message::Captured;

/// A zero or a rising load of `load_g` that is known exactly.
pub fn as_capture(load_g: f64, captured: &Captured) -> Capture {
    let loaded = load_g > 0.0;
    Capture {
        part: if loaded { Part::Rising } else { Part::Zero },
        load: Load {
            weights: loaded.then(|| weights::name(load_g)).into_iter().collect(),
            mass_g: load_g,
            u_g: 0.0,
        },
        mean_counts: f64::from(captured.mean_q8) / 256.0,
        sd_counts: f64::from(captured.sd_q8) / 256.0,
        samples: captured.samples,
        at_s: f64::from(captured.began_ms) / 1000.0,
        rested_s: None,
        sitting: 0,
        saturated: captured.saturated,
        correction_g: 0.0,
    }
}
