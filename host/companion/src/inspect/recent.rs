//! The last seconds of a stream, with lowest, highest and scatter.

use std::collections::VecDeque;

use scalewright_metrology::statistics::sample_sd;
use scalewright_protocol::units::elapsed_ms;

/// Most values kept, whatever the rate: 80 per second for 100 s.
const MOST: usize = 8000;

/// Values of the last seconds of device time.
#[derive(Clone, Debug)]
pub struct Recent {
    span_ms: u32,
    values: VecDeque<(u32, f64)>,
}

impl Recent {
    /// Empty, for so many milliseconds.
    #[must_use]
    pub fn new(span_ms: u32) -> Self {
        Self {
            span_ms,
            values: VecDeque::new(),
        }
    }

    /// Takes a value of this device time. Time that runs backwards, as after a
    /// restart of the scale, begins anew.
    pub fn push(&mut self, at_ms: u32, value: f64) {
        if let Some((last_ms, _)) = self.values.back()
            && elapsed_ms(at_ms, *last_ms) >= 1 << 31
        {
            self.values.clear();
        }
        self.values.push_back((at_ms, value));
        while self.values.len() > MOST
            || self
                .values
                .front()
                .is_some_and(|(first, _)| elapsed_ms(at_ms, *first) > self.span_ms)
        {
            self.values.pop_front();
        }
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.values.clear();
    }

    /// How many values there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.values.len()
    }

    /// Time from the oldest to the newest value, s.
    #[must_use]
    pub fn span_s(&self) -> f64 {
        self.values
            .front()
            .zip(self.values.back())
            .map_or(0.0, |((first, _), (last, _))| {
                f64::from(elapsed_ms(*last, *first)) / 1000.0
            })
    }

    /// Lowest and highest value.
    #[must_use]
    pub fn ends(&self) -> Option<(f64, f64)> {
        self.values.iter().fold(None, |ends, (_, value)| {
            let (low, high) = ends.unwrap_or((*value, *value));
            Some((low.min(*value), high.max(*value)))
        })
    }

    /// Standard deviation; none below two values.
    #[must_use]
    pub fn sd(&self) -> Option<f64> {
        let values: Vec<f64> = self.values.iter().map(|(_, value)| *value).collect();
        sample_sd(&values)
    }

    /// Lowest and highest value in each of `columns` equal parts of the span,
    /// the newest last; none where nothing came.
    #[must_use]
    pub fn columns(&self, columns: usize) -> Vec<Option<(f64, f64)>> {
        let mut out = vec![None; columns];
        let Some((newest_ms, _)) = self.values.back() else {
            return out;
        };
        for (at_ms, value) in &self.values {
            let age = f64::from(elapsed_ms(*newest_ms, *at_ms)) / f64::from(self.span_ms.max(1));
            let back = (age * columns as f64) as usize;
            let place = columns.checked_sub(back + 1);
            if let Some(slot) = place.and_then(|place| out.get_mut(place)) {
                let (low, high) = slot.unwrap_or((*value, *value));
                *slot = Some((low.min(*value), high.max(*value)));
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_values_go_and_a_restart_begins_anew() {
        let mut recent = Recent::new(1000);
        for k in 0..30 {
            recent.push(k * 100, f64::from(k));
        }
        assert_eq!(recent.count(), 11);
        assert_eq!(recent.ends(), Some((19.0, 29.0)));
        assert_eq!(recent.span_s(), 1.0);
        recent.push(50, 3.0);
        assert_eq!((recent.count(), recent.ends()), (1, Some((3.0, 3.0))));
        assert_eq!(recent.sd(), None);
    }

    #[test]
    fn columns_end_with_the_newest() {
        let mut recent = Recent::new(1000);
        for (at_ms, value) in [(100, 1.0), (150, 5.0), (600, 2.0), (1000, 9.0)] {
            recent.push(at_ms, value);
        }
        let columns = recent.columns(4);
        assert_eq!(
            columns,
            [Some((1.0, 5.0)), None, Some((2.0, 2.0)), Some((9.0, 9.0))]
        );
        assert_eq!(Recent::new(1000).columns(2), [None, None]);
        assert!(recent.columns(0).is_empty());
    }

    #[test]
    fn the_clock_of_the_scale_may_wrap() {
        let mut recent = Recent::new(1000);
        recent.push(u32::MAX - 100, 1.0);
        recent.push(200, 2.0);
        assert_eq!(recent.count(), 2);
    }
}
