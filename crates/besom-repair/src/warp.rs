//! Where a hole's surroundings stand in another frame: one displacement, or a coarse lattice of them.

use besom_motion::Vector;
use besom_scan::Rect;

/// Displacements over a box, bilinear between the nodes of a lattice and constant beyond its outer nodes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Warp {
    left: f32,
    top: f32,
    step: f32,
    columns: usize,
    rows: usize,
    nodes: Vec<Vector>,
}

impl Warp {
    /// The same displacement everywhere.
    pub(crate) fn constant(vector: Vector) -> Self {
        Self { left: 0.0, top: 0.0, step: 1.0, columns: 1, rows: 1, nodes: vec![vector] }
    }

    /// A lattice of nodes at most `step` apart over `rect`, each given by `vector_at`.
    pub(crate) fn lattice(rect: Rect, step: i32, mut vector_at: impl FnMut(f32, f32) -> Vector) -> Self {
        let count = |length: usize| (length as i32 - 1).div_euclid(step).max(0) as usize + 1;
        let (columns, rows) = (count(rect.width()), count(rect.height()));
        // The nodes are centred on the rectangle.
        let start = |low: i32, high: i32, n: usize| 0.5 * ((low + high - 1) as f32 - step as f32 * (n - 1) as f32);
        let (left, top) = (start(rect.x0, rect.x1, columns), start(rect.y0, rect.y1, rows));
        let step = step as f32;
        let mut nodes = Vec::with_capacity(columns * rows);
        for j in 0..rows {
            for i in 0..columns {
                nodes.push(vector_at(left + i as f32 * step, top + j as f32 * step));
            }
        }
        Self { left, top, step, columns, rows, nodes }
    }

    /// The displacement at a position of the frame.
    pub(crate) fn at(&self, x: i32, y: i32) -> Vector {
        if let [only] = self.nodes.as_slice() {
            return *only;
        }
        let place = |p: f32, low: f32, n: usize| {
            let t = ((p - low) / self.step).clamp(0.0, (n - 1) as f32);
            let i = (t as usize).min(n.saturating_sub(2));
            (i, (i + 1).min(n - 1), t - i as f32)
        };
        let (i0, i1, tx) = place(x as f32, self.left, self.columns);
        let (j0, j1, ty) = place(y as f32, self.top, self.rows);
        let node = |i: usize, j: usize| self.nodes[j * self.columns + i];
        let mix = |a: Vector, b: Vector, t: f32| Vector::new(a.dx + t * (b.dx - a.dx), a.dy + t * (b.dy - a.dy));
        mix(mix(node(i0, j0), node(i1, j0), tx), mix(node(i0, j1), node(i1, j1), tx), ty)
    }

    /// Nodes replaced by the component-wise median of their 3x3 neighbourhood: one tile that locked onto something else
    /// does not bend the field.
    pub(crate) fn steadied(&self) -> Self {
        let mut steady = self.clone();
        let mut xs = Vec::with_capacity(9);
        let mut ys = Vec::with_capacity(9);
        for j in 0..self.rows {
            for i in 0..self.columns {
                xs.clear();
                ys.clear();
                for b in j.saturating_sub(1)..=(j + 1).min(self.rows - 1) {
                    for a in i.saturating_sub(1)..=(i + 1).min(self.columns - 1) {
                        xs.push(self.nodes[b * self.columns + a].dx);
                        ys.push(self.nodes[b * self.columns + a].dy);
                    }
                }
                xs.sort_by(f32::total_cmp);
                ys.sort_by(f32::total_cmp);
                steady.nodes[j * self.columns + i] = Vector::new(xs[xs.len() / 2], ys[ys.len() / 2]);
            }
        }
        steady
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lattice_is_read_between_its_nodes_and_held_beyond() {
        let warp = Warp::lattice(Rect::new(0, 0, 25, 13), 12, |x, y| Vector::new(0.5 * x, 0.25 * y));
        assert_eq!(warp.at(6, 3), Vector::new(3.0, 0.75));
        assert_eq!(warp.at(24, 12), Vector::new(12.0, 3.0));
        assert_eq!(warp.at(90, -5), Vector::new(12.0, 0.0));
    }

    #[test]
    fn one_stray_node_is_steadied() {
        let warp = Warp::lattice(Rect::new(0, 0, 49, 49), 12, |x, y| {
            if (x, y) == (24.0, 24.0) { Vector::new(40.0, -40.0) } else { Vector::new(1.0, 2.0) }
        });
        assert_eq!(warp.steadied().at(24, 24), Vector::new(1.0, 2.0));
    }
}
