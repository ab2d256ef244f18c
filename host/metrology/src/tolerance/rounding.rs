//! The error of a digital indication before rounding (OIML R 76-1:2006, A.4.4.3).

/// A weighing result freed of its rounding; all in the unit of the indication.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeforeRounding {
    /// Indication before rounding, P.
    pub p: f64,
    /// Error before rounding, E.
    pub e: f64,
    /// Error corrected for the error at zero, Ec.
    pub ec: f64,
}

/// The indication and errors before rounding, in the unit of the arguments.
///
/// `added` is the sum of small weights put on until the indication steps up
/// to the next interval, `zero_error` the error found the same way at or near
/// zero.
///
/// ```text
/// P = I + e/2 - dL,  E = P - L,  Ec = E - E0      (R 76-1, A.4.4.3; where d < e, pass d as interval)
/// ```
///
/// ```
/// use scalewright_metrology::tolerance::before_rounding;
/// let r = before_rounding(1000.0, 5.0, 1.5, 1000.0, 0.5);
/// assert_eq!((r.p, r.e, r.ec), (1001.0, 1.0, 0.5));
/// ```
pub fn before_rounding(
    indication: f64,
    interval: f64,
    added: f64,
    load: f64,
    zero_error: f64,
) -> BeforeRounding {
    let p = indication + interval / 2.0 - added;
    let e = p - load;
    BeforeRounding {
        p,
        e,
        ec: e - zero_error,
    }
}
