//! Colour that helps and never carries meaning alone.

use std::io::IsTerminal;

use crate::report::Style;

/// How to write on one stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Paint {
    /// Whether to use colour.
    pub colour: bool,
    /// Whether the line can be rewritten in place.
    pub live: bool,
    /// Whether to keep to ASCII.
    pub ascii: bool,
}

impl Paint {
    /// For standard output.
    #[must_use]
    pub fn of_stdout() -> Self {
        Self::of(std::io::stdout().is_terminal())
    }

    /// For standard error.
    #[must_use]
    pub fn of_stderr() -> Self {
        Self::of(std::io::stderr().is_terminal())
    }

    fn of(terminal: bool) -> Self {
        let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
            .iter()
            .find_map(|name| std::env::var(name).ok().filter(|value| !value.is_empty()))
            .unwrap_or_default()
            .to_uppercase();
        // Only a locale that names another character set speaks against UTF-8.
        let ascii = matches!(locale.as_str(), "C" | "POSIX")
            || (locale.contains('.') && !locale.contains("UTF"));
        Self {
            colour: terminal && !dumb && !set("NO_COLOR"),
            live: terminal && !dumb,
            ascii,
        }
    }

    /// The report's style for a terminal of 80 columns.
    #[must_use]
    pub fn style(self) -> Style {
        Style {
            colour: self.colour,
            ascii: self.ascii,
            columns: 80,
        }
    }

    fn with(self, code: &str, text: &str) -> String {
        if self.colour {
            format!("\x1b[{code}m{text}\x1b[0m")
        } else {
            text.into()
        }
    }

    /// Emphasised.
    #[must_use]
    pub fn strong(self, text: &str) -> String {
        self.with("1", text)
    }

    /// Good news.
    #[must_use]
    pub fn good(self, text: &str) -> String {
        self.with("32", text)
    }

    /// Bad news.
    #[must_use]
    pub fn bad(self, text: &str) -> String {
        self.with("1;31", text)
    }

    /// Something to heed.
    #[must_use]
    pub fn heed(self, text: &str) -> String {
        self.with("33", text)
    }

    /// One of two texts, by what the terminal can show.
    #[must_use]
    pub fn either<'a>(self, plain: &'a str, rich: &'a str) -> &'a str {
        if self.ascii { plain } else { rich }
    }
}
