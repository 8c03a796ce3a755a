//! `overflow` as it is called: volumes and times known by formula, pools that spill and join, wrong input.

use measure::Problems;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::cmp::Ordering;
use std::collections::VecDeque;
use water::overflow::{Into, Output, run};

fn overflow(input: Value) -> Result<Output, Problems> {
    run(&serde_json::from_value(input).expect("the input has the form of the schema"))
}

fn fields(result: Result<Output, Problems>) -> Vec<String> {
    result.expect_err("the input is wrong").problems.into_iter().map(|p| p.field).collect()
}

/// A floor of `nx` by `ny` cells of `cell_mm` from corner 0, 0.
fn floor(nx: usize, ny: usize, cell_mm: f64, height: impl Fn(f64, f64) -> f64) -> Value {
    let at = |k: usize| (k as f64 + 0.5) * cell_mm;
    let z: Vec<f64> = (0..nx * ny).map(|c| height(at(c % nx), at(c / nx))).collect();
    json!({"grid": {"x0_mm": at(0), "y0_mm": at(0), "cell_mm": cell_mm, "nx": nx, "ny": ny, "z_mm": z}})
}

/// t = A h / Q: 0.81 m2 to 25 mm at 0.15 L/s takes 135 s.
#[test]
fn flat_box_overflows_when_its_area_is_filled_to_the_sill() {
    let out = overflow(json!({
        "surface": floor(90, 90, 10.0, |_, _| 0.0),
        "outlets": [{"id": "w1", "kind": "point", "x_mm": 450, "y_mm": 450, "radius_mm": 50}],
        "flow_l_min": 9, "source_mm": [300, 200],
        "openings": [
            {"id": "door", "line_mm": [[200, 900], [700, 900]], "level_mm": 25},
            {"id": "high door", "line_mm": [[0, 100], [0, 700]], "level_mm": 40},
        ],
    }))
    .expect("a sound floor");
    let first = out.first.expect("the door is reached");
    assert_eq!(first.opening, "door");
    assert!((first.after_s - 135.0).abs() < 1e-9 && (first.volume_l - 20.25).abs() < 1e-9 && first.level_mm == 25.0, "{first:?}");
    let freeboards: Vec<f64> = out.openings.iter().map(|o| o.freeboard_mm).collect();
    assert_eq!(freeboards, [0.0, 15.0]);
    assert_eq!(out.sequence.len(), 1);
    assert_eq!(out.sequence[0].into, Into::Opening { id: "door".into() });
}

/// V = W h² / (2 S): 0.9 m wide, fall 1:60, 12 mm at the low edge hold 3.88 L (3.888); the area wetted is h / S long.
#[test]
fn plane_holds_a_wedge_of_water() {
    for (cell, tolerance) in [(10.0, 2e-3), (5.0, 1e-3), (2.5, 5e-4)] {
        let (nx, ny) = ((900.0 / cell) as usize, (1200.0 / cell) as usize);
        let out = overflow(json!({
            "surface": floor(nx, ny, cell, |_, y| y / 60.0),
            "flow_l_min": 6.0, "source_mm": [450, 1000],
            "openings": [{"id": "sill", "line_mm": [[300, 0], [600, 0]], "level_mm": 12}],
        }))
        .expect("a sound floor");
        let first = out.first.expect("the sill is reached");
        assert!((first.volume_l - 3.888).abs() < tolerance * 3.888, "{cell} mm: {}", first.volume_l);
        assert!((first.after_s - first.volume_l * 10.0).abs() < 1e-9);
    }
}

