//! What a hand draws over a frame, as the pixels that it covers: outlines, strokes of a round brush, straight lines.
//!
//! Places are in picture pixels: pixel `(x, y)` covers the square from there to `(x + 1, y + 1)`, and its centre, half a
//! pixel further on, decides whether it is inside. Whatever lies outside the frame is cut off. Places that are no numbers
//! are left out.

use besom_scan::{Run, RunMask};

/// A place in the picture: columns from the left edge, rows from the top one.
pub type Point = (f64, f64);

/// The broadest brush in pixels: wider than any scan.
pub const BROADEST: f64 = 16_384.0;

/// Places beyond this many pixels are taken for this far: no scan reaches there, and sums of them stay exact enough.
const FAR: f64 = 1.0e6;

/// The pixels inside a closed outline, by the even-odd rule: a pixel is inside when a ray from its centre crosses the outline an
/// odd number of times. A centre that lies on the outline itself belongs to the part on its right, so that two outlines
/// with a common edge share no pixel and leave none out. The last point is joined to the first.
pub fn outline(points: &[Point], width: u32, height: u32) -> RunMask {
    let points = sound(points);
    let Some((top, bottom)) = span(points.iter().map(|p| p.1)) else { return RunMask::default() };
    let mut runs = Vec::new();
    let mut crossings = Vec::new();
    for y in first_centre(top, height)..first_centre(bottom, height) {
        let row = f64::from(y) + 0.5;
        crossings.clear();
        let following = points.iter().skip(1).chain(points.first());
        crossings.extend(points.iter().zip(following).filter_map(|(a, b)| crossing(*a, *b, row)));
        crossings.sort_unstable_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            runs.extend(run(y, first_centre(pair[0], width), first_centre(pair[1], width)));
        }
    }
    RunMask::from_runs(runs)
}

/// The pixels that a round brush `breadth` pixels across covers on its way along `path`: those whose centre comes as near as
/// half the breadth, and always the pixel under each point of the path, so that the thinnest brush leaves a line too. A
/// path of one point is one dab.
pub fn stroke(path: &[Point], breadth: f64, width: u32, height: u32) -> RunMask {
    let path = sound(path);
    let reach = if breadth.is_finite() { breadth.clamp(0.0, BROADEST) / 2.0 } else { 0.0 };
    let mut runs = Vec::new();
    for (index, point) in path.iter().enumerate() {
        runs.extend(under(*point, width, height));
        let next = path.get(index + 1).or_else(|| (path.len() == 1).then_some(point));
        if let Some(next) = next {
            section(*point, *next, reach, width, height, &mut runs);
        }
    }
    RunMask::from_runs(runs)
}

/// The pixels of the rectangle between two corners, whichever comes first: every pixel that it touches.
pub fn rectangle(from: Point, to: Point, width: u32, height: u32) -> RunMask {
    let [from, to] = sound(&[from, to])[..] else { return RunMask::default() };
    let within = |at: f64, size: u32| at.clamp(0.0, f64::from(size));
    let sides =
        |a: f64, b: f64, size: u32| (within(a.min(b).floor(), size) as u32, within(a.max(b).ceil(), size) as u32);
    let ((x0, x1), (y0, y1)) = (sides(from.0, to.0, width), sides(from.1, to.1, height));
    RunMask::from_runs((y0..y1).filter_map(|y| run(y, x0, x1)).collect())
}

/// Every pixel within half the breadth of the straight line between two points.
fn section(a: Point, b: Point, reach: f64, width: u32, height: u32, runs: &mut Vec<Run>) {
    let (top, bottom) = (a.1.min(b.1) - reach, a.1.max(b.1) + reach);
    // The last row may lie exactly at the reach; one more is looked at and found empty when it does not.
    let rows = first_centre(top, height)..first_centre(bottom, height).saturating_add(1).min(height);
    for y in rows {
        if let Some((left, right)) = across(a, b, reach, f64::from(y) + 0.5) {
            let (x0, x1) = (first_centre(left, width), past_centre(right, width));
            runs.extend(run(y, x0, x1));
        }
    }
}

/// Where a row meets the places within `reach` of the line from `a` to `b`. They are convex, so the ends of what the row
/// meets of the two round ends and of the band between them are the ends of all.
fn across(a: Point, b: Point, reach: f64, row: f64) -> Option<(f64, f64)> {
    let round = |(x, y): Point| {
        let half = reach * reach - (row - y) * (row - y);
        (half >= 0.0).then(|| (x - half.sqrt(), x + half.sqrt()))
    };
    let parts = [round(a), round(b), band(a, b, reach, row)];
    parts.into_iter().flatten().reduce(|(l, r), (left, right)| (l.min(left), r.max(right)))
}

