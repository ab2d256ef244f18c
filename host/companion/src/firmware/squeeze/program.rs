//! An AVR program as the compiler writes it in assembly: functions, and what
//! stands around them.

use super::effects::{Effects, effects};

/// A line inside a function.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// A place to jump to.
    Label(String),
    /// An instruction.
    Code(Instruction),
}

/// One instruction and what it does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instruction {
    /// As it is written, blanks made alike.
    pub text: String,
    /// What it reads, writes and where it leads.
    pub effects: Effects,
}

impl Instruction {
    /// The instruction that is written like this.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let mut words = text.split_whitespace();
        let mut alike = words.next().unwrap_or_default().to_string();
        for (at, word) in words.enumerate() {
            alike.push(if at == 0 { '\t' } else { ' ' });
            alike.push_str(word);
        }
        let effects = effects(&alike);
        Self {
            text: alike,
            effects,
        }
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        self.text.split('\t').next().unwrap_or_default()
    }

    /// Its operands.
    #[must_use]
    pub fn operands(&self) -> Vec<&str> {
        let all = self.text.split_once('\t').map_or("", |(_, all)| all);
        if all.is_empty() {
            return Vec::new();
        }
        all.split(',').map(str::trim).collect()
    }
}

impl Line {
    /// The instruction, if it is one.
    #[must_use]
    pub const fn code(&self) -> Option<&Instruction> {
        match self {
            Self::Code(code) => Some(code),
            Self::Label(_) => None,
        }
    }

    /// A line that holds the instruction written like this.
    #[must_use]
    pub fn new(text: &str) -> Self {
        Self::Code(Instruction::new(text))
    }
}

/// A function in a section of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Function {
    /// Its name.
    pub name: String,
    /// What the section's directive says after `.section`.
    pub section: String,
    /// Labels and instructions, in order.
    pub lines: Vec<Line>,
}

impl Function {
    /// A function of this program's own making.
    #[must_use]
    pub fn made(name: &str, lines: Vec<Line>) -> Self {
        Self {
            name: name.into(),
            section: format!(".text.{name},\"ax\",@progbits"),
            lines,
        }
    }

    /// Whether it serves an interrupt: its timing is left alone.
    #[must_use]
    pub fn is_interrupt(&self) -> bool {
        let mut codes = self.lines.iter().filter_map(Line::code);
        codes.any(|code| code.name() == "reti")
    }
}

/// A whole program.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Program {
    /// Definitions and data, as they were.
    pub rest: String,
    /// Functions, in the order in which they lie in memory.
    pub functions: Vec<Function>,
}

impl Program {
    /// Takes the compiler's text apart. What helps debuggers only is left out,
    /// since it would not be true of the result.
    #[must_use]
    pub fn read(text: &str) -> Self {
        let mut program = Self::default();
        let mut section = Vec::new();
        for line in text.lines() {
            if line.trim_start().starts_with(".section") {
                program.take(&section);
                section.clear();
            }
            section.push(line);
        }
        program.take(&section);
        for function in &mut program.functions {
            drop_unused_labels(function);
        }
        program
    }

    /// Takes in one section: its directive and what follows.
    fn take(&mut self, section: &[&str]) {
        let head = section.first().map_or("", |line| line.trim());
        let named = head.strip_prefix(".section").map(str::trim);
        if named.is_some_and(|name| name.trim_matches('"').starts_with(".debug")) {
            return;
        }
        if let Some(name) = named.filter(|name| name.starts_with(".text."))
            && let Some(function) = function(name, section)
        {
            self.functions.push(function);
            // Said of names, wherever it stands: what starts the chip up is
            // asked for like this, at the end of some section.
            for line in section.iter().filter(|line| is_of_a_name(line)) {
                self.rest.push_str(line);
                self.rest.push('\n');
            }
            return;
        }
        if has_no_code(named, section) {
            return;
        }
        for (at, line) in section.iter().enumerate() {
            match named.filter(|_| at == 0) {
                Some(name) => self.rest.push_str(&format!("\t.section\t{}", plain(name))),
                None if is_for_debuggers(line) => continue,
                None => self.rest.push_str(line),
            }
            self.rest.push('\n');
        }
    }

