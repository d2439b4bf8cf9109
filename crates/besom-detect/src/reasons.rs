//! What spoke for and against a candidate, in words for people.

/// A part of a score that is smaller than this is not worth a word.
const LEAST: f32 = 0.05;
/// Most reasons that are said.
const MOST: usize = 3;

/// The strongest parts of a score, each with what it speaks of: three at most, none said twice; equals in the order given.
pub(crate) fn strongest(mut parts: Vec<(f32, &'static str)>) -> Vec<String> {
    parts.retain(|(part, _)| part.abs() > LEAST);
    parts.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let mut said: Vec<String> = Vec::new();
    for (part, words) in parts {
        if said.len() == MOST {
            break;
        }
        let sentence = format!("{}: {words}", if part > 0.0 { "for" } else { "against" });
        if !said.contains(&sentence) {
            said.push(sentence);
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_strongest_are_said_once_and_small_ones_not_at_all() {
        let parts =
            vec![(0.04, "its place"), (0.2, "its size"), (-0.9, "its edge"), (0.3, "its size"), (-0.2, "its size")];
        assert_eq!(strongest(parts), ["against: its edge", "for: its size", "against: its size"]);
        let four = vec![(0.1, "a"), (0.1, "b"), (0.1, "c"), (0.1, "d")];
        assert_eq!(strongest(four), ["for: a", "for: b", "for: c"]);
    }
}
