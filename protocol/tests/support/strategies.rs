//! Random messages, lines and tables for the property tests.

use heapless::String as Text;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use scalewright_protocol::message::*;
use scalewright_protocol::settings::{Class, Conduct, Input, Settings, SettingsFault};
use scalewright_protocol::table::{Knot, MASS_LIMIT, NET_COUNTS_LIMIT, TableFault, check};

use super::Message;

/// Any message of either direction.
pub fn message() -> impl Strategy<Value = Message> {
    prop_oneof![
        (any::<u16>(), ask()).prop_map(|(id, ask)| Message::Request(Request { id, ask })),
        report().prop_map(Message::Report),
    ]
}

fn knot() -> impl Strategy<Value = Knot> {
    any::<(i32, i32)>().prop_map(|(counts, mass)| Knot { counts, mass })
}

fn knots() -> impl Strategy<Value = heapless::Vec<Knot, KNOTS_PER_MESSAGE>> {
    vec(knot(), 0..=KNOTS_PER_MESSAGE)
        .prop_map(|list| heapless::Vec::from_slice(&list).expect("it fits"))
}

fn settings() -> impl Strategy<Value = Settings> {
    let class = prop::sample::select(vec![Class::I, Class::II, Class::III, Class::IIII]);
    let input = prop::sample::select(vec![Input::A128, Input::B32, Input::A64]);
    let numbers = any::<(u32, i32, i32, i32, u16, u8, u8, u16, u16, u8)>();
    (numbers, class, input).prop_map(|(n, class, input)| Settings {
        quantum_ug: n.0,
        max: n.1,
        e: n.2,
        d: n.3,
        class,
        rate_sps: n.4,
        input,
        smoothing: n.5,
        rest_tenths_d: n.6,
        rest_ms: n.7,
        loop_gain: n.8,
        conduct: Conduct(n.9),
    })
}

fn ask() -> impl Strategy<Value = Ask> {
    let stage = (settings(), any::<(i32, u8, u32)>()).prop_map(|(settings, n)| Stage {
        settings,
        zero_counts: n.0,
        knots: n.1,
        checksum: n.2,
    });
    let order = any::<(u16, u32, u32)>().prop_map(|n| CaptureOrder {
        samples: n.0,
        rest_counts: n.1,
        patience_ms: n.2,
    });
    prop_oneof![
        any::<u16>().prop_map(|wire_version| Ask::Hello { wire_version }),
        any::<u16>().prop_map(|up_to_ms| Ask::Wait { up_to_ms }),
        any::<u8>().prop_map(|every| Ask::Stream { every }),
        any::<u8>().prop_map(|from| Ask::Knots { from }),
        settings().prop_map(Ask::SetSettings),
        stage.prop_map(Ask::StageBegin),
        (any::<u8>(), knots()).prop_map(|(from, knots)| Ask::StageKnots { from, knots }),
        order.prop_map(Ask::Capture),
        (any::<u32>(), note()).prop_map(|(when_s, text)| Ask::Note { when_s, text }),
        any::<u8>().prop_map(|back| Ask::Event { back }),
        any::<u16>().prop_map(|for_s| Ask::HoldZero { for_s }),
        prop::sample::select(vec![
            Ask::State,
            Ask::Settings,
            Ask::Table,
            Ask::StageCommit,
            Ask::StageAbort,
            Ask::RollBack,
            Ask::SetZero,
            Ask::Tare,
            Ask::ClearTare,
            Ask::CaptureCancel,
            Ask::StageTry,
        ]),
    ]
}

fn report() -> impl Strategy<Value = Report> {
    prop_oneof![
        (any::<u16>(), answer()).prop_map(|(id, answer)| Report::Answer { id, answer }),
        (any::<u16>(), refusal()).prop_map(|(id, refusal)| Report::Refusal { id, refusal }),
        sample().prop_map(Report::Sample),
        prop::collection::vec(any::<u8>(), 0..=LOG_BYTES).prop_map(|bytes| Report::Log {
            bytes: heapless::Vec::from_slice(&bytes).expect("within the bound"),
        }),
    ]
}

