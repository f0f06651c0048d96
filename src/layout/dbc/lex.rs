//! Text of a DBC into words, texts and marks, each with its line.

/// A piece of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Piece<'a> {
    /// A keyword, name or number, with its sign.
    Word(&'a str),
    /// What stands between quotes, escapes and all.
    Text(&'a str),
    /// One of `()[],|@;:`.
    Mark(u8),
    /// A text that does not end.
    Open,
}

/// A piece, and where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Token<'a> {
    pub(super) piece: Piece<'a>,
    /// From 1.
    pub(super) line: u32,
    /// Nothing stands before it in its line.
    pub(super) first: bool,
}

/// Reads one piece after another; a copy looks ahead.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lexer<'a> {
    text: &'a str,
    at: usize,
    line: u32,
    first: bool,
}

impl<'a> Lexer<'a> {
    pub(super) const fn new(text: &'a str) -> Self {
        Self { text, at: 0, line: 1, first: true }
    }

    /// The line in which it stands.
    pub(super) const fn line(&self) -> u32 {
        self.line
    }

    fn byte(&self, ahead: usize) -> Option<u8> {
        self.text.as_bytes().get(self.at + ahead).copied()
    }

    /// Goes on by a byte.
    fn step(&mut self) {
        let (byte, after) = (self.byte(0), self.byte(1));
        if byte == Some(b'\n') || (byte == Some(b'\r') && after != Some(b'\n')) {
            self.line = self.line.saturating_add(1);
            self.first = true;
        }
        self.at += 1;
    }

    /// Spaces, line ends, the end mark of old editors, and `//` to the end of the line.
    fn blank(&mut self) {
        while let Some(byte) = self.byte(0) {
            match byte {
                b' ' | b'\t' | b'\r' | b'\n' | 0x0B | 0x0C | 0x1A => self.step(),
                b'/' if self.byte(1) == Some(b'/') => {
                    while self.byte(0).is_some_and(|byte| byte != b'\n') {
                        self.step();
                    }
                }
                _ => return,
            }
        }
    }

    /// Steps over a text after its opening quote; whether it ended. `\"` does not end it.
    fn text_end(&mut self) -> bool {
        while let Some(byte) = self.byte(0) {
            match byte {
                b'"' => return true,
                b'\\' if self.byte(1) == Some(b'"') => self.at += 2,
                _ => self.step(),
            }
        }
        false
    }
}

impl<'a> Iterator for Lexer<'a> {
    type Item = Token<'a>;

    fn next(&mut self) -> Option<Token<'a>> {
        self.blank();
        let (start, line, first) = (self.at, self.line, self.first);
        let piece = match self.byte(0)? {
            b'"' => {
                self.at += 1;
                if self.text_end() {
                    self.at += 1;
                    Piece::Text(self.text.get(start + 1..self.at - 1).unwrap_or_default())
                } else {
                    Piece::Open
                }
            }
            mark if is_mark(mark) => {
                self.at += 1;
                Piece::Mark(mark)
            }
            _ => {
                while self.byte(0).is_some_and(|byte| byte > b' ' && byte != b'"' && !is_mark(byte)) {
                    self.at += 1;
                }
                self.at = self.at.max(start + 1); // a control character alone
                Piece::Word(self.text.get(start..self.at).unwrap_or_default())
            }
        };
        self.first = false;
        Some(Token { piece, line, first })
    }
}

fn is_mark(byte: u8) -> bool {
    b"()[],|@;:".contains(&byte)
}
