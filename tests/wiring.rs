//! The wiring tables of `firmware/README.md`, the drawings in `firmware/wiring`
//! and the pins of the board crates name the same pins.
//!
//! A drawing is followed as an eye would: from pad to pad along its lines, where
//! lines meet only in a joint. What is joined there must be what the tables
//! join, no more and no less.

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use roxmltree::{Document, Node};
use support::root;

/// One end of a wire: the part and its pad, as written on paper.
type End = (String, String);
/// Pads that are one electrically.
type Nets = BTreeSet<BTreeSet<End>>;

/// What each pin of a board is for.
const PIN_USES: [&str; 12] = [
    "ADC data",
    "ADC clock",
    "ADC rate",
    "key ZERO",
    "key TARE",
    "key VIEW",
    "display SDA",
    "display SCL",
    "UART TX",
    "UART RX",
    "status LED",
    "WORK",
];

/// A row of a wiring table.
#[derive(Debug)]
struct Row {
    from: End,
    wire: String,
    to: Vec<End>,
}

fn end(text: &str) -> End {
    match text.split_once(',') {
        Some((part, pad)) => (part.trim().into(), pad.trim().into()),
        None => (text.trim().into(), String::new()),
    }
}

/// The wiring rows below the picture of one drawing, up to the next section.
fn rows(readme: &str, drawing: &str) -> Vec<Row> {
    let (_, below) = readme
        .split_once(&format!("](wiring/{drawing}.svg)"))
        .unwrap_or_else(|| panic!("{drawing}.svg is not shown in the README"));
    let section = below.split("\n## ").next().unwrap_or_default();
    let mut rows = Vec::new();
    let mut part = None;
    for line in section.lines() {
        let cells: Vec<&str> = line.trim().split('|').map(str::trim).collect();
        let [_, from, wire, to, _note, _] = cells[..] else {
            part = None;
            continue;
        };
        if wire == "Wire" {
            part = Some(from.to_string());
        } else if !wire.starts_with("---")
            && let Some(part) = &part
        {
            rows.push(Row {
                from: match part.as_str() {
                    "From" => end(from),
                    part => (part.into(), from.into()),
                },
                wire: wire.into(),
                to: to.split(';').map(end).collect(),
            });
        }
    }
    assert!(!rows.is_empty(), "no wiring table below {drawing}.svg");
    rows
}

/// Joins groups of things that share a member.
fn merged<T: Ord + Clone>(groups: impl IntoIterator<Item = BTreeSet<T>>) -> Vec<BTreeSet<T>> {
    let mut nets: Vec<BTreeSet<T>> = Vec::new();
    for mut group in groups {
        nets.retain(|net| {
            let apart = net.is_disjoint(&group);
            if !apart {
                group.extend(net.iter().cloned());
            }
            apart
        });
        nets.push(group);
    }
    nets
}

/// A place in a drawing, tenths of a unit.
type Place = (i32, i32);

fn tenths(text: &str) -> i32 {
    let value: f64 = text.parse().unwrap_or_else(|_| panic!("no number: {text}"));
    (value * 10.0).round() as i32
}

/// The corners of a path made of M, L, H and V.
fn corners(path: &str) -> Vec<Place> {
    let mut corners: Vec<Place> = Vec::new();
    let mut step = ' ';
    let mut words = path.split_whitespace();
    while let Some(word) = words.next() {
        let letter = word.chars().next().unwrap_or(' ');
        let number = word.trim_start_matches(|c: char| c.is_ascii_alphabetic());
        if letter.is_ascii_alphabetic() {
            step = letter;
        }
        let (x, y) = corners.last().copied().unwrap_or_default();
        let mut second = || tenths(words.next().expect("a second number"));
        corners.push(match step {
            'M' if corners.is_empty() => (tenths(number), second()),
            'L' => (tenths(number), second()),
            'H' => (tenths(number), y),
            'V' => (x, tenths(number)),
            _ => panic!("a wire is one line of M, L, H, V: {path}"),
        });
    }
    corners
}

/// Whether `at` lies on the line through `corners`.
fn touches(corners: &[Place], at: Place) -> bool {
    corners.windows(2).any(|ends| {
        let [(ax, ay), (bx, by)] = [ends[0], ends[1]];
        let across = (bx - ax) * (at.1 - ay) - (by - ay) * (at.0 - ax);
        across == 0
            && (ax.min(bx)..=ax.max(bx)).contains(&at.0)
            && (ay.min(by)..=ay.max(by)).contains(&at.1)
    })
}

/// What stands written in the `text` elements right below `node`.
fn words(node: Node) -> String {
    node.children()
        .filter(|one| one.has_tag_name("text"))
        .flat_map(|one| one.descendants())
        .filter(|one| one.is_text())
        .filter_map(|one| one.text())
        .collect::<String>()
        .trim()
        .into()
}

fn has_class(node: Node, class: &str) -> bool {
    node.attribute("class")
        .is_some_and(|all| all.split(' ').any(|one| one == class))
}

fn centre(circle: Node) -> Place {
    let of = |name| tenths(circle.attribute(name).expect("a circle has a centre"));
    (of("cx"), of("cy"))
}

/// What a drawing joins, and the names written at its wires by net.
struct Drawing {
    nets: Nets,
    names: BTreeMap<End, BTreeSet<String>>,
}