fn sample() -> impl Strategy<Value = Sample> {
    any::<(u32, u32, i32, i32, Option<i32>, u16)>().prop_map(|n| Sample {
        sequence: n.0,
        at_ms: n.1,
        raw_counts: n.2,
        smooth_q8: n.3,
        mass: n.4,
        flags: Flags(n.5),
    })
}

fn answer() -> impl Strategy<Value = Answer> {
    let header = any::<(u32, u8, u32, i32, bool)>().prop_map(|n| TableHeader {
        sequence: n.0,
        knots: n.1,
        checksum: n.2,
        zero_counts: n.3,
        previous: n.4,
    });
    prop_oneof![
        Just(Answer::Done),
        hello().prop_map(Answer::Hello),
        state().prop_map(Answer::State),
        settings().prop_map(Answer::Settings),
        header.prop_map(Answer::Table),
        (any::<u8>(), knots()).prop_map(|(from, knots)| Answer::Knots { from, knots }),
        any::<u32>().prop_map(|sequence| Answer::Stored { sequence }),
        any::<i32>().prop_map(|zero_counts| Answer::Zeroed { zero_counts }),
        option::of(event()).prop_map(Answer::Event),
    ]
}

fn event() -> impl Strategy<Value = Event> {
    let kind = prop::sample::select(vec![
        EventKind::Table,
        EventKind::Settings,
        EventKind::RolledBack,
        EventKind::MadeHere,
    ]);
    (any::<(u32, u32, u32)>(), kind, note()).prop_map(|(n, kind, text)| Event {
        counter: n.0,
        kind,
        checksum: n.1,
        when_s: n.2,
        text,
    })
}

/// A text of any letters, cut to what fits.
fn note() -> impl Strategy<Value = Text<NOTE_BYTES>> {
    "\\PC{0,32}".prop_map(|long| fitting(&long))
}

fn fitting<const N: usize>(long: &str) -> Text<N> {
    let mut text = Text::new();
    for letter in long.chars() {
        // A letter may take more than one byte.
        if text.push(letter).is_err() {
            break;
        }
    }
    text
}

fn hello() -> impl Strategy<Value = Hello> {
    let numbers = any::<(u16, (u8, u8, u8), u32, u8, u16, u16)>();
    (numbers, "\\PC{0,16}", vec(any::<u16>(), 0..=5)).prop_map(|(n, board, rates)| Hello {
        wire_version: n.0,
        firmware: n.1,
        device_id: n.2,
        board: fitting(&board),
        max_knots: n.3,
        rates_sps: heapless::Vec::from_slice(&rates).expect("it fits"),
        slot_bytes: n.4,
        max_payload: n.5,
    })
}

fn state() -> impl Strategy<Value = State> {
    let numbers = any::<(u32, u32, i32, u32, i32, u16, i32)>();
    let masses = (option::of(any::<i32>()), option::of(any::<i32>()));
    (numbers, masses, capture()).prop_map(|(n, (mass, indication), capture)| State {
        at_ms: n.0,
        sequence: n.1,
        smooth_q8: n.2,
        spread_q8: n.3,
        zero_counts: n.4,
        mass,
        indication,
        flags: Flags(n.5),
        capture,
        correction: n.6,
    })
}

fn capture() -> impl Strategy<Value = CaptureState> {
    let captured = any::<(i32, u32, u16, u32, u32, u8, bool)>().prop_map(|n| Captured {
        mean_q8: n.0,
        sd_q8: n.1,
        samples: n.2,
        began_ms: n.3,
        ended_ms: n.4,
        restarts: n.5,
        saturated: n.6,
    });
    let fault = prop::sample::select(vec![
        CaptureFault::Restless,
        CaptureFault::NoSamples,
        CaptureFault::Cancelled,
    ]);
    prop_oneof![
        Just(CaptureState::Idle),
        Just(CaptureState::Settling),
        any::<(u16, u16)>().prop_map(|(done, of)| CaptureState::Averaging { done, of }),
        captured.prop_map(CaptureState::Captured),
        fault.prop_map(CaptureState::Failed),
    ]
}