/// The same for the places beside the line, between its ends.
fn band(a: Point, b: Point, reach: f64, row: f64) -> Option<(f64, f64)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length = dx.hypot(dy);
    if length == 0.0 {
        return None;
    }
    let down = row - a.1;
    // Along the line, and to its side, both in lengths of the line: each is a straight function of the column.
    let along = between(dx, dy * down, 0.0, length * length)?;
    let beside = between(dy, -dx * down, -reach * length, reach * length)?;
    let (left, right) = (along.0.max(beside.0), along.1.min(beside.1));
    (left <= right).then_some((a.0 + left, a.0 + right))
}

/// The columns at which `slope * column + start` lies between two values.
fn between(slope: f64, start: f64, least: f64, most: f64) -> Option<(f64, f64)> {
    if slope == 0.0 {
        return (least <= start && start <= most).then_some((f64::NEG_INFINITY, f64::INFINITY));
    }
    let (one, other) = ((least - start) / slope, (most - start) / slope);
    Some((one.min(other), one.max(other)))
}

/// Where an edge crosses a row's centre line. Its upper end belongs to it, its lower one does not: an outline that passes
/// through a corner there is crossed once.
fn crossing(a: Point, b: Point, row: f64) -> Option<f64> {
    let (upper, lower) = if a.1 <= b.1 { (a, b) } else { (b, a) };
    (upper.1 <= row && row < lower.1).then(|| upper.0 + (row - upper.1) * (lower.0 - upper.0) / (lower.1 - upper.1))
}

/// The first pixel whose centre is not before `at`, within a frame of this size.
fn first_centre(at: f64, size: u32) -> u32 {
    (at - 0.5).ceil().clamp(0.0, f64::from(size)) as u32
}

/// The first pixel whose centre is beyond `at`.
fn past_centre(at: f64, size: u32) -> u32 {
    ((at - 0.5).floor() + 1.0).clamp(0.0, f64::from(size)) as u32
}

fn run(y: u32, x0: u32, x1: u32) -> Option<Run> {
    (x0 < x1).then_some(Run { y, x0, x1 })
}

fn under((x, y): Point, width: u32, height: u32) -> Option<Run> {
    let inside = x >= 0.0 && y >= 0.0 && x < f64::from(width) && y < f64::from(height);
    inside.then(|| Run { y: y as u32, x0: x as u32, x1: x as u32 + 1 })
}

fn sound(points: &[Point]) -> Vec<Point> {
    let numbers = points.iter().filter(|(x, y)| !x.is_nan() && !y.is_nan());
    numbers.map(|(x, y)| (x.clamp(-FAR, FAR), y.clamp(-FAR, FAR))).collect()
}

