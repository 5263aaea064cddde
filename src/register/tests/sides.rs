//! Breaks: each side of a night is steadied by itself, over one stand of the camera.

#![expect(clippy::print_stdout, reason = "measured figures are what these tests are run for")]

use super::*;

const EACH: usize = 40;

/// A camera that sinks over the evening, and stands elsewhere by so much in the morning.
fn stand(at: usize, night: f64) -> Pose {
    if at < EACH { shifted(0.0, 0.03 * at as f64) } else { shifted(night, 0.03 * (EACH - 1) as f64) }
}

#[test]
fn a_night_is_no_sag_and_what_happened_in_it_is_undone_at_the_break_alone() {
    let scene = Scene::new();
    for night in [0.1, 3.0] {
        let both = registered(scene.layout(), 2 * EACH, |at| scene.still(at, stand(at, night).into()));
        let evening = registered(scene.layout(), EACH, |at| scene.still(at, stand(at, night).into()));
        let alone = solve(&evening, &ALL);
        let solved = solve_in_sides(&both, &ALL, &[EACH]);
        let apart = |slot: usize, other: Pose| (solved.stands[slot].x - other.x).hypot(solved.stands[slot].y - other.y);
        let off = (0..EACH).map(|slot| apart(slot, alone.stands[slot])).fold(0.0, f64::max);
        println!("{night} px in the night: the evening {off:.3} px off what it is alone, {:?}", solved.bumps);
        assert!(off < 0.05, "{off}");
        // The morning stands still, exactly, right where the night left it.
        let morning = solved.stands[EACH];
        assert!(solved.stands[EACH..].iter().all(|stand| *stand == morning), "{:?}", &solved.stands[EACH..]);
        assert!(apart(2 * EACH - 1, stand(EACH, if night > 1.0 { night } else { 0.0 })) < 0.15, "{morning:?}");
        let bumps: Vec<usize> = solved.bumps.iter().map(|bump| bump.at).collect();
        assert_eq!(bumps, if night > 1.0 { vec![EACH] } else { vec![] });
    }
}