/// Three troughs in a row; cells of 0.01 m2, so a millimetre in one is 0.01 L.
#[test]
fn pools_fill_spill_and_join_in_order() {
    // Pools at 1, 3 and 6; passes at 2 (height 5), 4 (height 7); walls at the ends.
    let z = [9.0, 2.0, 5.0, 0.0, 7.0, 8.0, 4.0, 9.0];
    let surface = json!({"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 8, "ny": 1, "z_mm": z}});
    let out = overflow(json!({
        "surface": surface, "flow_l_min": 0.6, "source_mm": [100, 0],
        "openings": [{"id": "end", "line_mm": [[700, -50], [700, 50]], "level_mm": 8.5}],
    }))
    .expect("a sound floor");
    let steps: Vec<(f64, f64, f64, f64, &Into)> =
        out.sequence.iter().map(|s| (s.at_mm[0], s.spill_mm[0], s.level_mm, s.volume_l * 100.0, &s.into)).collect();
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    let expected = [
        // The first fills 3 mm and spills over the pass at 200 into the deeper one at 300.
        (100.0, 200.0, 5.0, 3.0, Into::Pool { at_mm: [300.0, 0.0] }),
        // That one fills to the same pass: they join.
        (300.0, 200.0, 5.0, 5.0, Into::Joins { at_mm: [100.0, 0.0] }),
        // Together three cells up to the pass of height 8 at 500: 6 + 3 + 8 + 1 in four cells.
        (300.0, 500.0, 8.0, 6.0 + 3.0 + 8.0 + 1.0, Into::Pool { at_mm: [600.0, 0.0] }),
        (600.0, 500.0, 8.0, 4.0, Into::Joins { at_mm: [300.0, 0.0] }),
        // Everything to 9, the height of the last cell, which is above the opening's own level.
        (300.0, 700.0, 9.0, 7.0 + 4.0 + 9.0 + 2.0 + 1.0 + 5.0, Into::Opening { id: "end".into() }),
    ];
    assert_eq!(steps.len(), expected.len(), "{steps:?}");
    for (step, expected) in steps.iter().zip(&expected) {
        assert!((step.0, step.1, step.2) == (expected.0, expected.1, expected.2) && near(step.3, expected.3), "{step:?} {expected:?}");
        assert_eq!(step.4, &expected.4);
    }
    // 0.01 L/s: 100 s for each litre, and volumes add up over pools that stand.
    let times: Vec<f64> = out.sequence.iter().map(|s| s.after_s).collect();
    for (time, sum) in times.iter().zip([3.0, 8.0, 18.0, 22.0, 28.0]) {
        assert!(near(*time, sum), "{times:?}");
    }
    assert!(near(out.first.expect("reached").volume_l, 0.28));
}

#[test]
fn floor_without_a_reachable_opening_ends_under_water() {
    let surface = json!({"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 5, "ny": 1, "z_mm": [3, 0, 2, null, 1]}});
    let input = json!({
        "surface": surface, "flow_l_min": 1, "source_mm": [0, 0],
        "openings": [{"id": "beyond the wall", "line_mm": [[400, -50], [400, 50]], "level_mm": 1}],
    });
    let out = overflow(input).expect("a sound floor");
    assert_eq!(out.first, None);
    let last = out.sequence.last().expect("one pool");
    assert_eq!((&last.into, last.level_mm), (&Into::WholeFloor, 3.0));
    assert!((last.volume_l - 0.04).abs() < 1e-12);
    assert!(out.end.contains("no opening lies on the floor it can reach") && out.end.contains("whole floor is under water"));
    assert_eq!(out.openings[0].water_mm, None);
}

#[test]
fn water_running_across_a_flush_opening_is_named_but_does_not_count_as_standing() {
    let out = overflow(json!({
        "surface": floor(30, 100, 10.0, |_, y| y / 50.0),
        "flow_l_min": 6, "source_mm": [150, 950],
        "openings": [
            {"id": "flush door", "line_mm": [[0, 500], [300, 500]], "level_mm": 10},
            {"id": "sill", "line_mm": [[0, 0], [300, 0]], "level_mm": 2},
        ],
    }))
    .expect("a sound floor");
    assert_eq!(out.first.expect("reached").opening, "sill");
    assert_eq!(out.runs_across.len(), 1);
    assert_eq!((out.runs_across[0].opening.as_str(), out.runs_across[0].after_s), ("flush door", 0.0));
    assert!(out.openings[0].water_mm.is_none() && (out.openings[0].freeboard_mm - 8.0).abs() < 1e-9);
}

#[test]
fn small_pools_can_be_left_out_of_the_list_and_still_count() {
    let z = [9.0, 2.0, 5.0, 0.0, 7.0, 8.0, 4.0, 9.0];
    let surface = json!({"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 8, "ny": 1, "z_mm": z}});
    let out =
        overflow(json!({"surface": surface, "flow_l_min": 0.6, "source_mm": [100, 0], "volume_ignored_l": 0.045})).expect("a sound floor");
    assert_eq!((out.sequence.len(), out.pools_filled), (3, 5));
    assert!((out.sequence[2].after_s - 28.0).abs() < 1e-9);
}

#[test]
fn opening_beyond_the_last_cell_centres_still_takes_the_floor_beside_it() {
    // The wall at x = 1003 cuts through cells whose centre lies beyond it.
    let out = overflow(json!({
        "surface": {
            "outline_mm": [[0, 0], [1003, 0], [1003, 800], [0, 800]],
            "readings": [{"x_mm": 0, "y_mm": 0, "z_mm": 0}, {"x_mm": 1003, "y_mm": 0, "z_mm": 0},
                         {"x_mm": 1003, "y_mm": 800, "z_mm": 0}, {"x_mm": 0, "y_mm": 800, "z_mm": 0}],
        },
        "flow_l_min": 10, "source_mm": [500, 400],
        "openings": [{"id": "door", "line_mm": [[1003, 100], [1003, 700]], "level_mm": 20}],
    }))
    .expect("a sound floor");
    let first = out.first.expect("reached");
    assert!((first.volume_l - 1.0 * 0.8 * 20.0).abs() < 0.1, "{first:?}");
}

#[test]
fn everything_wrong_is_said_at_once() {
    let out = overflow(json!({
        "surface": floor(4, 4, 10.0, |_, _| 0.0),
        "flow_l_min": 0, "source_mm": [500, 5], "volume_ignored_l": -1,
        "openings": [
            {"id": "a", "line_mm": [[0, 0], [0, 0]], "level_mm": 3},
            {"id": "a", "line_mm": [[0, 0], [0, 9]], "level_mm": 1e99},
        ],
        "outlets": [{"id": "w", "kind": "point", "x_mm": -500, "y_mm": 0}],
    }));
    assert_eq!(
        fields(out),
        ["flow_l_min", "openings[0].line_mm", "openings[1].id", "openings[1].level_mm", "volume_ignored_l", "outlets[0].x_mm", "source_mm"]
    );
    let missing = overflow(json!({"surface": floor(4, 4, 10.0, |_, _| 0.0)}));
    assert_eq!(fields(missing), ["flow_l_min", "source_mm"]);
    let far = overflow(json!({
        "surface": floor(4, 4, 10.0, |_, _| 0.0), "flow_l_min": 1, "source_mm": [5, 5],
        "openings": [{"id": "far", "line_mm": [[900, 0], [900, 100]], "level_mm": 1}],
    }));
    assert_eq!(fields(far), ["openings[0].line_mm"]);
}

/// Water as drops of one millimetre in one cell, each running down to where it comes to rest.
struct Drops {
    nx: usize,
    ny: usize,
    z: Vec<i64>,
    surface: Vec<i64>,
}

impl Drops {
    fn neighbours(&self, c: usize) -> Vec<usize> {
        let (i, j) = ((c % self.nx) as i64, (c / self.nx) as i64);
        let mut out = Vec::new();
        for (di, dj) in [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)] {
            let (i, j) = (i + di, j + dj);
            if i >= 0 && j >= 0 && i < self.nx as i64 && j < self.ny as i64 {
                out.push(j as usize * self.nx + i as usize);
            }
        }
        out
    }

    fn wet(&self, c: usize) -> bool {
        self.surface[c] > self.z[c]
    }

    /// Lower neighbours by height of the floor, the steepest way first.
    fn ways(&self, c: usize) -> Vec<usize> {
        let fall = |n: usize| {
            let drop = (self.z[c] - self.z[n]) as f64;
            if n % self.nx != c % self.nx && n / self.nx != c / self.nx { drop * std::f64::consts::FRAC_1_SQRT_2 } else { drop }
        };
        let mut ways: Vec<usize> = self.neighbours(c).into_iter().filter(|&n| self.z[n] < self.z[c]).collect();
        ways.sort_by(|&a, &b| fall(b).total_cmp(&fall(a)));
        ways
    }

    /// From the water a cell lies under, a cell beside it or in it whose surface is lower.
    fn lower_beside(&self, c: usize) -> Option<usize> {
        let mut seen = vec![false; self.z.len()];
        let mut queue = vec![c];
        seen[c] = true;
        while let Some(at) = queue.pop() {
            for n in self.neighbours(at) {
                if self.surface[n] < self.surface[c] {
                    return Some(n);
                }
                if !seen[n] && self.wet(n) && self.surface[n] == self.surface[c] {
                    seen[n] = true;
                    queue.push(n);
                }
            }
        }
        None
    }

    /// Where a drop on a cell goes next. Dry: the steepest way, into a pool that is full to here only while a part of it is
    /// not. Wet: to a lower part of the pool.
    fn down(&self, c: usize) -> Option<usize> {
        if self.wet(c) {
            return self.lower_beside(c);
        }
        self.ways(c).into_iter().find_map(|n| match self.surface[n].cmp(&self.surface[c]) {
            Ordering::Less => Some(n),
            Ordering::Equal => self.lower_beside(n),
            Ordering::Greater => None,
        })
    }

    /// Where water from a cell of the dry floor runs to.
    fn hollow(&self, from: usize) -> usize {
        let mut at = from;
        while let Some(down) = self.down(at) {
            at = down;
        }
        at
    }

    /// Lets one drop in; the cell where it rests.
    fn drop_at(&mut self, source: usize) -> usize {
        let mut at = source;
        loop {
            if let Some(down) = self.down(at) {
                at = down;
                continue;
            }
            // Level: the nearest way down from anywhere on it, over water before over dry ground: a pool fills before it spills.
            let mut seen = vec![false; self.z.len()];
            let mut queue = VecDeque::from([at]);
            seen[at] = true;
            let mut found = None;
            while let Some(c) = queue.pop_front() {
                if let Some(down) = self.down(c) {
                    found = Some(down);
                    break;
                }
                for n in self.neighbours(c) {
                    if !seen[n] && self.surface[n] == self.surface[at] {
                        seen[n] = true;
                        if self.wet(n) { queue.push_front(n) } else { queue.push_back(n) }
                    }
                }
            }
            match found {
                Some(down) => at = down,
                None => {
                    self.surface[at] += 1;
                    return at;
                }
            }
        }
    }

    /// Whether the water the cell lies in, at the level below its surface, stands at an opening of this cell and level.
    fn stands_at(&self, rest: usize, opening: usize, level: i64) -> bool {
        let height = self.surface[rest] - 1;
        let mut seen = vec![false; self.z.len()];
        let mut queue = vec![rest];
        seen[rest] = true;
        while let Some(c) = queue.pop() {
            if c == opening && self.z[c] <= height && level <= height {
                return true;
            }
            for n in self.neighbours(c) {
                if !seen[n] && self.surface[n] >= height && self.z[n] <= height {
                    seen[n] = true;
                    queue.push(n);
                }
            }
        }
        false
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]
    /// Pools on floors of different heights, against drops.
    #[test]
    fn water_reaches_the_opening_when_drops_do(
        nx in 1usize..7, ny in 1usize..7,
        order in Just((0..36i64).collect::<Vec<_>>()).prop_shuffle(),
        source in any::<prop::sample::Index>(), opening in any::<prop::sample::Index>(), level in 0i64..45
    ) {
        let n = nx * ny;
        let z = order[..n].to_vec();
        let (source, opening) = (source.index(n), opening.index(n));
        let at = |c: usize| [(c % nx) as f64 * 1000.0, (c / nx) as f64 * 1000.0];
        let [x, y] = at(opening);
        // A cell of 1 m2: a drop of 1 mm in one is a litre, and 60 L/min a drop a second.
        let out = overflow(json!({
            "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 1000, "nx": nx, "ny": ny, "z_mm": z}},
            "flow_l_min": 60, "source_mm": at(source),
            "openings": [{"id": "o", "line_mm": [[x - 10.0, y], [x + 10.0, y]], "level_mm": level}],
        })).expect("a sound floor");
        let first = out.first.expect("a floor in one piece leads to every opening");
        let mut drops = Drops { nx, ny, z: z.clone(), surface: z };
        let source = drops.hollow(source);
        let mut fallen = 0;
        let mut steps = out.sequence.iter().peekable();
        loop {
            while let Some(step) = steps.next_if(|s| (s.after_s - fallen as f64).abs() < 1e-6) {
                let cell = (step.at_mm[1] / 1000.0) as usize * nx + (step.at_mm[0] / 1000.0) as usize;
                prop_assert_eq!(drops.surface[cell] as f64, step.level_mm, "{:?} after {} drops", step, fallen);
            }
            let rest = drops.drop_at(source);
            if drops.stands_at(rest, opening, level) {
                break;
            }
            fallen += 1;
        }
        prop_assert!((first.volume_l - fallen as f64).abs() < 1e-6, "{} L, {} drops", first.volume_l, fallen);
        prop_assert!((first.after_s - fallen as f64).abs() < 1e-6);
        prop_assert!(steps.next().is_none());
    }
}
