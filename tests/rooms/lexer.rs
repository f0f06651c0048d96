//! Rust source as words and marks; comments and literals are left out.

/// A word or a mark, with its line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Token {
    /// An identifier, `::`, or one other character.
    pub(crate) text: String,
    /// Line, from 1.
    pub(crate) line: usize,
}

/// Splits source text.
pub(crate) fn tokens(source: &str) -> Vec<Token> {
    let chars: Vec<char> = source.chars().collect();
    let mut found = Vec::new();
    let mut line = 1;
    let mut at = 0;
    while at < chars.len() {
        let end = skip(&chars, at).unwrap_or_else(|| word_end(&chars, at));
        let literal = skip(&chars, at).is_some();
        if !literal && !chars[at].is_whitespace() {
            found.push(Token { text: chars[at..end].iter().collect(), line });
        }
        line += chars[at..end].iter().filter(|c| **c == '\n').count();
        at = end;
    }
    found
}

/// End of the comment or literal that begins here, if one does.
fn skip(chars: &[char], at: usize) -> Option<usize> {
    match (chars[at], chars.get(at + 1)) {
        ('/', Some('/')) => Some(find(chars, at, '\n')),
        ('/', Some('*')) => Some(comment_end(chars, at)),
        ('"', _) => Some(string_end(chars, at)),
        ('\'', _) => character_end(chars, at),
        ('r' | 'b' | 'c', _) => prefixed_end(chars, at),
        _ => None,
    }
}

fn find(chars: &[char], from: usize, what: char) -> usize {
    chars[from..].iter().position(|c| *c == what).map_or(chars.len(), |n| from + n)
}

fn comment_end(chars: &[char], at: usize) -> usize {
    let mut depth = 0;
    let mut at = at;
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => (depth, at) = (depth + 1, at + 2),
            ('*', Some('/')) => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            return at;
        }
    }
    chars.len()
}

fn string_end(chars: &[char], quote: usize) -> usize {
    let mut at = quote + 1;
    while at < chars.len() && chars[at] != '"' {
        at += if chars[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(chars.len())
}

/// A character literal; a lifetime is none.
fn character_end(chars: &[char], at: usize) -> Option<usize> {
    match chars.get(at + 1)? {
        '\\' => Some(find(chars, at + 3, '\'') + 1),
        _ => (chars.get(at + 2) == Some(&'\'')).then_some(at + 3),
    }
}

/// `b"…"`, `c"…"`, `b'…'`, `r"…"`, `r#"…"#`, `br#"…"#`; none of an ordinary word.
fn prefixed_end(chars: &[char], at: usize) -> Option<usize> {
    if at > 0 && is_word(chars[at - 1]) {
        return None;
    }
    let letters = chars[at..].iter().take_while(|c| matches!(c, 'r' | 'b' | 'c')).count();
    let raw = chars[at..at + letters].contains(&'r');
    let after = at + letters;
    if !raw {
        return match chars.get(after) {
            Some('"') => Some(string_end(chars, after)),
            Some('\'') => character_end(chars, after),
            _ => None,
        };
    }
    let hashes = chars[after..].iter().take_while(|c| **c == '#').count();
    if chars.get(after + hashes) != Some(&'"') {
        return None;
    }
    let mut end = after + hashes + 1;
    while end < chars.len() {
        end = find(chars, end, '"') + 1;
        if chars[end.min(chars.len())..].iter().take(hashes).filter(|c| **c == '#').count() == hashes {
            return Some((end + hashes).min(chars.len()));
        }
    }
    Some(chars.len())
}

fn word_end(chars: &[char], at: usize) -> usize {
    if chars[at] == ':' && chars.get(at + 1) == Some(&':') {
        return at + 2;
    }
    let word = chars[at..].iter().take_while(|c| is_word(**c)).count();
    at + word.max(1)
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}
