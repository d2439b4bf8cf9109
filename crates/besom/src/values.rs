//! The values people type: frame ranges, rectangles, probabilities.

use std::ops::RangeInclusive;

use besom_scan::Rect;

/// A range of scan numbers, `A-B` with both ends inside, or one number.
pub(crate) fn frames(text: &str) -> Result<RangeInclusive<u64>, String> {
    let number = |part: &str| {
        part.trim()
            .parse::<u64>()
            .map_err(|_| format!("'{}' is not a frame number; write A-B, such as 120-480", part.trim()))
    };
    let (first, last) = match text.split_once('-') {
        Some((first, last)) => (number(first)?, number(last)?),
        None => (number(text)?, number(text)?),
    };
    if first > last {
        return Err(format!("the range runs backwards: {first} comes after {last}"));
    }
    Ok(first..=last)
}

/// A rectangle `X,Y,W,H` in pixels of the scan; width and height at least 1.
pub(crate) fn rectangle(text: &str) -> Result<Rect, String> {
    let wrong = || format!("'{text}' is not a rectangle; write X,Y,W,H in pixels, such as 640,200,120,80");
    let numbers: Vec<i32> =
        text.split(',').map(|part| part.trim().parse::<i32>()).collect::<Result<_, _>>().map_err(|_| wrong())?;
    let [x, y, width, height] = numbers[..] else { return Err(wrong()) };
    let (Some(x1), Some(y1)) = (x.checked_add(width), y.checked_add(height)) else { return Err(wrong()) };
    if x < 0 || y < 0 || width < 1 || height < 1 {
        return Err(format!("'{text}' holds no pixel: X and Y are at least 0, W and H at least 1"));
    }
    Ok(Rect::new(x, y, x1, y1))
}

/// A probability from 0 to 1.
pub(crate) fn probability(text: &str) -> Result<f32, String> {
    match text.trim().parse::<f32>() {
        Ok(value) if (0.0..=1.0).contains(&value) => Ok(value),
        _ => Err(format!("'{text}' is not a probability from 0 to 1")),
    }
}

/// The index of a shot, which people count from 1.
pub(crate) fn shot(text: &str) -> Result<usize, String> {
    let number = text.trim().parse::<usize>().ok().and_then(|number| number.checked_sub(1));
    number.ok_or_else(|| format!("'{text}' is not a shot; they are counted from 1"))
}

/// A number of threads, at least one.
pub(crate) fn threads(text: &str) -> Result<usize, String> {
    match text.trim().parse::<usize>() {
        Ok(count) if (1..=1024).contains(&count) => Ok(count),
        _ => Err(format!("'{text}' is not a number of threads from 1 to 1024")),
    }
}

/// `1 frame`, `2 frames`: a count with its noun.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// Ranges of frames as `12, 40-52`.
pub(crate) fn ranges(ranges: &[RangeInclusive<u64>]) -> String {
    let words = ranges.iter().map(|r| match (r.start(), r.end()) {
        (first, last) if first == last => first.to_string(),
        (first, last) => format!("{first}-{last}"),
    });
    words.collect::<Vec<_>>().join(", ")
}

/// The name decisions are recorded under when none is given: the login name of the person, else `artist`.
pub(crate) fn default_artist() -> String {
    ["BESOM_ARTIST", "USER", "LOGNAME", "USERNAME"]
        .into_iter()
        .find_map(|name| std::env::var(name).ok().filter(|value| !value.trim().is_empty()))
        .unwrap_or_else(|| "artist".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frame_ranges() {
        assert_eq!(frames("120-480"), Ok(120..=480));
        assert_eq!(frames(" 0086400 "), Ok(86400..=86400));
        assert!(frames("480-120").is_err_and(|e| e.contains("backwards")));
        assert!(frames("12-").is_err());
        assert!(frames("-3").is_err());
        assert!(frames("a-b").is_err_and(|e| e.contains("'a'")));
    }

    #[test]
    fn rectangles() {
        assert_eq!(rectangle("640,200,120,80"), Ok(Rect::new(640, 200, 760, 280)));
        assert_eq!(rectangle("0, 0, 1, 1"), Ok(Rect::new(0, 0, 1, 1)));
        for wrong in ["", "1,2,3", "1,2,3,4,5", "1,2,0,4", "-1,2,3,4", "2147483647,0,2,2", "x,y,w,h"] {
            assert!(rectangle(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn probabilities_and_threads() {
        assert_eq!(probability("0.5"), Ok(0.5));
        assert!(probability("1.01").is_err() && probability("NaN").is_err() && probability("-0.1").is_err());
        assert_eq!(threads("2"), Ok(2));
        assert!(threads("0").is_err() && threads("two").is_err());
    }

    #[test]
    fn counts_read_as_english() {
        assert_eq!(ranges(&[12..=12, 40..=52]), "12, 40-52");
        assert_eq!((counted(1, "frame"), counted(0, "frame")), ("1 frame".to_owned(), "0 frames".to_owned()));
    }
}
