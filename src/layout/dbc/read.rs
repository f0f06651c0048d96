//! The statements of a DBC, one function each.

use super::error::{DbcError, MOST_PROBLEMS, Note, Problem, Trouble};
use super::lex::{Lexer, Piece, Token};
use super::raw::{Bits, Mux, Raw, RawMessage, RawRanges, RawSignal};
use super::{MOST_MESSAGES, MOST_NAME, MOST_RANGES, MOST_SIGNALS, MOST_SIGNALS_IN_ALL};
use crate::layout::Order;
use crate::model::clean;

/// Characters of a found word that an error shows, of a unit, of a state's name.
const SHOWN: usize = 40;
const MOST_UNIT: usize = 32;
const MOST_STATE: usize = 256;
/// Notes that are kept.
const MOST_NOTES: usize = 100;

/// Statements that begin at the beginning of a line.
const KEYWORDS: &[&str] = &[
    "BA_",
    "BA_DEF_",
    "BA_DEF_DEF_",
    "BA_DEF_DEF_REL_",
    "BA_DEF_REL_",
    "BA_DEF_SGTYPE_",
    "BA_REL_",
    "BA_SGTYPE_",
    "BO_",
    "BO_TX_BU_",
    "BS_",
    "BU_",
    "BU_BO_REL_",
    "BU_EV_REL_",
    "BU_SG_REL_",
    "CAT_",
    "CAT_DEF_",
    "CM_",
    "ENVVAR_DATA_",
    "EV_",
    "EV_DATA_",
    "FILTER",
    "NS_",
    "NS_DESC_",
    "SG_",
    "SGTYPE_",
    "SGTYPE_VAL_",
    "SG_MUL_VAL_",
    "SIGTYPE_VALTYPE_",
    "SIG_GROUP_",
    "SIG_TYPE_REF_",
    "SIG_VALTYPE_",
    "VAL_",
    "VAL_TABLE_",
    "VERSION",
];

/// Reads every statement.
pub(super) fn read(text: &str) -> Result<Raw, DbcError> {
    let mut reader = Reader { lexer: Lexer::new(text), statement: "DBC", known: 0, signals: 0, raw: Raw::default() };
    while let Some(token) = reader.lexer.next() {
        if let Err(problem) = reader.begin(token) {
            reader.raw.problems.push(problem);
            if reader.raw.problems.len() >= MOST_PROBLEMS {
                break;
            }
            reader.skip();
        }
    }
    let Reader { known, mut raw, .. } = reader;
    if known == 0 {
        raw.problems = vec![Problem { line: 1, what: Trouble::NoDbc }];
    }
    // What cannot be read is told before what does not fit together.
    if raw.problems.is_empty() { Ok(raw) } else { Err(DbcError { problems: raw.problems }) }
}

struct Reader<'a> {
    lexer: Lexer<'a>,
    /// Keyword of the statement under way.
    statement: &'static str,
    /// Statements with a keyword of the format.
    known: u64,
    signals: usize,
    raw: Raw,
}

impl<'a> Reader<'a> {
    fn begin(&mut self, token: Token<'a>) -> Result<(), Problem> {
        let word = match token.piece {
            Piece::Word(word) => word,
            Piece::Open => return Err(at(token.line, Trouble::OpenText)),
            Piece::Mark(b';') => return Ok(()),
            Piece::Mark(_) | Piece::Text(_) => {
                self.statement = "DBC";
                return Err(self.syntax(token, "a statement"));
            }
        };
        let Some(keyword) = KEYWORDS.iter().find(|known| **known == word) else {
            if self.raw.notes.len() < MOST_NOTES {
                let text = format!("unknown statement '{}' skipped", clean(word, SHOWN));
                self.raw.notes.push(Note { line: token.line, text });
            }
            self.skip();
            return Ok(());
        };
        self.statement = keyword;
        self.known += 1;
        match *keyword {
            "BO_" => self.message(token.line)?,
            "SG_" => self.signal(token.line)?,
            "SG_MUL_VAL_" => self.ranges(token.line)?,
            "SIG_VALTYPE_" => self.kind(token.line)?,
            "VAL_" => self.states(token.line)?,
            "BA_" => self.attribute()?,
            "BA_DEF_" => self.definition()?,
            "BA_DEF_DEF_" => self.usual()?,
            "NS_" => self.new_symbols(token.line),
            _ => self.skip(),
        }
        Ok(())
    }

