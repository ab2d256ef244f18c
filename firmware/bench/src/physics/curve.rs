//! The settled output of a cell against load: a polynomial or a table.

/// How the output of a cell follows its load when everything else is still.
#[derive(Clone, Debug, PartialEq)]
pub enum Curve {
    /// Load over Max to signal over rated signal: `y = c1·x + c2·x² + …`,
    /// coefficients from c1 on. `[1.0]` is a straight cell.
    Polynomial(Vec<f64>),
    /// Pairs of load in g and output in mV/V, loads rising, among them a load
    /// of 0 unless zero is to be extrapolated. Given points are met exactly,
    /// straight lines lie between, end segments go on.
    Tabulated(Vec<(f64, f64)>),
}

impl Curve {
    /// A curve whose greatest departure from the straight line from zero to
    /// Max is `amplitude` (as a fraction of Max), half-wave (quadratic) and
    /// full-wave (cubic) parts mixed as `quadratic : cubic`.
    ///
    /// The parts are `4x(1−x)` and `x(1−x)(1−2x)` scaled to a peak of 1; the
    /// mix is scaled so that its own peak is `amplitude`.
    #[must_use]
    pub fn bent(amplitude: f64, quadratic: f64, cubic: f64) -> Self {
        // Peak of x(1−x)(1−2x): √3/18 at x = (3−√3)/6.
        let cubic_scale = 18.0 / 3f64.sqrt();
        let shape = |x: f64| {
            quadratic * 4.0 * x * (1.0 - x) + cubic * cubic_scale * x * (1.0 - x) * (1.0 - 2.0 * x)
        };
        let peak = (0..=2000)
            .map(|i| shape(f64::from(i) / 2000.0).abs())
            .fold(0.0, f64::max);
        if peak == 0.0 {
            return Self::Polynomial(vec![1.0]);
        }
        let (q, c) = (
            amplitude * quadratic / peak * 4.0,
            amplitude * cubic / peak * cubic_scale,
        );
        // x(1−x)(1−2x) = x − 3x² + 2x³.
        Self::Polynomial(vec![1.0 + q + c, -q - 3.0 * c, 2.0 * c])
    }

    /// Output in mV/V at `load_g`, for a straight cell of `mv_per_v_per_g`.
    #[inline]
    pub(crate) fn mv_per_v(&self, load_g: f64, max_g: f64, mv_per_v_per_g: f64) -> f64 {
        match self {
            Self::Polynomial(coefficients) => {
                let x = load_g / max_g;
                let y = coefficients.iter().rev().fold(0.0, |sum, c| (sum + c) * x);
                y * max_g * mv_per_v_per_g
            }
            Self::Tabulated(points) => tabulated(points, load_g),
        }
    }
}

/// Straight lines through `points`; 0 when there are fewer than two.
fn tabulated(points: &[(f64, f64)], load_g: f64) -> f64 {
    if points.len() < 2 {
        return points.first().map_or(0.0, |p| p.1);
    }
    let right = points
        .partition_point(|p| p.0 <= load_g)
        .clamp(1, points.len() - 1);
    let ((x0, y0), (x1, y1)) = (points[right - 1], points[right]);
    if load_g == x1 {
        // The last point lies at the right end of its segment, where the
        // straight-line formula may be a rounding off.
        y1
    } else {
        y0 + (load_g - x0) / (x1 - x0) * (y1 - y0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bent_curve_departs_by_its_amplitude_and_meets_the_line_at_both_ends() {
        for (quadratic, cubic) in [(1.0, 0.0), (0.0, 1.0), (0.7, -0.6), (-0.4, 0.9)] {
            let curve = Curve::bent(0.003, quadratic, cubic);
            let at = |x: f64| curve.mv_per_v(x, 1.0, 1.0);
            let peak = (0..=10_000)
                .map(|i| f64::from(i) / 10_000.0)
                .map(|x| (at(x) - x).abs())
                .fold(0.0, f64::max);
            assert!((peak - 0.003).abs() < 1e-8, "{peak}");
            assert!(at(0.0).abs() < 1e-15 && (at(1.0) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_table_is_met_exactly_and_goes_on_past_its_ends() {
        let points = vec![(0.0, 0.1), (0.3, 0.7), (0.9, 1.1)];
        for (load, output) in &points {
            assert_eq!(tabulated(&points, *load), *output);
        }
        assert!((tabulated(&points, 1.5) - 1.5).abs() < 1e-12);
        assert!((tabulated(&points, -0.1) - (-0.1)).abs() < 1e-12);
        assert_eq!(tabulated(&[], 1.0), 0.0);
    }
}
