//! Reads WIRE.md as a reader without Rust would: its tables become a schema, and
//! the schema decodes payloads. Nothing here uses the crate's own types.

use std::collections::BTreeMap;

/// What a section of the document defines.
#[derive(Clone, Debug)]
pub enum Definition {
    /// Fields in order: name and type.
    Record(Vec<(String, String)>),
    /// Variants by tag: name and content.
    Choice(Vec<(String, String)>),
    /// Bits from 0: their names, and whether they are a u8 on the line, not a u16.
    Bits(Vec<String>, bool),
}

/// All definitions by name.
pub struct Document {
    definitions: BTreeMap<String, Definition>,
    limits: BTreeMap<String, i64>,
}

impl Document {
    /// The schema in `text`. Fails the test when a table is not understood.
    pub fn read(text: &str) -> Self {
        let mut definitions = BTreeMap::new();
        let mut limits = BTreeMap::new();
        for section in text.split("\n## ").flat_map(|part| part.split("\n### ")) {
            let heading = section.lines().next().unwrap_or_default().trim();
            let rows: Vec<Vec<String>> = section
                .lines()
                .filter(|line| line.starts_with('|') && !line.starts_with("|--"))
                .map(|line| line.split('|').skip(1).map(|c| c.trim().into()).collect())
                .collect();
            let Some((head, body)) = rows.split_first() else {
                continue;
            };
            let pair = |row: &Vec<String>, at: usize| (row[at].clone(), row[at + 1].clone());
            let definition = match (head[0].as_str(), head[1].as_str()) {
                ("field", "type") => Definition::Record(body.iter().map(|r| pair(r, 0)).collect()),
                ("tag", "variant") => {
                    numbered(heading, body);
                    Definition::Choice(body.iter().map(|r| pair(r, 1)).collect())
                }
                ("bit", "name") => {
                    numbered(heading, body);
                    let names = body.iter().map(|r| r[1].clone()).collect();
                    Definition::Bits(names, section.contains("One u8"))
                }
                ("name", "value") => {
                    let limit = |r: &Vec<String>| (r[0].clone(), r[1].parse().expect("a number"));
                    limits.extend(body.iter().map(limit));
                    continue;
                }
                _ => continue,
            };
            let before = definitions.insert(heading.to_string(), definition);
            assert!(before.is_none(), "{heading} is defined twice");
        }
        Self {
            definitions,
            limits,
        }
    }

    /// The number in the table of limits.
    pub fn limit(&self, name: &str) -> i64 {
        self.limits[name]
    }

    /// The names of the bits of `name`.
    pub fn bits(&self, name: &str) -> &[String] {
        match &self.definitions[name] {
            Definition::Bits(bits, _) => bits,
            other => panic!("{name} is {other:?}"),
        }
    }

    /// All `Type::Variant` the document knows.
    pub fn variants(&self) -> Vec<String> {
        let of = |(name, definition): (&String, &Definition)| match definition {
            Definition::Choice(variants) => variants
                .iter()
                .map(|(v, _)| format!("{name}::{v}"))
                .collect(),
            _ => Vec::new(),
        };
        self.definitions.iter().flat_map(of).collect()
    }

    /// `payload` as a `kind`, printed the way Rust prints values. Fails the test
    /// when bytes are missing or left over.
    pub fn print(&self, kind: &str, payload: &[u8]) -> String {
        let mut bytes = Bytes { rest: payload };
        let text = self.value(kind, &mut bytes);
        assert!(bytes.rest.is_empty(), "{text}, then {:02x?}", bytes.rest);
        text
    }

    fn value(&self, kind: &str, bytes: &mut Bytes<'_>) -> String {
        if let Some(item) = kind.strip_prefix("list of ") {
            let count = bytes.varint(5);
            let items: Vec<String> = (0..count).map(|_| self.value(item, bytes)).collect();
            return format!("[{}]", items.join(", "));
        }
        if let Some(item) = kind.strip_suffix(" or nothing") {
            return match bytes.byte() {
                0 => "None".to_string(),
                1 => format!("Some({})", self.value(item, bytes)),
                other => panic!("{other} before an optional {item}"),
            };
        }
        if let Some(inner) = kind.strip_prefix('(') {
            let parts = inner.trim_end_matches(')').split(", ");
            let parts: Vec<String> = parts.map(|part| self.value(part, bytes)).collect();
            return format!("({})", parts.join(", "));
        }
        match kind {
            "u8" => bytes.byte().to_string(),
            "bool" => ["false", "true"][usize::from(bytes.byte())].to_string(),
            "u16" => bytes.varint(3).to_string(),
            "u32" => bytes.varint(5).to_string(),
            "i32" => {
                let zigzag = i64::try_from(bytes.varint(5)).expect("five bytes");
                (if zigzag % 2 == 0 {
                    zigzag / 2
                } else {
                    -(zigzag / 2) - 1
                })
                .to_string()
            }
            "text" => {
                let length = bytes.varint(5);
                let text: Vec<u8> = (0..length).map(|_| bytes.byte()).collect();
                format!("{:?}", String::from_utf8(text).expect("UTF-8"))
            }
            name => self.defined(name, bytes),
        }
    }

    fn defined(&self, name: &str, bytes: &mut Bytes<'_>) -> String {
        let definition = self.definitions.get(name);
        match definition.unwrap_or_else(|| panic!("{name} is not defined")) {
            Definition::Record(fields) => format!("{name} {}", self.fields(fields, bytes)),
            Definition::Bits(_, true) => format!("{name}({})", bytes.byte()),
            Definition::Bits(_, false) => format!("{name}({})", bytes.varint(3)),
            Definition::Choice(variants) => {
                let tag = usize::try_from(bytes.varint(5)).expect("small");
                let (variant, content) = &variants[tag];
                if content == "—" {
                    variant.clone()
                } else if content.contains(": ") {
                    let fields: Vec<(String, String)> = content
                        .split(", ")
                        .map(|field| field.split_once(": ").expect("name: type"))
                        .map(|(name, kind)| (name.to_string(), kind.to_string()))
                        .collect();
                    format!("{variant} {}", self.fields(&fields, bytes))
                } else {
                    format!("{variant}({})", self.value(content, bytes))
                }
            }
        }
    }

    fn fields(&self, fields: &[(String, String)], bytes: &mut Bytes<'_>) -> String {
        let one = |(name, kind): &(String, String)| format!("{name}: {}", self.value(kind, bytes));
        let all: Vec<String> = fields.iter().map(one).collect();
        format!("{{ {} }}", all.join(", "))
    }
}

/// Tags and bits count from 0 without a gap.
fn numbered(heading: &str, body: &[Vec<String>]) {
    for (at, row) in body.iter().enumerate() {
        assert_eq!(row[0], at.to_string(), "{heading}");
    }
}

struct Bytes<'a> {
    rest: &'a [u8],
}

impl Bytes<'_> {
    fn byte(&mut self) -> u8 {
        let (byte, rest) = self.rest.split_first().expect("a byte more");
        self.rest = rest;
        *byte
    }

    fn varint(&mut self, most: u32) -> u64 {
        let mut value = 0u64;
        for at in 0..most {
            let byte = self.byte();
            value |= u64::from(byte & 0x7F) << (7 * at);
            if byte < 0x80 {
                return value;
            }
        }
        panic!("a number longer than {most} bytes");
    }
}
