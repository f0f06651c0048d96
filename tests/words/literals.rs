//! The string literals of Rust source, without those of its tests.

/// Every string literal above the tests of a file, as the program sees it.
pub(crate) fn literals(source: &str) -> Vec<String> {
    let source = source.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let chars: Vec<char> = source.chars().collect();
    let mut found = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        at = match (chars[at], chars.get(at + 1)) {
            ('/', Some('/')) => chars[at..].iter().position(|c| *c == '\n').map_or(chars.len(), |n| at + n),
            ('\'', Some('\\')) => at + 3,
            ('\'', Some(_)) if chars.get(at + 2) == Some(&'\'') => at + 3,
            ('"', _) => {
                let (text, end) = string(&chars, at + 1);
                found.push(text);
                end
            }
            _ => at + 1,
        };
    }
    found
}

fn string(chars: &[char], from: usize) -> (String, usize) {
    let (mut text, mut at) = (String::new(), from);
    while at < chars.len() && chars[at] != '"' {
        match (chars[at], chars.get(at + 1)) {
            ('\\', Some('\n')) => {
                at += 1;
                while chars.get(at).is_some_and(|c| c.is_whitespace()) {
                    at += 1;
                }
                continue;
            }
            ('\\', Some(next)) => {
                text.push(if *next == 'n' { '\n' } else { *next });
                at += 1;
            }
            (c, _) => text.push(c),
        }
        at += 1;
    }
    (text, at + 1)
}

#[test]
fn literals_are_found_with_their_line_ends_joined() {
    let source =
        "// \"no\"\nlet a = \"one \\\n   two\"; let c = '\"'; f(\"th\\\"ree\");\n#[cfg(test)]\nmod tests { \"four\" }";
    assert_eq!(literals(source), ["one two", "th\"ree"]);
}
