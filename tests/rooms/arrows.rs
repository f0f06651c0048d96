//! Paths that lead into a room, out of the tokens of a file.

use crate::lexer::{Token, tokens};
use std::path::Path;

/// One path that starts at the crate's root or climbs to it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Arrow {
    /// Room that it leads to; none when it names the crate itself or all of it.
    pub(crate) room: Option<String>,
    /// The path as it resolves.
    pub(crate) text: String,
    /// Line, from 1.
    pub(crate) line: usize,
}

/// Every arrow of a file, given by its path below `src/`.
pub(crate) fn arrows(file: &Path, source: &str) -> Vec<Arrow> {
    let tokens = tokens(source);
    let mut reader = Reader { tokens: &tokens, found: Vec::new() };
    let mut module = Module { base: module_of(file), inline: Vec::new(), depth: 0 };
    let mut at = 0;
    while at < tokens.len() {
        module.pass(&tokens, at);
        let start = match tokens[at].text.as_str() {
            "crate" | "cellwright" if !reader.continues(at) => Some(Vec::new()),
            "super" if !reader.continues(at) || reader.is(at.wrapping_sub(2), "self") => Some(module.path().up()),
            _ => None,
        };
        // `pub(crate)`, `pub(super)`: a visibility, no path.
        let visibility = at > 0 && reader.is(at - 1, "(") && reader.is(at + 1, ")");
        match start {
            Some(path) if !visibility => at = reader.follow(at + 1, path),
            _ => at += 1,
        }
    }
    reader.found
}

/// Module path of a file: `engine/rule/cold.rs` is `engine::rule::cold`, `engine/mod.rs` is `engine`.
fn module_of(file: &Path) -> Vec<String> {
    let parts = file.with_extension("");
    let mut parts: Vec<String> = parts.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    if matches!(parts.last().map(String::as_str), Some("mod" | "lib" | "main")) {
        parts.pop();
    }
    parts
}

/// Where in the tree of modules the reader is.
struct Module {
    base: Vec<String>,
    /// Inline modules that are open, with the depth of braces outside of each.
    inline: Vec<(String, usize)>,
    depth: usize,
}

impl Module {
    fn pass(&mut self, tokens: &[Token], at: usize) {
        match tokens[at].text.as_str() {
            "{" => {
                if at >= 2 && tokens[at - 2].text == "mod" {
                    self.inline.push((tokens[at - 1].text.clone(), self.depth));
                }
                self.depth += 1;
            }
            "}" => {
                self.depth = self.depth.saturating_sub(1);
                if self.inline.last().is_some_and(|(_, outside)| *outside == self.depth) {
                    self.inline.pop();
                }
            }
            _ => {}
        }
    }

    fn path(&self) -> Vec<String> {
        self.base.iter().cloned().chain(self.inline.iter().map(|(name, _)| name.clone())).collect()
    }
}

trait Up {
    fn up(self) -> Self;
}

impl Up for Vec<String> {
    fn up(mut self) -> Self {
        self.pop();
        self
    }
}

struct Reader<'a> {
    tokens: &'a [Token],
    found: Vec<Arrow>,
}

impl Reader<'_> {
    fn is(&self, at: usize, text: &str) -> bool {
        self.tokens.get(at).is_some_and(|token| token.text == text)
    }

    /// Whether the token goes on from a path to its left.
    fn continues(&self, at: usize) -> bool {
        at >= 2 && self.is(at - 1, "::") && self.tokens[at - 2].text.chars().all(|c| c.is_alphanumeric() || c == '_')
    }

    /// Follows what comes after the path so far; returns where reading goes on.
    fn follow(&mut self, at: usize, path: Vec<String>) -> usize {
        if !self.is(at, "::") {
            self.arrive(at, path);
            return at;
        }
        let Some(next) = self.tokens.get(at + 1) else { return at + 1 };
        match next.text.as_str() {
            "{" => self.group(at + 2, &path),
            "super" => self.follow(at + 2, path.up()),
            "self" => self.follow(at + 2, path),
            // Turbofish, or a glob of what the path names.
            "<" | "*" => {
                self.arrive(at + 1, path);
                at + 2
            }
            word => {
                let mut path = path;
                path.push(word.to_owned());
                self.follow(at + 2, path)
            }
        }
    }

    /// Follows each branch of a group; returns the place after its closing brace.
    fn group(&mut self, mut at: usize, path: &[String]) -> usize {
        while at < self.tokens.len() && !self.is(at, "}") {
            at = match self.tokens[at].text.as_str() {
                "," => at + 1,
                "as" => at + 2,
                "super" => self.follow(at + 1, path.to_vec().up()),
                "self" => self.follow(at + 1, path.to_vec()),
                "*" => {
                    self.arrive(at, path.to_vec());
                    at + 1
                }
                "{" => self.group(at + 1, path),
                word => self.follow(at + 1, path.iter().cloned().chain([word.to_owned()]).collect()),
            };
        }
        at + 1
    }

    fn arrive(&mut self, at: usize, path: Vec<String>) {
        let token = &self.tokens[at.min(self.tokens.len()) - 1];
        let text = path.iter().fold("crate".to_owned(), |text, part| text + "::" + part);
        self.found.push(Arrow { room: path.first().cloned(), text, line: token.line });
    }
}
