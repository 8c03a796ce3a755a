//! Distances over a folded surface: from face to face over the edges they share.

use measure::{PointMm, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// An edge two faces share, as it stands in the coordinates of each.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seam {
    /// The two faces.
    pub faces: [String; 2],
    /// Its two ends in the coordinates of the first face.
    pub first_mm: [PointMm; 2],
    /// The same two ends, in the same order, in the coordinates of the second face.
    pub second_mm: [PointMm; 2],
    /// Whether one of the two faces has its coordinates as seen from inside the room and the other as seen from behind:
    /// floor plan against a wall measured along the room's outline, say.
    #[serde(default)]
    pub mirrored: bool,
}

/// A [`Seam`] between numbered faces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SharedEdge {
    /// Numbers of the two faces.
    pub faces: [usize; 2],
    /// Its two ends in the coordinates of the first face.
    pub first_mm: [PointMm; 2],
    /// The same two ends, in the same order, in the coordinates of the second face.
    pub second_mm: [PointMm; 2],
    /// Whether one face is seen from inside the room and the other from behind.
    pub mirrored: bool,
}

/// Seams a way may cross: from wall to wall over the floor, or round two corners.
const MOST_SEAMS: usize = 3;

/// A turn and a shift, after turning the plane over or not.
#[derive(Clone, Copy, Debug)]
struct Motion {
    cos: f64,
    sin: f64,
    /// 1, or -1 where y is turned over first.
    side: f64,
    shift: PointMm,
}

impl Motion {
    const NONE: Self = Self { cos: 1.0, sin: 0.0, side: 1.0, shift: [0.0; 2] };

    /// The motion that lays the segment `from` on the segment `onto`.
    fn laying(from: [PointMm; 2], onto: [PointMm; 2], mirrored: bool) -> Self {
        let side = if mirrored { -1.0 } else { 1.0 };
        let along = |s: [PointMm; 2]| [s[1][0] - s[0][0], s[1][1] - s[0][1]];
        let (f, t) = (along(from), along(onto));
        let f = [f[0], side * f[1]];
        let length2 = (f[0] * f[0] + f[1] * f[1]).sqrt() * (t[0] * t[0] + t[1] * t[1]).sqrt();
        let (cos, sin) = ((f[0] * t[0] + f[1] * t[1]) / length2, (f[0] * t[1] - f[1] * t[0]) / length2);
        let turned = Self { cos, sin, side, shift: [0.0; 2] }.of(from[0]);
        Self { cos, sin, side, shift: [onto[0][0] - turned[0], onto[0][1] - turned[1]] }
    }

    fn of(&self, [x, y]: PointMm) -> PointMm {
        let y = self.side * y;
        [self.cos * x - self.sin * y + self.shift[0], self.sin * x + self.cos * y + self.shift[1]]
    }

    fn after(&self, first: &Self) -> Self {
        let sin = self.side * first.sin;
        Self {
            cos: self.cos * first.cos - self.sin * sin,
            sin: self.sin * first.cos + self.cos * sin,
            side: self.side * first.side,
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
    /// From the edges that faces, numbered below `faces`, share.
    pub fn new(faces: usize, seams: &[SharedEdge]) -> Self {
        let mut next: Vec<Vec<(usize, [PointMm; 2], Motion)>> = vec![Vec::new(); faces];
        for seam in seams {
            let ([a, b], in_a, in_b) = (seam.faces, seam.first_mm, seam.second_mm);
            next[a].push((b, in_a, Motion::laying(in_b, in_a, seam.mirrored)));
            next[b].push((a, in_b, Motion::laying(in_a, in_b, seam.mirrored)));
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

    /// Whether the straight line from `p` to `q` crosses the seams `from..to` between their ends. Both must be parted: a face
    /// folded back into a mouth lies on the near side of its seam for what is beyond the mouth.
    fn sees(&self, p: PointMm, q: PointMm, from: usize, to: usize) -> bool {
        self.seams[from..to].iter().all(|&[a, b]| parts([p, q], [a, b]) && parts([a, b], [p, q]))
    }
}

/// Whether two places lie on either side of a line, or on it.
fn parts(line: [PointMm; 2], places: [PointMm; 2]) -> bool {
    let [dx, dy] = [line[1][0] - line[0][0], line[1][1] - line[0][1]];
    let [a, b] = places.map(|p| dx * (p[1] - line[0][1]) - dy * (p[0] - line[0][0]));
    let size = math::sq(dx) + math::sq(dy);
    a * b <= 1e-12 * size * size
}