    /// The program as text for an assembler.
    #[must_use]
    pub fn write(&self) -> String {
        let mut text = self.rest.clone();
        for function in &self.functions {
            let name = &function.name;
            text.push_str(&format!("\n\t.section\t{}\n", function.section));
            text.push_str(&format!(
                "\t.p2align\t1\n\t.type\t{name},@function\n{name}:\n"
            ));
            for line in &function.lines {
                match line {
                    Line::Label(label) => text.push_str(&format!("{label}:\n")),
                    Line::Code(code) => text.push_str(&format!("\t{}\n", code.text)),
                }
            }
            text.push_str(&format!("\t.size\t{name}, .-{name}\n"));
        }
        text
    }
}

fn is_of_a_name(line: &str) -> bool {
    let line = line.trim();
    line.starts_with(".globl") || (line.starts_with(".type") && line.ends_with("@object"))
}

/// A code section the compiler opens a second time only for debuggers' marks.
fn has_no_code(named: Option<&str>, section: &[&str]) -> bool {
    named.is_some_and(|name| name.starts_with(".text") || name.starts_with(".init"))
        && section.iter().skip(1).all(|line| {
            let line = line.trim();
            line.is_empty() || line.starts_with('.')
        })
}

/// A section's name and properties as older GNU assemblers take them: without
/// "retain", and without telling apart sections of one name, which are then kept
/// or dropped together.
fn plain(section: &str) -> String {
    let section = section.split(",unique,").next().unwrap_or_default();
    let mut parts = section.splitn(3, ',');
    let (name, flags) = (parts.next().unwrap_or_default(), parts.next());
    let flags = flags.map(|flags| format!(",{}", flags.replace('R', "")));
    let kind = parts.next().map(|kind| format!(",{kind}"));
    format!(
        "{name}{}{}",
        flags.unwrap_or_default(),
        kind.unwrap_or_default()
    )
}

fn is_for_debuggers(line: &str) -> bool {
    let line = line.trim();
    let marks = [".loc", ".file", ".cfi_", ".ident"];
    marks.iter().any(|mark| line.starts_with(mark))
        || (line.ends_with(':') && line.starts_with(".Lfunc_"))
        || (line.starts_with(".size") && line.contains(".Lfunc_"))
}

/// The function that is all of this section; none where there is anything in it
/// that is neither an instruction nor known to be nothing, or where a jump
/// counts bytes instead of naming a label.
fn function(name: &str, section: &[&str]) -> Option<Function> {
    let mut found: Option<Function> = None;
    for line in section.iter().skip(1) {
        let line = without_remark(line);
        if line.is_empty() || is_for_debuggers(line) {
            continue;
        }
        if let Some(label) = line.strip_suffix(':') {
            match &mut found {
                Some(function) => function.lines.push(Line::Label(label.into())),
                None => {
                    found = Some(Function {
                        name: label.into(),
                        section: name.into(),
                        lines: Vec::new(),
                    });
                }
            }
        } else if line.starts_with('.') {
            let directive = line.split_whitespace().next().unwrap_or_default();
            match directive {
                ".globl" | ".p2align" | ".type" | ".size" => {}
                _ => return None,
            }
        } else {
            let counts = |word: &str| word.starts_with(".+") || word.starts_with(".-");
            if line.split(['\t', ' ', ',']).any(counts) {
                return None;
            }
            found.as_mut()?.lines.push(Line::new(line));
        }
    }
    found.filter(|function| !function.lines.is_empty())
}

/// The line without what follows a semicolon, and without blanks around it.
fn without_remark(line: &str) -> &str {
    line.split(';').next().unwrap_or_default().trim()
}

