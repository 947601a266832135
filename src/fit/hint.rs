//! What may have been meant by a word that is not known.

/// Likeness (0 to 1) above which a word may have been meant: a slip of a letter or two in a word of six.
const ALIKE: f64 = 0.6;

/// `did you mean ...?` for a word near one of those known, else the list of them.
pub fn did_you_mean<'w>(word: &str, known: impl IntoIterator<Item = &'w str>) -> String {
    let known: Vec<&str> = known.into_iter().collect();
    let best = known
        .iter()
        .map(|k| (strsim::normalized_damerau_levenshtein(word, k).max(prefix(word, k)), *k))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((likeness, k)) if likeness >= ALIKE => format!("did you mean `{k}`?"),
        _ => format!("known are {}", known.join(", ")),
    }
}

/// A word that begins or ends another one counts as nearest.
fn prefix(word: &str, known: &str) -> f64 {
    let near =
        word.len() >= 3 && (known.starts_with(word) || known.ends_with(word) || word.starts_with(known));
    f64::from(u8::from(near)) * ALIKE
}
