//! Breaking text into lines.

use super::pdf::width_mm;

/// The words of a text as lines at most `room_mm` wide. A word that is longer than a line is broken where it must; a
/// space that is not to be broken at is kept.
pub fn wrap(text: &str, size_mm: f64, bold: bool, room_mm: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let parts = |c: char| c.is_whitespace() && !matches!(c, '\u{a0}' | '\u{202f}');
    for word in text.split(parts).filter(|word| !word.is_empty()) {
        let with = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width_mm(&with, size_mm, bold) <= room_mm {
            line = with;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            line.push(c);
            if width_mm(&line, size_mm, bold) > room_mm && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::take(&mut line));
                line.push(c);
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_fits_and_no_word_is_lost() {
        let text = "A photo does not replace a qualified saddle fitter aabbccddeeffaabbccddeeffaabbccddeeff.";
        let lines = wrap(text, 3.5, false, 30.0);
        assert!(lines.iter().all(|l| width_mm(l, 3.5, false) <= 30.0), "{lines:?}");
        assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
    }

    #[test]
    fn a_figure_stays_with_its_unit() {
        let lines = wrap("about 150\u{a0}mm", 3.5, false, width_mm("about 150", 3.5, false) + 0.1);
        assert_eq!(lines, ["about", "150\u{a0}mm"]);
    }
}
