//! The way to the outlet, and the planes it divides a floor into.

use crate::plan;
use measure::PointMm;

/// Where water is meant to go.
#[derive(Clone, Debug, PartialEq)]
pub enum Target {
    /// A point waste.
    Point(PointMm),
    /// The centre line of a channel.
    Line(Vec<PointMm>),
}

impl Target {
    /// The nearest point of the outlet.
    pub fn nearest(&self, p: PointMm) -> PointMm {
        match self {
            Self::Point(at) => *at,
            Self::Line(line) => {
                let nearest = line.windows(2).map(|w| plan::nearest_on_segment(p, w[0], w[1])).min_by(|a, b| a.1.total_cmp(&b.1));
                nearest.map_or(p, |(q, _)| q)
            }
        }
    }

    /// Which side of a channel a place lies on: 0 to its left, 1 to its right, seen along the line.
    fn side(&self, p: PointMm) -> usize {
        let Self::Line(line) = self else { return 0 };
        let nearest =
            line.windows(2).min_by(|a, b| plan::nearest_on_segment(p, a[0], a[1]).1.total_cmp(&plan::nearest_on_segment(p, b[0], b[1]).1));
        nearest.map_or(0, |w| usize::from(plan::turn(w[0], w[1], p) < 0.0))
    }

    /// The way square to a channel from one of its sides.
    fn square_from(&self, side: usize) -> Option<PointMm> {
        let Self::Line(line) = self else { return None };
        let along = plan::direction(line[0], line[line.len() - 1]).or_else(|| plan::direction(line[0], line[1]))?;
        Some(if side == 0 { [along[1], -along[0]] } else { [-along[1], along[0]] })
    }
}

/// The straight or bent way from a place to its outlet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// Which outlet is nearest.
    pub outlet: usize,
    /// Where to head for: the outlet, or the corner before it.
    pub to: PointMm,
    /// Length of the whole way.
    pub length: f64,
    /// The corner it goes round, an index into the outline.
    pub round: Option<usize>,
}

/// Ways to the outlets inside an outline.
pub struct Ways<'a> {
    outline: &'a [PointMm],
    targets: &'a [Target],
    /// Corners that point inwards, with the way on from there.
    corners: Vec<(usize, PointMm, usize, f64)>,
    convex: bool,
    /// Per outlet the walls it sees with their inward normals, when planes of equal fall are cut where they meet rather than
    /// along the rays to the corners.
    equal_falls: Option<Vec<Vec<(usize, PointMm)>>>,
}

impl<'a> Ways<'a> {
    /// The shortest ways round the inward corners are found once (shortest paths over the corners that see each other).
    pub fn new(outline: &'a [PointMm], targets: &'a [Target]) -> Self {
        let n = outline.len();
        let inward: Vec<usize> =
            (0..n).filter(|&i| n > 3 && plan::turn(outline[(i + n - 1) % n], outline[i], outline[(i + 1) % n]) < 0.0).collect();
        let mut ways = Self { outline, targets, corners: Vec::new(), convex: inward.is_empty(), equal_falls: None };
        let mut left = inward;
        // Dijkstra's order: the nearest corner not yet reached, by sight of an outlet or round a corner reached before.
        while !left.is_empty() {
            let reached =
                left.iter().filter_map(|&i| ways.from(outline[i]).map(|w| (w, i))).min_by(|a, b| a.0.length.total_cmp(&b.0.length));
            let Some((way, i)) = reached else { break };
            ways.corners.push((i, outline[i], way.outlet, way.length));
            left.retain(|&k| k != i);
        }
        ways
    }

    /// The same with planes cut where planes of equal fall meet: each place belongs to the wall that lies farthest behind it.
    pub fn with_equal_falls(mut self) -> Self {
        let walls = self.targets.iter().enumerate().map(|(outlet, target)| match target {
            Target::Point(_) => {
                (0..self.outline.len()).filter(|&i| self.sees_wall(outlet, i)).filter_map(|i| Some((i, self.inward(i)?))).collect()
            }
            Target::Line(_) => Vec::new(),
        });
        let walls = walls.collect();
        self.equal_falls = Some(walls);
        self
    }

    /// Whether a wall has a plane of its own between the rays from an outlet to its ends.
    pub fn sees_wall(&self, outlet: usize, wall: usize) -> bool {
        let (a, b) = (self.outline[wall], self.outline[(wall + 1) % self.outline.len()]);
        let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
        [a, middle, b].iter().any(|p| {
            // A place on the wall, a little towards its middle, so that a corner counts for both its walls.
            let p = [p[0] + (middle[0] - p[0]) * 0.02, p[1] + (middle[1] - p[1]) * 0.02];
            self.sector(p) == Some(Sector { outlet, part: Part::Wall(wall) })
        })
    }

    /// The unit vector from a wall into the room: counter-clockwise, the room lies to the left of its walls.
    fn inward(&self, wall: usize) -> Option<PointMm> {
        plan::direction(self.outline[wall], self.outline[(wall + 1) % self.outline.len()]).map(|[x, y]| [-y, x])
    }

    /// The way from a place; straight to the nearest outlet when no corner lets it pass.
    pub fn way(&self, p: PointMm) -> Option<Way> {
        let straight = self
            .targets
            .iter()
            .enumerate()
            .map(|(outlet, target)| {
                let to = target.nearest(p);
                Way { outlet, to, length: plan::distance(p, to), round: None }
            })
            .min_by(|a, b| a.length.total_cmp(&b.length))?;
        // Nothing is shorter than straight to the nearest.
        if self.convex || !self.is_cut_off(p, straight.to) {
            return Some(straight);
        }
        self.from(p).or(Some(straight))
    }

