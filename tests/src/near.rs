//! The bench in this process as a link's line.

use std::time::Duration;

use scalewright::link::client::Client;
use scalewright::link::{Line, LinkFault};
use scalewright_bench::{BenchSpec, BenchStream, Desk};

/// The bench as the link's far end.
pub struct Near(pub BenchStream);

impl Line for Near {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkFault> {
        self.0.write(bytes);
        Ok(())
    }

    fn read(&mut self, into: &mut [u8], timeout: Duration) -> Result<usize, LinkFault> {
        Ok(self.0.read(into, timeout))
    }

    fn name(&self) -> &str {
        "the bench"
    }
}

/// A scale on the bench, and its pan.
///
/// # Panics
/// When the bench can't be made.
#[must_use]
pub fn at_a_bench(spec: BenchSpec) -> (Client<Near>, Desk) {
    let stream = BenchStream::open(spec).expect("a bench");
    let desk = stream.desk();
    (Client::new(Near(stream), 1), desk)
}