    /// Goes on to the end of the statement: after `;`, or before a keyword at the beginning of a line.
    fn skip(&mut self) {
        while let Some(token) = self.peek() {
            match token.piece {
                Piece::Word(word) if token.first && KEYWORDS.contains(&word) => return,
                Piece::Open => return,
                Piece::Mark(b';') => {
                    self.lexer.next();
                    return;
                }
                _ => self.lexer.next(),
            };
        }
    }

    fn peek(&self) -> Option<Token<'a>> {
        let mut ahead = self.lexer;
        ahead.next()
    }

    fn syntax(&self, token: Token<'a>, expected: &'static str) -> Problem {
        let found = match token.piece {
            Piece::Open => return at(token.line, Trouble::OpenText),
            Piece::Word(word) => clean(word, SHOWN),
            Piece::Text(text) => format!("\"{}\"", clean(text, SHOWN)),
            Piece::Mark(mark) => char::from(mark).to_string(),
        };
        at(token.line, Trouble::Syntax { statement: self.statement, expected, found })
    }

    /// The next piece when `take` makes something of it; else it stays where it is.
    fn expect<T>(&mut self, expected: &'static str, take: impl FnOnce(Piece<'a>) -> Option<T>) -> Result<T, Problem> {
        let mut ahead = self.lexer;
        let Some(token) = ahead.next() else {
            let found = "the end of the file".to_owned();
            return Err(at(self.lexer.line(), Trouble::Syntax { statement: self.statement, expected, found }));
        };
        let taken = take(token.piece).ok_or_else(|| self.syntax(token, expected))?;
        self.lexer = ahead;
        Ok(taken)
    }

    fn mark(&mut self, mark: u8, expected: &'static str) -> Result<(), Problem> {
        self.expect(expected, |piece| (piece == Piece::Mark(mark)).then_some(()))
    }

    fn word(&mut self, expected: &'static str) -> Result<&'a str, Problem> {
        self.expect(expected, word_of)
    }

    fn name(&mut self, expected: &'static str) -> Result<&'a str, Problem> {
        self.expect(expected, |piece| word_of(piece).filter(|word| is_name(word)))
    }

    fn whole(&mut self, expected: &'static str) -> Result<u64, Problem> {
        self.expect(expected, |piece| word_of(piece)?.parse().ok())
    }

    fn number(&mut self, expected: &'static str) -> Result<f64, Problem> {
        self.expect(expected, |piece| number_of(word_of(piece)?))
    }

    fn text(&mut self, expected: &'static str) -> Result<&'a str, Problem> {
        self.expect(expected, |piece| match piece {
            Piece::Text(text) => Some(text),
            _ => None,
        })
    }

    /// `BO_ number name : length sender`
    fn message(&mut self, line: u32) -> Result<(), Problem> {
        let number = self.whole("the number of the message")?;
        let name = self.name("the name of the message, of letters, digits and _")?.to_owned();
        // Even what follows is wrong, the signals below it are its own.
        self.raw.messages.push(RawMessage { line, number, name, length: 0, signals: Vec::new() });
        if self.raw.messages.len() > MOST_MESSAGES {
            return Err(at(line, Trouble::TooMany { what: "messages", most: MOST_MESSAGES }));
        }
        self.mark(b':', "':' after the name")?;
        let length = self.expect("the length in bytes", |piece| word_of(piece)?.parse().ok())?;
        if let Some(message) = self.raw.messages.last_mut() {
            message.length = length;
        }
        self.rest_of_line(line);
        Ok(())
    }

    /// `SG_ name [M|mN|mNM] : start|length@order sign (factor,offset) [minimum|maximum] "unit" receivers`
    fn signal(&mut self, line: u32) -> Result<(), Problem> {
        let name = self.name("the name of the signal, of letters, digits and _")?.to_owned();
        let mux = match self.peek().map(|token| token.piece) {
            Some(Piece::Word(_)) => self.expect("':', M, or m with a number", |piece| mux_of(word_of(piece)?))?,
            _ => Mux::default(),
        };
        self.mark(b':', "':' after the name")?;
        let start = self.whole("the start bit")?;
        self.mark(b'|', "'|' after the start bit")?;
        let len = self.whole("the number of bits")?;
        self.mark(b'@', "'@' after the number of bits")?;
        let (order, signed) = self.order()?;
        self.mark(b'(', "'(' before the factor")?;
        let factor = self.number("the factor")?;
        self.mark(b',', "',' after the factor")?;
        let offset = self.number("the offset")?;
        self.mark(b')', "')' after the offset")?;
        self.mark(b'[', "'[' before the minimum")?;
        self.number("the minimum")?;
        self.mark(b'|', "'|' after the minimum")?;
        self.number("the maximum")?;
        self.mark(b']', "']' after the maximum")?;
        let unit = clean(self.text("the unit in quotes")?, MOST_UNIT);
        self.rest_of_line(line);
        let bits = Bits { start, len, order, signed };
        let Some(message) = self.raw.messages.last_mut() else {
            return Err(at(line, Trouble::NoMessage { signal: name }));
        };
        if message.signals.len() >= MOST_SIGNALS {
            return Err(at(line, Trouble::TooMany { what: "signals in a message", most: MOST_SIGNALS }));
        }
        self.signals += 1;
        if self.signals > MOST_SIGNALS_IN_ALL {
            return Err(at(line, Trouble::TooMany { what: "signals", most: MOST_SIGNALS_IN_ALL }));
        }
        message.signals.push(RawSignal { line, name, mux, bits, scale: (factor, offset), unit });
        Ok(())
    }

    /// `0` Motorola or `1` Intel, then `+` unsigned or `-` signed, with or without a space.
    fn order(&mut self) -> Result<(Order, bool), Problem> {
        let expected = "0 or 1 for the byte order, then + or -";
        let (order, rest) = self.expect(expected, |piece| {
            let word = word_of(piece)?;
            let big = word.strip_prefix('0').map(|rest| (Order::Big, rest));
            big.or_else(|| word.strip_prefix('1').map(|rest| (Order::Little, rest)))
        })?;
        let signed = |sign: &str| match sign {
            "+" => Some(false),
            "-" => Some(true),
            _ => None,
        };
        let signed = match signed(rest) {
            Some(signed) => signed,
            None => self.expect(expected, |piece| signed(word_of(piece).filter(|_| rest.is_empty())?))?,
        };
        Ok((order, signed))
    }

    /// Senders and receivers: words in the same line, or after a comma.
    fn rest_of_line(&mut self, line: u32) {
        let mut comma = false;
        while let Some(token) = self.peek() {
            let here = token.line == line || comma;
            match token.piece {
                Piece::Word(word) if here && !KEYWORDS.contains(&word) => comma = false,
                Piece::Mark(b',') => comma = true,
                _ => return,
            }
            self.lexer.next();
        }
    }

    /// `SG_MUL_VAL_ number signal switch low-high, low-high;`
    fn ranges(&mut self, line: u32) -> Result<(), Problem> {
        let number = self.whole("the number of the message")?;
        let signal = (number, self.name("the name of the signal")?.to_owned());
        let switch = self.name("the name of the switch")?.to_owned();
        let mut any_of = Vec::new();
        let mut written = String::new();
        while let Ok(word) = self.word("") {
            written.push_str(clean(word, SHOWN).as_str());
            let ends = self.peek().is_none_or(|token| !matches!(token.piece, Piece::Word(_)));
            if ends {
                any_of.extend(range_of(&written));
                if range_of(&written).is_none() {
                    let what =
                        Trouble::Syntax { statement: self.statement, expected: "a range such as 2-5", found: written };
                    return Err(at(line, what));
                }
                written.clear();
                if any_of.len() > MOST_RANGES {
                    return Err(at(line, Trouble::TooMany { what: "ranges for a signal", most: MOST_RANGES }));
                }
                if self.mark(b',', "").is_err() {
                    break;
                }
            }
        }
        self.mark(b';', "a range such as 2-5, or ';' at the end")?;
        self.raw.ranges.push(RawRanges { line, signal, switch, any_of });
        Ok(())
    }

    /// `SIG_VALTYPE_ number signal : kind;`, the colon being left out by some.
    fn kind(&mut self, line: u32) -> Result<(), Problem> {
        let number = self.whole("the number of the message")?;
        let signal = (number, self.name("the name of the signal")?.to_owned());
        let _ = self.mark(b':', "");
        let kind = self.whole("0, 1 or 2")?;
        self.mark(b';', "';' at the end")?;
        self.raw.kinds.push((line, signal, kind));
        Ok(())
    }

    /// `VAL_ number signal count "name" count "name" … ;` of a signal; without a number of an environment variable.
    fn states(&mut self, line: u32) -> Result<(), Problem> {
        let Ok(number) = self.whole("") else {
            self.skip();
            return Ok(());
        };
        let signal = (number, self.name("the name of the signal")?.to_owned());
        let mut states = Vec::new();
        while self.peek().is_some_and(|token| token.piece != Piece::Mark(b';')) {
            let count = self.expect("a number, or ';' at the end", |piece| count_of(word_of(piece)?))?;
            states.push((count, clean(&unescape(self.text("the name of the state in quotes")?), MOST_STATE)));
        }
        self.mark(b';', "';' at the end")?;
        if !states.is_empty() {
            self.raw.states.push((line, signal, states));
        }
        Ok(())
    }

    /// `BA_ "name" BO_ number value;` and `BA_ "name" SG_ number signal value;`, as far as names and formats go.
    fn attribute(&mut self) -> Result<(), Problem> {
        let attribute = self.text("the name of the attribute in quotes")?;
        match attribute {
            "SystemMessageLongSymbol" | "VFrameFormat" if self.whose("BO_") => {
                let number = self.whole("the number of the message")?;
                let value = self.value()?;
                if attribute == "VFrameFormat" {
                    self.raw.formats.of.insert(number, value);
                } else {
                    self.raw.message_names.insert(number, value);
                }
            }
            "SystemSignalLongSymbol" if self.whose("SG_") => {
                let number = self.whole("the number of the message")?;
                let signal = (number, self.name("the name of the signal")?.to_owned());
                let name = self.value()?;
                self.raw.signal_names.insert(signal, name);
            }
            _ => {}
        }
        self.skip();
        Ok(())
    }

    /// `BA_DEF_ BO_ "VFrameFormat" ENUM "name","name",…;`: the names of the formats.
    fn definition(&mut self) -> Result<(), Problem> {
        if self.whose("BO_")
            && self.text("the name of the attribute in quotes")? == "VFrameFormat"
            && self.whose("ENUM")
        {
            while let Ok(name) = self.text("") {
                self.raw.formats.names.push(clean(name, MOST_NAME));
                if self.mark(b',', "").is_err() {
                    break;
                }
            }
        }
        self.skip();
        Ok(())
    }

    /// `BA_DEF_DEF_ "VFrameFormat" "name";`: the format of messages that name none.
    fn usual(&mut self) -> Result<(), Problem> {
        if self.text("the name of the attribute in quotes")? == "VFrameFormat" {
            self.raw.formats.usual = Some(self.value()?);
        }
        self.skip();
        Ok(())
    }

    fn whose(&mut self, keyword: &str) -> bool {
        self.expect("", |piece| (piece == Piece::Word(keyword)).then_some(())).is_ok()
    }

    fn value(&mut self) -> Result<String, Problem> {
        self.expect("a number, or a text in quotes", |piece| match piece {
            Piece::Word(word) => Some(clean(word, MOST_NAME)),
            Piece::Text(text) => Some(clean(&unescape(text), MOST_NAME)),
            _ => None,
        })
    }

    /// `NS_ :` and keywords, each alone in its line, which begin no statement here.
    fn new_symbols(&mut self, line: u32) {
        let _ = self.mark(b':', "");
        while let Some(token) = self.peek() {
            let mut ahead = self.lexer;
            ahead.next();
            let alone = ahead.next().is_none_or(|after| after.line != token.line);
            if !matches!(token.piece, Piece::Word(_)) || !(alone || token.line == line) {
                return;
            }
            self.lexer.next();
        }
    }
}

fn at(line: u32, what: Trouble) -> Problem {
    Problem { line, what }
}

fn word_of(piece: Piece<'_>) -> Option<&str> {
    match piece {
        Piece::Word(word) => Some(word),
        _ => None,
    }
}

fn is_name(word: &str) -> bool {
    word.len() <= MOST_NAME && word.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_')
}

fn mux_of(word: &str) -> Option<Mux> {
    if word == "M" {
        return Some(Mux { switches: true, on: None });
    }
    let on = word.strip_prefix('m')?;
    let (on, switches) = on.strip_suffix('M').map_or((on, false), |on| (on, true));
    Some(Mux { switches, on: Some(on.parse().ok()?) })
}

/// A number with digits: no `inf`, no `nan`.
fn number_of(word: &str) -> Option<f64> {
    let unsigned = word.strip_prefix(['+', '-']).unwrap_or(word);
    let digit = unsigned.starts_with(|c: char| c.is_ascii_digit() || c == '.');
    word.parse().ok().filter(|_| digit)
}

/// The count of a state; some write counts beyond 63 bits or with a point.
fn count_of(word: &str) -> Option<i64> {
    let large = || word.parse::<u64>().ok().map(|count| count as i64);
    word.parse().ok().or_else(large).or_else(|| number_of(word).filter(|n| n.fract() == 0.0).map(|n| n as i64))
}

fn range_of(written: &str) -> Option<(u64, u64)> {
    let (low, high) = written.split_once('-')?;
    let (low, high) = (low.parse().ok()?, high.parse().ok()?);
    (low <= high).then_some((low, high))
}

fn unescape(text: &str) -> String {
    text.replace("\\\"", "\"")
}
