//! Distances over a folded surface: from face to face over the edges they share.

use measure::{PointMm, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// An edge two faces share, as it stands in the coordinates of each. Each face is drawn as seen from inside the room.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seam {
    /// The two faces.
    pub faces: [String; 2],
    /// Its two ends in the coordinates of the first face.
    pub first_mm: [PointMm; 2],
    /// The same two ends, in the same order, in the coordinates of the second face.
    pub second_mm: [PointMm; 2],
}

/// Seams a way may cross: from wall to wall over the floor, or round two corners.
const MOST_SEAMS: usize = 3;

/// A turn and a shift.
#[derive(Clone, Copy, Debug)]
struct Motion {
    cos: f64,
    sin: f64,
    shift: PointMm,
}

impl Motion {
    const NONE: Self = Self { cos: 1.0, sin: 0.0, shift: [0.0; 2] };

    /// The motion that lays the segment `from` on the segment `onto`.
    fn laying(from: [PointMm; 2], onto: [PointMm; 2]) -> Self {
        let along = |s: [PointMm; 2]| [s[1][0] - s[0][0], s[1][1] - s[0][1]];
        let (f, t) = (along(from), along(onto));
        let length2 = (f[0] * f[0] + f[1] * f[1]).sqrt() * (t[0] * t[0] + t[1] * t[1]).sqrt();
        let (cos, sin) = ((f[0] * t[0] + f[1] * t[1]) / length2, (f[0] * t[1] - f[1] * t[0]) / length2);
        let turned = Self { cos, sin, shift: [0.0; 2] }.of(from[0]);
        Self { cos, sin, shift: [onto[0][0] - turned[0], onto[0][1] - turned[1]] }
    }

    fn of(&self, [x, y]: PointMm) -> PointMm {
        [self.cos * x - self.sin * y + self.shift[0], self.sin * x + self.cos * y + self.shift[1]]
    }

    fn after(&self, first: &Self) -> Self {
        Self {
            cos: self.cos * first.cos - self.sin * first.sin,
            sin: self.sin * first.cos + self.cos * first.sin,
            shift: self.of(first.shift),
        }
    }
}

/// One way from face to face, unfolded into the plane of the first.
#[derive(Clone, Debug)]
struct Way {
    seams: Vec<[PointMm; 2]>,
    last: Motion,
}

/// The faces of a room and how they hang together.
#[derive(Clone, Debug, Default)]
pub struct Surface {
    /// Ways from the first face to the second, by their numbers.
    ways: BTreeMap<(usize, usize), Vec<Way>>,
}

/// A place on a face.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct On {
    /// Number of the face.
    pub face: usize,
    /// Place in the face's coordinates.
    pub at: PointMm,
}

impl Surface {
    /// From seams between numbered faces: faces, ends in the first's coordinates, ends in the second's.
    pub fn new(faces: usize, seams: &[(usize, usize, [PointMm; 2], [PointMm; 2])]) -> Self {
        let mut next: Vec<Vec<(usize, [PointMm; 2], Motion)>> = vec![Vec::new(); faces];
        for &(a, b, in_a, in_b) in seams {
            next[a].push((b, in_a, Motion::laying(in_b, in_a)));
            next[b].push((a, in_b, Motion::laying(in_a, in_b)));
        }
        let mut surface = Self::default();
        for start in 0..faces {
            surface.walk(&next, &mut vec![start], &mut Vec::new(), Motion::NONE);
        }
        surface
    }

    fn walk(&mut self, next: &[Vec<(usize, [PointMm; 2], Motion)>], faces: &mut Vec<usize>, seams: &mut Vec<[PointMm; 2]>, here: Motion) {
        let at = faces[faces.len() - 1];
        for (to, seam, motion) in &next[at] {
            if faces.contains(to) {
                continue;
            }
            let last = here.after(motion);
            seams.push(seam.map(|p| here.of(p)));
            self.ways.entry((faces[0], *to)).or_default().push(Way { seams: seams.clone(), last });
            if seams.len() < MOST_SEAMS {
                faces.push(*to);
                self.walk(next, faces, seams, last);
                faces.pop();
            }
            seams.pop();
        }
    }

    /// The shortest way over the surface, over at most three seams; infinite where there is none. On one face it is the
    /// straight line, also across a notch in it.
    pub fn distance(&self, a: On, b: On) -> f64 {
        if a.face == b.face {
            return crate::geometry::distance(a.at, b.at);
        }
        let ways = self.ways.get(&(a.face, b.face));
        ways.into_iter().flatten().map(|way| way.length(a.at, way.last.of(b.at))).fold(f64::INFINITY, f64::min)
    }
}

impl Way {
    /// Shortest line from `p` through all seams to `q`, both in the plane of the first face. A line that has to bend bends
    /// at ends of seams, so it is the shortest path over those ends.
    fn length(&self, p: PointMm, q: PointMm) -> f64 {
        let count = self.seams.len();
        if self.sees(p, q, 0, count) {
            return crate::geometry::distance(p, q);
        }
        // The ends of all seams, each with its shortest way from p.
        let mut bends: Vec<(usize, PointMm, f64)> = Vec::with_capacity(2 * count);
        for (i, seam) in self.seams.iter().enumerate() {
            for end in *seam {
                let start = if self.sees(p, end, 0, i) { crate::geometry::distance(p, end) } else { f64::INFINITY };
                let shortest = bends
                    .iter()
                    .filter(|(j, from, _)| *j < i && self.sees(*from, end, j + 1, i))
                    .map(|(_, from, so_far)| so_far + crate::geometry::distance(*from, end))
                    .fold(start, f64::min);
                bends.push((i, end, shortest));
            }
        }
        let seen = bends.iter().filter(|(i, end, _)| self.sees(*end, q, i + 1, count));
        seen.map(|(_, end, so_far)| so_far + crate::geometry::distance(*end, q)).fold(f64::INFINITY, f64::min)
    }

    /// Whether the straight line from `p` to `q` crosses the seams `from..to` between their ends.
    fn sees(&self, p: PointMm, q: PointMm, from: usize, to: usize) -> bool {
        let side = |a: PointMm| (q[0] - p[0]) * (a[1] - p[1]) - (q[1] - p[1]) * (a[0] - p[0]);
        let size = math::sq(q[0] - p[0]) + math::sq(q[1] - p[1]);
        self.seams[from..to].iter().all(|s| side(s[0]) * side(s[1]) <= 1e-12 * size * size)
    }
}