fn drawing(name: &str) -> Drawing {
    let file = root().join(format!("firmware/wiring/{name}.svg"));
    let text = fs::read_to_string(&file).expect("the drawing");
    let document = Document::parse(&text).expect("well-formed SVG");
    let all = || document.descendants();
    let mut pads: BTreeMap<Place, End> = BTreeMap::new();
    for part in all().filter(|one| has_class(*one, "part")) {
        let title = part
            .children()
            .find(|one| one.has_tag_name("text") && has_class(*one, "title"))
            .and_then(|one| one.text())
            .expect("a part has a title");
        for pad in part.children().filter(|one| has_class(*one, "pad")) {
            let circle = pad.children().find(|one| one.has_tag_name("circle"));
            let at = centre(circle.expect("a pad has a circle"));
            let before = pads.insert(at, (title.into(), words(pad)));
            assert!(before.is_none(), "two pads at {at:?} in {name}");
        }
    }
    let joints: Vec<Place> = all()
        .filter(|one| has_class(*one, "joint"))
        .map(centre)
        .collect();
    let wires: Vec<(Vec<Place>, String)> = all()
        .filter(|one| has_class(*one, "wire"))
        .map(|wire| {
            let path = wire.children().find(|one| one.has_tag_name("path"));
            let line = path.and_then(|one| one.attribute("d")).expect("a path");
            (corners(line), words(wire))
        })
        .collect();
    for (line, label) in &wires {
        for at in [line.first(), line.last()].into_iter().flatten() {
            assert!(
                pads.contains_key(at) || joints.contains(at),
                "{name}: wire {label:?} ends in the air at {at:?}"
            );
        }
        for at in pads.keys() {
            let crossed = touches(line, *at) && Some(at) != line.first() && Some(at) != line.last();
            assert!(
                !crossed,
                "{name}: wire {label:?} runs over the pad at {at:?}"
            );
        }
    }
    for at in &joints {
        let meeting = wires.iter().filter(|(line, _)| touches(line, *at)).count();
        assert!(meeting > 1, "{name}: nothing is joined at {at:?}");
    }
    // Places that are one: a wire's ends and the joints on it.
    let places = merged(wires.iter().map(|(line, _)| {
        let ends = [line.first(), line.last()].into_iter().flatten();
        let on_it = joints.iter().filter(|at| touches(line, **at));
        ends.chain(on_it).copied().collect()
    }));
    let ends = |net: &BTreeSet<Place>| -> BTreeSet<End> {
        net.iter().filter_map(|at| pads.get(at).cloned()).collect()
    };
    let used: BTreeSet<Place> = places.iter().flatten().copied().collect();
    for (at, pad) in &pads {
        assert!(used.contains(at), "{name}: no wire at {pad:?}");
    }
    let mut names: BTreeMap<End, BTreeSet<String>> = BTreeMap::new();
    for net in &places {
        for (line, label) in wires.iter().filter(|(_, label)| !label.is_empty()) {
            if line.first().is_some_and(|at| net.contains(at)) {
                for pad in ends(net) {
                    names.entry(pad).or_default().insert(label.clone());
                }
            }
        }
    }
    Drawing {
        nets: merged(places.iter().map(ends)).into_iter().collect(),
        names,
    }
}

fn readme() -> String {
    fs::read_to_string(root().join("firmware/README.md")).expect("firmware/README.md")
}

#[test]
fn the_drawings_join_what_the_tables_join() {
    for name in ["rp2040", "atmega328p", "four-cells"] {
        let rows = rows(&readme(), name);
        let drawn = drawing(name);
        let told: Nets = merged(
            rows.iter()
                .map(|row| row.to.iter().chain([&row.from]).cloned().collect()),
        )
        .into_iter()
        .collect();
        let only_told: Vec<_> = told.difference(&drawn.nets).collect();
        let only_drawn: Vec<_> = drawn.nets.difference(&told).collect();
        assert!(
            only_told.is_empty() && only_drawn.is_empty(),
            "{name}\n  in the tables only: {only_told:#?}\n  in the drawing only: {only_drawn:#?}"
        );
        let mut told_names = BTreeSet::new();
        for row in &rows {
            for pad in row.to.iter().chain([&row.from]) {
                assert!(
                    drawn.names[pad].contains(&row.wire),
                    "{name}: the wire at {pad:?} is called {:?}, not {:?}",
                    drawn.names[pad],
                    row.wire
                );
            }
            told_names.insert(row.wire.clone());
        }
        let drawn_names: BTreeSet<String> = drawn.names.into_values().flatten().collect();
        assert_eq!(told_names, drawn_names, "names of wires in {name}");
    }
}

#[test]
fn the_boards_use_the_pins_of_the_tables() {
    for (board, chip) in [("rp2040", "RP2040"), ("atmega328p", "ATmega328P")] {
        let told: BTreeMap<String, String> = rows(&readme(), board)
            .into_iter()
            .filter(|row| row.from.0 == chip && PIN_USES.contains(&row.wire.as_str()))
            .map(|row| (row.wire, row.from.1))
            .collect();
        assert_eq!(told.len(), PIN_USES.len(), "pins in the table of {chip}");
        let place = format!("firmware/{board}/src/pins.rs");
        let source = fs::read_to_string(root().join(&place))
            .unwrap_or_else(|error| panic!("{place}: {error}"));
        let mut used: BTreeMap<String, String> = BTreeMap::new();
        for line in source.lines() {
            if let Some((_, pin)) = line.split_once("// pin: ") {
                let (pin, purpose) = pin.trim().split_once(' ').expect("pin and purpose");
                let before = used.insert(purpose.trim().into(), pin.into());
                assert!(before.is_none(), "{place} names {purpose} twice");
            }
        }
        assert_eq!(used, told, "{place} against the table of {chip}");
    }
}
