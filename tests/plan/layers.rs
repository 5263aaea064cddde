//! That a row says all that is done to its stills, and that a plan stays what it was by all the rest.

use stillpath::diag::{Diagnostics, Placed};
use stillpath::level::{Curve, Gain, StillGain};
use stillpath::plan::{Layer, Layers, Plan, Row, Share, covered_in};
use stillpath::register::Pose;
use stillpath::resolve::{Known, LevelFrom, resolve};
use stillpath::shoot::Shoot;
use stillpath::shot::{
    Between, Cover, CoverArea, CoverWith, Gather, GatherOver, Gathering, Level, LevelBy, Pace, Policy, Rate, Shot,
    Steady, SteadyBy, StillBox,
};
use stillpath::units::SlotIndex;

use super::build::{delivery, line, lose, shoot, shot};

/// Twelve stills with one missing, every one of them levelled, moved and covered, in frames of one still, of several,
/// between two, and of gathered light.
fn corrected() -> Result<(Plan, Shoot), Diagnostics> {
    let mut shoot = shoot(12);
    lose(&mut shoot, 5);
    let mut shot = Shot {
        covers: vec![Cover {
            place: line(30),
            area: CoverArea::Still(StillBox { x: 0.4, y: 0.4, width: 0.1, height: 0.1 }),
            from: None,
            to: None,
            with: CoverWith::Fill,
            track: None,
        }],
        level: Some(Level { place: line(6), by: LevelBy::Curve("gains.csv".into()) }),
        steady: Some(Steady { place: line(7), by: SteadyBy::Table("stands.csv".into()), room: Steady::ROOM }),
        ..shot()
    };
    shot.pace.value = Pace::Constant(Rate::FramesPerStill(2.5));
    (shot.source.missing, shot.source.damaged) = (Policy::Hold, Policy::Hold);
    shot.deliveries = ["one", "mean", "between", "gathered"].map(|name| delivery(name, 1920, 1080, "24")).into();
    (shot.deliveries[1].blend.between, shot.deliveries[2].blend.between) = (Between::Mix, Between::Motion);
    let gathering = Gathering { by: Gather::Brightest, over: GatherOver::Stills(4) };
    shot.deliveries[3].gather = Some(Placed::new(gathering, line(41)));
    let lines = (0..12).map(|slot| {
        let gain = Gain::of([1.0 + slot as f64 / 100.0, 1.0, 0.9]);
        StillGain { slot, gain, levels: None, name: shoot.slots[slot].name.clone() }
    });
    let curve = Curve { lines: lines.collect() };
    let stands: Vec<Option<Pose>> = (0..12_i8)
        .map(|slot| Some(Pose { x: f64::from(slot), y: f64::from(slot % 3), turn: 0.01 * f64::from(slot) }))
        .collect();
    let known = Known { level: Some(LevelFrom::Curve(&curve)), stands: Some(&stands), tracks: &[], ..Known::default() };
    resolve(&shot, &shoot, known).map(|made| (made.plan, shoot))
}

#[test]
fn every_layer_of_every_frame_carries_what_the_plan_does_to_its_still_and_to_its_stand_in() {
    let (plan, shoot) = corrected().unwrap();
    let (level, steady) = (plan.level.as_ref().unwrap(), plan.steady.as_ref().unwrap());
    let mut kinds = [0; 4];
    for row in plan.deliveries.iter().flat_map(|delivery| &delivery.rows) {
        kinds[match row.layers {
            Layers::One(_) => 0,
            Layers::Mean(_) => 1,
            Layers::Between(_) => 2,
            Layers::Gathered(_) => 3,
        }] += 1;
        assert_eq!(row.layers.each().map(|(_, weight)| weight).sum::<u32>(), Share::WHOLE);
        for (layer, _) in row.layers.each() {
            let stand_in = layer.stand_in.as_ref().expect("stills are held");
            for (still, window) in [(&layer.still, layer.window), (&stand_in.still, stand_in.window)] {
                assert_eq!(still.gain, level.gains[still.slot.0]);
                assert_ne!(still.gain, Gain::UNCHANGED);
                assert_eq!(*still.covers, *covered_in(&plan.covers, still.slot));
                assert_eq!(still.covers.len(), 1);
                assert_eq!(window, steady.window(row.window, still.slot));
                assert!(shoot.still(still.slot).is_some(), "only whole stills are shown");
            }
        }
    }
    assert!(kinds.iter().all(|kind| *kind > 3), "{kinds:?}");
    assert_ne!(steady.window(plan.deliveries[0].rows[0].window, SlotIndex(9)), plan.deliveries[0].rows[0].window);
}

#[test]
fn a_row_stays_small_however_much_it_says() {
    // Ten million of them are planned at most.
    assert!(size_of::<Row>() <= 144, "{} bytes", size_of::<Row>());
}

#[test]
fn json_states_the_layers_beside_what_it_always_stated_and_the_plans_hash_goes_by_the_rest() {
    let (plan, _) = corrected().unwrap();
    let rows = |delivery: usize| serde_json::to_value(&plan.deliveries[delivery].rows).unwrap();
    let (one, between) = (&rows(0)[0], &rows(2)[1]);
    assert_eq!((&one["layers"]["one"]["slot"], one.get("blend")), (&one["shown"], None));
    assert_eq!(one["layers"]["one"]["gain"]["light"], serde_json::json!([1.0, 1.0, 0.9]));
    assert_eq!(between["layers"]["between"]["way"], between["blend"][1]["weight"]);
    assert_eq!(between["layers"]["between"]["layers"][1]["slot"], between["blend"][1]["shown"]);
    let hash = plan.hash();
    let mut other = plan.clone();
    let row = &mut other.deliveries[0].rows[0];
    row.layers = Layers::One(Layer::plain(row.shown, row.stand_in, row.window));
    assert_eq!(other.hash(), hash, "what is done to a still is stated once");
    other.deliveries[0].rows[0].window.x += 1.0;
    assert_ne!(other.hash(), hash);
}
