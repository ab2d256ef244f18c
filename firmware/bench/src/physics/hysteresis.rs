//! Hysteresis as a memory: the same load reads higher on the way down.
//!
//! A sum of play operators (backlash elements, the Prandtl–Ishlinskii model):
//! each follows the load only when pushed against an end of its play, so it
//! remembers where the load came from. Small loops inside large ones come out
//! closed and smaller by themselves, as they do in metal.

/// Half the play of each element, as a fraction of Max. The widest ends its
/// turn 0.44 of Max after a reversal, which gives the loop its usual lens
/// shape (common practice; R 60 limits the size, not the shape).
const HALF_PLAY: [f64; 3] = [0.04, 0.10, 0.22];
/// Share of each element in the size of the loop.
const SHARE: [f64; 3] = [0.3, 0.4, 0.3];

/// The memory of one cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Memory {
    positions: [f64; 3],
}

impl Memory {
    /// As after three loadings to Max and back (OIML R 60-2, 2.10.1.3 asks for
    /// such a preload): from here on a full loop is closed.
    pub(crate) fn exercised() -> Self {
        Self {
            positions: HALF_PLAY,
        }
    }

    /// The load goes straight to `x` of Max.
    pub(crate) fn follow(&mut self, x: f64) {
        for (position, half) in self.positions.iter_mut().zip(HALF_PLAY) {
            *position = position.clamp(x - half, x + half);
        }
    }

    /// Departure from the mean of the full loop's two branches at `x`, in
    /// units of the loop's greatest width: −0.5 to 0.5 on the full loop.
    pub(crate) fn departure(&self, x: f64) -> f64 {
        let mut sum = 0.0;
        for ((position, half), share) in self.positions.iter().zip(HALF_PLAY).zip(SHARE) {
            let play = 2.0 * half;
            sum += share / play * (position - half - middle(x, play));
        }
        sum
    }
}

/// Mean of the rising and the falling branch of the full loop from 0 to 1 and
/// back, for an element of this play; beyond the ends the branches are one.
fn middle(x: f64, play: f64) -> f64 {
    if x <= 0.0 {
        x
    } else if x >= 1.0 {
        x - play
    } else {
        f64::midpoint((x - play).max(0.0), x.min(1.0 - play))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn walk(memory: &mut Memory, from: f64, to: f64) -> Vec<(f64, f64)> {
        (0..=1000)
            .map(|i| {
                let x = from + (to - from) * f64::from(i) / 1000.0;
                memory.follow(x);
                (x, memory.departure(x))
            })
            .collect()
    }

    #[test]
    fn the_full_loop_is_one_wide_closed_and_symmetrical() {
        let mut memory = Memory::exercised();
        let up = walk(&mut memory, 0.0, 1.0);
        let down = walk(&mut memory, 1.0, 0.0);
        let widest = up
            .iter()
            .zip(down.iter().rev())
            .map(|(u, d)| {
                assert!((u.0 - d.0).abs() < 1e-12);
                // Symmetrical about the mean curve, falling never below rising.
                assert!((u.1 + d.1).abs() < 1e-12 && d.1 - u.1 > -1e-12);
                d.1 - u.1
            })
            .fold(0.0, f64::max);
        assert!((widest - 1.0).abs() < 1e-9, "{widest}");
        assert!(up[0].1.abs() < 1e-12 && down[1000].1.abs() < 1e-12);
        assert!(up[1000].1.abs() < 1e-12);
    }

    #[test]
    fn a_minor_loop_is_closed_and_smaller() {
        let mut memory = Memory::exercised();
        // Once up and down makes the loop's own history; then it is closed.
        walk(&mut memory, 0.0, 0.7);
        walk(&mut memory, 0.7, 0.5);
        let there = walk(&mut memory, 0.5, 0.7);
        let back = walk(&mut memory, 0.7, 0.5);
        assert!((back[1000].1 - there[0].1).abs() < 1e-12);
        assert!((back[0].1 - there[1000].1).abs() < 1e-12);
        let width = back[500].1 - there[500].1;
        assert!(width > 0.1 && width < 0.6, "{width}");
    }
}