    fn from(&self, p: PointMm) -> Option<Way> {
        let direct = self.targets.iter().enumerate().flat_map(|(outlet, target)| {
            let ends = match target {
                Target::Point(_) => &[][..],
                Target::Line(line) => &line[..],
            };
            let seen = |to: &PointMm| self.sees(p, *to);
            let to = std::iter::once(target.nearest(p)).chain(ends.iter().copied()).find(seen);
            to.map(|to| Way { outlet, to, length: plan::distance(p, to), round: None })
        });
        let round = self.corners.iter().filter(|c| self.sees(p, c.1)).map(|&(i, corner, outlet, on)| Way {
            outlet,
            to: corner,
            length: plan::distance(p, corner) + on,
            round: Some(i),
        });
        direct.chain(round).filter(|w| w.length.is_finite()).min_by(|a, b| a.length.total_cmp(&b.length))
    }

    /// Whether two places see each other.
    fn sees(&self, a: PointMm, b: PointMm) -> bool {
        // Two places on the walls may have a line between them that runs outside and crosses nothing.
        self.convex || (!self.is_cut_off(a, b) && plan::contains(self.outline, [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]))
    }

    /// Whether a wall crosses the straight line between two places; both ends are drawn in a little, so that an end on a wall
    /// sees along it and into the room.
    fn is_cut_off(&self, a: PointMm, b: PointMm) -> bool {
        let length = plan::distance(a, b);
        if length < 1e-6 {
            return false;
        }
        let t = (1.0 / length).min(0.25);
        let between = |t: f64| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        let (from, to) = (between(t), between(1.0 - t));
        // Corners on one side of the line through both ends make no edge that crosses it.
        let mut last = plan::turn(from, to, self.outline[self.outline.len() - 1]);
        for (i, &corner) in self.outline.iter().enumerate() {
            let side = plan::turn(from, to, corner);
            if !(side > 0.0 && last > 0.0 || side < 0.0 && last < 0.0) {
                let before = self.outline[(i + self.outline.len() - 1) % self.outline.len()];
                if plan::segments_meet(from, to, before, corner) {
                    return true;
                }
            }
            last = side;
        }
        false
    }

    /// The plane a place belongs to when nobody drew zones.
    pub fn sector(&self, p: PointMm) -> Option<Sector> {
        self.way(p).map(|way| self.sector_on(way, p))
    }

    /// The same when the way is known.
    pub fn sector_on(&self, way: Way, p: PointMm) -> Sector {
        if let Some(corner) = way.round {
            return Sector { outlet: way.outlet, part: Part::Round(corner) };
        }
        let part = match &self.targets[way.outlet] {
            target @ Target::Line(_) => Part::Side(target.side(p)),
            Target::Point(waste) => self.wall_of(way.outlet, *waste, p).map_or(Part::Whole, Part::Wall),
        };
        Sector { outlet: way.outlet, part }
    }

    /// The wall whose plane a place belongs to.
    fn wall_of(&self, outlet: usize, waste: PointMm, p: PointMm) -> Option<usize> {
        let Some(walls) = &self.equal_falls else { return self.wall_behind(waste, p) };
        let behind = |n: PointMm| n[0] * (waste[0] - p[0]) + n[1] * (waste[1] - p[1]);
        // The first of walls in one line, whatever the rounding.
        let farthest = walls[outlet].iter().map(|(_, n)| behind(*n)).fold(f64::NEG_INFINITY, f64::max);
        walls[outlet].iter().find(|(_, n)| behind(*n) >= farthest - 1e-6).map(|(i, _)| *i)
    }

    /// The wall that the ray from the waste through a place meets first beyond the place.
    fn wall_behind(&self, waste: PointMm, p: PointMm) -> Option<usize> {
        let (dx, dy) = (p[0] - waste[0], p[1] - waste[1]);
        let reach = (dx * dx + dy * dy).sqrt();
        if reach == 0.0 {
            return None;
        }
        // A place on or a little outside a wall belongs to that wall.
        let least = 1.0 - (10.0 / reach).min(0.5);
        let mut first = (f64::INFINITY, None);
        for (i, (a, b)) in plan::edges(self.outline).enumerate() {
            let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
            let cross = dx * ey - dy * ex;
            if cross == 0.0 {
                continue;
            }
            let (wx, wy) = (a[0] - waste[0], a[1] - waste[1]);
            let t = (wx * ey - wy * ex) / cross;
            let s = (wx * dy - wy * dx) / cross;
            // A ray to a corner meets one of its walls, whatever the rounding.
            if (-1e-9..=1.0 + 1e-9).contains(&s) && t >= least && t < first.0 {
                first = (t, Some(i));
            }
        }
        first.1
    }

    /// The way a plane must fall: square from the wall towards a waste, square to a channel, and round a corner towards it.
    pub fn must_fall(&self, sector: Sector) -> Option<PointMm> {
        match sector.part {
            Part::Wall(i) => self.inward(i),
            Part::Side(side) => self.targets[sector.outlet].square_from(side),
            Part::Round(_) | Part::Whole => None,
        }
    }
}

/// A part of the floor that falls one way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Sector {
    /// Its outlet.
    pub outlet: usize,
    /// Which part of what drains there.
    pub part: Part,
}

/// How a floor is divided around an outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Between the rays from a waste to the two ends of a wall.
    Wall(usize),
    /// One side of a channel.
    Side(usize),
    /// Out of sight of the outlet, round a corner.
    Round(usize),
    /// The place of the waste itself.
    Whole,
}