fn span(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |span, v| Some(span.map_or((v, v), |(least, most): (f64, f64)| (least.min(v), most.max(v)))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The mask as rows of `#` and `.`.
    fn drawn(mask: &RunMask, width: u32, height: u32) -> Vec<String> {
        let row = |y| (0..width).map(|x| if mask.contains(x, y) { '#' } else { '.' }).collect();
        (0..height).map(row).collect()
    }

    /// Worked out on squared paper: the centres of the pixels inside a triangle with corners (0, 0), (6, 0), (0, 4). Its
    /// long side falls by two rows on three columns, so in row y it stands at column 6 - 1.5 (y + 0.5): 5.25, 3.75, 2.25, 0.75.
    #[test]
    fn a_triangle_holds_the_centres_counted_by_hand() {
        let triangle = [(0.0, 0.0), (6.0, 0.0), (0.0, 4.0)];
        assert_eq!(drawn(&outline(&triangle, 7, 5), 7, 5), ["#####..", "####...", "##.....", "#......", "......."]);
    }

    /// A ring drawn as one line around and one line back inside: the hole stays open. And an hourglass that crosses
    /// itself.
    #[test]
    fn what_is_crossed_twice_is_outside() {
        let ring = [
            (0.0, 0.0),
            (5.0, 0.0),
            (5.0, 5.0),
            (0.0, 5.0),
            (0.0, 0.0),
            (2.0, 2.0),
            (2.0, 4.0),
            (4.0, 4.0),
            (4.0, 2.0),
            (2.0, 2.0),
        ];
        assert_eq!(drawn(&outline(&ring, 5, 5), 5, 5), ["#####", "#####", "##..#", "##..#", "#####"]);
        let hourglass = [(-0.25, 0.0), (4.25, 0.0), (-0.25, 4.0), (4.25, 4.0)];
        assert_eq!(drawn(&outline(&hourglass, 4, 4), 4, 4), ["####", ".##.", ".##.", "####"]);
    }

    /// A brush of three pixels on a pixel's centre covers those whose centre is within 1.5 pixels: a square of nine,
    /// whose corners are 1.41 away. One of two pixels, moved three columns on, sweeps what lies between.
    #[test]
    fn a_stroke_covers_what_the_brush_passes() {
        assert_eq!(drawn(&stroke(&[(2.5, 2.5)], 3.0, 5, 5), 5, 5), [".....", ".###.", ".###.", ".###.", "....."]);
        assert_eq!(drawn(&stroke(&[(2.5, 2.5)], 2.0, 5, 5), 5, 5), [".....", "..#..", ".###.", "..#..", "....."]);
        let swept = stroke(&[(1.5, 1.5), (4.5, 1.5)], 2.0, 6, 3);
        assert_eq!(drawn(&swept, 6, 3), [".####.", "######", ".####."]);
    }

    #[test]
    fn the_thinnest_brush_leaves_a_line_without_gaps() {
        let line = stroke(&[(0.2, 0.9), (7.9, 3.1)], 1.0, 8, 5);
        let columns = |x| (0..5).filter(|y| line.contains(x, *y)).count();
        assert!((0..8).all(|x| columns(x) >= 1), "{:?}", drawn(&line, 8, 5));
        assert_eq!(stroke(&[(3.99, 2.01)], 0.0, 8, 5), RunMask::from_runs(vec![Run { y: 2, x0: 3, x1: 4 }]));
    }

    #[test]
    fn a_rectangle_takes_every_pixel_it_touches_either_way_round() {
        let there = rectangle((1.2, 0.0), (3.1, 1.5), 6, 4);
        assert_eq!(drawn(&there, 6, 4), [".###..", ".###..", "......", "......"]);
        assert_eq!(rectangle((3.1, 1.5), (1.2, 0.0), 6, 4), there);
        assert_eq!(rectangle((-9.0, -9.0), (99.0, 99.0), 6, 4).area(), 24);
        assert!(rectangle((7.0, 0.0), (9.0, 3.0), 6, 4).is_empty());
    }

    #[test]
    fn shrinking_takes_one_pixel_off_each_side_but_the_frames_border() {
        let plus = rectangle((2.0, 0.0), (5.0, 6.0), 8, 6).union(&rectangle((0.0, 2.0), (7.0, 5.0), 8, 6));
        assert_eq!(drawn(&plus, 8, 6), ["..###...", "..###...", "#######.", "#######.", "#######.", "..###..."]);
        let less = plus.shrunk(1, 8, 6);
        assert_eq!(drawn(&less, 8, 6), ["...#....", "...#....", "...#....", "######..", "...#....", "...#...."]);
        assert!(rectangle((2.0, 2.0), (4.0, 5.0), 8, 6).shrunk(1, 8, 6).is_empty(), "nothing is left of two columns");
        assert_eq!(rectangle((0.0, 0.0), (8.0, 6.0), 8, 6).shrunk(1, 8, 6).area(), 48);
        assert!(RunMask::default().shrunk(1, 8, 6).is_empty());
    }

    #[test]
    fn what_is_no_place_is_left_out() {
        let odd = [(f64::NAN, 1.0), (f64::INFINITY, 2.0), (0.0, f64::NEG_INFINITY), (3.0, 3.0)];
        for mask in [outline(&odd, 8, 8), stroke(&odd, f64::NAN, 8, 8), stroke(&odd, f64::INFINITY, 8, 8)] {
            assert!(mask.runs().iter().all(|r| r.x1 <= 8 && r.y < 8));
        }
        assert!(outline(&[], 8, 8).is_empty() && stroke(&[], 3.0, 8, 8).is_empty());
        assert!(rectangle((f64::NAN, 0.0), (1.0, 1.0), 8, 8).is_empty());
    }

    const SIDE: u32 = 20;

    /// Eighths of a pixel, in and around a frame of 20 pixels' side: whole numbers, so that the twins reckon exactly.
    fn eighths() -> impl Strategy<Value = (i64, i64)> {
        (-40i64..200, -40i64..200)
    }

    fn point((x, y): (i64, i64)) -> Point {
        (x as f64 / 8.0, y as f64 / 8.0)
    }

    /// On which side of an edge a pixel's centre lies, and whether it is level with the edge.
    fn side(a: (i64, i64), b: (i64, i64), (x, y): (i64, i64)) -> (i64, bool) {
        let (upper, lower) = if a.1 <= b.1 { (a, b) } else { (b, a) };
        let cross = (lower.0 - upper.0) * (y - upper.1) - (x - upper.0) * (lower.1 - upper.1);
        (cross, upper.1 <= y && y < lower.1)
    }

    /// The even-odd rule pixel by pixel in whole numbers.
    fn outline_twin(points: &[(i64, i64)]) -> RunMask {
        let edges = || points.iter().zip(points.iter().cycle().skip(1));
        let inside = |centre: (i64, i64)| {
            // Crossings to the left of the centre or under it: the cross product is not above zero there.
            edges().filter(|(a, b)| matches!(side(**a, **b, centre), (cross, true) if cross <= 0)).count() % 2 == 1
        };
        let pixels = (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (x, y)));
        RunMask::from_pixels(pixels.filter(|(x, y)| inside((i64::from(*x) * 8 + 4, i64::from(*y) * 8 + 4))))
    }

    /// Twice the squared distance is compared as fractions: no root is drawn and nothing is rounded.
    fn near(a: (i64, i64), b: (i64, i64), (x, y): (i64, i64), reach_squared_4: i64) -> bool {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let (px, py) = (x - a.0, y - a.1);
        let (along, square) = (px * dx + py * dy, dx * dx + dy * dy);
        let of = |x: i64, y: i64| 4 * (x * x + y * y) <= reach_squared_4;
        if along <= 0 {
            of(px, py)
        } else if along >= square {
            of(x - b.0, y - b.1)
        } else {
            let cross = px * dy - py * dx;
            4 * cross * cross <= reach_squared_4 * square
        }
    }

    proptest! {
        #[test]
        fn an_outline_is_its_plain_twin(points in proptest::collection::vec(eighths(), 0..9)) {
            let places: Vec<Point> = points.iter().copied().map(point).collect();
            let (fast, plain) = (outline(&places, SIDE, SIDE), outline_twin(&points));
            // A centre on an edge may fall to either side when the edge's column is rounded.
            let edges: Vec<_> = points.iter().zip(points.iter().cycle().skip(1)).collect();
            let on_edge = |x: u32, y: u32| {
                let centre = (i64::from(x) * 8 + 4, i64::from(y) * 8 + 4);
                edges.iter().any(|(a, b)| side(**a, **b, centre) == (0, true))
            };
            for (x, y) in fast.minus(&plain).pixels().chain(plain.minus(&fast).pixels()) {
                prop_assert!(on_edge(x, y), "{x}, {y}");
            }
        }

        /// Breadths of odd sixteenths keep every centre off the rim, so that no rounding can decide.
        #[test]
        fn a_stroke_is_its_plain_twin(points in proptest::collection::vec(eighths(), 1..6), sixteenths in 0i64..80) {
            let breadth = 2 * sixteenths + 1;
            let places: Vec<Point> = points.iter().copied().map(point).collect();
            let fast = stroke(&places, breadth as f64 / 16.0, SIDE, SIDE);
            // In eighths the reach is breadth / 4; four times its square is breadth * breadth / 4, so all is taken by four.
            let scaled = |(x, y): (i64, i64)| (x * 2, y * 2);
            let sections: Vec<_> = if points.len() == 1 { vec![(points[0], points[0])] } else { points.windows(2).map(|p| (p[0], p[1])).collect() };
            let covered = |x: u32, y: u32| {
                let centre = (i64::from(x) * 16 + 8, i64::from(y) * 16 + 8);
                sections.iter().any(|(a, b)| near(scaled(*a), scaled(*b), centre, breadth * breadth))
            };
            let beneath = |x: u32, y: u32| points.iter().any(|p| (p.0.div_euclid(8), p.1.div_euclid(8)) == (i64::from(x), i64::from(y)));
            for (x, y) in (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (x, y))) {
                prop_assert_eq!(fast.contains(x, y), covered(x, y) || beneath(x, y), "{}, {}", x, y);
            }
        }

        /// Two outlines with a common edge share no pixel and leave none out.
        #[test]
        fn neighbours_share_no_pixel(cut in 0u32..160) {
            let x = f64::from(cut) / 8.0;
            let left = outline(&[(0.0, 0.0), (x, 0.0), (x, 20.0), (0.0, 20.0)], SIDE, SIDE);
            let right = outline(&[(x, 0.0), (20.0, 0.0), (20.0, 20.0), (x, 20.0)], SIDE, SIDE);
            prop_assert_eq!(left.overlap(&right), 0);
            prop_assert_eq!(left.area() + right.area(), 400);
        }
    }
}
