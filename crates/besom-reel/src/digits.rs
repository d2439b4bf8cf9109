//! Whole numbers as text: digits and nothing else.

use std::str::FromStr;

/// The number; `None` for anything but digits, the sign included that `parse` alone would take, and for one too large.
pub(crate) fn number<T: FromStr>(text: &str) -> Option<T> {
    text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_and_nothing_else_make_a_number() {
        assert_eq!((number("007"), number("255")), (Some(7u8), Some(255u8)));
        for text in ["", "+7", "-7", " 7", "7.0", "256"] {
            assert_eq!(number::<u8>(text), None, "{text:?}");
        }
    }
}
