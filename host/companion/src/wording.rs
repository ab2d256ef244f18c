//! Device causes in plain words, for every reader: session, link, terminal.

use scalewright_protocol::message::Refusal;

/// A refusal in plain words.
#[must_use]
pub fn declined(refusal: Refusal) -> String {
    match refusal {
        Refusal::Unknown => "it does not know this request".into(),
        Refusal::Range { field } => format!("value {} is out of range", field + 1),
        Refusal::NotStaging => "no table transfer is open".into(),
        Refusal::StageOrder { expected } => {
            format!(
                "table points came out of order, point {} was due",
                expected + 1
            )
        }
        Refusal::StageIncomplete { received } => {
            format!("the table is incomplete, {received} points arrived")
        }
        Refusal::StageChecksum => "the table was damaged on the way".into(),
        Refusal::Table(fault) => fault.to_string(),
        Refusal::Settings(fault) => fault.to_string(),
        Refusal::QuantumInUse => {
            "its table is in other mass units; send table and settings together".into()
        }
        Refusal::NothingToRollBack => "it holds no earlier table".into(),
        Refusal::NotAtRest => "the load is not at rest".into(),
        Refusal::ZeroRange => "the load is outside the zero-setting range of 4 % of Max".into(),
        Refusal::NotCalibrated => "it has no calibration table".into(),
        Refusal::AdcFault => "its bridge ADC delivers nothing usable".into(),
        Refusal::Storage => "writing to its storage failed; the table in force is untouched".into(),
        Refusal::TareRange => "the tare is outside 0 to Max".into(),
        Refusal::Busy => {
            "somebody calibrates it at its own keys; finish or leave that first".into()
        }
        Refusal::Sealed => "it is sealed: its table and settings can't be changed".into(),
    }
}
