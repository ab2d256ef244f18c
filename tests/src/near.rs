//! The bench in this process as a link's line.

use std::time::Duration;

use scalewright::link::{Line, LinkFault};
use scalewright_bench::BenchStream;

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
