//! What no text of the program may say, as data: a promise that nobody can keep, or advice that hurts.

/// A phrase that no sentence may hold.
pub(crate) struct Never {
    /// In small letters, words one blank apart; whole words only.
    pub(crate) phrase: &'static str,
    /// Unless one of these stands before it in the same sentence.
    pub(crate) unless: &'static [&'static str],
}

/// Words that turn a sentence round.
const NOT: &[&str] = &["do not", "never", "not to", "no promise", "nobody", "cannot", "must not", "instead of"];
/// Nothing excuses it.
const NONE: &[&str] = &[];

/// All of them.
pub(crate) static NEVER: &[Never] = &[
    // The word itself promises what no monitor sees. 'one safe recvmsg' is a word of the language, in the decisions.
    never("safe", &["nix"]),
    never("safely", NONE),
    never("safe to charge", NONE),
    never("no danger", NONE),
    never("not dangerous", NONE),
    never("harmless to charge", NONE),
    never("nothing to worry about", NONE),
    never("guaranteed", NOT),
    never("guarantees", NOT),
    // Ageing: comparisons only.
    never("extends the life", NOT),
    never("extend the life", NOT),
    never("prolongs the life", NOT),
    never("lasts longer", NOT),
    never("will last for years", NONE),
    never("years of life", NONE),
    never("years longer", NONE),
    never("adds years", NONE),
    never("does not age", NONE),
    never("will not age", NONE),
    never("stops ageing", NONE),
    // The BMS.
    never("bypass the bms", NOT),
    never("bridge the bms", NOT),
    never("hold in the bms", NOT),
    never("hold the bms in", NOT),
    never("hold it in", NOT),
    never("override the bms", NOT),
    never("disable the bms", NOT),
    never("jumper the bms", NOT),
    never("wake the pack", NOT),
    never("wake a pack", NOT),
    never("wake it by charging", NOT),
    never("charge it directly", NOT),
    never("charge the cells directly", NOT),
    never("charging it directly", NOT),
    never("jump-start", NOT),
    // Sealed packs.
    never("open the pack", NOT),
    never("open a pack", NOT),
    never("open a sealed pack", NOT),
    never("open the sealed pack", NOT),
    never("open the case", NOT),
    // Alone they get people hurt: what comes first must be said.
    never("retighten", NONE),
    never("re-tighten", NONE),
    never("tighten the", NONE),
    never("disconnect the battery", NONE),
    never("disconnect the bank", NONE),
    never("pull the fuse", NONE),
    // An empty bank is no measurement.
    never("run it flat", NOT),
    never("run it empty", NOT),
    never("discharge it fully", NOT),
    never("drain it", NOT),
];

const fn never(phrase: &'static str, unless: &'static [&'static str]) -> Never {
    Never { phrase, unless }
}

/// What a text says that it must not, as 'phrase: sentence'.
pub(crate) fn said(text: &str) -> Vec<String> {
    let plain = text.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ");
    let mut found = Vec::new();
    for sentence in plain.split_inclusive(['.', ';', ':', '!', '?', '|']) {
        for never in NEVER {
            let places = sentence.match_indices(never.phrase).map(|(at, _)| at);
            for at in places.filter(|at| is_whole(sentence, *at, never.phrase.len())) {
                let before = &sentence[..at];
                if !never.unless.iter().any(|excuse| before.contains(excuse)) {
                    found.push(format!("'{}': {}", never.phrase, sentence.trim()));
                }
            }
        }
    }
    found
}

fn is_whole(sentence: &str, at: usize, length: usize) -> bool {
    let joins = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
    let before = sentence[..at].chars().next_back();
    let after = sentence[at + length..].chars().next();
    !before.is_some_and(joins) && !after.is_some_and(joins)
}

#[test]
fn what_must_not_be_said_is_caught_and_what_warns_of_it_is_not() {
    assert_eq!(
        said("Now it is\n  safe to charge."),
        ["'safe': now it is safe to charge.", "'safe to charge': now it is safe to charge."]
    );
    assert_eq!(said("Bypass the BMS."), ["'bypass the bms': bypass the bms."]);
    assert_eq!(said("Do not wait. Retighten the lug."), ["'retighten': retighten the lug."]);
    assert_eq!(said("Do not bypass the BMS and do not hold it in. Unsafe, safety, fail-safe."), [""; 0]);
}