fn refusal() -> impl Strategy<Value = Refusal> {
    let table = any::<(u8, u8)>().prop_flat_map(|(at, fit)| {
        prop::sample::select(vec![
            TableFault::TooFew { knots: at },
            TableFault::TooMany { knots: at, fit },
            TableFault::CountsOrder { at },
            TableFault::MassOrder { at },
            TableFault::CountsRange { at },
            TableFault::MassRange { at },
            TableFault::NoZero,
            TableFault::Slope { at },
        ])
    });
    let settings = prop::sample::select(vec![
        SettingsFault::Quantum,
        SettingsFault::ScaleInterval,
        SettingsFault::Capacity,
        SettingsFault::Rate,
        SettingsFault::Smoothing,
        SettingsFault::Rest,
        SettingsFault::Conduct,
    ]);
    prop_oneof![
        any::<u8>().prop_map(|field| Refusal::Range { field }),
        any::<u8>().prop_map(|expected| Refusal::StageOrder { expected }),
        any::<u8>().prop_map(|received| Refusal::StageIncomplete { received }),
        table.prop_map(Refusal::Table),
        settings.prop_map(Refusal::Settings),
        prop::sample::select(vec![
            Refusal::Unknown,
            Refusal::NotStaging,
            Refusal::StageChecksum,
            Refusal::QuantumInUse,
            Refusal::NothingToRollBack,
            Refusal::NotAtRest,
            Refusal::ZeroRange,
            Refusal::NotCalibrated,
            Refusal::AdcFault,
            Refusal::Storage,
            Refusal::TareRange,
            Refusal::Sealed,
            Refusal::Busy,
        ]),
    ]
}

/// Knots that make a table: rising steps with steepness near that of the whole,
/// from a table a few counts wide to the limits of the type, with (0, 0) anywhere
/// in it.
pub fn sound_knots(most: usize) -> impl Strategy<Value = Vec<Knot>> {
    let most_run = (4u32..=19).prop_map(|bits| 1i64 << bits);
    let steps = most_run.prop_flat_map(move |run| vec((1..=run, 80i64..=120), 1..most));
    let knots = (steps, 1i64..=2_000, any::<prop::sample::Index>());
    let knots = knots.prop_map(|(steps, scale, zero)| {
        let mut knots = vec![(0i64, 0i64)];
        for (run, percent) in &steps {
            let (counts, mass) = knots[knots.len() - 1];
            // 0.008 to 24 quanta a count, as far as the mass fits.
            let rise = (run * percent * scale / 10_000).clamp(1, i64::from(MASS_LIMIT) / 32);
            knots.push((counts + run, mass + rise));
        }
        let (c0, m0) = knots[zero.index(knots.len())];
        let narrow = |wide: i64| i32::try_from(wide).expect("32 steps stay inside");
        let shifted = knots.iter().map(|(c, m)| Knot {
            counts: narrow(c - c0),
            mass: narrow(m - m0),
        });
        shifted.collect()
    });
    knots.prop_filter("rounding bent a small segment", |k: &Vec<Knot>| {
        check(k, 32).is_ok()
    })
}

/// Knots of any kind, from hopeless to nearly sound.
pub fn wild_knots() -> impl Strategy<Value = Vec<Knot>> {
    let number = || {
        prop_oneof![
            Just(0),
            -3i32..=3,
            -NET_COUNTS_LIMIT - 2..=NET_COUNTS_LIMIT + 2,
            any::<i32>(),
        ]
    };
    let any_knot = (number(), number()).prop_map(|(counts, mass)| Knot { counts, mass });
    let sorted = vec((number(), number()), 0..40).prop_map(|pairs| {
        let (mut counts, mut mass): (Vec<i32>, Vec<i32>) = pairs.into_iter().unzip();
        counts.sort_unstable();
        mass.sort_unstable();
        let both = counts.into_iter().zip(mass);
        both.map(|(counts, mass)| Knot { counts, mass }).collect()
    });
    prop_oneof![vec(any_knot, 0..40), sorted]
}
