//! The loads of a session in order, and which of them are left.

use std::collections::VecDeque;

use crate::session::event::{Capture, Part};
use crate::session::plan::{Load, Plan};

/// One load to wait for.
#[derive(Clone, Debug)]
pub(super) struct Step {
    pub(super) part: Part,
    pub(super) load: Load,
    pub(super) number: usize,
    pub(super) of: usize,
}

/// The steps that are left after `done`.
pub(super) fn steps(plan: &Plan, done: &[Capture], noise: bool) -> VecDeque<Step> {
    let mut all = Vec::new();
    let mut part = |part: Part, loads: &[Load]| {
        for (index, load) in loads.iter().enumerate() {
            all.push(Step {
                part,
                load: load.clone(),
                number: index + 1,
                of: loads.len(),
            });
        }
    };
    let empty = [Load::empty()];
    if plan.course.is_empty() {
        part(Part::Zero, &empty);
        part(Part::Rising, &plan.fit);
        if plan.both_ways {
            let falling: Vec<Load> = plan.fit.iter().rev().skip(1).cloned().collect();
            part(Part::Falling, &falling);
        }
        part(Part::ZeroReturn, &empty);
    } else {
        for (kind, loads) in stretches(&plan.course) {
            part(kind, loads);
        }
    }
    if !plan.verify.is_empty() {
        part(Part::VerificationZero, &empty);
        let proof: Vec<Load> = plan.proof().cloned().collect();
        part(Part::Verification, &proof);
    }
    // Captures were made in the order of the steps; zeros of a resumption are
    // extra.
    let mut remaining: VecDeque<Step> = all.into();
    let mut first_zero_seen = false;
    for capture in done {
        // Repetitions of what was in doubt are extra as well.
        if capture.part == Part::Again || capture.part == Part::Zero && first_zero_seen {
            continue;
        }
        first_zero_seen |= capture.part == Part::Zero;
        if remaining
            .front()
            .is_some_and(|step| step.part == capture.part)
        {
            remaining.pop_front();
        }
    }
    // A resumption takes zero first, unless zero is what comes anyway.
    let zero_comes = remaining.front().is_none_or(|step| step.load.mass_g == 0.0);
    if !done.is_empty() && !zero_comes {
        // Within the verification, it is the device that must be set to zero.
        let verifying = remaining
            .front()
            .is_some_and(|step| step.part == Part::Verification);
        remaining.push_front(Step {
            part: if verifying {
                Part::VerificationZero
            } else {
                Part::Zero
            },
            load: Load::empty(),
            number: 1,
            of: 1,
        });
    }
    if noise {
        remaining.push_front(Step {
            part: Part::NoiseCheck,
            load: Load::empty(),
            number: 1,
            of: 1,
        });
    }
    remaining
}

/// A course cut into stretches that go the same way. Only the first zero is
/// [`Part::Zero`]: a resumption's extra zeros are told from the planned by that.
fn stretches(course: &[Load]) -> Vec<(Part, &[Load])> {
    let kind = |index: usize| {
        let mass_g = |at: usize| course.get(at).map_or(0.0, |load| load.mass_g);
        let before = index.checked_sub(1).map_or(0.0, mass_g);
        match mass_g(index) {
            0.0 if index == 0 => Part::Zero,
            0.0 => Part::ZeroReturn,
            // Alone between two zeros.
            _ if index == 1 && mass_g(2) == 0.0 => Part::Preload,
            mass_g if mass_g < before => Part::Falling,
            _ => Part::Rising,
        }
    };
    let mut out = Vec::new();
    let mut from = 0;
    for index in 1..=course.len() {
        if index == course.len() || kind(index) != kind(from) {
            out.extend(course.get(from..index).map(|loads| (kind(from), loads)));
            from = index;
        }
    }
    out
}