/// Labels that only debuggers used would stand in the way as places one could
/// jump to.
fn drop_unused_labels(function: &mut Function) {
    let codes = function.lines.iter().filter_map(Line::code);
    let texts: Vec<String> = codes.map(|code| code.text.clone()).collect();
    let is_used = |label: &str| {
        texts
            .iter()
            .any(|text| text.split(['\t', ' ', ',', '(', ')']).any(|w| w == label))
    };
    function.lines.retain(|line| match line {
        Line::Label(label) => is_used(label),
        Line::Code(_) => true,
    });
}

#[cfg(test)]
impl Function {
    /// A function written down for a test: a line that ends with a colon is a
    /// label.
    pub fn written(name: &str, lines: &[&str]) -> Self {
        let lines = lines.iter().map(|text| match text.strip_suffix(':') {
            Some(label) => Line::Label(label.into()),
            None => Line::new(text),
        });
        Self::made(name, lines.collect())
    }

    /// Bytes of its code, each branch at its longest.
    #[must_use]
    pub fn bytes(&self) -> usize {
        let codes = self.lines.iter().filter_map(Line::code);
        codes.map(|code| usize::from(code.effects.bytes)).sum()
    }

    /// Its lines, written down like that, with one blank after the name.
    pub fn texts(&self) -> Vec<String> {
        let text = |line: &Line| match line {
            Line::Label(label) => format!("{label}:"),
            Line::Code(code) => code.text.replace('\t', " "),
        };
        self.lines.iter().map(text).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As rustc 1.96 writes it, shortened.
    const TEXT: &str = "\
__SREG__ = 63
\t.file\t\"crate\"
\t.section\t.text.one,\"ax\",@progbits
\t.p2align\t1
\t.type\tone,@function
one:
.Lfunc_begin0:
\t.loc\t1 2 3 prologue_end
\tldi\tr24,  1   ; a remark
.Ltmp0:
.LBB0_1:
\tbrne\t.LBB0_1
\tret
.Lfunc_end0:
\t.size\tone, .Lfunc_end0-one

\t.globl\t__do_copy_data
\t.type\ttext,@object
\t.section\t.progmem.data,\"aR\",@progbits,unique,2
text:
\t.ascii\t\"; no remark\"
\t.section\t.debug_info,\"\",@progbits
\t.long\t.Lfunc_begin0
\t.section\t.text.one,\"ax\",@progbits
.Lsec_end0:
";

    #[test]
    fn functions_and_data_are_told_apart() {
        let program = Program::read(TEXT);
        assert_eq!(program.functions.len(), 1);
        let one = &program.functions[0];
        assert_eq!(one.name, "one");
        let lines = ["ldi\tr24, 1", "brne\t.LBB0_1", "ret"].map(Line::new);
        let [ldi, brne, ret] = lines;
        let label = Line::Label(".LBB0_1".into());
        assert_eq!(one.lines, [ldi, label, brne, ret]);
        let rest = "__SREG__ = 63\n\t.globl\t__do_copy_data\n\t.type\ttext,@object\n\
            \t.section\t.progmem.data,\"a\",@progbits\ntext:\n\t.ascii\t\"; no remark\"\n";
        assert_eq!(program.rest, rest);
    }

    #[test]
    fn a_function_with_more_in_it_is_left_as_it_is() {
        for odd in [".short\t5", "rjmp\t.+4"] {
            let text = format!("\t.section\t.text.one,\"ax\",@progbits\none:\n\tret\n\t{odd}\n");
            let program = Program::read(&text);
            assert!(program.functions.is_empty(), "{odd}");
            assert_eq!(program.write(), text);
        }
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let program = Program::read(TEXT);
        let again = Program::read(&program.write());
        assert_eq!(again.functions, program.functions);
        // What stands before the first section is a section of its own.
        assert!(again.rest.starts_with(&program.rest));
    }
}
